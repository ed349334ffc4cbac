"""A jar that was moved: a step that lasts, and that no dough makes. Later readings are shifted back by it.

A dough leaps down when it collapses: such a step stays, unless the jar rises on as if nothing had happened, or leaps
back, or stands lower than it began.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from typing import NamedTuple

import numpy as np

from ..models import Array
from ..traits import START_H
from .leaps import Leaps
from .log import FEWEST, NEAR_H, Log, listed
from .spikes import FAR_OFF, without_spikes

#: A step is so many times what is far at least: a large bubble that bursts makes a smaller one.
_PLAIN = 1.5
#: After a step a jar rises on as before: at this share of the pace, or by this share of the step.
_AS_BEFORE = 1.0 / 3.0


class _Step(NamedTuple):
    """A leap, or some close together, and what lasts of it.

    Attributes
    ----------
    here, there : int
        The last reading before and the first after it.
    by : float
        How far apart the readings before and after are, in the unit read.
    to_and_fro, undone : bool
        Whether it goes both ways itself, and whether another one undoes it.
    """

    here: int
    there: int
    by: float
    to_and_fro: bool
    undone: bool = False


def moved_back(log: Log, leaps: Leaps) -> Log:
    """Shift back what was read after a jar was moved, and set aside what was read meanwhile."""
    up, meanwhile, where = log.up, [np.zeros(0, int)], []
    for step in _steps(log, leaps):
        moved = _was_moved(replace(log, up=up), leaps, step)
        if moved:
            up = np.append(up[: step.there], up[step.there :] - step.by)
            leaps = leaps.shifted(step.there, step.by)
            by = f"{log.instrument.sign * step.by:+.3g} {log.instrument.unit}"
            where.append(f"{by} at {log.t[step.there]:.3g} h")
        if moved or step.to_and_fro:
            meanwhile.append(np.arange(step.here + 1, step.there))
    if where:
        what = "jar" if log.rises else "probe"
        said = f"the {what} was moved by {listed(where)}: later readings are shifted back"
        log = replace(log, up=up, said=(*log.said, said))
    between = np.concatenate(meanwhile)
    return without_spikes(log.without(between, FAR_OFF)) if where or len(between) else log


def _steps(log: Log, leaps: Leaps) -> list[_Step]:
    """Put leaps together that are near one another, and measure what lasts of them."""
    if not len(leaps.after):
        return []
    near = np.split(leaps.after, np.flatnonzero(np.diff(log.t[leaps.after]) > NEAR_H) + 1)
    ways = np.split(leaps.way, np.cumsum([len(some) for some in near])[:-1])
    found, since, nexts = [], 0, [some[0] for some in near[1:]]
    for some, way, until in zip(near, ways, [*nexts, len(log.t)], strict=True):
        here, there = int(some[0]), int(some[-1]) + 1
        before, after = log.sides(here + 1, there - 1)
        before, after = before[before >= since], after[after <= until]
        if len(before) >= FEWEST and len(after) >= FEWEST:
            found.append(_Step(here, there, _apart(log, before, after), bool(way.min() < 0.0 < way.max())))
        since = there
    return _evened(found, leaps.far)


def _apart(log: Log, before: Array, after: Array) -> float:
    """Return how far apart two stretches of readings are if they have one slope."""
    both = np.concatenate([before, after])
    since = log.t[both] - log.t[before[-1]]
    columns = np.column_stack([np.ones(len(both)), since, both > before[-1]])
    return float(np.linalg.lstsq(columns, log.up[both], rcond=None)[0][2])


def _evened(steps: list[_Step], far: float) -> list[_Step]:
    """Let a step and a later one that undoes it be equally large."""
    found = list(steps)
    for one, other in combinations(range(len(steps)), 2):
        first, second = found[one], found[other]
        if abs(first.by + second.by) <= far and not (first.undone or second.undone):
            by = (first.by - second.by) / 2.0
            found[one], found[other] = first._replace(by=by, undone=True), second._replace(by=-by, undone=True)
    return found


def _was_moved(log: Log, leaps: Leaps, step: _Step) -> bool:
    """Whether a step is none that a dough can make."""
    here, there, *_ = step
    if abs(step.by) < _PLAIN * log.least:
        return False
    if step.by > 0.0 or step.undone or not log.rises:
        return True
    before, after = log.sides(here + 1, there - 1, hours=2.0 * NEAR_H)
    level, pace = log.line(before, log.t[here])
    under_its_start = log.t[0] <= START_H and level + step.by < leaps.behind[:there].min() - leaps.far
    return bool(under_its_start or _rises_on(log, leaps, step, pace, log.line(after, log.t[there])[1]))


def _rises_on(log: Log, leaps: Leaps, step: _Step, pace: float, pace_after: float) -> bool:
    """Whether a jar was rising before a step down, and rises on after it."""
    later = leaps.ahead[step.there :]
    risen = float((later - np.minimum.accumulate(later)).max())
    plain = max(log.least, leaps.far / 2.0)
    as_before = pace_after >= _AS_BEFORE * pace or risen >= _AS_BEFORE * -step.by
    return pace >= plain and risen >= plain and as_before
