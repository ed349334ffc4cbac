"""Some cultures wander more than others: each is given a scatter of its own, as far as its rounds can tell it.

How much a culture's rounds scatter, over what all cultures let expect, is a variance ratio with few degrees of freedom.
It is drawn towards 1 by as much as the ratios of all cultures are no more spread than chance would have them (moderated
variances: Smyth 2004, Stat Appl Genet Mol Biol 3:3, doi 10.2202/1544-6115.1027).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import sparse
from scipy.optimize import brentq
from scipy.special import digamma, polygamma

from .carry_over import FURTHEST
from .equations import Array
from .reml import Reml
from .rounds import Levels

#: A series with fewer degrees of freedom than 1 tells nothing of scatter, and fewer series nothing of cultures. Two
#: rounds have exactly 1, and rounding must not decide whether they count.
_FEWEST_FREE, _FEWEST = 1.0 - 1e-6, 4
#: From so many prior degrees of freedom on all cultures scatter alike.
_ALIKE = 200.0


class Scatter(NamedTuple):
    """Variance ratio of each series, and the degrees of freedom at which it is known."""

    ratio: Array
    freedom: Array


def with_own_scatter(found: Reml, levels: Levels, carry_over: float) -> tuple[Reml, Array]:
    """Add to all errors that some series scatter more than others.

    Parameters
    ----------
    found : Reml
        Fitted as if all scattered alike.
    levels : Levels
        What is left of the levels of each series.
    carry_over : float
        Correlation of successive levels.

    Returns
    -------
    tuple of Reml and numpy.ndarray, shape (series,)
        The same with other errors, and the variance ratios: all 1 where the series scatter alike.
    """
    scatter = moderated(_seen(levels))
    if np.isinf(scatter.freedom).all():
        return found, scatter.ratio
    moves = np.empty((len(found.moves) + len(scatter.ratio), *found.covariance.shape))
    moves[: len(found.moves)], own = found.moves, moves[len(found.moves) :]
    _fill_own_parts(own, found, levels, carry_over)
    beside = np.tensordot(scatter.ratio - 1.0, own, 1)
    unsure = 2.0 * scatter.ratio**2 / scatter.freedom
    uncertain = sparse.block_diag((found.uncertain, sparse.diags_array(unsure)), format="csr")
    return found._replace(
        covariance=found.covariance + beside,
        adjusted=found.adjusted + beside,
        moves=moves,
        uncertain=uncertain,
    ), scatter.ratio


def moderated(seen: Scatter) -> Scatter:
    """Draw variance ratios towards their common middle.

    Parameters
    ----------
    seen : Scatter
        As each series shows it.

    Returns
    -------
    Scatter
        Ratios about a mean of 1, with the prior's degrees of freedom added; infinite where all scatter alike.
    """
    telling = (seen.freedom >= _FEWEST_FREE) & (seen.ratio > 0.0)
    alike = Scatter(np.ones(len(seen.ratio)), np.full(len(seen.ratio), np.inf))
    if telling.sum() < _FEWEST:
        return alike
    ratio, half = seen.ratio[telling], seen.freedom[telling] / 2.0
    log_ratio = np.log(ratio) - digamma(half) + np.log(half)
    excess = float(log_ratio.var(ddof=1) - polygamma(1, half).mean())
    if excess <= polygamma(1, _ALIKE / 2.0):
        return alike
    prior = 2.0 * float(brentq(lambda of: polygamma(1, of) - excess, 1e-3, _ALIKE))
    freedom = np.where(telling, seen.freedom, 0.0)
    drawn = (prior + freedom * np.where(telling, seen.ratio, 0.0)) / (prior + freedom)
    return Scatter(drawn, prior + freedom)


def _seen(levels: Levels) -> Scatter:
    """Return what the levels of each series scatter over what is to be expected."""
    rounds = levels.rounds
    many = int(rounds.series.max()) + 1
    series = rounds.series[levels.first]
    expected = np.bincount(series, np.where(levels.first == levels.second, levels.between, 0.0), many)
    second = np.bincount(series, levels.between**2, many)
    told = expected > 1e-6 * expected.max()
    safe = np.where(told, expected, 1.0)
    ratio = np.where(told, np.bincount(rounds.series, levels.left**2) / safe, 1.0)
    return Scatter(ratio, np.where(told, safe**2 / np.maximum(second, 1e-300), 0.0))


def _fill_own_parts(own: Array, found: Reml, levels: Levels, carry_over: float) -> None:
    """Fill in what the levels and rows of each series add to the covariance of the fixed effects (series, p, p)."""
    rounds = levels.rounds
    of_row = (levels.term != 0.0) @ (rounds.series + 1.0) - 1.0
    order = np.argsort(of_row, kind="stable")
    ends = np.searchsorted(of_row[order], np.arange(len(own) + 1))
    scatter = found.model.known + (found.variances[0] if rounds.term else 0.0)
    rows = levels.met[order] @ found.at.inverse[:, found.model.random :]
    rows *= np.sqrt(scatter[order])[:, None]
    shared = found.variances[rounds.term] * np.where(levels.apart <= FURTHEST, carry_over**levels.apart, 0.0)
    for series, (at_levels, covariance) in enumerate(rounds.blocks(shared)):
        part, weights = rows[ends[series] : ends[series + 1]], levels.weights[at_levels]
        np.matmul(part.T, part, out=own[series])
        own[series] += weights.T @ covariance @ weights
