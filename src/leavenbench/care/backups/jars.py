"""Where each culture's jar stands in the cold at a moment."""

from __future__ import annotations

import pandas as pd

from ...records.as_of import days_of
from ...records.collection import Collection
from ...records.living import living_cultures
from ...records.rounds import STEPPING


def jars_at(collection: Collection, moment: pd.Timestamp) -> pd.DataFrame:
    """Return the jars that stood in the cold at a moment.

    Parameters
    ----------
    collection : Collection
        Its refeeds and events.
    moment : pandas.Timestamp
        In the collection's time zone.

    Returns
    -------
    pandas.DataFrame
        Indexed by culture, those living on that day of which any feeding is noted: store (the last cold_store, or
        where it was moved since; missing when never noted), fed_at and jar_g [g] (when that jar was fed; seed may
        have been taken since), newer_on (when a newer jar was fed of which no place is noted yet; the older one
        stays in the cold until it has passed).
    """
    refeeds = collection["refeeds"]
    fed = refeeds[refeeds["purpose"].isin(STEPPING) & (refeeds["fed_at"] <= moment)]
    fed = fed.sort_values("fed_at", kind="stable")
    last_fed = fed.groupby("culture")["fed_at"].last()
    kept = fed[fed["cold_store"].notna() & (fed["cooled_at"].fillna(fed["fed_at"]) <= moment)]
    kept = kept.drop_duplicates("culture", keep="last").set_index("culture")
    jars = pd.DataFrame({"last_fed": last_fed}).join(kept[["cold_store", "fed_at"]])
    jars["jar_g"] = kept["seed_g"] + kept["flour_g"] + kept["water_g"]
    day = moment.tz_localize(None).normalize()
    moved = _moves(collection, day).reindex(jars.index)
    since = moved["happened_on"] >= days_of(jars["fed_at"])
    jars["store"] = jars["cold_store"].mask(since, moved["store"])
    jars["newer_on"] = days_of(jars["last_fed"]).where(~(jars["last_fed"] <= jars["fed_at"]))
    living = living_cultures(collection, day.date())
    return jars.loc[jars.index.isin(living), ["store", "fed_at", "jar_g", "newer_on"]]


def _moves(collection: Collection, day: pd.Timestamp) -> pd.DataFrame:
    """Return each culture's last move to another store."""
    events = collection["events"]
    moves = events[(events["kind"] == "moved") & (events["happened_on"] <= day)].dropna(subset=["culture", "store"])
    last = moves.sort_values("happened_on", kind="stable").drop_duplicates("culture", keep="last")
    return last.set_index("culture")[["happened_on", "store"]]
