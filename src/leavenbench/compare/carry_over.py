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

from .equations import Array, times, turned
from .reml import Reml
from .rounds import Levels, elements

#: The carry-over is sought among these; what is further apart than so many rounds has nothing in common.
_TRIED = np.linspace(0.0, 0.9, 181)
FURTHEST = 12


def with_carry_over(found: Reml, levels: Levels) -> tuple[Reml, float]:
    """Add to all errors what rounds carry over from one to the next.

    Parameters
    ----------
    found : Reml
        Fitted as if nothing did.
    levels : Levels
        What is left of rounds that follow each other.

    Returns
    -------
    tuple of Reml and float
        The same with other errors and variances, and the carry-over rho: 0 where rounds that follow each other are no
        more alike than others.
    """
    term = levels.rounds.term
    if found.variances[term] <= 0.0 or not (levels.apart == 1).any():
        return found, 0.0
    forms = _Forms.of(found, levels)
    rho, more = _sought(forms, found.variances, term, found.free)
    uncertain = np.linalg.pinv(forms.information(), hermitian=True)
    told = (rho * (found.variances[term] + more[term])) ** 2
    sure = 1.0 / (1.0 + (max(uncertain[-1, -1], 0.0) / told) ** 2) if told > 0.0 else 0.0
    if sure == 0.0:
        return found, 0.0
    rho, more = sure * rho, sure * more
    lags = np.arange(FURTHEST + 1)
    shared = np.where(lags > 0, rho**lags, 0.0)
    whole = found.variances[term] + more[term]
    beside = np.tensordot(more, found.moves, 1) + levels.weighed(whole * shared)
    moved = levels.weighed(lags * shared / rho)
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
    def of(cls, found: Reml, levels: Levels) -> _Forms:
        """Take them from what was fitted."""
        rounds, following = levels.rounds, levels.apart == 1
        joined = _joined(levels, following)
        rest = levels.across @ found.joint.left
        by_lag = np.empty((len(found.variances) + 1, FURTHEST))
        for place in np.unique(found.joint.places):
            own = rest[:, found.joint.places == place]
            by_lag[place] = _by_lag(levels.apart, rounds.products(own, own))
        terms = found.model.terms
        halves = [(place, share, terms[place], terms[place]) for place, share in found.joint.shares.items()]
        beside = found.at.inverse @ (levels.across.T @ (joined @ levels.across)).toarray()
        halves.append((len(by_lag) - 1, beside, times(levels.term, joined), levels.term))
        for place, share, half, other_half in halves:  # V_k = half other_half'
            begun, ended = turned(half, levels.through).T, turned(other_half, levels.through)
            twice = sparse.coo_array(begun @ turned(other_half, levels.met))
            of_rest = levels.across @ share
            of_rest[twice.row, twice.col] -= 2.0 * twice.data
            direct = elements(begun @ ended, levels.first, levels.second)
            by_lag[place] = _by_lag(levels.apart, direct + rounds.products(of_rest, levels.solved))
        above = 0.5 * (levels.left[levels.first] * levels.left[levels.second] - levels.between)[following].sum()
        return cls(
            np.append(2.0 * found.at.score, 2.0 * above),
            np.vstack((2.0 * found.information, by_lag[:-1, :1].T)),
            by_lag,
        )

    def information(self) -> Array:
        """Return the expected information of the variances and of the covariance of successive rounds."""
        beside = self.by_variance[-1:]
        return 0.5 * np.block([[self.by_variance[:-1], beside.T], [beside, self.by_lag[-1:, :1]]])


def _by_lag(apart: Array, form: Array) -> Array:
    """Sum elements over pairs of levels, by how far apart they are."""
    return np.bincount(np.minimum(apart, FURTHEST + 1), form, FURTHEST + 2)[1:-1]


def _joined(levels: Levels, following: Array) -> sparse.csr_array:
    """Return B, which joins rounds that follow each other."""
    places = (levels.first[following], levels.second[following])
    return sparse.csr_array((np.ones(following.sum()), places), shape=(len(levels.left), len(levels.left)))


def _sought(forms: _Forms, variances: Array, of_round: int, free: Array) -> tuple[float, Array]:
    """Return rho at which the last form is as expected, and by how much the variances must be larger beside it."""
    powers = _TRIED ** np.arange(1, forms.by_lag.shape[1] + 1)[:, None]
    moved = (forms.by_lag @ powers).T
    systems = np.repeat(forms.by_variance[None, :-1], len(moved), axis=0)
    systems[:, :, of_round] += moved[:, :-1]
    wanted = forms.over[:-1] - variances[of_round] * moved[:, :-1]
    more = np.zeros((len(moved), len(variances)))
    more[:, free] = (np.linalg.pinv(systems[:, free][:, :, free]) @ wanted[:, free, None])[..., 0]
    whole = variances[of_round] + more[:, of_round]
    above = more @ forms.by_variance[-1] + whole * moved[:, -1] - forms.over[-1]
    if above[0] >= 0.0:
        return 0.0, np.zeros(len(variances))
    reached = np.flatnonzero((above >= 0.0) & (whole > 0.0))
    best = int(reached[0]) if len(reached) else int(np.argmin(np.abs(above)))
    return float(_TRIED[best]), np.maximum(more[best], -variances)  # no variance falls under nothing
