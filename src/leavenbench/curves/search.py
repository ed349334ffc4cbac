"""From the readings of a block to the optimum of one kind of curve: start, bounds, search."""

from __future__ import annotations

import numpy as np

from .composed import LEVELS, WITH_COLLAPSE
from .engine import AT_REST, Belief, Optimum, optimum
from .engine.normal import parts
from .models import Array, Model
from .starts import starts

#: A slope so many times as steep as the steepest line between two readings is a step.
_A_STEP = 10.0
#: An asymptote so many times as far as the readings came is out of sight.
_OUT_OF_SIGHT = 5.0
#: The least sharpness of a fall: the same share is lost every hour.
_LEAKS = -4.0
#: A Richards shape outside this is the Gompertz, or a straight line with a corner: no curve of its own.
OWN_SHAPE = (0.02, 10.0)
#: Readings whose bounds are looked for together.
_TOGETHER = 65_536


def search(
    growth: str,
    t: Array,
    up: Array,
    weight: Array | None = None,
    peak: Array | None = None,
    start: Array | None = None,
    tolerance: float = AT_REST,
    finest: float = 0.0,
    belief: Belief | None = None,
    wanted: Array | None = None,
) -> Optimum:
    """Fit one kind of curve to every column of a block.

    Parameters
    ----------
    growth : str
        A name in `models.GROWTH`.
    t : numpy.ndarray, shape (n, m)
        Times of the readings [h], ascending; one that is not there repeats the last.
    up : numpy.ndarray, shape (n, m)
        The readings, turned so that activity raises them; one that is not there repeats the last.
    weight : numpy.ndarray, shape (n, m), optional
        Weights; 0 for a reading that is not there.
    peak : numpy.ndarray of int, shape (m,), optional
        Which reading is the peak, for curves that collapse after it.
    start : numpy.ndarray, shape (p, m), optional
        Where the searches begin; read off the readings if not given.
    tolerance, finest, belief, wanted
        As for `engine.optimum`.

    Returns
    -------
    Optimum
        Of the curve in ``composed.LEVELS``; not settled where no curve moves with the readings.

    Examples
    --------
    >>> hours = np.array([[0.0, 1, 2, 3, 4, 5, 6, 8]]).T
    >>> found = search("logistic", hours, np.array([[40.0, 40, 41, 46, 62, 75, 79, 80]]).T)
    >>> found.parameters[:, 0].round(2).tolist()
    [39.84, 39.99, 18.56, 2.82]
    """
    model = LEVELS[growth if peak is None else growth + WITH_COLLAPSE]
    begin = starts(growth, t, up, weight, peak) if start is None else start
    low, high = bounds(model, t, up, believed=belief is not None)
    return optimum(model, t, up, begin, weight, low, high, tolerance, finest=finest, belief=belief, wanted=wanted)


def bounds(model: Model, t: Array, up: Array, *, believed: bool = False) -> tuple[Array, Array]:
    """Return bounds of the parameters.

    A jar cannot begin before it was fed, nor lose its gas ever more slowly, and a shape has its limits. A slope many
    times as steep as any between two readings is a step to them, and an asymptote many times as far as they came is
    out of sight: how steep, or how far, they cannot tell, and a search could go on for ever.

    Parameters
    ----------
    model : Model
        A curve in ``composed.LEVELS``.
    t, up : numpy.ndarray, shape (n, m)
        As for `search`.
    believed : bool
        Whether a belief keeps extent and slope from going on for ever.

    Returns
    -------
    low, high : numpy.ndarray, shape (p, m)
        Infinite where there is none.
    """
    low = np.full((len(model.parameters), t.shape[1]), -np.inf)
    high = -low
    falls = "fall_sharpness" in model.parameters
    if "nu" in model.parameters:
        low[model.place("nu")], high[model.place("nu")] = OWN_SHAPE
    low[model.place("lag_h")] = 0.0
    if falls:
        low[model.place("fall_sharpness")] = _LEAKS
    with np.errstate(all="ignore"):
        for part in parts(t.shape[1], len(t), _TOGETHER):
            line = np.diff(t[:, part], axis=0)
            line[line <= 0.0] = np.inf
            np.divide(np.diff(up[:, part], axis=0), line, out=line)
            span = np.ptp(up[:, part], axis=0)
            if not believed:
                high[model.place("extent"), part] = _OUT_OF_SIGHT * span
                high[model.place("max_rate"), part] = _A_STEP * line.max(axis=0)
            if falls:  # at its steepest one loses a quarter of the rise in its width; no steeper than was read
                width = span / (-4.0 * line.min(axis=0))
                high[model.place("fall_sharpness"), part] = np.maximum(t[-1, part] / width, 1.0)
    return low, high
