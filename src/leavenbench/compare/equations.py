"""The mixed model equations: fixed effects, random terms and their variances, solved at given variances.

``y ~ N(X b, V)``, with ``V = diag(known) + theta_0 I + theta_1 Z_1 Z_1' + ...``: V is linear in its variances, so that
derivatives of the likelihood are traces of what the equations hold anyway (Henderson 1975, Biometrics 31:423-447, doi
10.2307/2529430). The term with most levels is absorbed (in it no row meets two columns), so that the dense part is as
wide as the others together: a shelf of 150 cultures is solved in a few hundredths of a second.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from scipy import sparse
from scipy.linalg import cho_factor, cho_solve

Array = np.ndarray
#: A sparse array or a dense one: up to so many rows dense ones are quicker, and the arithmetic is the same.
Matrix = Any
_DENSE_UP_TO = 300


class Solved(NamedTuple):
    """The mixed model equations, solved: V^-1 of the absorbed part, that times the design of the rest, its solution."""

    within: Matrix
    beside: Matrix
    factor: Array
    inverse: Array


class At(NamedTuple):
    """The model at given variances."""

    solved: Solved
    effects: Array
    log_likelihood: float
    score: Array
    information: Array


class Model(NamedTuple):
    """What does not change with the variances.

    The first of the terms is the single rows (None); `absorbed` is the place of the absorbed one, 0 where none can be.
    """

    y: Array
    fixed: Matrix
    terms: list[Matrix | None]
    known: Array
    absorbed: int
    others: list[int]

    @classmethod
    def of(cls, y: Array, fixed: Array, terms: list[sparse.csr_array], known: Array) -> Model:
        """Lay out a model."""
        single = [place for place, term in enumerate(terms, 1) if np.diff(term.indptr).max(initial=0) <= 1]
        absorbed = max(single, key=lambda place: terms[place - 1].shape[1], default=0)
        others = [place for place in range(1, len(terms) + 1) if place != absorbed]
        if len(y) <= _DENSE_UP_TO:
            return cls(y, fixed, [None, *(term.toarray() for term in terms)], known, absorbed, others)
        return cls(y, sparse.csr_array(fixed), [None, *terms], known, absorbed, others)

    def at(self, theta: Array) -> At:
        """Solve the mixed model equations, and tell how the likelihood would change."""
        y, weight = self.y, 1.0 / (self.known + theta[0])
        within = _diagonal(weight, self.fixed)
        log_size = -np.log(weight).sum()
        if self.absorbed:
            levels = within @ self.terms[self.absorbed]
            size = np.asarray((self.terms[self.absorbed] * levels).sum(axis=0)).ravel()
            growth = 1.0 + theta[self.absorbed] * size
            within = within - levels @ _diagonal(theta[self.absorbed] / growth, levels) @ levels.T
            log_size += np.log(growth).sum()
        wide = [self.terms[place] * np.sqrt(theta[place]) for place in self.others]
        design = _side_by_side([*wide, self.fixed])
        beside = within @ design
        ridge = np.zeros(design.shape[1])
        ridge[: design.shape[1] - self.fixed.shape[1]] = 1.0
        solved = cho_factor(dense(design.T @ beside) + np.diag(ridge), lower=True)
        right = beside.T @ y
        found = cho_solve(solved, right)
        log_size += 2.0 * np.log(np.diag(solved[0])).sum()
        left = within @ y - beside @ found
        degrees = len(y) - self.fixed.shape[1]
        log_likelihood = -0.5 * (degrees * np.log(2.0 * np.pi) + log_size + y @ left)
        at = Solved(within, beside, solved[0], cho_solve(solved, np.eye(len(found))))
        return At(at, found[ridge == 0.0], float(log_likelihood), *self._derivatives(at, left))

    def _derivatives(self, at: Solved, left: Array) -> tuple[Array, Array]:
        """Return the score, and the average of the observed and the expected information."""
        moved = np.column_stack([times(term, turned(term, left)) for term in self.terms])  # V_k P y
        through = at.within @ moved - at.beside @ (at.inverse @ (at.beside.T @ moved))
        trace = np.empty(len(self.terms))
        for one, term in enumerate(self.terms):
            across = turned(term, at.beside)
            own = at.within.trace() if term is None else (term * (at.within @ term)).sum()
            trace[one] = own - np.vdot(at.inverse, dense(across.T @ across))
        return 0.5 * (moved.T @ left - trace), 0.5 * moved.T @ through

    def information(self, at: Solved) -> Array:
        """Return the expected information, from tr(P V_k P V_l)."""
        inner = [times(at.within, term) for term in self.terms]
        across = [turned(term, at.beside) for term in self.terms]
        shares = [at.inverse @ dense(one.T @ one) for one in across]
        information = np.empty((len(self.terms), len(self.terms)))
        for one, term in enumerate(self.terms):
            for other in range(one + 1):
                block = turned(term, inner[other])
                once = np.vdot(at.inverse, dense(across[one].T @ (block @ across[other])))
                whole = (block * block).sum() - 2.0 * once + np.vdot(shares[one], shares[other].T)
                information[one, other] = information[other, one] = 0.5 * whole
        return information

    def over(self, at: Solved, right: Matrix) -> Array:
        """Return V^-1 times some columns."""
        taken = dense(at.within @ right)
        random = at.beside.shape[1] - self.fixed.shape[1]
        if not random:
            return taken
        lower = at.factor[:random, :random]  # the factor of a leading block is the leading block of the factor
        of_random = at.beside[:, :random]
        return np.asarray(taken - of_random @ cho_solve((lower, True), dense(of_random.T @ right)))


def times(left: Matrix | None, right: Matrix | None) -> Matrix:
    """Multiply, where None stands for the identity of the rows."""
    if left is None or right is None:
        return right if left is None else left
    return left @ right


def turned(term: Matrix | None, right: Matrix) -> Matrix:
    """Return the transpose of Z times a matrix, where None stands for the identity of the rows."""
    if term is None:
        return right
    return term.T @ right


def dense(matrix: Matrix) -> Array:
    """Return either kind of array as a dense one."""
    return np.asarray(matrix.toarray() if sparse.issparse(matrix) else matrix)


def elements(matrix: Matrix, first: Array, second: Array) -> Array:
    """Return elements of a matrix by their rows and columns."""
    if sparse.issparse(matrix):
        matrix = sparse.csr_matrix(matrix)
    return np.asarray(matrix[first, second]).ravel()


def _diagonal(of: Array, like: Matrix) -> Matrix:
    return sparse.diags_array(of, format="csr") if sparse.issparse(like) else np.diag(of)


def _side_by_side(parts: list[Matrix]) -> Matrix:
    return sparse.hstack(parts, format="csr") if sparse.issparse(parts[0]) else np.hstack(parts)
