"""Cultures that eat what nobody else eats: their weakness and their flour's cannot be told apart from the records.

Half a jar fed on the usual lot and half on another decides it (common practice, no source).
"""

from __future__ import annotations

import pandas as pd

from ..records.collection import Collection
from .circumstances import lots_fed
from .shared import FEWEST_CULTURES

#: How far back a lot counts as still in use [d]: half a year.
_RECENT_D = 183


def split_feedings(collection: Collection) -> dict[str, str]:
    """Say, culture by culture, which one feeding would tell flour and culture apart.

    Parameters
    ----------
    collection : Collection
        The records, up to the day of which one wants to know.

    Returns
    -------
    dict of str to str
        The advice by culture, for those whose last lot fewer than three cultures eat; a culture whose lot others eat
        as well is not in it: of that the shelf tells.
    """
    fed = collection["refeeds"][["refeed", "culture", "fed_at"]].merge(lots_fed(collection), on="refeed")
    if fed.empty:
        return {}
    fed = fed.sort_values("fed_at", kind="stable")
    recent = fed[fed["fed_at"] >= fed["fed_at"].max() - pd.Timedelta(days=_RECENT_D)]
    eaters = recent.groupby("lot")["culture"].nunique()
    flour = collection["flour_lots"].set_index("lot")["flour"].to_dict()
    last = fed.groupby("culture").tail(1).set_index("culture")["lot"]
    advice = {}
    for culture, lot in last.items():
        if eaters.get(lot, 1) < FEWEST_CULTURES:
            others = eaters[(eaters.index != lot) & (eaters >= FEWEST_CULTURES)]
            same = others[[flour.get(of) == flour.get(lot) for of in others.index]]
            other = same.idxmax() if len(same) else others.idxmax() if len(others) else "another lot"
            advice[str(culture)] = _advice(str(lot), str(other))
    return advice


def _advice(lot: str, other: str) -> str:
    return (
        f"hardly another culture eats lot {lot}, so flour and culture cannot be told apart: split one feeding, half of "
        f"the jar on {lot}, half on {other}; only the first half slow: the flour; both slow: the culture"
    )
