"""Hours at which a curve is steepest, stands highest, or passes a level."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from .composed import slope
from .models import Array, Model

_EVEN = np.linspace(0.0, 1.0, 65)
#: Where a growth curve is looked at: extent / rate is its unit of time, counted from the lag.
_GROWTH_TIMES = np.linspace(-1.0, 3.0, 65)
#: Where a collapse is looked at: its width is the unit of time, counted from its middle.
_COLLAPSE_TIMES = np.linspace(-6.0, 6.0, 49)


def steepest_hour(curve: Model, p: Array, last_h: float) -> float:
    """Find the hour of the steepest slope.

    Parameters
    ----------
    curve : Model
        One of `composed.CURVES`.
    p : numpy.ndarray
        Its parameters.
    last_h : float
        Hour of the last reading [h]; a collapsing curve is not looked at beyond it.

    Returns
    -------
    float
        Hour [h], not before 0.

    Examples
    --------
    >>> from leavenbench.curves.composed import CURVES
    >>> round(steepest_hour(CURVES["logistic"], np.array([10.0, 2, 3]), 12.0), 6)
    5.5
    """
    hours = _looked_at(curve, p, last_h)
    for _ in range(5):
        top = int(np.argmax(slope(curve, hours, p)))
        low, high = hours[max(top - 1, 0)], hours[min(top + 1, len(hours) - 1)]
        hours = low + (high - low) * _EVEN
    return float(0.5 * (low + high))


def peak_hour(curve: Model, p: Array, after_h: float, last_h: float) -> float:
    """Find the hour at which a collapsing curve stands highest.

    Parameters
    ----------
    curve : Model
        A collapsing curve of `composed.CURVES`.
    p : numpy.ndarray
        Its parameters.
    after_h : float
        Hour of its steepest slope [h].
    last_h : float
        Hour of the last reading [h].

    Returns
    -------
    float
        Hour [h]; infinite when the curve still rises at the last reading.

    Examples
    --------
    >>> from leavenbench.curves.composed import CURVES
    >>> round(peak_hour(CURVES["logistic with collapse"], np.array([10.0, 2, 3, 12, 1]), 5.5, 24.0), 3)
    8.98
    """
    hours = _looked_at(curve, p, last_h)
    hours = np.concatenate(([after_h], hours[hours > after_h]))
    falling = slope(curve, hours, p) <= 0.0
    if not falling.any():
        return float("inf")
    first = max(int(np.argmax(falling)), 1)
    return float(_bracketed(lambda t: -slope(curve, t, p), hours[[first - 1]], hours[[first]])[0])


def passing(curve: Model, p: Array, levels: Array, low: float, high: float) -> Array:
    """Find the hours at which a curve passes levels, on a stretch where it only rises or only falls.

    Parameters
    ----------
    curve : Model
        One of `composed.CURVES`.
    p : numpy.ndarray
        Its parameters.
    levels : numpy.ndarray, shape (m,)
        The levels, in the curve's unit.
    low, high : float
        The stretch [h].

    Returns
    -------
    numpy.ndarray, shape (m,)
        Hours [h]; NaN for a level that is not passed on the stretch.

    Examples
    --------
    >>> from leavenbench.curves.composed import CURVES
    >>> passing(CURVES["logistic"], np.array([10.0, 2, 3]), np.array([5.0, 11.0]), 0.0, 24.0).round(6).tolist()
    [5.5, nan]
    """
    ends = curve.value(np.array([low, high]), p)
    way = 1.0 if ends[1] >= ends[0] else -1.0
    passed = (way * ends[0] < way * levels) & (way * levels <= way * ends[1])
    found = _bracketed(
        lambda t: way * (curve.value(t, p) - levels[:, None]),
        np.full(len(levels), low),
        np.full(len(levels), high),
    )
    return np.where(passed, found, np.nan)


def _looked_at(curve: Model, p: Array, last_h: float) -> Array:
    """Hours dense where the curve bends, and even over the readings."""
    of = dict(zip(curve.parameters, p, strict=True))
    hours = [last_h * _EVEN, of["lag_h"] + of["extent"] / of["max_rate"] * _GROWTH_TIMES]
    if "half_gone_h" in of:
        hours.append(of["half_gone_h"] + of["fall_width_h"] * _COLLAPSE_TIMES)
    together = np.sort(np.concatenate(hours))
    until = last_h if "half_gone_h" in of else np.inf
    return together[(together >= 0.0) & (together <= until)]


def _bracketed(passes: Callable[[Array], Array], low: Array, high: Array) -> Array:
    """Close in on where a function passes from below zero to above, on stretches of one passage; each (m,)."""
    rows = np.arange(len(low))
    for _ in range(4):
        hours = low[:, None] + (high - low)[:, None] * _EVEN
        values = passes(hours)
        first = np.argmax(values >= 0.0, axis=1).clip(1)
        low, high = hours[rows, first - 1], hours[rows, first]
    under, over = -values[rows, first - 1], values[rows, first]
    # so near, the function is a straight line
    return low + (high - low) * np.divide(under, under + over, out=np.full(len(low), 0.5), where=under + over > 0.0)
