"""The inverse of the mixed model equations, where some unknowns never meet each other.

Of the fixed effects the means of groups are those: in their own block the equations are a diagonal, and taking it out
first leaves a much smaller system to factor.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.linalg import solve_triangular
from scipy.linalg.lapack import dpotrf, dpotri

from .products import Array, Met


class Inverted(NamedTuple):
    """What the equations give.

    Attributes
    ----------
    inverse : numpy.ndarray, shape (m, m)
        C.
    log_size : float
        Logarithm of the determinant of the equations, whose random columns are scaled.
    left : numpy.ndarray, shape (random,)
        Diagonal of Z' P Z of the random columns.
    """

    inverse: Array
    log_size: float
    left: Array


class Columns(NamedTuple):
    """Columns of a design: the random ones come first; `alone` are fixed ones that never meet, `dense` all others."""

    random: int
    alone: slice
    dense: Array

    @classmethod
    def of(cls, met: Met, random: int) -> Columns:
        """Take as many of the first fixed columns as never meet."""
        fixed = (met.row > met.column) & (met.column >= random)
        end = int(met.row[fixed].min(initial=met.wide))
        return cls(random, slice(random, end), np.concatenate((np.arange(random), np.arange(end, met.wide))))

    def inverted(self, gram: Array, scale: Array) -> Inverted:
        """Solve; no variance is divided by.

        Parameters
        ----------
        gram : numpy.ndarray, shape (m, m)
            M' W M.
        scale : numpy.ndarray, shape (m,)
            Roots of the variances of the random columns; 1 for the fixed ones.
        """
        own, across = np.diag(gram)[self.alone], gram[self.alone][:, self.dense]
        half = across / np.sqrt(own)[:, None]
        rest = gram[np.ix_(self.dense, self.dense)] - half.T @ half
        scale = scale[self.dense]
        equations = scale[:, None] * rest * scale
        equations[np.diag_indices(self.random)] += 1.0
        factor, failed = dpotrf(equations, lower=1)
        if failed:
            raise np.linalg.LinAlgError("the fixed effects are not of full rank")
        right = scale[:, None] * rest[:, : self.random]
        solved = solve_triangular(factor, right, lower=True, check_finite=False)
        log_size = 2.0 * np.log(np.diag(factor)).sum() + np.log(own).sum()
        left = np.diag(rest)[: self.random] - (solved**2).sum(axis=0)
        return Inverted(self._whole(_inverse(factor, scale), across / own[:, None], 1.0 / own), float(log_size), left)

    def _whole(self, dense: Array, share: Array, alone: Array) -> Array:
        """Return the inverse of all from that of the dense columns."""
        inverse = np.empty((len(dense) + len(alone),) * 2)
        beside = -share @ dense
        inverse[np.ix_(self.dense, self.dense)] = dense
        inverse[self.alone, self.dense] = beside
        inverse[self.dense, self.alone] = beside.T
        both = -beside @ share.T
        both[np.diag_indices(len(alone))] += alone
        inverse[self.alone, self.alone] = both
        return inverse


def _inverse(factor: Array, scale: Array) -> Array:
    """Return the inverse of what was factored, for columns that were scaled; the factor is 0 over its diagonal."""
    half = dpotri(factor, lower=1)[0]
    half[np.diag_indices(len(half))] *= 0.5
    inverse = np.add(half, half.T, order="C")
    inverse *= scale[:, None]
    inverse *= scale
    return np.asarray(inverse)
