"""Flour: deliveries, each with its effect on every jar fed on it; blends; and flours that come no more."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
import pandas as pd

from ..noise import Noise
from .mishaps import FlourEnds, Mishap, PoorLot, only

#: Days that a delivery of flour is used for, and days before use at which it comes (assumed, no source).
_LOT_DAYS, _LOT_AHEAD = 120, 10
#: Flour of one delivery that is ordered for each culture on it [g], in sacks of so much [g].
_FOR_EACH_G, _SACK_G = 1200.0, 2500.0
#: Grains whose flour a mill tests for its falling number.
_TESTED_GRAINS = ("wheat", "durum", "spelt", "rye", "emmer", "einkorn")


def draw_lots(
    flours: pd.DataFrame,
    shares: pd.DataFrame,
    begin: date,
    years: float,
    noise: Noise,
    mishaps: Sequence[Mishap],
    rng: np.random.Generator,
) -> pd.DataFrame:
    """Return the deliveries of every flour, each with its effect.

    Parameters
    ----------
    flours : pandas.DataFrame
        A flours table, with ``flour``, ``grain`` and ``shelf_life`` [d].
    shares : pandas.DataFrame
        culture, flour and share: what each culture is fed on.
    begin : datetime.date
        The first delivery comes before this day.
    years : float
        Years to supply.
    noise : Noise
        Sizes of chance.
    mishaps : sequence of Mishap
        Poor lots, and flours that end, are heeded.
    rng : numpy.random.Generator
        Where it comes from.

    Returns
    -------
    pandas.DataFrame
        lot, flour, received, milled, best_before, mass [g], moisture, ash, protein [%], falling_number [s], and
        log_lot, the lot's effect on log activity.
    """
    deliveries = int(np.ceil(years * 365.25 / _LOT_DAYS)) + 1
    count = len(flours) * deliveries
    number = np.tile(np.arange(1, deliveries + 1), len(flours))
    due = (number - 1) * _LOT_DAYS - _LOT_AHEAD - np.where(number == 1, 14, rng.integers(0, 14, count))
    received = pd.Series(pd.Timestamp(begin).as_unit("us") + pd.to_timedelta(due, unit="D"))
    milled = received - pd.to_timedelta(rng.integers(3, 15, count), unit="D")
    of = flours.loc[flours.index.repeat(deliveries)].reset_index(drop=True)
    eaters = of["flour"].map(shares.groupby("flour")["share"].sum()).fillna(0.0)
    tested = of["grain"].isin(_TESTED_GRAINS)
    lots = pd.DataFrame(
        {
            "lot": of["flour"] + "-" + pd.Series(number).astype("str"),
            "flour": of["flour"],
            "received": received,
            "milled": milled,
            "best_before": milled + pd.to_timedelta(of["shelf_life"], unit="D"),
            "mass": _SACK_G * np.maximum(np.ceil(_FOR_EACH_G * eaters / _SACK_G), 1.0),
            "moisture": rng.normal(13.5, 0.5, count).round(1),
            "ash": rng.normal(1.2, 0.15, count).round(2),
            "protein": rng.normal(11.5, 0.7, count).round(1),
            "falling_number": np.where(tested, rng.normal(290.0, 25.0, count).round(0), np.nan),
            "log_lot": rng.normal(0.0, noise.lot_sd, count),
        }
    )
    for poor in only(mishaps, PoorLot):
        struck = (lots["flour"] == poor.flour) & (number == poor.delivery)
        lots.loc[struck, "log_lot"] = float(np.log1p(-poor.percent / 100.0))
    for end in only(mishaps, FlourEnds):
        last = pd.Timestamp(end.on) - pd.Timedelta(days=_LOT_DAYS / 2)
        lots = lots.loc[(lots["flour"] != end.flour) | (lots["received"] <= last)]
    return lots.reset_index(drop=True)


def flours_fed(
    steps: pd.DataFrame, shares: pd.DataFrame, lots: pd.DataFrame, mishaps: Sequence[Mishap]
) -> pd.DataFrame:
    """Return every flour of every feeding: the last lot of it that had come by that day.

    Parameters
    ----------
    steps : pandas.DataFrame
        With culture and day, index 0 to n - 1.
    shares : pandas.DataFrame
        culture, flour and share: what each culture is fed on.
    lots : pandas.DataFrame
        As from `draw_lots`.
    mishaps : sequence of Mishap
        Flours that end are heeded.

    Returns
    -------
    pandas.DataFrame
        at (position of the step), lot, share and log_lot, one row per flour of a feeding, sorted by at.
    """
    fed = steps[["culture", "day"]].rename_axis("at").reset_index().merge(shares, on="culture", how="left")
    for end in only(mishaps, FlourEnds):
        over = (fed["flour"] == end.flour) & (fed["day"] > pd.Timestamp(end.on))
        fed["flour"] = fed["flour"].mask(over, end.instead)
    found = pd.merge_asof(
        fed.sort_values("day", kind="stable"),
        lots[["flour", "received", "lot", "log_lot"]].sort_values("received", kind="stable"),
        left_on="day",
        right_on="received",
        by="flour",
    )
    return found.sort_values("at", kind="stable", ignore_index=True)[["at", "lot", "share", "log_lot"]]


def add_lots(steps: pd.DataFrame, fed: pd.DataFrame) -> pd.DataFrame:
    """Return the steps with log_lot, what the flour does to log activity, and lot, which a blend has not."""
    by_step = fed.groupby("at")
    single = by_step["lot"].size() == 1
    effect = (fed["share"] * fed["log_lot"]).groupby(fed["at"]).sum()
    return steps.assign(lot=by_step["lot"].first().where(single), log_lot=effect)


def count_flour(lots: pd.DataFrame, used: pd.DataFrame, end: pd.Timestamp) -> pd.DataFrame:
    """Return what the keepers found when they weighed their flour, at the beginning of every quarter.

    Parameters
    ----------
    lots : pandas.DataFrame
        With lot, flour, received and mass [g].
    used : pandas.DataFrame
        day, lot and mass [g] of every flour of every feeding, whether it was written down or not.
    end : pandas.Timestamp
        No count is later.

    Returns
    -------
    pandas.DataFrame
        lot, counted_on, mass [g, to ten grams] of the lot in use of each flour.
    """
    days = pd.date_range(lots["received"].min(), end, freq="QS") + pd.Timedelta(days=1)
    counts = []
    for day in days[days <= end]:
        there = lots.loc[lots["received"] <= day].groupby("flour").tail(1)
        gone = used.loc[used["day"] < day].groupby("lot")["mass"].sum()
        left = there["mass"] - 1.01 * there["lot"].map(gone).fillna(0.0)
        counts.append(pd.DataFrame({"lot": there["lot"], "counted_on": day, "mass": left.round(-1).clip(lower=0.0)}))
    return pd.concat(counts, ignore_index=True)
