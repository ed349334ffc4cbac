"""Where the search for a curve begins: read off the readings, then scored.

Two times at which the lightly smoothed readings cross a share of their range give a lag and a relative rate, under
several guesses of how much of the rise was seen. A curve is linear in its start and its extent, so that each
guess is scored exactly with those two at their best.
"""

from __future__ import annotations

import numpy as np

from .composed import CURVES, WITH_COLLAPSE
from .models import Array

#: Shares of the range at which the readings are crossed.
_CROSSED = (0.2, 0.7)
#: Guesses of the asymptote, as a multiple of the range seen.
_PLATEAUS = (1.0, 1.1, 1.4, 2.2)
#: Guesses of the relative rate, as a multiple of the one the crossing times give.
_PACES = (0.7, 1.0, 1.6)
#: Shape (the nu of Richards' curve) that stands for each form: 1 is the logistic, near 0 the Gompertz.
_SHAPES = {"logistic": (1.0,), "gompertz": (1e-4,), "richards": (0.3, 1.0, 3.0)}
#: Guesses of when half the gas is gone and over what width, as shares of the time from the peak to the end.
_HALF_GONE = (0.3, 0.7, 1.2)
_WIDTHS = (0.05, 0.2, 0.5)
#: Readings on which guesses are scored: more do not make the choice better.
_SCORED = 64


def starts(growth: str, t: Array, y: Array, sign: float, peak: int | None = None) -> Array:
    """Good starts for a curve on a fitted start, the best first.

    Parameters
    ----------
    growth : str
        A name in `models.GROWTH`.
    t : numpy.ndarray, shape (n,)
        Times of the readings [h], ascending.
    y : numpy.ndarray, shape (n,)
        The readings.
    sign : float
        1 for a rise, -1 for the fall of a pH.
    peak : int, optional
        Which reading is the peak, for a curve that collapses after it.

    Returns
    -------
    numpy.ndarray, shape (m, p)
        Parameters of ``level_curve``, best first; empty when no guess moves with the readings.

    Examples
    --------
    >>> hours = np.array([0.0, 2, 4, 6, 8, 10])
    >>> starts("logistic", hours, np.array([40.0, 40, 52, 77, 80, 80]), 1.0)[0].round(1).tolist()
    [38.5, 41.9, 13.6, 2.9]
    """
    up = sign * y
    grown = len(t) if peak is None else peak + 1
    # a jump between two readings taken together still needs a rate that a computer can hold
    shortest = 1e-3 * float(t[-1] - t[0])
    guesses = _growth_guesses(growth, t[:grown], up[:grown], shortest)
    name = growth
    if peak is not None:
        guesses = _with_collapse_guesses(guesses, t[peak], t[-1])
        name = growth + WITH_COLLAPSE
    return _scored(name, guesses, t, up, sign)


def _growth_guesses(growth: str, t: Array, up: Array, shortest: float) -> Array:
    """Guesses for a curve of extent 1, shape (parameters, m)."""
    early, late = _crossing_times(t, up)
    late = max(late, early + shortest)
    found = []
    for nu in _SHAPES[growth]:
        for plateau in _PLATEAUS:
            first, second = (_unit_time(share / plateau, nu) for share in _CROSSED)
            for pace in _PACES:
                rate = pace * (second - first) / (late - early)
                middle = 0.5 * (early + late) - 0.5 * (first + second) / rate
                found.append((1.0, rate, max(middle, 0.0), nu))
    guesses = np.array(found).T
    return guesses if growth == "richards" else guesses[:3]


def _crossing_times(t: Array, up: Array) -> tuple[float, float]:
    """When the lightly smoothed readings first pass the two shares of their range."""
    smooth = up.copy()
    smooth[1:-1] = 0.25 * up[:-2] + 0.5 * up[1:-1] + 0.25 * up[2:]
    climbed = np.maximum.accumulate(smooth) - smooth.min()
    early, late = (_first_passing(t, climbed, share * climbed[-1]) for share in _CROSSED)
    return early, late


def _first_passing(t: Array, climbed: Array, level: float) -> float:
    after = int(np.argmax(climbed >= level))
    if after == 0:
        return float(t[0])
    gain = climbed[after] - climbed[after - 1]
    share = (level - climbed[after - 1]) / gain if gain > 0.0 else 1.0
    return float(t[after - 1] + share * (t[after] - t[after - 1]))


def _unit_time(share: float, nu: float) -> float:
    """When a Richards curve of extent 1, rate 1 and lag 0 stands at a share of its extent."""
    steep = np.exp((1.0 + 1.0 / nu) * np.log1p(nu))
    return float((np.log(nu) + 1.0 + nu - np.log(np.expm1(-nu * np.log(share)))) / steep)


def _with_collapse_guesses(guesses: Array, peak_h: float, last_h: float) -> Array:
    """Every growth guess with every guess of the collapse."""
    fall = last_h - peak_h
    centre, width = np.meshgrid(peak_h + fall * np.array(_HALF_GONE), fall * np.array(_WIDTHS))
    falls = np.stack((centre.ravel(), width.ravel()))
    many = falls.shape[1]
    return np.concatenate((np.repeat(guesses, many, axis=1), np.tile(falls, guesses.shape[1])))


def _scored(name: str, guesses: Array, t: Array, up: Array, sign: float) -> Array:
    """Guesses with start and extent at their least-squares best, the smallest residual sum first."""
    if len(t) > _SCORED:
        chosen = np.linspace(0, len(t) - 1, _SCORED).round().astype(int)
        t, up = t[chosen], up[chosen]
    with np.errstate(all="ignore"):
        shapes = CURVES[name].value(t, guesses[:, :, None])
    centred = shapes - shapes.mean(axis=1, keepdims=True)
    along, size = centred @ (up - up.mean()), (centred**2).sum(axis=1)
    usable = (along > 0.0) & (size > 0.0) & np.isfinite(along / np.where(size > 0.0, size, 1.0))
    guesses, shapes, along, size = guesses[:, usable], shapes[usable], along[usable], size[usable]
    extent = along / size
    order = np.argsort(-along * extent, kind="stable")
    start = sign * (up.mean() - extent * shapes.mean(axis=1))
    scaled = np.concatenate((start[None], extent[None], (guesses[1] * extent)[None], guesses[2:]))
    return scaled[:, order].T
