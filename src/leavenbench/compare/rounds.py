"""Rounds of a culture follow each other: which, how far apart, and what fixed effects leave of them."""

from __future__ import annotations

from collections.abc import Iterator
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

    def in_order(self) -> tuple[Succession, Array]:
        """Return the same series by series, and the levels in that order."""
        order = np.argsort(self.series, kind="stable")
        return self._replace(series=self.series[order], number=self.number[order]), order

    def each(self) -> list[slice]:
        """Return the levels of each series, where they are in order."""
        ends = np.cumsum(np.bincount(self.series))
        return [slice(begin, end) for begin, end in zip([0, *ends[:-1]], ends, strict=True)]

    def inside(self) -> tuple[Array, Array]:
        """Return all ordered pairs of levels of one series, series by series."""
        levels = np.arange(len(self.series))
        many = np.bincount(self.series)[self.series]
        first = np.repeat(levels, many)
        begins = np.searchsorted(self.series, self.series)
        return first, np.arange(len(first)) - np.repeat(np.cumsum(many) - many - begins, many)

    def blocks(self, of_pairs: Array) -> Iterator[tuple[slice, Array]]:
        """Yield the levels of each series, and what is told of their pairs `inside` as an array (levels, levels)."""
        begin = 0
        for own in self.each():
            many = own.stop - own.start
            yield own, of_pairs[begin : begin + many * many].reshape(many, many)
            begin += many * many

    def products(self, one: Array, other: Array) -> Array:
        """Return the products of the rows (q, m) of two arrays for the pairs `inside`."""
        return np.concatenate([(one[own] @ other[own].T).ravel() for own in self.each()])


class Levels(NamedTuple):
    """What is left of the levels of a term: with Q = Z' P Z, the matrix by which the fixed effects leave them.

    Attributes
    ----------
    rounds : Succession
        The levels, in order.
    term : scipy.sparse.csr_array, shape (n, q)
        Z.
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
    first, second, apart : numpy.ndarray of int, shape (pairs,)
        All ordered pairs of levels of one series, and how far apart they are.
    between : numpy.ndarray, shape (pairs,)
        Elements of Q.
    """

    rounds: Succession
    term: sparse.csr_array
    left: Array
    met: sparse.csr_array
    through: sparse.csr_array
    across: sparse.csr_array
    solved: Array
    weights: Array
    first: Array
    second: Array
    apart: Array
    between: Array

    @classmethod
    def of(cls, found: Reml, rounds: Succession) -> Levels:
        """Take the levels of the term that stands in series."""
        model, at, term = found.model, found.at, found.model.terms[rounds.term]
        rounds, order = rounds.in_order()
        term = sparse.csr_array(sparse.eye_array(len(model.y), format="csr") if term is None else term)[:, order]
        within = model.through(at.within)
        met, through = within @ model.design, within @ term
        across = sparse.csr_array(turned(term, met))
        solved = across @ at.inverse
        first, second = rounds.inside()
        apart = np.abs(rounds.number[first] - rounds.number[second])
        between = elements(turned(term, through), first, second) - rounds.products(solved, across.toarray())
        told = (solved, np.ascontiguousarray(solved[:, model.random :]), first, second, apart, between)
        return cls(rounds, term, turned(term, at.left), met, through, across, *told)

    def weighed(self, covariance: Array) -> Array:
        """Return what a covariance of levels, by how far apart from 0 on, makes of the fixed effects (p, p)."""
        by_pair = np.append(covariance, 0.0)[np.minimum(self.apart, len(covariance))]
        shared = np.concatenate([block @ self.weights[own] for own, block in self.rounds.blocks(by_pair)])
        return np.asarray(self.weights.T @ shared)


def elements(matrix: Matrix, first: Array, second: Array) -> Array:
    """Return elements of a sparse matrix by their rows and columns."""
    return np.asarray(sparse.csr_array(matrix)[first, second]).ravel()
