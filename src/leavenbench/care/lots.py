"""Which lot of a flour is on the bench."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from ..records.collection import Collection


def lots_in_use(collection: Collection, on: dt.date) -> pd.Series:
    """Return the lot of each flour that is fed on a day.

    Parameters
    ----------
    collection : Collection
        Its flour_lots and refeeds.
    on : datetime.date
        The day.

    Returns
    -------
    pandas.Series
        By flour: among the lots received by then and not past their best-before date the one that was used last,
        else the oldest; where all are past it, the one used last.
    """
    today = pd.Timestamp(on)
    lots = collection["flour_lots"].dropna(subset="flour")
    lots = lots[~(lots["received"] > today)]
    lots = lots.assign(past=lots["best_before"] < today, used=lots["lot"].map(_last_used(collection)).astype(float))
    order = lots.assign(unused=lots["used"].isna(), recent=-lots["used"]).sort_values(
        ["past", "unused", "recent", "received"], kind="stable"
    )
    return order.drop_duplicates("flour").set_index("flour")["lot"]


def _last_used(collection: Collection) -> pd.Series:
    """Return when each lot was used last, in seconds since 1970."""
    refeeds = collection["refeeds"]
    alone = refeeds[["refeed", "fed_at", "lot"]]
    blended = collection["refeed_flours"][["refeed", "lot"]].merge(refeeds[["refeed", "fed_at"]], on="refeed")
    last = pd.concat([alone, blended]).dropna(subset="lot").groupby("lot")["fed_at"].max()
    return pd.Series([moment.timestamp() for moment in last], index=last.index, dtype=float)


def usual_blends(collection: Collection) -> dict[str, dict[str, float]]:
    """Return what each culture's flour was blended of when it was last fed: shares by lot, one lot or several."""
    refeeds = collection["refeeds"]
    stepping = refeeds[refeeds["purpose"] == "round"].sort_values("fed_at", kind="stable")
    last = stepping.drop_duplicates("culture", keep="last")
    parts = collection["refeed_flours"].merge(last[["refeed", "culture"]], on="refeed")
    blends: dict[str, dict[str, float]] = {}
    for culture, of in parts.groupby("culture"):
        masses = of.groupby("lot", sort=False)["mass_g"].sum()
        if masses.sum() > 0.0:
            blends[str(culture)] = (masses / masses.sum()).to_dict()
    for culture, lot in last.dropna(subset="lot")[["culture", "lot"]].itertuples(index=False):
        blends.setdefault(str(culture), {lot: 1.0})
    return blends
