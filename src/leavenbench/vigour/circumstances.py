"""What each refeed met: how long it was cold, what it was fed, and what it shared with other jars."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..records.collection import Collection
from ..records.rounds import STEPPING
from .numbered import HISTORY, ROUND
from .probes import probes_of

#: What a jar may share with others, besides its flour: where it stands in the tables, and its name for people.
FACTORS = ("day", "room", "store", "person", "probe", "water source", "vessel kind")
#: Days in the cold, and hours since the last feed, that are as usual (common practice, no source).
_USUAL_COLD_D, _USUAL_FEED_H = 60.0, 24.0
#: Longer than this [d] nobody can tell what the cold did.
_LONGEST_D = 400.0


def circumstances(collection: Collection, history: pd.Series) -> pd.DataFrame:
    """Return what each refeed met.

    Parameters
    ----------
    collection : Collection
        The records.
    history : pandas.Series of int
        The history that each refeed belongs to, aligned with the refeeds.

    Returns
    -------
    pandas.DataFrame
        One row per refeed, in their order: refeed; cold_d (days in the cold beyond the usual, of the first step of a
        round, else 0), rest_h (hours since the last feed beyond the usual, of a later step, else 0), log_seed
        (logarithm of the seed's share of the dough over the culture's usual one; 0 where it was not weighed); month;
        then `FACTORS`, missing where nothing is noted.
    """
    refeeds = collection["refeeds"].assign(history=history.to_numpy())
    stepping = refeeds[refeeds["purpose"].isin(STEPPING)].sort_values("fed_at", kind="stable")
    before = stepping.groupby(HISTORY)
    since_fed = (stepping["fed_at"] - before["fed_at"].shift()).dt.total_seconds() / 3600.0
    last_round, cooled = before["round"].shift(), before["cooled_at"].shift()
    since_cold = (stepping["fed_at"] - cooled.fillna(before["fed_at"].shift())).dt.total_seconds() / 86400.0
    first = (stepping["round"] != last_round) & last_round.notna()
    later = stepping["round"] == last_round
    cold = (since_cold - _USUAL_COLD_D).clip(upper=_LONGEST_D).where(first, 0.0)
    rest = (since_fed - _USUAL_FEED_H).where(later, 0.0)
    dough = refeeds[["seed_g", "flour_g", "water_g"]].astype(float)
    share = np.log(dough["seed_g"] / dough.sum(axis=1, min_count=3))
    usual = share.groupby([refeeds["culture"], refeeds["step"]]).transform("median")
    local = refeeds["fed_at"].dt.tz_localize(None)
    return pd.DataFrame(
        {
            "refeed": refeeds["refeed"],
            "cold_d": cold.reindex(refeeds.index).fillna(0.0),
            "rest_h": rest.reindex(refeeds.index).fillna(0.0),
            "log_seed": (share - usual).fillna(0.0),
            "month": local.dt.to_period("M").astype("str"),
            "day": local.dt.strftime("%Y-%m-%d"),
            "room": refeeds["room"],
            "store": _store_before(refeeds, stepping),
            "person": refeeds["person"],
            "probe": probes_of(collection, collection["readings"]["refeed"].notna()),
            "water source": refeeds["water_source"],
            "vessel kind": refeeds["vessel"].map(_vessel_kinds(collection)),
        }
    )


def lots_fed(collection: Collection) -> pd.DataFrame:
    """Return the flour lots of each refeed: refeed, lot and share of the flour, from 0 to 1."""
    single = collection["refeeds"][["refeed", "lot"]].dropna().assign(share=1.0)
    blends = collection["refeed_flours"][["refeed", "lot", "mass_g"]].dropna(subset=["refeed", "lot"])
    mass = blends["mass_g"].astype(float).fillna(1.0)
    blends = blends.assign(share=mass / mass.groupby(blends["refeed"]).transform("sum"))[["refeed", "lot", "share"]]
    return pd.concat([single[~single["refeed"].isin(blends["refeed"])], blends], ignore_index=True)


def _store_before(refeeds: pd.DataFrame, stepping: pd.DataFrame) -> pd.Series:
    """Return the store that a jar came out of before its round."""
    before = stepping.groupby(HISTORY)
    store = before["cold_store"].shift().where(stepping["round"] != before["round"].shift())
    return store.groupby([stepping[name] for name in ROUND]).transform("first").reindex(refeeds.index)


def _vessel_kinds(collection: Collection) -> dict[str, str]:
    """Name the shape and size of each jar, where they are known."""
    vessels = collection["vessels"].dropna(subset="volume_mL")
    shape = vessels["shape"].astype("str").fillna("straight")
    return {
        jar: f"{of}, {round(float(size), -2):.0f} mL"
        for jar, of, size in zip(vessels["vessel"], shape, vessels["volume_mL"], strict=True)
    }
