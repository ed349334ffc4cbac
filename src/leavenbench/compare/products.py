"""Products of sparse columns under weights that change, while which entries meet is worked out once."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import sparse

Array = np.ndarray


class Met(NamedTuple):
    """Where a symmetric (m, m) product of columns is not nothing, on and under its diagonal.

    Attributes
    ----------
    wide : int
        m.
    row, column : numpy.ndarray of int, shape (k,)
        Where.
    often : numpy.ndarray, shape (k,)
        How often each element stands in the whole: 1 on the diagonal, else 2.
    """

    wide: int
    row: Array
    column: Array
    often: Array

    def whole(self, elements: Array) -> Array:
        """Return the product (m, m) of its elements (k,)."""
        whole = np.zeros((self.wide, self.wide))
        whole[self.row, self.column] = whole[self.column, self.row] = elements
        return whole

    def trace(self, matrix: Array, elements: Array) -> float:
        """Return the trace of a symmetric matrix (m, m) times the product."""
        return float(matrix[self.row, self.column] @ (self.often * elements))


class Products(NamedTuple):
    """A' diag(w) A of a sparse A (n, m), for any w; K = Z' diag(w) A of a Z (n, q) of which no row meets two levels.

    Attributes
    ----------
    squares : scipy.sparse.csr_array, shape (q, n)
        Z' with its entries squared: times w it is the diagonal of Z' diag(w) Z.
    entries : scipy.sparse.csr_array, shape (e, n)
        What each row adds to the entries of K.
    level, column : numpy.ndarray of int, shape (e,)
        Where in K they stand.
    first, second : numpy.ndarray of int, shape (pairs,)
        Which of them meet in a level, the later one first.
    met : Met
        Where columns of A meet, in a row or in a level.
    by_row, by_pair : scipy.sparse.csr_array, shapes (k, n) and (k, pairs)
        To which element of a product each row adds how much, and each pair.
    """

    squares: sparse.csr_array
    entries: sparse.csr_array
    level: Array
    column: Array
    first: Array
    second: Array
    met: Met
    by_row: sparse.csr_array
    by_pair: sparse.csr_array

    @classmethod
    def of(cls, term: sparse.csr_array, design: sparse.csr_array) -> Products:
        """Work out which entries meet."""
        design.sort_indices()
        (rows, wide), levels = design.shape, term.shape[1]
        row = np.repeat(np.arange(rows), np.diff(design.indptr))
        within = np.flatnonzero(np.diff(term.indptr)[row])
        own = term.indptr[row[within]]  # the only entry of that row in Z
        key, entry = np.unique(term.indices[own] * wide + design.indices[within], return_inverse=True)
        added = term.data[own] * design.data[within]
        level, column = np.divmod(key, wide)
        in_row, one, other = _pairs(design.indptr)
        first, second = _pairs(np.searchsorted(level, np.arange(levels + 1)))[1:]
        of_row = design.indices[one] * wide + design.indices[other]
        of_pair = column[first] * wide + column[second]
        there = np.zeros(wide * wide, bool)
        there[of_row] = there[of_pair] = True
        number = np.cumsum(there) - 1
        met = np.divmod(np.flatnonzero(there), wide)
        shape, pairs = (len(met[0]), rows), np.arange(len(first))
        return cls(
            sparse.csr_array(term.power(2).T),
            sparse.csr_array((added, (entry, row[within])), shape=(len(key), rows)),
            level,
            column,
            first,
            second,
            Met(wide, *met, np.where(met[0] == met[1], 1.0, 2.0)),
            sparse.csr_array((design.data[one] * design.data[other], (number[of_row], in_row)), shape=shape),
            sparse.csr_array((np.ones(len(pairs)), (number[of_pair], pairs)), shape=(len(met[0]), len(pairs))),
        )

    def of_rows(self, weights: Array) -> Array:
        """Return the elements of A' diag(w) A (k,)."""
        return np.asarray(self.by_row @ weights)

    def diagonal(self, weights: Array) -> Array:
        """Return the diagonal of Z' diag(w) Z (q,)."""
        return np.asarray(self.squares @ weights)

    def under(self, weights: Array) -> Array:
        """Return the entries of K (e,)."""
        return np.asarray(self.entries @ weights)

    def each(self, of_level: Array) -> Array:
        """Return what each entry's level has."""
        return np.asarray(of_level[self.level])

    def of_levels(self, one: Array, other: Array) -> Array:
        """Return the elements of K_1' K_2 (k,) on and under its diagonal."""
        return np.asarray(self.by_pair @ (one[self.first] * other[self.second]))

    def both_ways(self, one: Array, other: Array) -> Array:
        """Return the elements of K_1' K_2 + K_2' K_1 (k,)."""
        return self.of_levels(one, other) + self.of_levels(other, one)


def _pairs(begin: Array) -> tuple[Array, Array, Array]:
    """Return the row of all pairs of entries that stand in one, the later one, and the other or the same one.

    Entries stand row by row; `begin` is where the rows begin.
    """
    row = np.repeat(np.arange(len(begin) - 1), np.diff(begin))
    many = np.arange(len(row)) - begin[row] + 1
    first = np.repeat(np.arange(len(row)), many)
    second = np.arange(len(first)) - np.repeat(np.cumsum(many) - many - begin[row], many)
    return row[first], first, second
