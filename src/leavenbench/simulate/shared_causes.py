"""What all jars of a day, or all jars on a flour lot, have in common."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from .noise import Noise

#: Room temperature [degC]: the year's mean, how far summer and winter lie from it, and the spread of days
#: (assumed: a bakehouse that is heated, not cooled; no source).
_YEAR_MEAN, _SEASON, _DAY_SD = 22.5, 2.5, 0.8
_COLDEST, _WARMEST = 18.0, 27.0
_WARMEST_DAY_OF_YEAR = 205
#: A day on which the heating failed, and how often.
_COLD_DAY, _COLD_DAY_SHARE = 3.0, 0.03

#: Days that a delivery of flour is used for, and days before use at which it comes (assumed, no source).
_LOT_DAYS, _LOT_AHEAD = 120, 10


def draw_days(days: pd.Series, noise: Noise, rng: np.random.Generator) -> pd.DataFrame:
    """Return what each day does to every jar handled on it.

    Parameters
    ----------
    days : pandas.Series of datetime64
        Days on which jars are fed; they may repeat.
    noise : Noise
        Sizes of chance.
    rng : numpy.random.Generator
        Where it comes from.

    Returns
    -------
    pandas.DataFrame
        day, room_temperature_degC, cold_day, log_day (the day's effect on log activity by handling alone).

    Examples
    --------
    >>> two = pd.Series(pd.to_datetime(["2024-01-15", "2024-07-15"]))
    >>> winter, summer = draw_days(two, Noise(), np.random.default_rng(1))["room_temperature_degC"]
    >>> bool(18 <= winter < summer <= 27)
    True
    """
    day = pd.Series(np.sort(days.unique()), name="day")
    season = np.cos(2.0 * np.pi * (day.dt.day_of_year - _WARMEST_DAY_OF_YEAR) / 365.25)
    cold = rng.random(len(day)) < _COLD_DAY_SHARE
    air = _YEAR_MEAN + _SEASON * season + rng.normal(0.0, _DAY_SD, len(day)) - _COLD_DAY * cold
    return pd.DataFrame(
        {
            "day": day,
            "room_temperature_degC": air.clip(_COLDEST, _WARMEST),
            "cold_day": cold,
            "log_day": rng.normal(0.0, noise.day_sd, len(day)),
        }
    )


def draw_lots(flours: pd.DataFrame, begin: date, years: float, noise: Noise, rng: np.random.Generator) -> pd.DataFrame:
    """Return the deliveries of every flour, each with its effect.

    Parameters
    ----------
    flours : pandas.DataFrame
        A flours table, with ``flour`` and ``shelf_life`` [d].
    begin : datetime.date
        The first delivery comes before this day.
    years : float
        Years to supply.
    noise : Noise
        Sizes of chance.
    rng : numpy.random.Generator
        Where it comes from.

    Returns
    -------
    pandas.DataFrame
        lot, flour, received, milled, best_before, mass [g], moisture [%], and log_lot, the lot's effect on log
        activity.
    """
    deliveries = int(np.ceil(years * 365.25 / _LOT_DAYS)) + 1
    count = len(flours) * deliveries
    number = np.tile(np.arange(1, deliveries + 1), len(flours))
    due = (number - 1) * _LOT_DAYS - _LOT_AHEAD - np.where(number == 1, 14, rng.integers(0, 14, count))
    received = pd.Series(pd.Timestamp(begin).as_unit("us") + pd.to_timedelta(due, unit="D"))
    milled = received - pd.to_timedelta(rng.integers(3, 15, count), unit="D")
    shelf_life = flours["shelf_life"].to_numpy()
    flour = np.repeat(flours["flour"].to_numpy(), deliveries)
    return pd.DataFrame(
        {
            "lot": [f"{name}-{order}" for name, order in zip(flour, number, strict=True)],
            "flour": flour,
            "received": received,
            "milled": milled,
            "best_before": milled + pd.to_timedelta(np.repeat(shelf_life, deliveries), unit="D"),
            "mass": rng.choice([5000.0, 10000.0, 20000.0], count),
            "moisture": rng.normal(13.5, 0.5, count).round(1),
            "log_lot": rng.normal(0.0, noise.lot_sd, count),
        }
    )


def lot_in_use(flour: pd.Series, day: pd.Series, lots: pd.DataFrame) -> np.ndarray:
    """Return for every feeding the last lot of its flour that had come by that day."""
    asked = pd.DataFrame({"flour": flour, "day": day, "place": np.arange(len(flour))}).sort_values("day")
    found = pd.merge_asof(
        asked,
        lots[["flour", "received", "lot"]].sort_values("received"),
        left_on="day",
        right_on="received",
        by="flour",
    )
    return found.sort_values("place")["lot"].to_numpy()
