"""Whether a risen jar was seen to fall again, beyond what the readings scatter."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .blocks import Observed
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
        Which of its readings is the highest, and the first that has fallen.
    fallen : numpy.ndarray of int, shape (m,)
        How many have.
    """

    seen: Array
    peak: Array
    first_fallen: Array
    fallen: Array


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
    return Falls(rises & (peak > 0) & has[first + readings - 1], peak, first_fallen, fallen)
