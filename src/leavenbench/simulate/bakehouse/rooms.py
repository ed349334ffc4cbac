"""How warm it is in each room, by season, weather and hour (assumed: rooms that are heated, not cooled; no source)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from .mishaps import ColdRoom

_COLDEST, _WARMEST = 12.0, 29.0
_WARMEST_DAY_OF_YEAR, _WARMEST_HOUR = 205, 15
#: A room without heating cools by half of the way in so many hours.
_HALFWAY_H = 3.0
#: Sd of a day's mean about the season's [degC], and how much of one day's weather is left in the next.
_WEATHER_SD, _WEATHER_LASTS = 0.8, 0.6


@dataclass(frozen=True)
class Room:
    """A room in which jars stand.

    Attributes
    ----------
    name : str
        Its name.
    mean_degC, season_degC, swing_degC : float
        The year's mean, and how far summer lies above it, and the afternoon above the day's mean.
    thermometer : bool
        Whether a thermometer is stuck into the dough at every look; elsewhere only the wall's is read at feeding.
    """

    name: str
    mean_degC: float = 22.5
    season_degC: float = 2.5
    swing_degC: float = 1.0
    thermometer: bool = False


@dataclass(frozen=True)
class Rooms:
    """The temperature of every room at every moment.

    Attributes
    ----------
    rooms : tuple of Room
        The rooms.
    begin : numpy.datetime64
        The first day.
    noon_degC : numpy.ndarray, shape (days, rooms)
        Each day's mean, heating on.
    lost_degC : numpy.ndarray, shape (24 days, rooms)
        How much colder each hour was than it would have been.
    """

    rooms: tuple[Room, ...]
    begin: np.datetime64
    noon_degC: np.ndarray
    lost_degC: np.ndarray

    def temperature(self, names: np.ndarray, moments: np.ndarray) -> np.ndarray:
        """Return the temperature [degC] in rooms, by name and shape (n,), at moments, of shape (n,) or (n, hours)."""
        at = pd.Index([room.name for room in self.rooms]).get_indexer(pd.Index(names))
        at = at.reshape(-1, *[1] * (moments.ndim - 1))
        days = (moments - self.begin) / np.timedelta64(1, "D")
        since_noon = np.clip(days - 0.5, 0.0, len(self.noon_degC) - 1.001)
        before = since_noon.astype(int)
        share = since_noon - before
        mean = (1.0 - share) * self.noon_degC[before, at] + share * self.noon_degC[before + 1, at]
        swing = np.array([room.swing_degC for room in self.rooms])[at]
        hour = 24.0 * (days % 1.0)
        now = np.clip((24.0 * days).astype(int), 0, len(self.lost_degC) - 1)
        warmth = mean + swing * np.cos(2.0 * np.pi * (hour - _WARMEST_HOUR) / 24.0) - self.lost_degC[now, at]
        return np.clip(warmth, _COLDEST, _WARMEST)


def draw_rooms(
    rooms: Sequence[Room], begin: date, days: int, cold: Iterable[ColdRoom], rng: np.random.Generator
) -> Rooms:
    """Return the temperatures of rooms over some years.

    Parameters
    ----------
    rooms : sequence of Room
        The rooms; they share the weather.
    begin : datetime.date
        The first day.
    days : int
        Number of days.
    cold : iterable of ColdRoom
        When a room was not heated.
    rng : numpy.random.Generator
        Where chance comes from.

    Returns
    -------
    Rooms
        What `Rooms.temperature` reads from.

    Examples
    --------
    >>> house = draw_rooms([Room("loft")], date(2024, 1, 1), 366, (), np.random.default_rng(1))
    >>> moments = np.array(["2024-01-15T07:00", "2024-07-15T07:00", "2024-07-15T15:00"], "datetime64[m]")
    >>> winter, summer, afternoon = house.temperature(np.array(["loft"] * 3), moments)
    >>> bool(18 < winter < summer < afternoon < 28)
    True
    """
    first = np.datetime64(begin, "D")
    weather = rng.standard_normal(days)
    for day in range(1, days):
        weather[day] = _WEATHER_LASTS * weather[day - 1] + np.sqrt(1.0 - _WEATHER_LASTS**2) * weather[day]
    in_year = (pd.DatetimeIndex(first + np.arange(days)).day_of_year - _WARMEST_DAY_OF_YEAR) / 365.25
    season = np.cos(2.0 * np.pi * in_year.to_numpy())
    noon = np.stack([room.mean_degC + room.season_degC * season + _WEATHER_SD * weather for room in rooms], axis=1)
    return Rooms(tuple(rooms), first.astype("datetime64[s]"), noon, _lost(rooms, first, days, cold))


def _lost(rooms: Sequence[Room], first: np.datetime64, days: int, cold: Iterable[ColdRoom]) -> np.ndarray:
    """Return how much colder every hour is for want of heating: a room cools, and warms again, over some hours."""
    names = [room.name for room in rooms]
    lost = np.zeros((24 * days, len(names)))
    hours = np.arange(24 * days)
    for one in cold:
        since, until = (24 * int((np.datetime64(day, "D") - first).astype(int)) for day in (one.first, one.last))
        cooling = np.clip(hours - since, 0, until + 24 - since)
        warming = np.clip(hours - until - 24, 0, None)
        lost[:, names.index(one.room)] += (
            one.by_degC * (1.0 - 0.5 ** (cooling / _HALFWAY_H)) * 0.5 ** (warming / _HALFWAY_H)
        )
    return lost
