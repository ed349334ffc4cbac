"""Whether a risen jar was seen to fall again, beyond what the readings scatter.

A smear line far above all readings shows it too: next morning the dough has sunk again. The peak then lies between two
readings, where the dough had to hurry least, or after the last.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .blocks import Block, Observed, blocks
from .models import Array
from .noise import INSTRUMENTS

#: A reading has fallen when it lies under the highest one by so many times the noise of its kind...
_BEYOND_NOISE = 3.0
#: ...and by this share of the range read, since the noise of a kind is a usual value; common practice, no source.
_OF_RANGE = 0.10


class Falls(NamedTuple):
    """Falls that were seen, each array with one element per signal.

    Attributes
    ----------
    seen : numpy.ndarray of bool, shape (m,)
        Whether it fell.
    peak, first_fallen : numpy.ndarray of int, shape (m,)
        Which of its readings is the highest, or the last before the smear line was drawn, and the first that has
        fallen.
    fallen : numpy.ndarray of int, shape (m,)
        How many have.
    """

    seen: Array
    peak: Array
    first_fallen: Array
    fallen: Array

    def read_by(self, observed: Observed) -> Array:
        """Whether the readings themselves fall from the peak, shape (m,).

        A fall that only the smear line shows was not read: no curve can follow it down.
        """
        if not len(observed.first):
            return self.seen
        return observed.y[observed.first + self.peak] == np.maximum.reduceat(observed.y, observed.first)


def visible_falls(observed: Observed) -> Falls:
    """Look for falls from the peak that last to the last reading.

    Parameters
    ----------
    observed : Observed
        Signals with one reading or more each; a pH never counts as fallen.

    Returns
    -------
    Falls

    Examples
    --------
    >>> heights = np.array([40.0, 44, 70, 88, 86, 71, 60])
    >>> visible_falls(Observed(np.arange(7.0), heights, np.array([0]), np.array(["height_mm"])))
    Falls(seen=array([ True]), peak=array([3]), first_fallen=array([5]), fallen=array([2]))
    """
    y, first, readings = observed.y, observed.first, observed.readings
    if not len(first):
        none = np.zeros(0, int)
        return Falls(none.astype(bool), none, none, none)
    highest, lowest = np.maximum.reduceat(y, first), np.minimum.reduceat(y, first)
    noise = np.array([INSTRUMENTS[kind].noise for kind in observed.kind])
    if observed.weight is not None:
        noise = noise / np.minimum.reduceat(observed.weight, first)
    deep = np.maximum(_BEYOND_NOISE * noise, _OF_RANGE * (highest - lowest))
    place = np.arange(len(y)) - np.repeat(first, readings)
    peak = np.minimum.reduceat(np.where(y == np.repeat(highest, readings), place, len(y)), first)
    has = (y < np.repeat(highest - deep, readings)) & (place > np.repeat(peak, readings))
    fallen = np.add.reduceat(has, first, dtype=int)
    first_fallen = np.minimum.reduceat(np.where(has, place, len(y)), first)
    rises = np.array([INSTRUMENTS[kind].sign > 0.0 for kind in observed.kind])
    # what only sinks from the first reading on never rose
    falls = Falls(rises & (peak > 0) & has[first + readings - 1], peak, first_fallen, fallen)
    if observed.mark is not None:
        with np.errstate(invalid="ignore"):
            towers = np.flatnonzero(rises & (observed.mark > highest + deep))
        for block in blocks(observed, towers, readings[towers]):
            _by_mark(falls, block, deep[block.signals])
    return falls


def _by_mark(falls: Falls, block: Block, deep: Array) -> None:
    """Write down the falls of jars whose smear line stands far above all readings."""
    before = _last_before_peak(block, deep)
    fallen = block.readings - 1 - before
    for all_of_it, of_block in zip(falls, (fallen > 0, before, before + 1, fallen), strict=True):
        all_of_it[block.signals] = of_block


def _last_before_peak(block: Block, deep: Array) -> Array:
    """Return after which reading the dough rose to its smear line with the least hurry, sinking ever since."""
    t, y, last = block.t, block.y, block.readings - 1
    if block.mark is None or block.mark_h is None:
        return last
    so_far, yet_to_come = np.maximum.accumulate(y), np.maximum.accumulate(y[::-1])[::-1]
    only_rose = np.logical_and.accumulate(y >= so_far - deep)
    only_sank = np.logical_and.accumulate((y >= yet_to_come - deep)[::-1])[::-1]
    apart = np.diff(t, axis=0, append=np.fmax(block.mark_h, t[-1])[None])
    way = block.mark - y
    way[:-1] += block.mark - y[1:]
    possible = only_rose & np.vstack((only_sank[1:], np.ones_like(last, bool))) & (apart > 0.0)
    hurry = np.where(possible, way / np.where(possible, apart, 1.0), np.inf)
    return np.where(np.isfinite(hurry).any(axis=0), np.minimum(hurry.argmin(axis=0), last), last)
