"""Which lot of a flour is on the bench."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from ..records.collection import Collection
from ..vigour.circumstances import lots_fed
from .habits import rounds_fed


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
    fed_at = collection["refeeds"].set_index("refeed")["fed_at"]
    fed = lots_fed(collection)
    last = fed["refeed"].map(fed_at).groupby(fed["lot"]).max().dropna()
    return pd.Series([moment.timestamp() for moment in last], index=last.index, dtype=float)


def usual_blends(collection: Collection) -> dict[str, dict[str, float]]:
    """Return what each culture's flour was blended of when it was last fed: shares by lot, one lot or several."""
    last = rounds_fed(collection).drop_duplicates("culture", keep="last")[["refeed", "culture"]]
    parts = lots_fed(collection).merge(last, on="refeed")
    return {
        str(culture): of.groupby("lot", sort=False)["share"].sum().to_dict() for culture, of in parts.groupby("culture")
    }
