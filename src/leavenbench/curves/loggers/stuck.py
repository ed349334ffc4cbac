"""What a sensor shows while it is stuck: the same again and again, while the dough moves on.

So does a dough that rests, read to the millimetre. But a stuck sensor leaps when it comes free, or was moving when it
stopped.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..models import Array
from .leaps import Leaps
from .log import FEWEST, Log

#: By itself, a run of equal readings is stuck when it is so long, and so many times as long as any that may rest...
_LONG, _LONGER = 10, 2.0
#: ...in a log that turns up or down at this share of its readings or more.
_RESTLESS = 0.25
#: A sensor that stopped was moving at least so many times what is far, in an hour.
_STOPPED_DEAD = 2.0


class _Run(NamedTuple):
    """A run of equal readings.

    Attributes
    ----------
    first, last : int
        Its readings.
    into, out : float
        The leaps by which it is entered and left; 0 for none.
    ends : bool
        Whether nothing comes after it.
    singular : bool
        Whether it is too long to be chance.
    """

    first: int
    last: int
    into: float
    out: float
    ends: bool
    singular: bool


def without_stuck(log: Log, leaps: Leaps) -> Log:
    """Set aside what a sensor showed while it was stuck."""
    found = [run for run in _runs(log, leaps) if _is_stuck(log, run)]
    if not found:
        return log
    these = np.concatenate([np.arange(run.first, run.last + 1) for run in found])
    return log.without(these, "of a sensor that was stuck", [_where(log, run) for run in found])


def _where(log: Log, run: _Run) -> str:
    level = f"{log.instrument.sign * log.up[run.first]:.4g} {log.instrument.unit}"
    return f"{level} from {log.t[run.first]:.3g} to {log.t[run.last]:.3g} h"


def _runs(log: Log, leaps: Leaps) -> list[_Run]:
    """Return the runs of equal readings after which, or before which, something happened."""
    begin, end = log.stretch
    new = (np.diff(log.up, prepend=np.nan) != 0.0) | (np.arange(len(log.t)) == begin)
    number = np.cumsum(new) - 1
    first, many = np.flatnonzero(new), np.bincount(number)
    last = first + many - 1
    into, out, ends = np.zeros(len(first)), np.zeros(len(first)), last + 1 == end[first]
    into[number[leaps.after + 1]], out[number[leaps.after]] = leaps.way, leaps.way
    resting = many[(into == 0.0) & (out == 0.0) & ~ends].max(initial=1)
    singular = (many >= _LONG) & (many > _LONGER * resting) & _is_restless(log.up, many)
    told = np.flatnonzero((many >= FEWEST) & ((into != 0.0) | (out != 0.0) | ends | singular))
    return [_Run(*(it[run] for it in (first, last, into, out, ends, singular))) for run in told]


def _is_restless(up: Array, many: Array) -> bool:
    """Whether readings go up and down, as those of a sensor do whose noise is no smaller than its finest step."""
    step = np.diff(up)
    turns = int((step[1:] * step[:-1] < 0.0).sum())
    return turns > _RESTLESS * (len(up) - many[many >= _LONG].sum())


def _is_stuck(log: Log, run: _Run) -> bool:
    """Whether a run is left as it was entered, or too long and at a leap, or stopped while the dough was moving."""
    if run.into * run.out < 0.0 or (run.singular and (run.into != 0.0 or run.out != 0.0)):
        return True
    before, _ = log.sides(run.first, run.last)
    pace = log.line(before, log.t[run.first])[1] if len(before) >= FEWEST else 0.0
    missed = pace * min(log.t[run.last] - log.t[run.first], 1.0)
    came_free = run.out > 0.0 and missed >= log.least
    surely = run.singular or run.into > 0.0
    stopped = run.into >= 0.0 and missed >= log.least * (1.0 if surely else _STOPPED_DEAD)
    return bool(came_free or (stopped and (run.ends or run.singular)))
