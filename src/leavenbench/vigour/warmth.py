"""How warm each dough was, hour by hour, and what the clock's hours are worth at the reference temperature.

A dough works faster when it is warmer: an hour by the clock counts as many hours at the reference temperature as the
cardinal temperature model says, summed over the course of the temperature.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from ..records.collection import Collection
from ..records.looks import in_order
from ..records.texts import places_in
from ..temperature import Cardinal, rate_against_reference

#: Noise of a thermometer held into dough, and how far a dough strays from what the wall's said at feeding [degC];
#: common practice, no source.
_THERMOMETER_DEGC, _WALL_DEGC = 0.5, 1.0
#: How far an unknown room may be from the reference temperature [degC] (common practice, no source).
_UNKNOWN_ROOM_DEGC = 2.0
#: How far a culture's own cardinal temperatures may lie from those assumed [degC] (common practice, no source).
_OWN_WAYS_DEGC = 1.0
#: No dough is slower than this against the reference: near its limits the model knows too little, and whoever is
#: within its own ways of them has a pace that nobody knows [log].
_SLOWEST, _NOBODY_KNOWS = 0.02, 1e3
#: Points of Gauss and Legendre on a stretch from 0 to 1, and their weights.
_POINTS = 0.5 + 0.5 * np.array([-np.sqrt(0.6), 0.0, np.sqrt(0.6)])
_WEIGHTS = np.array([5.0, 8.0, 5.0]) / 18.0
#: Hours between one refeed's and the next in one long row; longer than any dough stands.
_APART = 1e5


class Warmth(NamedTuple):
    """The temperature of many doughs, each a line through what was read.

    Attributes
    ----------
    refeeds : pandas.Index
        Which refeeds.
    hours, degC : numpy.ndarray, shape (k,)
        Hours since feeding, each refeed's after the last one's by `_APART`, and temperatures there.
    noted : numpy.ndarray of bool, shape (n,)
        Whether anything is known of a refeed's temperature.
    readings : numpy.ndarray of int, shape (n,)
        How many times it was read.
    reference_degC : float
        The temperature at which an hour counts as one, and which an unknown one is taken for.
    """

    refeeds: pd.Index
    hours: np.ndarray
    degC: np.ndarray
    noted: np.ndarray
    readings: np.ndarray
    reference_degC: float

    @classmethod
    def of(cls, collection: Collection) -> Warmth:
        """Take it from the temperatures of the readings, else from that of the room, else from the reference."""
        refeeds = pd.Index(collection["refeeds"]["refeed"])
        reference = collection.settings.reference_temperature_degC
        number, t, degC = _read(collection)
        many = np.bincount(number, minlength=len(refeeds))
        with np.errstate(invalid="ignore"):
            mean = np.bincount(number, degC, len(refeeds)) / many
        room = collection["refeeds"]["room_temperature_degC"].to_numpy(dtype=float, na_value=np.nan)
        level = np.where(many > 0, mean, room)
        noted = ~np.isnan(level)
        level = np.where(noted, level, reference)
        degC = level[number] + _trusted(number, degC - level[number], many)[number] * (degC - level[number])
        hours, ends = number * _APART + t, np.arange(len(refeeds))
        first, last = level.copy(), level.copy()
        last[number] = degC
        first[number[::-1]] = degC[::-1]
        knots = np.concatenate((ends * _APART - 0.1 * _APART, hours, ends * _APART + 0.1 * _APART))
        order = np.argsort(knots, kind="stable")
        if not len(refeeds):
            return cls(refeeds, np.zeros(1), np.full(1, reference), noted, many, reference)
        return cls(refeeds, knots[order], np.concatenate((first, degC, last))[order], noted, many, reference)

    def at(self, number: np.ndarray, hours: np.ndarray) -> np.ndarray:
        """Return the temperature [degC] of refeeds, by their number, at hours since feeding."""
        return np.interp(number * _APART + hours, self.hours, self.degC)

    def reference_hours(self, number: np.ndarray, hours: np.ndarray, organism: Cardinal) -> np.ndarray:
        """Return how many hours at the reference temperature have passed.

        Parameters
        ----------
        number : numpy.ndarray of int, shape (n,)
            Refeeds by their number.
        hours : numpy.ndarray, shape (n,)
            Hours since feeding, by the clock [h]; none of an unknown hour.
        organism : Cardinal
            Cardinal temperatures of what does the work.

        Returns
        -------
        numpy.ndarray, shape (n,)
            [h]

        Examples
        --------
        >>> from leavenbench.temperature import YEAST
        >>> warmth = Warmth(
        ...     pd.Index(["r1"]), np.array([-1e4, 1e4]), np.array([20.0, 20.0]), np.ones(1, bool), np.ones(1, int), 25.0
        ... )
        >>> warmth.reference_hours(np.array([0]), np.array([10.0]), YEAST).round(2).tolist()
        [6.65]
        """
        passed = self._sum_to(self.hours, organism)
        place = np.searchsorted(self.hours, number * _APART + np.nan_to_num(hours), side="right") - 1
        start = np.searchsorted(self.hours, number * _APART, side="right") - 1
        until = passed[place] + self._stretch(self.hours[place], number * _APART + hours, organism)
        since = passed[start] + self._stretch(self.hours[start], number * _APART, organism)
        return until - since

    def _sum_to(self, knots: np.ndarray, organism: Cardinal) -> np.ndarray:
        """Return the reference hours from the first knot to each, those between refeeds counted like others."""
        return np.concatenate(([0.0], np.cumsum(self._stretch(knots[:-1], knots[1:], organism))))

    def _stretch(self, low: np.ndarray, high: np.ndarray, organism: Cardinal) -> np.ndarray:
        total = np.zeros(np.broadcast(low, high).shape)
        for point, weight in zip(_POINTS, _WEIGHTS, strict=True):
            degC = np.interp(low + point * (high - low), self.hours, self.degC)
            total += weight * self.pace(degC, organism)
        return total * (high - low)

    def pace(self, degC: np.ndarray, organism: Cardinal) -> np.ndarray:
        """Return hours at the reference temperature per hour by the clock."""
        return np.maximum(rate_against_reference(degC, organism, self.reference_degC), _SLOWEST)

    def log_error(self, degC: np.ndarray, number: np.ndarray, organism: Cardinal) -> np.ndarray:
        """Return the error (sd) of the logarithm of a pace: thermometer, own ways of the culture, or no knowledge."""
        step = 0.5
        up, down = (np.log(self.pace(degC + by, organism)) for by in (step, -step))
        slope = (up - down) / (2.0 * step)
        at_reference = np.log(self.pace(self.reference_degC + np.array([0.5, -0.5]), organism))
        usual = at_reference[0] - at_reference[1]
        many = self.readings[number]
        thermometer = np.where(many > 0, _THERMOMETER_DEGC / np.sqrt(np.maximum(many, 1)), _WALL_DEGC) * slope
        own = (slope - usual) * _OWN_WAYS_DEGC
        unknown = np.array([-_UNKNOWN_ROOM_DEGC, _UNKNOWN_ROOM_DEGC]) + self.reference_degC
        widest = np.abs(np.log(self.pace(unknown, organism))).max()
        slowest = np.minimum(self.pace(degC - _OWN_WAYS_DEGC, organism), self.pace(degC + _OWN_WAYS_DEGC, organism))
        told = np.where(slowest > _SLOWEST, np.hypot(thermometer, own), _NOBODY_KNOWS)
        return np.where(self.noted[number], told, widest)


def _read(collection: Collection) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the refeeds, hours and temperatures that were read, in that order; those of one moment are one."""
    readings = collection["readings"]
    fed = places_in(collection["refeeds"]["refeed"], readings["refeed"])
    told = readings["temperature_degC"].notna() & (readings["elapsed_h"] >= 0.0) & (fed >= 0)
    read = readings.loc[told, ["elapsed_h", "temperature_degC"]].to_numpy(dtype=float)
    order = in_order(fed[told].to_numpy(), read[:, 0])
    number, (t, degC) = fed[told].to_numpy()[order], read[order].T
    begins = np.flatnonzero(np.append(True, (np.diff(number) > 0) | (np.diff(t) > 0.0))[: len(t)])
    mean = np.add.reduceat(degC, begins) / np.diff(begins, append=len(t))
    return number[begins], t[begins], mean


def _trusted(number: np.ndarray, away: np.ndarray, many: np.ndarray) -> np.ndarray:
    """Return what share of the differences within a refeed is no noise of the thermometer."""
    with np.errstate(invalid="ignore", divide="ignore"):
        variance = np.bincount(number, away**2, len(many)) / (many - 1)
        share = 1.0 - _THERMOMETER_DEGC**2 / variance
    return np.where(many > 2, np.clip(np.nan_to_num(share), 0.0, 1.0), np.where(many == 2, 1.0, 0.0))
