"""Stores that failed: what the keeper noted, and what the store's own thermometer says."""

from __future__ import annotations

import pandas as pd

from ..records.as_of import days_of
from ..records.collection import Collection

#: The temperature [degC] above which a store warms what lies in it, by its kind (common practice, no source).
WARN_ABOVE_DEGC = {"cold": 8.0, "freezer": -15.0, "deep_freezer": -60.0}
#: A store that was warmer for so long [h] has failed; less is an open door (common practice, no source).
FAILED_AFTER_H = 6.0
#: Readings further apart than this [h] do not tell what was between them.
_GAP_H = 24.0


def excursions(collection: Collection) -> pd.DataFrame:
    """Return the times at which a store was too warm, by its log.

    Parameters
    ----------
    collection : Collection
        Its stores and store_log; a store without a limit of its own has that of its kind.

    Returns
    -------
    pandas.DataFrame
        One row per excursion, in time: store, from_at, until_at (first and last reading above the limit), hours,
        warmest_degC, limit_degC, failed (as long as `FAILED_AFTER_H` or longer).
    """
    stores = collection["stores"].set_index("store")
    limit = stores["warn_above_degC"].fillna(stores["kind"].map(WARN_ABOVE_DEGC).astype(float))
    log = collection["store_log"].dropna(subset=["store", "read_at", "temperature_degC"])
    log = log.sort_values(["store", "read_at"], kind="stable").reset_index(drop=True)
    log["limit_degC"] = log["store"].map(limit).astype(float)
    warm = log["temperature_degC"] > log["limit_degC"]
    apart = log.groupby("store")["read_at"].diff() / pd.Timedelta(hours=1)
    begins = warm & ~(warm.groupby(log["store"]).shift(fill_value=False) & (apart <= _GAP_H))
    found = (
        log[warm]
        .groupby(begins.cumsum()[warm])
        .agg(
            store=("store", "first"),
            from_at=("read_at", "first"),
            until_at=("read_at", "last"),
            warmest_degC=("temperature_degC", "max"),
            limit_degC=("limit_degC", "first"),
        )
    )
    found["hours"] = (found["until_at"] - found["from_at"]) / pd.Timedelta(hours=1)
    found["failed"] = found["hours"] >= FAILED_AFTER_H
    order = ["store", "from_at", "until_at", "hours", "warmest_degC", "limit_degC", "failed"]
    return found.sort_values(["from_at", "store"], kind="stable")[order].reset_index(drop=True)


def store_failures(collection: Collection) -> pd.DataFrame:
    """Return every failure of a store, noted or logged.

    Parameters
    ----------
    collection : Collection
        Its events, stores and store_log.

    Returns
    -------
    pandas.DataFrame
        One row per failure: store, culture (where only one was named), on (the day), words.
    """
    events = collection["events"]
    noted = events[events["kind"] == "store failure"]
    from_events = pd.DataFrame(
        {
            "store": noted["store"],
            "culture": noted["culture"],
            "on": noted["happened_on"],
            "words": [_noted(*row) for row in zip(noted["store"], noted["happened_on"], strict=True)],
        }
    )
    warm = excursions(collection)
    warm = warm[warm["failed"]]
    from_log = pd.DataFrame(
        {
            "store": warm["store"],
            "culture": pd.Series(pd.NA, index=warm.index, dtype="str"),
            "on": days_of(warm["until_at"]),
            "words": [_logged(row) for row in warm.to_dict("records")],
        }
    )
    return pd.concat([from_events, from_log]).sort_values("on", kind="stable", ignore_index=True)


def _noted(store: object, day: pd.Timestamp) -> str:
    return f"{'its store' if pd.isna(store) else store} failed on {day:%Y-%m-%d}"


def _logged(row: dict) -> str:
    return (
        f"{row['store']} stood above {row['limit_degC']:g} °C for {row['hours']:.0f} h "
        f"until {row['until_at']:%Y-%m-%d}, up to {row['warmest_degC']:.1f} °C"
    )
