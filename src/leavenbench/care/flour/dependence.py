"""Which cultures hang on a single source of flour, or on a lot that nothing replaces."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from ...columns import RESULTS
from ...records.collection import Collection
from .need import flour_need
from .stock import flour_stock

_DEPENDENCE = RESULTS["flour_dependence"]


def dependence(collection: Collection, on: dt.date) -> pd.DataFrame:
    """Return the living cultures whose flour could fail them.

    Parameters
    ----------
    collection : Collection
        The records.
    on : datetime.date
        The day.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["flour_dependence"]``: one row per culture and flour with a reason: a sole source
        (as the flours table says), the last lot in stock and no other, none left, or fed on another flour than the
        one that it is kept on. `rounds_left` is how many rounds the usable stock feeds all that are fed on it.
    """
    need, stock = flour_need(collection, on), flour_stock(collection, on)
    flours = collection["flours"].set_index("flour")
    kept_on = collection["cultures"].set_index("culture")["flour"]
    usable = stock[stock["usable"]]
    a_round = need.groupby("flour")["per_round_g"].sum()
    rows = []
    for culture, flour in need[["culture", "flour"]].itertuples(index=False):
        lots = usable.loc[usable["flour"] == flour]
        left = float(lots["left_g"].sum())
        fed_on = set(need.loc[need["culture"] == culture, "flour"])
        reasons = _reasons(flour, lots, flours, kept_on.get(culture), fed_on)
        if reasons:
            rows.append(
                {
                    "culture": culture,
                    "flour": flour,
                    "supplier": flours["supplier"].get(flour, pd.NA),
                    "lots_left": len(lots),
                    "left_g": left,
                    "rounds_left": left / a_round[flour] if a_round[flour] > 0.0 else float("nan"),
                    "why": "; ".join(reasons),
                }
            )
    table = pd.DataFrame(rows, columns=_DEPENDENCE.names)
    return table.sort_values(["rounds_left", "culture"], kind="stable", ignore_index=True).astype(_DEPENDENCE.dtypes())


def _reasons(flour: str, lots: pd.DataFrame, flours: pd.DataFrame, kept_on: object, fed_on: set[str]) -> list[str]:
    told = []
    sole = flours["sole_source"].get(flour)
    if sole is not None and pd.notna(sole) and sole:
        told.append("nobody else can send it")
    if lots.empty:
        told.append("none is left that may be fed")
    elif len(lots) == 1 and told:
        told.append(f"{lots['lot'].iloc[0]} is the only lot")
    if isinstance(kept_on, str) and kept_on not in fed_on:
        told.append(f"kept on {kept_on}, and not fed on it in its last round")
    return told
