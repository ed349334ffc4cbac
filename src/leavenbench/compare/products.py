"""Products of sparse columns under weights that change, while which entries meet is worked out once."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import sparse

Array = np.ndarray


class OfRows(NamedTuple):
    """A' diag(w) A of a sparse A (n, m), for any weights w of its rows.

    Attributes
    ----------
    wide : int
        m.
    sums : scipy.sparse.csr_array, shape (m * m, n)
        What each row adds to each element.
    """

    wide: int
    sums: sparse.csr_array

    @classmethod
    def of(cls, design: sparse.csr_array) -> OfRows:
        """Work out which entries meet."""
        rows, wide = design.shape
        row, first, second = _meetings(design.indptr)
        added = design.data[first] * design.data[second]
        place = design.indices[first] * wide + design.indices[second]
        return cls(wide, sparse.csr_array((added, (place, row)), shape=(wide * wide, rows)))

    def under(self, weights: Array) -> Array:
        """Return the product (m, m)."""
        return np.asarray(self.sums @ weights).reshape(self.wide, self.wide)


class OfLevels(NamedTuple):
    """K = Z' diag(w) A of a Z (n, q) of which no row meets two levels; and K_1' K_2, told by the entries of each K.

    Attributes
    ----------
    wide : int
        Columns of A.
    squares : scipy.sparse.csr_array, shape (q, n)
        Z' with its entries squared: times w it is the diagonal of Z' diag(w) Z.
    entries : scipy.sparse.csr_array, shape (e, n)
        What each row adds to the entries of K.
    level, column : numpy.ndarray of int, shape (e,)
        Where in K they stand.
    first, second : numpy.ndarray of int, shape (pairs,)
        Which of them meet in a level.
    sums : scipy.sparse.csr_array, shape (m * m, pairs)
        To which element of the product each pair adds.
    """

    wide: int
    squares: sparse.csr_array
    entries: sparse.csr_array
    level: Array
    column: Array
    first: Array
    second: Array
    sums: sparse.csr_array

    @classmethod
    def of(cls, term: sparse.csr_array, design: sparse.csr_array) -> OfLevels:
        """Work out which entries meet."""
        (rows, wide), levels = design.shape, term.shape[1]
        row = np.repeat(np.arange(rows), np.diff(design.indptr))
        met = np.flatnonzero(np.diff(term.indptr)[row])
        own = term.indptr[row[met]]  # the only entry of that row in Z
        key, entry = np.unique(term.indices[own] * wide + design.indices[met], return_inverse=True)
        added = term.data[own] * design.data[met]
        level, column = np.divmod(key, wide)
        _, first, second = _meetings(np.searchsorted(level, np.arange(levels + 1)))
        pairs = (column[first] * wide + column[second], np.arange(len(first)))
        return cls(
            wide,
            sparse.csr_array(term.power(2).T),
            sparse.csr_array((added, (entry, row[met])), shape=(len(key), rows)),
            level,
            column,
            first,
            second,
            sparse.csr_array((np.ones(len(first)), pairs), shape=(wide * wide, len(first))),
        )

    def diagonal(self, weights: Array) -> Array:
        """Return the diagonal of Z' diag(w) Z (q,)."""
        return np.asarray(self.squares @ weights)

    def under(self, weights: Array) -> Array:
        """Return the entries of K (e,)."""
        return np.asarray(self.entries @ weights)

    def each(self, of_level: Array) -> Array:
        """Return what each entry's level has."""
        return np.asarray(of_level[self.level])

    def product(self, one: Array, other: Array) -> Array:
        """Return K_1' K_2 (m, m)."""
        return np.asarray(self.sums @ (one[self.first] * other[self.second])).reshape(self.wide, self.wide)


def _meetings(begin: Array) -> tuple[Array, Array, Array]:
    """Return all ordered pairs of entries that stand in one row, and the row, by where the rows begin."""
    row = np.repeat(np.arange(len(begin) - 1), np.diff(begin))
    each = np.diff(begin)[row]
    first = np.repeat(np.arange(len(row)), each)
    second = np.arange(len(first)) - np.repeat(np.cumsum(each) - each - begin[row], each)
    return row[first], first, second
