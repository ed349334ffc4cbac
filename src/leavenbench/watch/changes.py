"""What may have happened to a culture, weighed against nothing: a decline of any onset and pace, or one step down.

Every history is whitened up to each of its rounds by the exact filter of an AR(1) series read with error (Kalman 1960,
J Basic Eng 82:35-45, doi 10.1115/1.3662552), and so are a constant, steps and ramps of many onsets: every one in the
last two dozen rounds, and some before. The constant, the culture's own normal, is projected out. Of what is left, each
change has the odds

    prior x exp(-b a - b^2 q / 2),   a = ramp . level,   q = |ramp|^2

against no change; b is what is lost per round, or at once. A decline has the sum of the odds of all onsets and paces:
a mixture in the manner of Shiryaev 1963 (Theory Probab Appl 8:22-46, doi 10.1137/1108002) and Roberts 1966
(Technometrics 8:411-430, doi 10.1080/00401706.1966.10490374; both from memory).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .scatter import Scatter
from .series import Array, Series

#: Losses per round of a decline, and at once in a step (as steps of log vigour).
PACES = np.array([0.015, 0.025, 0.04, 0.06, 0.09, 0.13, 0.19])
STEPS = -np.log1p(-np.array([0.10, 0.18, 0.30, 0.45, 0.65]))
#: Chance that a change begins in a given round.
HAZARD = 0.01
#: The onsets that are tried, in rounds back from the last one: each of the last 24, then fewer, which stand for those
#: between them; without any so old a fall of many years would look like a step.
_BACK = np.array([54, 42, 34, 28, *range(24, 0, -1)])
_STAND_FOR = -np.diff(_BACK, append=0).astype(float)
#: A step has come to rest after so many rounds; before, it may as well be the beginning of a fall.
_AT_REST = 3
#: Rounds that a culture's normal is told from, at most.
_MEMORY = 60
#: Rounds worked on at once, so that they stay in the processor's cache.
_AT_ONCE = 512
_NOTHING = -745.0


class Changes(NamedTuple):
    """Log odds of changes against no change, for some rounds.

    Attributes
    ----------
    since : numpy.ndarray, shape (m, onsets)
        Rounds since each onset.
    ramps : numpy.ndarray, shape (m, onsets, paces)
        Log odds of a decline since that onset at that pace.
    steps : numpy.ndarray, shape (m, onsets, sizes)
        Log odds of a step down right after that onset, which has come to rest.
    before : numpy.ndarray, shape (m, onsets, paces)
        Level before a decline of that onset and pace.
    """

    since: Array
    ramps: Array
    steps: Array
    before: Array

    @property
    def decline(self) -> Array:
        """Log odds of any decline against no change, shape (m,)."""
        return log_sum(self.ramps)

    @property
    def step(self) -> Array:
        """Log odds of any step down against no change, shape (m,)."""
        return log_sum(self.steps)


def log_sum(terms: Array) -> Array:
    """Return the log of the summed odds of each row, shape (m,)."""
    within = tuple(range(1, terms.ndim))
    most = terms.max(axis=within, initial=_NOTHING, keepdims=True)
    return (most + np.log(np.exp(terms - most).sum(axis=within, keepdims=True) + 1e-300)).reshape(len(terms))


def changes(series: Series, scatter: Scatter, rows: Array | None = None) -> Changes:
    """Weigh what may have happened up to each round, looking back only.

    Parameters
    ----------
    series : Series
        The levels of a shelf.
    scatter : Scatter
        How they wander, as known at each round.
    rows : numpy.ndarray of int, shape (m,), optional
        The rounds to look from; all when not given.

    Returns
    -------
    Changes
        Row by row that of `rows`.

    Examples
    --------
    >>> from leavenbench.watch.scatter import scatter_of
    >>> at = np.arange(12.0)
    >>> falling = Series(np.minimum(0.0, -0.08 * (at - 5.0)), np.full(12, 0.002), at, np.zeros(12, int))
    >>> odds = changes(falling, scatter_of(falling)).decline
    >>> bool(odds[-1] > 3.0 > 0.0 > odds[5])
    True
    """
    rows = np.arange(len(series.level)) if rows is None else np.asarray(rows)
    onsets = int((series.nth[rows].max(initial=0) >= _BACK).sum())
    order = np.argsort(series.nth[rows], kind="stable")  # so that rounds of like length are worked on together
    parts = [_some(series, scatter, rows[order[at : at + _AT_ONCE]], onsets) for at in range(0, len(rows), _AT_ONCE)]
    if not parts:
        parts = [_some(series, scatter, rows, onsets)]
    back = np.argsort(order, kind="stable")
    return Changes(*(np.concatenate(of)[back] for of in zip(*parts, strict=True)))


def _some(series: Series, scatter: Scatter, rows: Array, onsets: int) -> Changes:
    """Weigh the changes of some rounds; where a history has fewer onsets than asked for, the first have no odds."""
    memory = int(min(_MEMORY, series.nth[rows].max(initial=0) + 1))
    looked = rows[:, None] - np.arange(memory - 1, -1, -1)
    there = looked >= series.first[rows][:, None]
    looked = np.maximum(looked, series.first[rows][:, None])
    few = int((memory - 1 >= _BACK).sum())
    back, stand_for = _BACK[len(_BACK) - few :], _STAND_FOR[len(_BACK) - few :]
    onset = series.at[looked[:, memory - 1 - back]]
    products = _whitened(series, looked, there, onset, scatter.sd[rows], scatter.carry_over[rows])
    since = series.at[rows][:, None] - onset
    prior = np.log(HAZARD * stand_for) + (since - 1.0) * np.log1p(-HAZARD)
    prior = np.where(there[:, memory - 1 - back], prior, _NOTHING)
    ramp, step = products.of(slice(few, 2 * few)), products.of(slice(0, few))
    before = (products.level[:, None, None] + PACES * ramp.constant[:, :, None]) / products.constant[:, None, None]
    rested = np.where(back >= _AT_REST, prior, _NOTHING)
    return Changes(
        _padded(since, onsets, 0.0),
        _padded(ramp.odds(prior, PACES), onsets, _NOTHING),
        _padded(step.odds(rested, STEPS), onsets, _NOTHING),
        _padded(before, onsets, 0.0),
    )


def _padded(values: Array, onsets: int, fill: float) -> Array:
    """Return values with empty onsets put before them, up to so many."""
    missing = [(0, 0), (onsets - values.shape[1], 0), (0, 0)]
    return np.pad(values, missing[: values.ndim], constant_values=fill)


class _Products(NamedTuple):
    """Sums of products of whitened columns: of each change with the level, the constant and itself; and of the rest."""

    change_level: Array
    change_constant: Array
    change_change: Array
    level: Array
    constant: Array

    def of(self, some: slice) -> _Change:
        across = self.change_constant[:, some]
        a = self.change_level[:, some] - across * (self.level / self.constant)[:, None]
        q = self.change_change[:, some] - across**2 / self.constant[:, None]
        return _Change(a, np.maximum(q, 0.0), across)


class _Change(NamedTuple):
    a: Array
    q: Array
    constant: Array

    def odds(self, prior: Array, sizes: Array) -> Array:
        told = prior[:, :, None] - sizes * self.a[:, :, None] - 0.5 * sizes**2 * self.q[:, :, None]
        return np.maximum(told - np.log(len(sizes)), _NOTHING)


def _whitened(series: Series, looked: Array, there: Array, onset: Array, sd: Array, carry_over: Array) -> _Products:
    """Run level, constant, steps and ramps through the filter of each history's noise, round by round."""
    few = onset.shape[1]
    expected = np.zeros((len(looked), 2 + 2 * few))
    told = np.empty_like(expected)
    sums = np.zeros((3, len(looked), 2 * few))
    level, constant = np.zeros((2, len(looked)))
    variance, before = sd**2, series.at[looked[:, 0]] if looked.size else sd
    for nth in range(looked.shape[1]):
        round_at = looked[:, nth]
        at = series.at[round_at]
        kept = carry_over ** (at - before)
        before = at
        variance = sd**2 * (1.0 - kept**2) + kept**2 * variance
        expected *= kept[:, None]
        whole = np.where(there[:, nth], variance + series.variance[round_at], np.inf)
        told[:, 0], told[:, 1] = series.level[round_at], 1.0
        since = at[:, None] - onset
        np.greater(since, 0.0, out=told[:, 2 : 2 + few])
        np.maximum(since, 0.0, out=told[:, 2 + few :])
        told -= expected
        gain = variance / whole
        expected += gain[:, None] * told
        variance = variance * (1.0 - gain)
        told /= np.sqrt(whole)[:, None]
        level += told[:, 0] * told[:, 1]
        constant += told[:, 1] ** 2
        change = told[:, 2:]
        sums[0] += change * told[:, :1]
        sums[1] += change * told[:, 1:2]
        sums[2] += change**2
    return _Products(sums[0], sums[1], sums[2], level, constant)
