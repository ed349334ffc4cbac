"""How a dough rises and sours by the hour: forms of the simulator's own.

The curves that `leavenbench.curves` fits are not among them, so that a fit to simulated readings is honestly
tested. Each form is solved once on its own clock and then brought to a common scale, on which the steepest slope
is 1, the tangent there crosses zero at 0, and the highest point (of the acid: the end) is 1. Stretched by a
refeed's extent, steepest rate and lag it has exactly these traits. The forms are assumed; no source.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

_STEP, _STEPS = 0.02, 2000


@dataclass(frozen=True)
class Shape:
    """A curve on its common scale.

    Attributes
    ----------
    clock : numpy.ndarray, shape (n,)
        Time, in units of extent / steepest rate, from the lag on.
    level : numpy.ndarray, shape (n,)
        The curve, as a share of its extent.
    starts, peaks : float
        Where on the clock it first moves, and where it is highest.
    """

    clock: np.ndarray
    level: np.ndarray
    starts: float
    peaks: float


def _solve(
    slope: Callable[[tuple[float, ...]], tuple[float, ...]], start: tuple[float, ...]
) -> tuple[np.ndarray, np.ndarray]:
    """Solve dy/dx = slope(y) by the classical Runge-Kutta rule; return x and the last element of y."""
    state = np.array(start)
    seen = [state[-1]]
    for _ in range(_STEPS):
        k1 = np.array(slope(tuple(state)))
        k2 = np.array(slope(tuple(state + 0.5 * _STEP * k1)))
        k3 = np.array(slope(tuple(state + 0.5 * _STEP * k2)))
        k4 = np.array(slope(tuple(state + _STEP * k3)))
        state = state + _STEP * (k1 + 2.0 * k2 + 2.0 * k3 + k4) / 6.0
        seen.append(state[-1])
    return _STEP * np.arange(_STEPS + 1), np.array(seen)


def _to_scale(x: np.ndarray, level: np.ndarray, extent: float) -> Shape:
    steepness = np.gradient(level, x)
    at = int(np.argmax(steepness))
    unit = extent / steepness[at]
    lag = x[at] - level[at] / steepness[at]
    clock = (x - lag) / unit
    return Shape(clock, level / extent, float(clock[np.argmax(level > 0.0) - 1]), float(clock[np.argmax(level)]))


@lru_cache(maxsize=64)
def rise_shape(leak: float) -> Shape:
    """Return the shape of a rise that collapses after its peak.

    Yeast grows on a limited sugar and makes gas of it. The first gas only dissolves, and the dough does not move
    until the water is full. Then bubbles swell it, while gas leaks out: the faster, the more of the sugar is
    gone, since the dough ages with the fermentation.

    Parameters
    ----------
    leak : float
        Share of the gas lost per unit of the yeast's own time, when all sugar is gone.

    Returns
    -------
    Shape
        The curve on its common scale.

    Examples
    --------
    >>> shape = rise_shape(0.05)
    >>> np.interp([-0.3, 0.5, shape.peaks, 4], shape.clock, shape.level).round(2).tolist()
    [0.0, 0.5, 1.0, 0.7]
    """
    yeast, half_sugar, dissolves = 0.1, 0.5, 0.05

    def slope(state: tuple[float, ...]) -> tuple[float, ...]:
        grown, sugar, bubbles = state
        made = grown * sugar / (sugar + half_sugar)
        swells = made if 1.0 - sugar > dissolves else 0.0
        return made, -made, swells - leak * (1.0 - sugar) ** 2 * bubbles

    x, bubbles = _solve(slope, (yeast, 1.0, 0.0))
    return _to_scale(x, bubbles, float(bubbles.max()))


@lru_cache(maxsize=1)
def acid_shape() -> Shape:
    """Return the shape of the fall of pH.

    Lactic acid bacteria grow and sour, and their own acid slows both; the last tenths come slowly.

    Returns
    -------
    Shape
        The curve on its common scale.

    Examples
    --------
    >>> shape = acid_shape()
    >>> np.interp([0.5, 1, 2, 4], shape.clock, shape.level).round(2).tolist()
    [0.5, 0.83, 0.97, 0.99]
    """

    def slope(state: tuple[float, ...]) -> tuple[float, ...]:
        bacteria, soured = state
        free = max(1.0 - soured, 0.0)
        return bacteria * free, bacteria * free**1.5

    x, soured = _solve(slope, (0.05, 0.0))
    return _to_scale(x, soured, 1.0)


def stretch(shape: Shape, hours: np.ndarray, extent: np.ndarray, max_rate: np.ndarray, lag_h: np.ndarray) -> np.ndarray:
    """Return the curve with the traits given, at the hours given.

    Parameters
    ----------
    shape : Shape
        The curve on its common scale.
    hours : numpy.ndarray, shape (n,)
        Hours since feeding.
    extent, max_rate, lag_h : numpy.ndarray, shape (n,)
        Extent [the signal's unit], steepest rate [unit/h] and lag [h] of the refeed that each hour belongs to.
        A lag under ``-shape.starts * extent / max_rate`` would mean that the dough moved before it was fed.

    Returns
    -------
    numpy.ndarray, shape (n,)
        The curve, in the signal's unit.
    """
    return extent * np.interp((hours - lag_h) * max_rate / extent, shape.clock, shape.level)
