"""Balanced designs in strata: many shelves fitted at once by the variances of a few mean squares.

Where every culture has as many rounds, and every round the same steps, the mixed model falls into strata, each with a
mean square whose expectation is linear in the variances (Nelder 1965, Proc R Soc A 283:147-162, doi
10.1098/rspa.1965.0012). The restricted likelihood is then a sum over four strata instead of all refeeds.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..equations import Array

#: Steps of the search for variances, how often each is halved, and the gain at which it rests.
_STEPS, _HALVINGS, _SETTLED = 300, 12, 1e-12
#: The least scatter of single refeeds, as a share of the whole, as in `reml`.
_LEAST = 1e-8


class Design(NamedTuple):
    """Who is fed and read: cultures, rounds of each, refeeds of each round.

    `shared_days` says whether all are fed on the same days, `successive` whether rounds follow each other, so that
    something may be carried over.
    """

    cultures: int
    rounds: int
    refeeds: int
    shared_days: bool = True
    successive: bool = True

    @property
    def pairs(self) -> tuple[Array, Array]:
        """Return the two cultures of every difference."""
        first, second = np.triu_indices(self.cultures, 1)
        return first, second


class Strata(NamedTuple):
    """Many shelves, stratum by stratum.

    Attributes
    ----------
    design : Design
        The same for all.
    squares, free : numpy.ndarray, shape (shelves, strata) and (strata,)
        Sums of squares, and their degrees of freedom.
    shares : numpy.ndarray, shape (strata, terms)
        How often the variance of single refeeds, of rounds (where they have several) and of days (where they are
        shared) is in the mean square of each.
    means, between, within : numpy.ndarray
        Means of cultures; what the rounds of all have in common, and what each culture's have of their own.
    """

    design: Design
    squares: Array
    free: Array
    shares: Array
    means: Array
    between: Array
    within: Array

    @classmethod
    def of(cls, design: Design, y: Array) -> Strata:
        """Take apart what refeeds show, shape (shelves, cultures, rounds, refeeds)."""
        k, rounds, m = design[:3]
        of_round, culture = y.mean(axis=3), y.mean(axis=(2, 3))
        whole = y.mean(axis=(1, 2, 3), keepdims=True)
        between = of_round.mean(axis=1, keepdims=True) - whole[..., 0]
        of_step = y.mean(axis=(1, 2), keepdims=True) - whole
        parts: list[tuple[Array, int, tuple[int, ...]]]
        if design.shared_days:
            within = of_round - culture[:, :, None] - between
            of_day = y.mean(axis=1, keepdims=True) - between[..., None] - whole
            parts = [
                (k * m * _sum(between), rounds - 1, (1, m, k)),
                (m * _sum(within), (k - 1) * (rounds - 1), (1, m, 0)),
                (k * _sum(of_day - of_step), (rounds - 1) * (m - 1), (1, 0, k)),
                (_sum(y - of_round[..., None] - of_day), (k - 1) * (m - 1) * rounds, (1, 0, 0)),
            ]
        else:
            within, between = of_round - culture[:, :, None], np.zeros_like(between)
            parts = [
                (m * _sum(within), k * (rounds - 1), (1, m)),
                (_sum(y - of_round[..., None] - of_step), (m - 1) * (k * rounds - 1), (1, 0)),
            ]
        squares, free, shares = zip(*(part for part in parts if part[1] > 0), strict=True)
        terms = [place for place in range(len(shares[0])) if place != 1 or m > 1]
        told = np.stack(squares, axis=1), np.array(free, float), np.array(shares, float)[:, terms]
        return cls(design, *told, culture, between, within)

    def of_shelves(self, some: Array) -> Strata:
        """Return some of the shelves."""
        means, between, within = (of[some] for of in (self.means, self.between, self.within))
        return self._replace(squares=self.squares[some], means=means, between=between, within=within)

    @property
    def of_round(self) -> int:
        """The variance that rounds have: their own, or that of single refeeds where a round has one."""
        return int(self.design.refeeds > 1)

    @property
    def repeated(self) -> list[tuple[int, float]]:
        """The strata in which rounds follow each other, and how often each has them."""
        k = self.design.cultures
        return [(0, 1.0), (1, k - 1.0)] if self.design.shared_days else [(0, float(k))]

    @property
    def own(self) -> int:
        """The stratum by which differences between cultures are judged."""
        return int(self.design.shared_days)


def _sum(of: Array) -> Array:
    return (of**2).sum(axis=tuple(range(1, of.ndim)))


class Fitted(NamedTuple):
    """Variances of many shelves by restricted maximum likelihood: theta (shelves, terms), and which are not held."""

    strata: Strata
    known: Array
    theta: Array
    free: Array

    @classmethod
    def of(cls, strata: Strata, known: float) -> Fitted:
        """Climb the likelihood by scoring, all shelves at once."""
        shelves, terms = len(strata.squares), strata.shares.shape[1]
        given = np.full(shelves, known)
        whole = strata.squares.sum(axis=1) / strata.free.sum()
        least = np.zeros((shelves, terms))
        least[:, 0] = _LEAST * whole
        theta = np.repeat(whole[:, None] / terms, terms, axis=1)
        going = np.arange(shelves)
        for _ in range(_STEPS):
            some = cls(strata.of_shelves(going), given[going], theta[going], theta[going] > least[going])
            tried = some.climbed(least[going])
            theta[going] = tried.theta
            going = going[tried.log_likelihood() - some.log_likelihood() >= _SETTLED]
            if not len(going):
                break
        return cls(strata, given, theta, theta > least)

    def climbed(self, least: Array) -> Fitted:
        """Step by the score, each shelf less far while its likelihood falls, and not at all where it always does."""
        step, height = self.step(least), self.log_likelihood()
        theta, waiting = self.theta.copy(), np.ones(len(height), bool)
        for halving in range(_HALVINGS):
            tried = np.maximum(self.theta + 0.5**halving * step, least)
            better = waiting & (self._replace(theta=tried).log_likelihood() >= height)
            theta[better] = tried[better]
            waiting &= ~better
            if not waiting.any():
                break
        return self._replace(theta=theta)

    def with_some(self, some: Array, others: Fitted) -> Fitted:
        """Return them with some shelves fitted otherwise."""
        known, theta, free = (of.copy() for of in self[1:])
        known[some], theta[some], free[some] = others[1:]
        return self._replace(known=known, theta=theta, free=free)

    @property
    def expected(self) -> Array:
        """What the mean squares are expected to be, shape (shelves, strata)."""
        return self.known[:, None] + self.theta @ self.strata.shares.T

    def log_likelihood(self) -> Array:
        """Return the restricted one, but for a constant."""
        at = self.expected
        return -0.5 * (self.strata.free * np.log(at) + self.strata.squares / at).sum(axis=1)

    def score(self) -> Array:
        """Return the derivatives of the likelihood by the variances, shape (shelves, terms)."""
        at = self.expected
        return 0.5 * (self.strata.squares / at**2 - self.strata.free / at) @ self.strata.shares

    def information(self) -> Array:
        """Return the expected one, shape (shelves, terms, terms)."""
        shares = self.strata.shares
        return 0.5 * np.einsum("nj,jk,jl->nkl", self.strata.free / self.expected**2, shares, shares)

    def step(self, least: Array) -> Array:
        """Return the step of each shelf; a variance at its bound stays there unless the likelihood rises inside."""
        score = self.score()
        loose = (self.theta > least) | (score > 0.0)
        return solved(self.information(), np.where(loose, score, 0.0), loose)


def solved(matrix: Array, right: Array, loose: Array) -> Array:
    """Solve symmetric or other systems for what is loose; the rest does not move."""
    both = loose[..., :, None] & loose[..., None, :]
    system = np.where(both, matrix, np.eye(matrix.shape[-1]))
    return np.linalg.solve(system, np.where(loose, right, 0.0)[..., None])[..., 0]
