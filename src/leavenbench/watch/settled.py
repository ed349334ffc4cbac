"""Whether a culture has settled under its own baseline, whatever its path there."""

from __future__ import annotations

import numpy as np

from .alert import Z80
from .scatter import Scatter
from .series import Array, Series

#: A culture is low when its last rounds together lie surely (80 %) under this share of its baseline [%].
LOW_PCT = 90.0
_LAST_ROUNDS, _BASELINE_ROUNDS = 4, 6


def settled_level(series: Series, scatter: Scatter) -> tuple[Array, Array]:
    """Return the mean level of the last four rounds up to each round, and its error against the baseline.

    Parameters
    ----------
    series : Series
        The levels of a shelf.
    scatter : Scatter
        How they wander.

    Returns
    -------
    level, error : numpy.ndarray, shape (n,)
        Log vigour; missing (NaN) before four rounds.
    """
    rows = np.arange(len(series.level))
    many = np.flatnonzero(series.nth >= _LAST_ROUNDS - 1)
    level, read = np.full((2, len(rows)), np.nan)
    looked = many[:, None] - np.arange(_LAST_ROUNDS)
    level[many] = series.level[looked].mean(axis=1)
    read[many] = series.variance[looked].mean(axis=1)
    spread = sum(_mean_variance(scatter.carry_over, rounds) for rounds in (_LAST_ROUNDS, _BASELINE_ROUNDS))
    error = np.sqrt(scatter.sd**2 * spread + read * (1.0 / _LAST_ROUNDS + 1.0 / _BASELINE_ROUNDS))
    return level, error


def surely_low(level: Array, error: Array) -> Array:
    """Tell which levels lie surely under `LOW_PCT`."""
    return level + Z80 * error < np.log(LOW_PCT / 100.0)


def _mean_variance(carry_over: Array, rounds: int) -> Array:
    """Return the variance of the mean of so many rounds in a row, against that of one."""
    apart = np.abs(np.subtract.outer(np.arange(rounds), np.arange(rounds)))
    return (carry_over[:, None, None] ** apart).mean(axis=(1, 2))
