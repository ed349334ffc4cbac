"""Readings far off all around them: a lid that was lifted, a probe out of the dough, an echo from the wrong thing.

Suspect is what lies far off the running median (Hampel 1974, J Am Stat Assoc 69:383-393, for the median of absolute
deviations as a measure; Davies & Gather 1993, J Am Stat Assoc 88:782-792, doi 10.1080/01621459.1993.10476339, for
naming outliers by it; both from memory). But so do the last readings before a collapse: what a straight line through
the readings before, or through those after, explains is kept. At the end of a log, and before a gap, nothing comes
after: a fall that was read for some minutes only is taken for a lifted lid.
"""

from __future__ import annotations

import numpy as np

from ..models import Array
from .log import FEWEST, NEAR_H, Log, far, running_median

FAR_OFF = "far off those around them"
#: Where the scale of a pH meter ends.
_PH_ENDS = 14.0


def without_the_impossible(log: Log) -> Log:
    """Set aside what no dough can show, and a sensor that is off often does: nothing, or the end of the scale."""
    shown = log.instrument.sign * log.up
    none = shown <= 0.0 if log.rises else (shown <= 0.0) | (shown >= _PH_ENDS)
    return log.without(np.flatnonzero(none), "that no dough can give")


def without_spikes(log: Log) -> Log:
    """Set aside what lies far off the running median, and off what the readings on either side were heading for."""
    off = np.abs(log.up - running_median(log.up, *log.windows(NEAR_H, NEAR_H, FEWEST)))
    rough = np.pad(np.abs(np.diff(log.up, 2)) / np.sqrt(6.0), 1)  # on a steep curve the median is the reading itself
    usual = far(np.maximum(off, rough[: len(off)]), log.least)
    suspect = off > usual
    calm = np.flatnonzero(~suspect)
    found = [_wild(log, run, calm, off, usual) for run in log.runs(suspect)]
    return log.without(np.concatenate(found), FAR_OFF) if found else log


def _wild(log: Log, run: Array, calm: Array, scatter: Array, least: float) -> Array:
    """Return those readings of a suspect run that nothing on either side explains."""
    before, after = log.sides(run[0], run[-1], calm)
    off = [_off(log, run, *told) for told in ((before, before[-1:]), (after, after[:1])) if len(told[1])]
    if not off:
        return run[:0]
    limit = far(scatter[np.concatenate([before, after])], least)  # some parts of a log may be noisier than the rest
    above = np.all([by > limit for by in off], axis=0)
    below = np.all([by < -limit for by in off], axis=0)  # what lies between the two sides is only on its way
    found = run[above | below]
    return found if len(found) and log.t[found[-1]] - log.t[found[0]] <= NEAR_H else run[:0]


def _off(log: Log, run: Array, side: Array, edge: Array) -> Array:
    """Return how far readings lie off what a side was heading for, if it could as well stop, or go twice as fast."""
    level, slope = log.line(side, log.t[edge[0]])
    way = slope * (log.t[run] - log.t[edge])
    off = log.up[run] - level - way
    return np.sign(off) * np.maximum(np.abs(off) - np.abs(way), 0.0)
