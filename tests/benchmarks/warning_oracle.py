"""The oracle: what could be known at best of a decline, by one who knows everything but whether and when.

It knows each culture's baseline, the sd and carry-over of its wandering, the scatter of refeeds, every shared effect,
and the pace of the decline; not the onset, of which it holds the same as we do. For a pace b its odds against no change
are the sum over onsets of prior x exp(-b a - b^2 q / 2), as in `watch.changes`, but with nothing projected out. Here
levels are whitened by the Cholesky factor of their whole covariance matrix, whose rows look back only.
"""

from __future__ import annotations

import numpy as np
from scipy.linalg import solve_triangular
from warning_shelves import Watched

from leavenbench.watch.alert import FEWEST_ROUNDS
from leavenbench.watch.changes import HAZARD


def oracle_log_odds(shelves: Watched, pace_pct: float, carry_over: float) -> np.ndarray:
    """Return the oracle's log odds of a decline at a known pace, at each round.

    Parameters
    ----------
    shelves : Watched
        With the truth: told, told_variance and round_sd.
    pace_pct : float
        What a decline loses per round [%].
    carry_over : float
        Coefficient of the AR(1) series.

    Returns
    -------
    numpy.ndarray, shape (n,)
    """
    told, variance, sd = (shelves.levels[name].to_numpy(float) for name in ("told", "told_variance", "round_sd"))
    loss = -np.log1p(-pace_pct / 100.0)
    found = np.full(len(told), -np.inf)
    for last in shelves.series.last:
        own = slice(shelves.series.first[last], last + 1)
        at = shelves.series.at[own]
        covariance = sd[last] ** 2 * carry_over ** np.abs(np.subtract.outer(at, at)) + np.diag(variance[own])
        found[own] = _of_one(told[own], at, np.linalg.cholesky(covariance), loss)
    return found


def _of_one(level: np.ndarray, at: np.ndarray, factor: np.ndarray, loss: float) -> np.ndarray:
    since = at[:, None] - at[None, :]
    white = solve_triangular(factor, np.column_stack((level, np.maximum(since, 0.0))), lower=True)
    a = np.cumsum(white[:, 1:] * white[:, :1], axis=0)
    q = np.cumsum(white[:, 1:] ** 2, axis=0)
    prior = np.log(HAZARD) + (since - 1.0) * np.log1p(-HAZARD)
    odds = np.where(since > 0.0, prior - loss * a - 0.5 * loss**2 * q, -np.inf)
    odds[: FEWEST_ROUNDS - 1] = -np.inf
    return np.asarray(np.logaddexp.reduce(odds, axis=1))
