"""Rounds of a culture follow each other: which, how far apart, and what fixed effects leave of them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import sparse

from .equations import Array, Matrix, turned
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

    def inside(self) -> tuple[Array, Array]:
        """Return all ordered pairs of levels of one series, series by series."""
        each = self.each()
        first = [np.repeat(levels, len(levels)) for levels in each]
        return np.concatenate(first), np.concatenate([np.tile(levels, len(levels)) for levels in each])

    def products(self, one: Array, other: Array) -> Array:
        """Return the products of the rows (q, m) of two arrays for the pairs `inside`."""
        return np.concatenate([(one[levels] @ other[levels].T).ravel() for levels in self.each()])


class Levels(NamedTuple):
    """What is left of the levels of a term: with Q = Z' P Z, the matrix by which the fixed effects leave them.

    Attributes
    ----------
    term : scipy.sparse.csr_array, shape (n, q)
        Z; None where the levels are the single rows.
    left : numpy.ndarray, shape (q,)
        Z' P y.
    met, through : scipy.sparse.csr_array, shapes (n, m) and (n, q)
        W times the design, and times Z.
    across : scipy.sparse.csr_array, shape (q, m)
        Z' W M.
    solved : numpy.ndarray, shape (q, m)
        That times C.
    weights : numpy.ndarray, shape (q, p)
        How the fixed effects weigh each level.
    first, second : numpy.ndarray of int, shape (pairs,)
        All ordered pairs of levels of one series.
    between : numpy.ndarray, shape (pairs,)
        Elements of Q.
    """

    term: sparse.csr_array | None
    left: Array
    met: sparse.csr_array
    through: sparse.csr_array
    across: sparse.csr_array
    solved: Array
    weights: Array
    first: Array
    second: Array
    between: Array

    @classmethod
    def of(cls, found: Reml, rounds: Succession) -> Levels:
        """Take the levels of the term that stands in series."""
        model, at, term = found.model, found.at, found.model.terms[rounds.term]
        within = model.through(at.within)
        met = within @ model.design
        through = within if term is None else within @ term
        across = sparse.csr_array(turned(term, met))
        solved = across @ at.inverse
        first, second = rounds.inside()
        between = elements(turned(term, through), first, second) - rounds.products(solved, across.toarray())
        weights = solved[:, model.random :]
        return cls(term, turned(term, at.left), met, through, across, solved, weights, first, second, between)

    def weighed(self, rounds: Succession, covariance: Array, furthest: int) -> Array:
        """Return what a covariance of levels, by how far apart from 0 on, makes of the fixed effects (p, p)."""
        by_lag = np.zeros(furthest + 2)
        by_lag[: furthest + 1] = covariance
        apart = np.abs(rounds.number[self.first] - rounds.number[self.second])
        entries = (by_lag[np.minimum(apart, furthest + 1)], (self.first, self.second))
        of_levels = sparse.csr_array(entries, shape=(len(self.weights), len(self.weights)))
        return np.asarray(self.weights.T @ (of_levels @ self.weights))


def elements(matrix: Matrix, first: Array, second: Array) -> Array:
    """Return elements of a sparse matrix by their rows and columns."""
    return np.asarray(sparse.csr_array(matrix)[first, second]).ravel()
