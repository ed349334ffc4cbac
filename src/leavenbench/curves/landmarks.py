"""Hours at which curves are steepest, stand highest, or pass a level, each of many curves at once.

A growth curve tells its hours in closed form; one that collapses is looked at where it bends, closer and closer.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from .composed import CURVES, fall_width_h, slope
from .models import GROWTH, Array, inflection_share, time_of_share

_EVEN, _CLOSER = np.linspace(0.0, 1.0, 33)[:, None], np.linspace(0.0, 1.0, 17)[:, None]
#: Where the growth of a collapsing curve is looked at: extent / rate is its unit of time, counted from the lag.
_GROWTH_TIMES = np.linspace(-1.0, 3.0, 65)[:, None]
#: Where its collapse is looked at: the width is the unit of time, counted from the hour at which half is gone.
_COLLAPSE_TIMES = np.linspace(-6.0, 6.0, 49)[:, None]
#: How often a stretch is divided: to 1 / 8 or 1 / 16 of it each time.
_ROUNDS = 5


def steepest_hour(name: str, p: Array, last_h: Array) -> Array:
    """Find the hour of the steepest slope.

    Parameters
    ----------
    name : str
        A name in `composed.CURVES`.
    p : numpy.ndarray, shape (p, m)
        Its parameters.
    last_h : numpy.ndarray, shape (m,)
        Hour of the last reading [h]; a collapsing curve is not looked at beyond it.

    Returns
    -------
    numpy.ndarray, shape (m,)
        Hour [h], not before 0.

    Examples
    --------
    >>> steepest_hour("logistic", np.array([[10.0], [2], [3]]), np.array([12.0])).round(6).tolist()
    [5.5]
    """
    if name in GROWTH:
        return np.maximum(_hour_of_share(name, p, inflection_share(name, *p[3:])), 0.0)
    hours, curves = _looked_at(name, p, last_h), np.arange(p.shape[1])
    for _ in range(_ROUNDS):
        top = np.argmax(slope(CURVES[name], hours, p), axis=0)
        low, high = hours[np.maximum(top - 1, 0), curves], hours[np.minimum(top + 1, len(hours) - 1), curves]
        hours = low + (high - low) * _CLOSER
    return _top_of_parabola(hours, slope(CURVES[name], hours, p))


def peak_hour(name: str, p: Array, after_h: Array, last_h: Array) -> Array:
    """Find the hour at which a collapsing curve stands highest.

    Parameters
    ----------
    name : str
        A collapsing curve of `composed.CURVES`.
    p : numpy.ndarray, shape (p, m)
        Its parameters.
    after_h, last_h : numpy.ndarray, shape (m,)
        Hours of its steepest slope and of the last reading [h].

    Returns
    -------
    numpy.ndarray, shape (m,)
        Hour [h]; infinite when the curve does not turn down between its steepest hour and the last reading.

    Examples
    --------
    >>> p = np.array([[10.0], [2], [3], [9], [9]])
    >>> peak_hour("logistic with collapse", p, np.array([5.5]), np.array([24.0])).round(3).tolist()
    [8.98]
    """
    curve, curves = CURVES[name], np.arange(p.shape[1])
    hours = np.maximum(_looked_at(name, p, last_h), after_h)
    falling = (slope(curve, hours, p) <= 0.0) & (hours > after_h)
    first = np.argmax(falling, axis=0)
    low, high = hours[np.maximum(first - 1, 0), curves], hours[first, curves]
    found = _bracketed(lambda t: -slope(curve, t, p), low, high)
    return np.where(falling.any(axis=0), found, np.inf)


def passing(name: str, p: Array, levels: Array, low: Array, high: Array) -> Array:
    """Find the hours at which curves pass levels, on a stretch where each only rises or only falls.

    Parameters
    ----------
    name : str
        A name in `composed.CURVES`.
    p : numpy.ndarray, shape (p, m)
        Its parameters.
    levels : numpy.ndarray, shape (m,)
        The level of each curve, in its unit.
    low, high : numpy.ndarray, shape (m,)
        The stretch [h].

    Returns
    -------
    numpy.ndarray, shape (m,)
        Hours [h]; NaN for a level that is not passed on the stretch.

    Examples
    --------
    >>> p = np.array([[10.0, 10], [2, 2], [3, 3]])
    >>> passing("logistic", p, np.array([5.0, 11.0]), np.zeros(2), np.full(2, 24.0)).round(6).tolist()
    [5.5, nan]
    """
    value = CURVES[name].value
    ends = value(low, p), value(high, p)
    way = np.where(ends[1] >= ends[0], 1.0, -1.0)
    passed = (way * ends[0] < way * levels) & (way * levels <= way * ends[1])
    if name in GROWTH:
        found = np.clip(_hour_of_share(name, p, np.where(passed, levels / p[0], 0.5)), low, high)
    else:
        found = _bracketed(lambda t: way * (value(t, p) - levels), low, high)
    return np.where(passed, found, np.nan)


def _hour_of_share(growth: str, p: Array, share: Array) -> Array:
    extent, rate, lag, *shape = p
    return lag + extent / rate * time_of_share(growth, share, *shape)


def _looked_at(name: str, p: Array, last_h: Array) -> Array:
    """Hours dense where a collapsing curve bends, and even over the readings, shape (n, m)."""
    of = dict(zip(CURVES[name].parameters, p, strict=True))
    half = of["half_gone_after_h"]
    hours = [
        last_h * _EVEN,
        of["lag_h"] + of["extent"] / of["max_rate"] * _GROWTH_TIMES,
        of["lag_h"] + half + fall_width_h(half, of["fall_sharpness"]) * _COLLAPSE_TIMES,
    ]
    return np.sort(np.clip(np.concatenate(hours), 0.0, last_h), axis=0)


def _top_of_parabola(hours: Array, values: Array) -> Array:
    """Return the top of the parabola through the highest of even points and its neighbours."""
    curves = np.arange(hours.shape[1])
    top = np.clip(np.argmax(values, axis=0), 1, len(hours) - 2)
    before, here, after = (values[top + beside, curves] for beside in (-1, 0, 1))
    bend = before - 2.0 * here + after
    beside = np.clip(0.5 * (before - after) / np.where(bend < 0.0, bend, -np.inf), -1.0, 1.0)
    return hours[top, curves] + beside * (hours[1] - hours[0])


def _bracketed(passes: Callable[[Array], Array], low: Array, high: Array) -> Array:
    """Close in on where functions pass from below zero to above, on stretches of one passage; each (m,)."""
    curves = np.arange(len(low))
    for _ in range(_ROUNDS):
        hours = low + (high - low) * _CLOSER
        values = passes(hours)
        first = np.argmax(values >= 0.0, axis=0).clip(1)
        low, high = hours[first - 1, curves], hours[first, curves]
    under, over = -values[first - 1, curves], values[first, curves]
    # so near, the function is a straight line
    return low + (high - low) * np.divide(under, under + over, out=np.full(len(low), 0.5), where=under + over > 0.0)
