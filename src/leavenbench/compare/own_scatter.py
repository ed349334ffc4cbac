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
from .rounds import Levels, Succession

#: A series with fewer degrees of freedom than 1 tells nothing of scatter, and fewer series nothing of cultures. Two
#: rounds have exactly 1, and rounding must not decide whether they count.
_FEWEST_FREE, _FEWEST = 1.0 - 1e-6, 4
#: From so many prior degrees of freedom on all cultures scatter alike.
_ALIKE = 200.0


class Scatter(NamedTuple):
    """Variance ratio of each series, and the degrees of freedom at which it is known."""

    ratio: Array
    freedom: Array


def with_own_scatter(found: Reml, rounds: Succession, levels: Levels, carry_over: float) -> tuple[Reml, Array]:
    """Add to all errors that some series scatter more than others.

    Parameters
    ----------
    found : Reml
        Fitted as if all scattered alike.
    rounds : Succession
        The series of each level.
    levels : Levels
        What is left of them.
    carry_over : float
        Correlation of successive levels.

    Returns
    -------
    tuple of Reml and numpy.ndarray, shape (series,)
        The same with other errors, and the variance ratios: all 1 where the series scatter alike.
    """
    scatter = moderated(_seen(levels, rounds))
    if np.isinf(scatter.freedom).all():
        return found, scatter.ratio
    own = _own_parts(found, levels, rounds, carry_over)
    beside = np.tensordot(scatter.ratio - 1.0, own, 1)
    unsure = 2.0 * scatter.ratio**2 / scatter.freedom
    uncertain = sparse.block_diag((found.uncertain, sparse.diags_array(unsure)), format="csr")
    return found._replace(
        covariance=found.covariance + beside,
        adjusted=found.adjusted + beside,
        moves=np.concatenate((found.moves, own)),
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


def _seen(levels: Levels, rounds: Succession) -> Scatter:
    """Return what the levels of each series scatter over what is to be expected."""
    many = int(rounds.series.max()) + 1
    series = rounds.series[levels.first]
    expected = np.bincount(series, np.where(levels.first == levels.second, levels.between, 0.0), many)
    second = np.bincount(series, levels.between**2, many)
    told = expected > 1e-6 * expected.max()
    safe = np.where(told, expected, 1.0)
    ratio = np.where(told, np.bincount(rounds.series, levels.left**2) / safe, 1.0)
    return Scatter(ratio, np.where(told, safe**2 / np.maximum(second, 1e-300), 0.0))


def _own_parts(found: Reml, levels: Levels, rounds: Succession, carry_over: float) -> Array:
    """Return what the levels and rows of each series add to the covariance of the fixed effects (series, p, p)."""
    of_row = rounds.series if levels.term is None else (levels.term != 0.0) @ (rounds.series + 1.0) - 1.0
    scatter = found.model.known + (0.0 if levels.term is None else found.variances[0])
    whole = found.variances[rounds.term]
    rows = levels.met @ found.at.inverse[:, found.model.random :]
    rows *= np.sqrt(scatter)[:, None]
    own = []
    for series, at_levels in enumerate(rounds.each()):
        part, weights = rows[of_row == series], levels.weights[at_levels]
        apart = rounds.apart(at_levels)
        covariance = whole * np.where(apart <= FURTHEST, carry_over**apart, 0.0)
        own.append(part.T @ part + weights.T @ covariance @ weights)
    return np.array(own)
