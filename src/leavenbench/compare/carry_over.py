"""How much of a round's deviation is left in the next one, and what that does to the errors of means.

A culture that did well in one round tends to do well in the next, so that its rounds are fewer witnesses than they
number. The covariance of rounds of a series is taken for ``theta rho^d`` at a distance of d rounds. The search for the
variances knows nothing of it; afterwards the same quadratic forms, with that of successive rounds beside them, are
set equal to what they are to be expected (minimum norm estimation: Rao 1971, J Multivar Anal 1:257-275, doi
10.1016/0047-259X(71)90001-7), and the means, whose weights stay, are given the errors that they then have. A few rounds
tell a carry-over badly, and less than nothing is taken for nothing: so one that is hardly larger than its own error is
drawn towards nothing (by 1 / (1 + error^4 / covariance^4), which a study by simulation found to serve).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import sparse

from .equations import Array, Matrix, dense, elements, times, turned
from .reml import Reml
from .rounds import Levels, Succession

#: The carry-over is sought among these; what is further apart than so many rounds has nothing in common.
_TRIED = np.linspace(0.0, 0.9, 181)
FURTHEST = 12


def with_carry_over(found: Reml, rounds: Succession, levels: Levels) -> tuple[Reml, float]:
    """Add to all errors what rounds carry over from one to the next.

    Parameters
    ----------
    found : Reml
        Fitted as if nothing did.
    rounds : Succession
        Which rounds follow each other.
    levels : Levels
        What is left of them.

    Returns
    -------
    tuple of Reml and float
        The same with other errors and variances, and the carry-over rho: 0 where rounds that follow each other are no
        more alike than others.
    """
    one, following = rounds.pairs([1])
    if found.variances[rounds.term] <= 0.0 or not len(one):
        return found, 0.0
    forms = _Forms.of(found, rounds, levels, one, following)
    rho, more = _sought(forms, found.variances, rounds.term, found.free)
    uncertain = np.linalg.pinv(forms.information(), hermitian=True)
    told = (rho * (found.variances[rounds.term] + more[rounds.term])) ** 2
    sure = 1.0 / (1.0 + (max(uncertain[-1, -1], 0.0) / told) ** 2) if told > 0.0 else 0.0
    if sure == 0.0:
        return found, 0.0
    rho, more = sure * rho, sure * more
    lags = np.arange(FURTHEST + 1)
    shared = np.where(lags > 0, rho**lags, 0.0)
    whole = found.variances[rounds.term] + more[rounds.term]
    beside = np.tensordot(more, found.moves, 1) + levels.weighed(rounds, whole * shared, FURTHEST)
    moved = levels.weighed(rounds, lags * shared / rho, FURTHEST)
    carried = found._replace(
        covariance=found.covariance + beside,
        adjusted=found.adjusted + beside,
        variances=found.variances + more,
        moves=np.concatenate((found.moves, moved[None])),
        uncertain=uncertain,
    )
    return carried, rho


class _Forms(NamedTuple):
    """Quadratic forms y' P V_k P y, the last with V = Z B Z' where B joins rounds that follow each other.

    Attributes
    ----------
    over : numpy.ndarray, shape (k + 1,)
        How far each lies over its expectation without any carry-over.
    by_variance : numpy.ndarray, shape (k + 1, k)
        How each expectation moves with each variance.
    by_lag : numpy.ndarray, shape (k + 1, lags)
        How each moves with the covariance of rounds that many apart, from 1 on.
    """

    over: Array
    by_variance: Array
    by_lag: Array

    @classmethod
    def of(cls, found: Reml, rounds: Succession, levels: Levels, one: Array, following: Array) -> _Forms:
        """Take them from what was fitted; `one` and `following` are rounds that follow each other."""
        at, terms = found.at.solved, found.model.terms
        joined = _joined(one, following, len(levels.left), like=found.model.fixed)
        halves = [*((term, term) for term in terms), (times(levels.term, joined), levels.term)]
        by_lag = np.empty((len(halves), FURTHEST))
        for k, (half, other_half) in enumerate(halves):  # V_k = half other_half'
            direct = turned(half, levels.through).T @ turned(other_half, levels.through)
            of_rest = dense(turned(half, at.beside).T @ turned(other_half, levels.through))
            inner = dense(turned(half, at.beside).T @ turned(other_half, at.beside)) @ levels.solved
            by_lag[k] = _by_lag(rounds, direct, of_rest - 0.5 * inner, levels.solved)
        above = levels.left[one] @ levels.left[following] - levels.between(one, following).sum()
        return cls(
            np.append(2.0 * found.at.score, 2.0 * above),
            np.vstack((2.0 * found.information, by_lag[:-1, :1].T)),
            by_lag,
        )

    def information(self) -> Array:
        """Return the expected information of the variances and of the covariance of successive rounds."""
        beside = self.by_variance[-1:]
        return 0.5 * np.block([[self.by_variance[:-1], beside.T], [beside, self.by_lag[-1:, :1]]])


def _by_lag(rounds: Succession, direct: Matrix, half: Array, solved: Array) -> Array:
    """Sum Z' P V P Z = direct - half' solved - solved' half over rounds of a series, by how far apart they are."""
    parts = []
    for levels in rounds.each():
        apart = rounds.apart(levels)
        first, second = np.nonzero((apart > 0) & (apart <= FURTHEST))
        product = half[:, levels].T @ solved[:, levels]
        parts.append((levels[first], levels[second], apart[first, second], product[first, second]))
    one, other, lag, product = (np.concatenate(of) for of in zip(*parts, strict=True))
    return np.bincount(lag, elements(direct, one, other) - 2.0 * product, FURTHEST + 1)[1:]


def _joined(first: Array, second: Array, many: int, like: Matrix) -> Matrix:
    """Return B, which joins rounds that follow each other, dense or sparse as the model is."""
    half = sparse.coo_array((np.ones(len(first)), (first, second)), shape=(many, many)).tocsr()
    whole = half + half.T
    return whole if sparse.issparse(like) else whole.toarray()


def _sought(forms: _Forms, variances: Array, of_round: int, free: Array) -> tuple[float, Array]:
    """Return rho at which the last form is as expected, and by how much the variances must be larger beside it."""
    powers = _TRIED ** np.arange(1, forms.by_lag.shape[1] + 1)[:, None]
    above, more = np.empty(len(_TRIED)), np.zeros((len(_TRIED), len(variances)))
    for place, moved in enumerate((forms.by_lag @ powers).T):
        system = forms.by_variance[:-1].copy()
        system[:, of_round] += moved[:-1]
        wanted = forms.over[:-1] - variances[of_round] * moved[:-1]
        more[place, free] = np.linalg.lstsq(system[np.ix_(free, free)], wanted[free], rcond=None)[0]
        whole = variances[of_round] + more[place, of_round]
        above[place] = forms.by_variance[-1] @ more[place] + whole * moved[-1] - forms.over[-1]
    if above[0] >= 0.0:
        return 0.0, np.zeros(len(variances))
    reached = np.flatnonzero((above >= 0.0) & (variances[of_round] + more[:, of_round] > 0.0))
    best = int(reached[0]) if len(reached) else int(np.argmin(np.abs(above)))
    return float(_TRIED[best]), np.maximum(more[best], -variances)  # no variance falls under nothing
