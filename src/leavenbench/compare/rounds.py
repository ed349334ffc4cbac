"""Rounds of a culture follow each other: which, how far apart, and what fixed effects leave of them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import sparse

from .equations import Array, Matrix, dense, elements, turned
from .reml import Reml


class Succession(NamedTuple):
    """Levels of a term that stand in series.

    Attributes
    ----------
    term : int
        Place of the term among all, the single rows (0) included.
    series : numpy.ndarray of int, shape (q,)
        Which series each level belongs to, from 0 on.
    number : numpy.ndarray of int, shape (q,)
        Where in its series it stands; a level that was left out leaves a gap.
    """

    term: int
    series: Array
    number: Array

    def each(self) -> list[Array]:
        """Return the levels of each series."""
        order = np.argsort(self.series, kind="stable")
        return np.split(order, np.cumsum(np.bincount(self.series))[:-1])

    def apart(self, levels: Array) -> Array:
        """Return how far apart levels of one series are."""
        return np.abs(self.number[levels, None] - self.number[levels])

    def pairs(self, lags: list[int]) -> tuple[Array, Array]:
        """Return the levels of a series that stand so far apart, each pair once."""
        first, second = [], []
        for levels in self.each():
            one, other = np.nonzero(np.triu(np.isin(self.apart(levels), lags), 1))
            first.append(levels[one])
            second.append(levels[other])
        return np.concatenate(first), np.concatenate(second)


class Levels(NamedTuple):
    """What is left of the levels of a term: with Q = Z' P Z, the matrix by which the fixed effects leave them.

    Attributes
    ----------
    term : array, shape (n, q)
        Z; None where the levels are the single rows.
    left : numpy.ndarray, shape (q,)
        Z' P y.
    rows, weights : numpy.ndarray, shape (n, p) and (q, p)
        How the fixed effects weigh each row, and each level.
    through, across, solved : array
        V^-1 of the absorbed part times Z; that by the rest of the design; and S^-1 of that.
    """

    term: Matrix
    left: Array
    rows: Array
    weights: Array
    through: Matrix
    across: Array
    solved: Array

    @classmethod
    def of(cls, found: Reml, place: int) -> Levels:
        """Take the levels of the term at a place."""
        at, model, term = found.at.solved, found.model, found.model.terms[place]
        rest = at.within @ model.y - at.beside @ (at.inverse @ (at.beside.T @ model.y))
        rows = model.over(at, model.fixed) @ at.inverse[-len(found.effects) :, -len(found.effects) :]
        through = at.within if term is None else at.within @ term
        across = dense(turned(term, at.beside)).T
        return cls(term, turned(term, rest), rows, turned(term, rows), through, across, at.inverse @ across)

    def between(self, first: Array, second: Array) -> Array:
        """Return elements of Q."""
        direct = elements(turned(self.term, self.through), first, second)
        return np.asarray(direct - (self.across[:, first] * self.solved[:, second]).sum(axis=0))

    def weighed(self, rounds: Succession, covariance: Array, furthest: int) -> Array:
        """Return what a covariance of levels, by how far apart from 0 on, makes of the fixed effects (p, p)."""
        by_lag = np.zeros(furthest + 2)
        by_lag[: furthest + 1] = covariance
        each = rounds.each()
        blocks = [by_lag[np.minimum(rounds.apart(levels), furthest + 1)] for levels in each]
        order = np.concatenate(each)
        weights = self.weights[order]
        return np.asarray(weights.T @ (sparse.block_diag(blocks, format="csr") @ weights))
