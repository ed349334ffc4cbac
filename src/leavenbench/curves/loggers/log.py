"""What is left of one log, and what is near a reading of it. Nothing near a reading lies beyond a gap.

Hours and multiples in these files are common practice, no source; `tests/curves/test_loggers.py` measures how often
they are wrong.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd
from pandas.api.indexers import BaseIndexer

from ..models import Array
from ..noise import Instrument

#: What is near a reading [h]: more than twice as long as a lid is off. A gap is longer than this...
NEAR_H = 0.5
#: ...and than so many of the log's usual intervals.
_INTERVALS = 3.0
#: Readings that make a side of something, however far apart they are.
FEWEST = 4
#: Far is so many times the scatter of the log, taken from its median (1.4826 makes it a standard deviation)...
_TIMES_SCATTER = 6.0 * 1.4826
#: ...and at least so many times the usual noise of the instrument, and so many of the log's finest steps...
_TIMES_USUAL, _STEPS = 2.0, 3.5
#: ...which are, in units of the usual noise, more than rounding and no more than this.
_FINEST, _COARSEST = 1e-6, 2.5
#: Places that are named one by one.
_NAMED = 3


@dataclass(frozen=True)
class Log:
    """What is left of one log.

    Attributes
    ----------
    t, up, place : numpy.ndarray, shape (n,)
        Hours, readings turned so that activity raises them, and where they stand in the whole log.
    instrument : Instrument
        What it was read with.
    least : float
        What is far at least, in the unit read.
    said : tuple of str
        What was done to it so far.
    """

    t: Array
    up: Array
    place: Array
    instrument: Instrument
    least: float
    said: tuple[str, ...] = ()

    @property
    def rises(self) -> bool:
        """Whether it is the log of a rise, which may collapse, and not of a pH."""
        return self.instrument.sign > 0.0

    @cached_property
    def usual_h(self) -> float:
        """Usual interval between readings [h]."""
        apart = np.diff(self.t)
        return float(np.median(apart[apart > 0.0])) if (apart > 0.0).any() else 0.0

    @cached_property
    def stretch(self) -> tuple[Array, Array]:
        """Where the stretch without gaps in which each reading stands begins and ends."""
        gaps = np.flatnonzero(np.diff(self.t) > max(NEAR_H, _INTERVALS * self.usual_h)) + 1
        edges = np.concatenate([[0], gaps, [len(self.t)]])
        return np.repeat(edges[:-1], np.diff(edges)), np.repeat(edges[1:], np.diff(edges))

    def windows(self, before_h: float, after_h: float, fewest: int = 0) -> tuple[Array, Array]:
        """Return where the window around each reading begins and ends: so many hours, or readings, on either side."""
        place, (begin, end) = np.arange(len(self.t)), self.stretch
        start = np.minimum(np.searchsorted(self.t, self.t - before_h), place - fewest)
        stop = np.maximum(np.searchsorted(self.t, self.t + after_h, "right"), place + fewest + 1)
        return np.maximum(start, begin), np.minimum(stop, end)

    def sides(self, first: int, last: int, of: Array | None = None, hours: float = NEAR_H) -> tuple[Array, Array]:
        """Return the readings, all or some, that are near before a first and near after a last one."""
        some = np.arange(len(self.t)) if of is None else of
        begin, end = self.stretch
        early = np.searchsorted(self.t, self.t[first] - hours)
        late = np.searchsorted(self.t, self.t[last] + hours, "right")
        edges = (begin[first], early, first, last + 1, late, end[last])
        outer, start, until, since, stop, most = np.searchsorted(some, edges)
        return some[max(outer, min(start, until - FEWEST)) : until], some[since : min(most, max(stop, since + FEWEST))]

    def line(self, some: Array, hour: float) -> tuple[float, float]:
        """Return level at an hour, and slope, of the straight line through some readings."""
        since = self.t[some] - hour
        away = since - since.mean()
        spread = float(away @ away)
        slope = float(away @ self.up[some]) / spread if spread > 0.0 else 0.0
        return float(self.up[some].mean() - slope * since.mean()), slope

    def runs(self, which: Array) -> list[Array]:
        """Return the runs of readings of which something is so."""
        these = np.flatnonzero(which)
        cut = np.flatnonzero((np.diff(these) > 1) | (np.diff(self.stretch[0][these]) > 0)) + 1
        return np.split(these, cut) if len(these) else []

    def without(self, these: Array, why: str, where: Sequence[str] | None = None) -> Log:
        """Set readings aside, and say why and where: at their hours, if not given."""
        if not len(these):
            return self
        if where is None:
            new = np.diff(self.t[these], prepend=-np.inf) > NEAR_H
            where = [f"{hour:.3g} h" for hour in self.t[these[new]]]
        t, up, place = (np.delete(it, these) for it in (self.t, self.up, self.place))
        many = f"{len(these)} reading{'' if len(these) == 1 else 's'}"
        said = f"{many} {why}, at {listed(where)}: set aside"
        return replace(self, t=t, up=up, place=place, said=(*self.said, said))


def listed(where: Sequence[str]) -> str:
    """Name the first places, and say how many more there are."""
    more = len(where) - _NAMED
    return ", ".join(where[:_NAMED]) + (f" and {more} more" if more > 0 else "")


def log_of(t: Array, y: Array, instrument: Instrument) -> Log:
    """Return a whole log."""
    steps = np.diff(np.unique(y)) / instrument.noise
    finest = min(float(min(steps[steps > _FINEST], default=0.0)), _COARSEST)
    least = instrument.noise * max(_TIMES_USUAL, _STEPS * finest)
    return Log(t, instrument.sign * y, np.arange(len(t)), instrument, least)


def far(scatter: Array, least: float) -> float:
    """Return what is far where readings scatter so."""
    return max(_TIMES_SCATTER * float(np.median(scatter)), least) if len(scatter) else least


def running_median(values: Array, start: Array, stop: Array) -> Array:
    """Return the median of each window."""
    if (stop - start == 1).all():
        return values
    windows = _Windows(start=start.astype(np.int64), stop=stop.astype(np.int64))
    return pd.Series(values).rolling(windows, min_periods=1).median().to_numpy()


class _Windows(BaseIndexer):
    """Windows by where they begin and end, as pandas wants them told."""

    def get_window_bounds(
        self,
        num_values: int = 0,
        min_periods: int | None = None,
        center: bool | None = None,
        closed: str | None = None,
        step: int | None = None,
    ) -> tuple[Array, Array]:
        return self.start, self.stop
