"""Where the search for each curve begins: read off its readings, then scored.

Two times at which the lightly smoothed readings cross a share of their range give a lag and a relative rate, under
several guesses of how much of the rise was seen. A curve is linear in its start and its extent, so that each guess
is scored exactly, with those two at their best.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from .composed import LEVELS, WITH_COLLAPSE, share_held
from .engine.normal import column_sums, parts
from .models import GROWTH, Array, time_of_share

#: Shares of the range at which the readings are crossed.
_CROSSED = (0.2, 0.7)
_SHARES = np.array(_CROSSED)[:, None]
#: Guesses of the asymptote, as a multiple of the range seen, the last for a change as even as can be; one where a fall
#: shows that the peak was near.
_PLATEAUS, _PLATEAUS_BEFORE_A_FALL = (1.0, 2.0, 1.0), (1.2,)
#: Guesses of what the peak would be had nothing been lost yet, as a multiple of it, and of the width of the fall as
#: a multiple of the one that the crossing times give.
_PEAKS, _WIDTHS = (1.05, 1.3), (1.0, 0.3)
#: Guess of the shape of a Richards curve.
_NU = 0.5
#: Sharpness of a fall in which nearly the same share is lost every hour: just inside the bound of a search.
_LEAKS = -3.0
#: Shortest time between the crossings, as a share of the time read: what a computer can hold.
_SHORTEST = 1e-3
#: A best guess whose F ratio lies under this quantile is taken for chance. Guesses are no optima, so that this is so in
#: four of five jars where nothing moves; among changes that the tests of `activity` would find, in hardly any.
_CHANCE = 0.2
#: What moves by this share of the level does not move.
_ROUNDING = 1e-14
#: Readings on which guesses are scored: more do not make the choice better.
_SCORED = 20
#: Readings that are worked on together.
_TOGETHER = 16_384


def starts(growth: str, t: Array, up: Array, weight: Array | None = None, peak: Array | None = None) -> Array:
    """Find a good start for every curve of a block.

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

    Returns
    -------
    numpy.ndarray, shape (p, m)
        Parameters of the curve in ``composed.LEVELS``; NaN where no guess moves with the readings more than by chance.

    Examples
    --------
    >>> hours = np.array([[0.0, 2, 4, 6, 8, 10]]).T
    >>> starts("logistic", hours, np.array([[40.0, 40, 52, 77, 80, 80]]).T)[:, 0].round(1).tolist()
    [36.5, 46.3, 9.4, 2.1]
    """
    curves = t.shape[1]
    found = np.empty((len(LEVELS[growth if peak is None else growth + WITH_COLLAPSE].parameters), curves))
    with np.errstate(all="ignore"):
        for part in parts(curves, min(len(t), _SCORED), _TOGETHER):
            weighed, top = None if weight is None else weight[:, part], None if peak is None else peak[part]
            found[:, part] = _best_guess(growth, *_thinned(t[:, part], up[:, part], weighed, top))
    return found


def _thinned(
    t: Array, up: Array, weight: Array | None, peak: Array | None
) -> tuple[Array, Array, Array | None, Array | None]:
    """Return a part of the readings of each curve, spread evenly, its first, last and peak among them."""
    if len(t) <= _SCORED:
        return t, up, weight, peak
    there = np.full(t.shape[1], len(t)) if weight is None else np.count_nonzero(weight, axis=0)
    place = np.arange(_SCORED)[:, None]
    even = np.round(place * ((there - 1) / (_SCORED - 1)))
    chosen = np.where(there > _SCORED, even, np.minimum(place, there - 1)).astype(int)
    if peak is not None:
        nearest = np.abs(chosen - peak).argmin(axis=0)
        chosen[nearest, np.arange(len(peak))] = peak
        peak = nearest
    if weight is not None:
        weight = np.take_along_axis(weight, chosen, axis=0) * (place < there)
    return np.take_along_axis(t, chosen, axis=0), np.take_along_axis(up, chosen, axis=0), weight, peak


def _best_guess(growth: str, t: Array, up: Array, weight: Array | None, peak: Array | None) -> Array:
    """Return the guess that leaves the smallest residual sum with start and extent at their best."""
    guesses, shape = _guesses(growth, t, up, peak)
    share = None if weight is None else weight**2
    total = np.array([float(len(t))]) if share is None else column_sums(share)
    mean = column_sums(up if share is None else share * up) / total
    away = up - mean
    weighed = shape if share is None else share[:, None] * shape
    height = column_sums(weighed) / total
    along = column_sums(weighed * away[:, None])
    extent = along / (column_sums(weighed * shape) - total * height**2)
    explained = np.where((along > 0.0) & (extent > 0.0), along * extent, -np.inf)
    best, curves = explained.argmax(axis=0), np.arange(t.shape[1])
    height, extent, explained = height[best, curves], extent[best, curves], explained[best, curves]
    found = np.empty((len(guesses) + 1, len(curves)))
    found[0], found[1:] = mean - extent * height, guesses[:, best, curves]
    found[1:3] *= extent
    nothing = ~(explained > (_ROUNDING * mean) ** 2)
    if peak is None:  # what was seen to fall has moved
        spread = column_sums(away**2 if share is None else share * away**2)
        nothing |= _by_chance(explained, spread, total, len(found))
    found[:, nothing] = np.nan
    return found


def _by_chance(explained: Array, spread: Array, readings: Array, parameters: int) -> Array:
    """Say where a guess explains no more than chance would: by its F ratio against a constant."""
    spare = readings - parameters
    known, of_each = np.unique(spare, return_inverse=True) if len(spare) > 1 else (spare, 0)
    least = np.array([_least_ratio(parameters - 1, float(one)) for one in known])[of_each]
    return explained * spare < least * (parameters - 1) * (spread - explained)


@cache
def _least_ratio(more: int, spare: float) -> float:
    """Return the F ratio below which a guess is taken for chance; 0 without a reading to spare."""
    from scipy.special import fdtri

    return float(fdtri(more, spare, _CHANCE)) if spare > 0.0 else 0.0


def _guesses(growth: str, t: Array, up: Array, peak: Array | None) -> tuple[Array, Array]:
    """Guess curves of extent 1: parameters, shape (p, guesses, m), and values, shape (n, guesses, m)."""
    top = t[-1] if peak is None else t[peak, np.arange(t.shape[1])]
    early, late = _crossing_times(t, up if peak is None else np.where(t > top, -np.inf, up))
    if peak is None:  # a slight change, hidden in noise, may as well have been an even one
        even = t[0] + _SHARES * (t[-1] - t[0])
        early, late = np.stack((early, early, even[0])), np.stack((late, late, even[1]))
    pace = np.maximum(late - early, _SHORTEST * (t[-1] - t[0]))
    soon, later = _plateau_times(growth, _PLATEAUS if peak is None else _PLATEAUS_BEFORE_A_FALL)
    growing = np.empty((len(GROWTH[growth].parameters), len(soon), t.shape[1]))
    growing[0], growing[3:] = 1.0, _NU
    np.divide(later - soon, pace, out=growing[1])
    lag = np.maximum(early - soon / growing[1], 0.0, out=growing[2])
    risen = GROWTH[growth].value(t[:, None], growing)
    if peak is None:
        return growing, risen
    half, sharpness = _falls(t, up, peak, lag)
    many = half.shape[0] * half.shape[1]
    fallen = risen[:, None] * share_held((t[:, None] - lag)[:, None], half, sharpness)
    guesses = [*np.broadcast_to(growing[:, None], (len(growing), *half.shape)), half, sharpness]
    return np.array(guesses).reshape(len(guesses), many, -1), fallen.reshape(len(t), many, -1)


@cache
def _plateau_times(growth: str, plateaus: tuple[float, ...]) -> tuple[Array, Array]:
    """When a curve of unit extent and rate crosses the shares of what is seen, shape (plateaus, 1) each."""
    seen = np.array(plateaus)[:, None]
    return time_of_share(growth, _CROSSED[0] / seen, _NU), time_of_share(growth, _CROSSED[1] / seen, _NU)


def _falls(t: Array, up: Array, peak: Array, lag: Array) -> tuple[Array, Array]:
    """Guess after how long half the gas is gone, and how sharply: shape (falls, plateaus, m) each.

    The share still held is logistic in time, or the jar leaks the same share every hour since the lag.
    """
    curves = np.arange(t.shape[1])
    top, highest = t[peak, curves], up[peak, curves]
    soon, later = _crossing_times(t, np.where(t < top, -highest, -up))
    lost = np.maximum.accumulate(np.where(t < top, 0.0, highest - up), axis=0)[-1] / (highest - up.min(axis=0))
    found = []
    for more in _PEAKS:
        held, still_held = (1.0 - share * lost / more for share in _CROSSED)
        first, last = np.log(held / (1.0 - held)), np.log(still_held / (1.0 - still_held))
        width = np.maximum(later - soon, _SHORTEST * (t[-1] - t[0])) / (first - last)
        after = np.maximum(soon + width * first - lag, 0.0)
        for narrower in _WIDTHS:
            sharpness = after / (narrower * width)
            found.append((narrower * width * np.logaddexp(np.log(2.0), sharpness), sharpness))
        leaked = (later - lag) * np.log(2.0) / -np.log(still_held)
        found.append((leaked, np.full_like(lag, _LEAKS)))
    half, sharpness = (np.array(of) for of in zip(*found, strict=True))
    return half, sharpness


def _crossing_times(t: Array, up: Array) -> Array:
    """When the lightly smoothed readings first pass two shares of their range, shape (2, m)."""
    smooth = up.copy()
    between = t[2:] > t[1:-1]  # the last reading, which may be repeated, stays as it is
    np.copyto(smooth[1:-1], 0.25 * (up[:-2] + up[2:]) + 0.5 * up[1:-1], where=between)
    climbed = np.maximum.accumulate(smooth, axis=0)
    lowest = np.where(smooth > -np.inf, smooth, np.inf).min(axis=0)
    level = lowest + _SHARES * (climbed[-1] - lowest)
    after = (climbed[None] >= level[:, None]).argmax(axis=1)
    before, curves = np.maximum(after - 1, 0), np.arange(t.shape[1])
    low = climbed[before, curves]
    gap = climbed[after, curves] - low
    share = np.where(gap > 0.0, (level - low) / gap, 1.0)
    soon = t[before, curves]
    return soon + share * (t[after, curves] - soon)
