"""How fast a culture falls: robust slopes over its last rounds, and how sure they are.

The slope is the median of all pairwise slopes (Theil 1950; Sen 1968, J Am Stat Assoc 63:1379-1389,
doi 10.1080/01621459.1968.10480934). Its error comes from the culture's own round-to-round noise, because a
handful of rounds cannot tell its own: successive differences, which a trend does not inflate, shrunk to the
shelf's, with the correlation that neighbouring rounds of one culture have.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

Array = np.ndarray

#: Numbers of rounds over which a fall is looked for.
WINDOWS = (4, 6, 8, 12)
#: Correlation of neighbouring rounds of a culture (common practice, no source).
CORRELATION = 0.3
#: Round-to-round standard deviation of log vigour where a shelf cannot tell its own (common practice, no source).
USUAL_NOISE = 0.10
#: The shelf's noise counts as so many differences of a culture's own.
_SHRINK = 8.0
#: The median of pairwise slopes has this efficiency against least squares under normal noise (Sen 1968).
_EFFICIENCY = 0.95


class Trend(NamedTuple):
    """The fall that speaks loudest at each round; missing (NaN) before four rounds.

    Attributes
    ----------
    slope, slope_se : numpy.ndarray, shape (n,)
        Change of log vigour per round.
    loudness : numpy.ndarray, shape (n,)
        Fall over its standard error; the evidence of decline.
    window : numpy.ndarray, shape (n,)
        Number of rounds it was found over.
    """

    slope: Array
    slope_se: Array
    loudness: Array
    window: Array


def shelf_noise(levels: list[Array]) -> float:
    """Return the round-to-round standard deviation of log vigour, pooled over a shelf.

    Parameters
    ----------
    levels : list of numpy.ndarray
        Each history's levels, in order.

    Returns
    -------
    float
        From the median successive difference, so that a few bad rounds do not count; the usual value when there
        are fewer than twelve differences.
    """
    differences = np.concatenate([np.abs(np.diff(one)) for one in levels] or [np.array([])])
    if len(differences) < 12:
        return USUAL_NOISE
    per_difference = 1.4826 * np.median(differences)  # the standard deviation of a difference
    return float(max(per_difference / np.sqrt(2.0 * (1.0 - CORRELATION)), 0.02))


def own_noise(level: Array, of_shelf: float) -> Array:
    """Return a culture's noise as known at each of its rounds, shrunk to the shelf's, shape (n,)."""
    variance = 2.0 * (1.0 - CORRELATION)  # of a difference, over that of a level
    bounded = np.minimum(np.diff(level, prepend=level[:1]) ** 2, 9.0 * variance * of_shelf**2)
    so_far = np.arange(len(level))
    return np.sqrt((np.cumsum(bounded) / variance + _SHRINK * of_shelf**2) / (so_far + _SHRINK))


def trend(level: Array, at: Array, noise: Array) -> Trend:
    """Return the fall that speaks loudest at each round, looking back only.

    Parameters
    ----------
    level : numpy.ndarray, shape (n,)
        Log vigour of each round.
    at : numpy.ndarray, shape (n,)
        When, in rounds (calendar days over the days between rounds).
    noise : numpy.ndarray, shape (n,)
        Standard deviation of a level, as known at each round.

    Returns
    -------
    Trend
        Arrays of shape (n,).

    Examples
    --------
    >>> at = np.arange(8.0)
    >>> found = trend(-0.1 * at, at, np.full(8, 0.1))
    >>> found.slope[-1].round(3), int(found.window[-1])
    (np.float64(-0.1), 8)
    """
    windows = [window for window in WINDOWS if window <= len(level)]
    empty = np.full(len(level), np.nan)
    if not windows:
        return Trend(empty, empty, empty, empty)
    slopes, errors = zip(*(_slopes(level, at, noise, window) for window in windows), strict=True)
    slope, error = np.array(slopes), np.array(errors)
    loudness = np.where(np.isnan(slope), -np.inf, -slope / error)
    loudest = loudness.argmax(axis=0)
    pick = (loudest, np.arange(len(level)))
    return Trend(
        slope[pick],
        error[pick],
        np.where(np.isnan(slope[pick]), np.nan, loudness[pick]),
        np.where(np.isnan(slope[pick]), np.nan, np.array(windows, float)[loudest]),
    )


def longest_trend(level: Array, at: Array, noise: Array) -> Trend:
    """Return the trend over the longest window at each round, up to twelve rounds, whatever it says.

    Parameters
    ----------
    level, at, noise : numpy.ndarray, shape (n,)
        As for `trend`.

    Returns
    -------
    Trend
        Arrays of shape (n,); unlike the fall that speaks loudest it leans neither way.
    """
    found = Trend(*(np.full(len(level), np.nan) for _ in Trend._fields))
    for window in range(WINDOWS[0], min(WINDOWS[-1], len(level)) + 1):
        slope, error = _slopes(level, at, noise, window)
        ends = slice(window - 1, None if window == WINDOWS[-1] else window)
        found.slope[ends], found.slope_se[ends] = slope[ends], error[ends]
        found.loudness[ends], found.window[ends] = -slope[ends] / error[ends], window
    return found


def _slopes(level: Array, at: Array, noise: Array, window: int) -> tuple[Array, Array]:
    """Return slope and standard error over the last so many rounds, ending at each round."""
    slope, error = np.full(len(level), np.nan), np.full(len(level), np.nan)
    y = np.lib.stride_tricks.sliding_window_view(level, window)
    t = np.lib.stride_tricks.sliding_window_view(at, window)
    first, second = np.triu_indices(window, 1)
    slope[window - 1 :] = np.median((y[:, second] - y[:, first]) / (t[:, second] - t[:, first]), axis=1)
    centred = t - t.mean(axis=1, keepdims=True)
    weight = centred / (centred**2).sum(axis=1, keepdims=True)
    variance = np.einsum("ni,ij,nj->n", weight, _correlation(window), weight)
    error[window - 1 :] = noise[window - 1 :] * np.sqrt(variance / _EFFICIENCY)
    return slope, error


def _correlation(rounds: int) -> Array:
    """Return the correlation of so many rounds in a row, shape (rounds, rounds)."""
    return CORRELATION ** np.abs(np.subtract.outer(np.arange(rounds), np.arange(rounds)))


def mean_error(rounds: int) -> float:
    """Return the standard error of the mean of so many rounds in a row, over that of one round.

    Examples
    --------
    >>> round(mean_error(1), 3), round(mean_error(4), 3)
    (1.0, 0.623)
    """
    return float(np.sqrt(_correlation(rounds).mean()))
