"""Whether a risen jar was seen to fall again, beyond what the readings scatter."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .models import Array
from .noise import INSTRUMENTS

#: A reading has fallen when it lies under the highest one by so many times the noise of its kind...
_BEYOND_NOISE = 3.0
#: ...and by this share of the range read, since the noise of a kind is a usual value; common practice, no source.
_OF_RANGE = 0.10


class Fall(NamedTuple):
    """A fall that was seen: which reading is the peak, which is the first that has fallen, and how many have."""

    peak: int
    first_fallen: int
    fallen: int


def visible_fall(y: Array, kind: str) -> Fall | None:
    """Look for a fall from the peak that lasts to the last reading.

    Parameters
    ----------
    y : numpy.ndarray, shape (n,)
        Readings of a rise, in the order of time.
    kind : str
        Kind of the readings, a name in `noise.INSTRUMENTS`.

    Returns
    -------
    Fall or None

    Examples
    --------
    >>> visible_fall(np.array([40.0, 44, 70, 88, 86, 71, 60]), "height_mm")
    Fall(peak=3, first_fallen=5, fallen=2)
    >>> visible_fall(np.array([40.0, 44, 70, 88, 86, 85]), "height_mm") is None
    True
    """
    peak = int(np.argmax(y))
    deep = max(_BEYOND_NOISE * INSTRUMENTS[kind].noise, _OF_RANGE * float(np.ptp(y)))
    fallen = np.flatnonzero(y[peak:] < y[peak] - deep) + peak
    if peak == 0 or not len(fallen) or fallen[-1] != len(y) - 1:
        return None  # what only sinks from the first reading on never rose
    return Fall(peak, int(fallen[0]), len(fallen))
