"""How much a culture's level wanders from round to round when nothing is wrong, as known at each round.

The noise of a level is a part that is carried over from round to round (an AR(1) series) and a part that is new each
time, the error of reading it. Their sizes come from differences of levels, which a slow decline hardly moves. For the
shelf: the squared difference at lag l has the mean 2 s^2 (1 - phi^l) plus the two errors, by medians at lags 1 to 3.
Raw correlations would come out far too low, for the errors of reading weaken them. For the culture: its successive
differences, shrunk to the shelf's, since a handful of rounds cannot tell its own.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .series import Array, Series

#: Sd of a level and its carry-over where a shelf cannot tell its own (common practice, no source).
USUAL_SD, USUAL_CARRY_OVER = 0.10, 0.35
#: The usual carry-over and the usual sd count as so many differences of a shelf; the shelf's sd as so many differences
#: of a culture's own.
_USUAL_COUNTS, _USUAL_SD_COUNTS, _SHELF_COUNTS = 300.0, 50.0, 16.0
#: From so many differences on a shelf tells its own sd.
_FEWEST = 12
_LEAST_SD = 0.02
_LAGS = (1, 2, 3)
_CARRY_OVERS = np.arange(0.0, 0.81, 0.02)
#: A difference counts as this many times its usual square at most.
_MOST = 5.0


class Scatter(NamedTuple):
    """What was known at each round of how levels wander.

    Attributes
    ----------
    sd : numpy.ndarray, shape (n,)
        Of the culture's carried-over part.
    carry_over : numpy.ndarray, shape (n,)
        Of the shelf: how much of a deviation is left after one round.
    shelf_sd : numpy.ndarray, shape (n,)
        Of the shelf's usual culture.
    """

    sd: Array
    carry_over: Array
    shelf_sd: Array


def scatter_of(series: Series) -> Scatter:
    """Return how levels wander, as known at each round from the records up to then.

    Parameters
    ----------
    series : Series
        The levels of a shelf.

    Returns
    -------
    Scatter
    """
    shelf_sd, carry_over = _of_shelf(series)
    own = sd_as_known(series, shelf_sd, carry_over, _SHELF_COUNTS, _MOST, _LEAST_SD)
    return Scatter(own, carry_over, shelf_sd)


class _Differences(NamedTuple):
    """Differences of levels so many rounds apart: how large, the errors of reading in them, and when known."""

    size: Array
    error: Array
    at: Array

    @classmethod
    def of(cls, series: Series, lag: int) -> _Differences:
        later = np.flatnonzero(series.nth >= lag)
        near = np.abs(series.at[later] - series.at[later - lag] - lag) < 0.5
        later = later[near]
        size = np.abs(series.level[later] - series.level[later - lag])
        error = series.variance[later] + series.variance[later - lag]
        order = np.argsort(series.at[later], kind="stable")
        return cls(size[order], error[order], series.at[later][order])


def _of_shelf(series: Series) -> tuple[Array, Array]:
    """Return the shelf's sd and carry-over as known at each round, from what was known at the half round before."""
    looks, of_look = np.unique(np.floor(2.0 * series.at), return_inverse=True)
    differences = [_Differences.of(series, lag) for lag in _LAGS]
    known = np.array([_told(differences, look / 2.0) for look in looks]).reshape(-1, 2)
    return known[of_look, 0], known[of_look, 1]


def _told(differences: list[_Differences], until: float) -> tuple[float, float]:
    """Return sd and carry-over from the differences known by then."""
    counts = np.array([np.searchsorted(one.at, until) for one in differences])
    if counts[0] < _FEWEST:
        return USUAL_SD, USUAL_CARRY_OVER
    counts[counts < _FEWEST] = 0
    beyond = np.array(
        [
            (1.4826 * np.median(one.size[:count])) ** 2 - np.median(one.error[:count]) if count else 0.0
            for one, count in zip(differences, counts, strict=True)
        ]
    )
    share = 2.0 * (1.0 - _CARRY_OVERS[:, None] ** np.array(_LAGS))  # of the variance, in a difference
    variance = (share * beyond * counts).sum(axis=1) / (share**2 * counts).sum(axis=1)
    away = ((beyond - share * variance[:, None]) ** 2 * counts).sum(axis=1)
    # by one lag alone every carry-over fits exactly, and rounding would choose
    best = _CARRY_OVERS[np.argmin(away)] if np.count_nonzero(counts) > 1 else USUAL_CARRY_OVER
    carry_over = (counts[0] * best + _USUAL_COUNTS * USUAL_CARRY_OVER) / (counts[0] + _USUAL_COUNTS)
    share = 2.0 * (1.0 - carry_over ** np.array(_LAGS))
    told = max((share * beyond * counts).sum() / (share**2 * counts).sum(), _LEAST_SD**2)
    told = (counts[0] * told + _USUAL_SD_COUNTS * USUAL_SD**2) / (counts[0] + _USUAL_SD_COUNTS)
    return float(np.sqrt(told)), float(carry_over)


def sd_as_known(series: Series, usual_sd: Array, carry_over: Array, counts: float, most: float, least: float) -> Array:
    """Return the sd of each history as known at each of its rounds, from its successive differences.

    Parameters
    ----------
    series : Series
        The levels.
    usual_sd, carry_over : numpy.ndarray, shape (n,)
        What is usual.
    counts : float
        The differences that the usual sd counts as.
    most : float
        A difference counts as this many times its usual square at most.
    least : float
        The least sd that is believed.

    Returns
    -------
    numpy.ndarray, shape (n,)
    """
    nth, rows = series.nth, np.arange(len(series.level))
    before = np.where(nth > 0, rows - 1, rows)
    share = 2.0 * (1.0 - carry_over ** np.maximum(series.at - series.at[before], 0.25))
    error = series.variance + series.variance[before]
    squared = np.minimum((series.level - series.level[before]) ** 2, most * (usual_sd**2 * share + error))
    each = np.where(nth > 0, (squared - error) / share, 0.0)
    summed = np.cumsum(each)
    so_far = summed - summed[series.first]
    return np.sqrt(np.maximum((so_far + counts * usual_sd**2) / (counts + nth), least**2))
