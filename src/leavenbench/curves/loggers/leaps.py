"""Where the readings of a log leap: further than they were going before, and than they go on after."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..models import Array
from .log import NEAR_H, Log, far, running_median

#: A leap is looked for between the medians of so many hours before and after it.
_MOMENT_H = 0.06
#: Read more seldom than this [h], a dough that rises quickly looks as if it leapt.
_SELDOM_H = 1.0 / 3.0
#: A dough goes at most so many times as fast as just before or after.
_FASTER = 1.5


class Leaps(NamedTuple):
    """Where the readings of a log leap.

    Attributes
    ----------
    after : numpy.ndarray of int, shape (k,)
        The last reading before each leap.
    way : numpy.ndarray, shape (k,)
        How far, in the unit read.
    far : float
        What counts as far in this log.
    behind, ahead : numpy.ndarray, shape (n,)
        Level of the moment that ends, and of the one that begins, with each reading.
    """

    after: Array
    way: Array
    far: float
    behind: Array
    ahead: Array

    def shifted(self, there: int, by: float) -> Leaps:
        """Return them with the levels from a reading on lower by so much."""
        behind, ahead = (np.append(it[:there], it[there:] - by) for it in (self.behind, self.ahead))
        return self._replace(behind=behind, ahead=ahead)


class _Moment(NamedTuple):
    """The moment before, or after, each reading: its level and middle hour, and where its readings begin and end."""

    level: Array
    hour: Array
    start: Array
    stop: Array


def leaps(log: Log) -> Leaps:
    """Find the leaps of a log."""
    behind, ahead = _moment(log, _MOMENT_H, 0.0), _moment(log, 0.0, _MOMENT_H)
    apart = np.diff(log.t)
    sudden = NEAR_H if log.usual_h <= _SELDOM_H else 0.0
    here = np.flatnonzero((np.diff(log.stretch[0]) == 0) & (apart > 0.0) & (apart <= sudden))
    there = here + 1
    way, took = ahead.level[there] - behind.level[here], ahead.hour[there] - behind.hour[here]
    before = took * _pace(log, behind, here, behind.start[here] - 1)
    after = took * _pace(log, ahead, there, ahead.stop[there])
    before, after = _or_else(before, after), _or_else(after, before)
    limit = far(np.abs(way - (before + after) / 2.0), log.least)
    # what goes on as before, or before as after, is no leap: next to one, and where a curve bends
    off = np.where(np.abs(way - before) < np.abs(way - after), way - before, way - after)
    hurry = (_FASTER - 1.0) * np.maximum(np.maximum(np.sign(off) * before, np.sign(off) * after), 0.0)
    size, step = np.zeros(len(log.t)), np.append(np.diff(log.up), 0.0)
    size[here] = np.where(np.abs(off) > limit + hurry, way, 0.0)
    runs = [*log.runs(size > 0.0), *log.runs(size < 0.0)]  # one leap shows between several moments
    found = np.sort([run[np.argmax(np.abs(step[run]))] for run in runs]).astype(int)
    return Leaps(found, size[found], limit, behind.level, ahead.level)


def _moment(log: Log, before_h: float, after_h: float) -> _Moment:
    start, stop = log.windows(before_h, after_h)
    return _Moment(running_median(log.up, start, stop), (log.t[start] + log.t[stop - 1]) / 2.0, start, stop)


def _pace(log: Log, moment: _Moment, one: Array, other: Array) -> Array:
    """Return how fast the level went between two moments, NaN where the other lies beyond a gap."""
    begin, end = log.stretch
    known = (other >= begin[one]) & (other < end[one])
    other = np.where(known, other, one)
    took = np.where(known, moment.hour[one] - moment.hour[other], 1.0)
    return np.where(known, (moment.level[one] - moment.level[other]) / took, np.nan)


def _or_else(ways: Array, others: Array) -> Array:
    """Return ways, in place of unknown ones those others, in place of those none."""
    return np.nan_to_num(np.where(np.isnan(ways), others, ways))
