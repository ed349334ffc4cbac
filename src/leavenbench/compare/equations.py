"""The mixed model equations: fixed effects, random terms and their variances, solved at given variances.

``y ~ N(X b, V)``, with ``V = diag(known) + theta_0 I + theta_1 Z_1 Z_1' + ...``: V is linear in its variances, so that
derivatives of the likelihood are traces of what the equations hold anyway (Henderson 1975, Biometrics 31:423-447, doi
10.2307/2529430). The term with most levels is absorbed (in it no row meets two columns): W is the inverse of V without
the other terms. Those and X, side by side, are the design M, and the likelihood is told by products such as M' W M,
which are only as wide as the design: a shelf of 150 cultures is solved in a hundredth of a second.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from scipy import sparse

from .eliminated import Columns
from .products import Array, Products

#: A sparse array or a dense one.
Matrix = Any


class Within(NamedTuple):
    """W at given variances: ``diag(w) - diag(w) Z diag(share) Z' diag(w)`` with the absorbed term's Z.

    Attributes
    ----------
    weight : numpy.ndarray, shape (n,)
        w, the inverse of the variance of single rows.
    size, second, left, share : numpy.ndarray, shape (q,)
        ``Z' w Z``, ``Z' w^2 Z``, ``1 / (1 + theta size)``, which is what absorbing leaves of a level, theta times that.
    once, twice : numpy.ndarray, shape (e,)
        Entries of ``Z' w M`` and ``Z' w W M``.
    """

    weight: Array
    size: Array
    second: Array
    left: Array
    share: Array
    once: Array
    twice: Array


class Grams(NamedTuple):
    """``M' W M``; elements of ``M' W^2 M``, and of ``M' W Z Z' W M`` with the absorbed term's Z, where columns meet."""

    once: Array
    twice: Array
    by_level: Array


class At(NamedTuple):
    """The model at given variances.

    C is the inverse by which ``P = W - W M C M' W``; `left` is P y; the information is the average of the observed and
    the expected one.
    """

    within: Within
    grams: Grams
    inverse: Array
    effects: Array
    left: Array
    log_likelihood: float
    score: Array
    information: Array


class Model(NamedTuple):
    """What does not change with the variances.

    The first of the terms is the single rows (None); `absorbed` is the place of the absorbed one, 0 where none can be.
    `columns` tells which of the first `random` columns of the design M are whose, by place; the rest are fixed. y is
    what least squares leave, with the effects `about`: small variances about a large mean would drown in rounding.
    """

    y: Array
    about: Array
    fixed: sparse.csr_array
    terms: list[sparse.csr_array | None]
    known: Array
    absorbed: int
    columns: dict[int, slice]
    random: int
    design: sparse.csr_array
    products: Products
    layout: Columns

    @classmethod
    def of(cls, y: Array, fixed: Matrix, terms: list[sparse.csr_array], known: Array) -> Model:
        """Lay out a model."""
        fixed = sparse.csr_array(fixed)
        about = np.linalg.solve((fixed.T @ fixed).toarray(), fixed.T @ y)
        single = [place for place, term in enumerate(terms, 1) if np.diff(term.indptr).max(initial=0) <= 1]
        absorbed = max(single, key=lambda place: terms[place - 1].shape[1], default=0)
        columns, random = {}, 0
        for place, term in enumerate(terms, 1):
            if place != absorbed:
                columns[place] = slice(random, random := random + term.shape[1])
        design = sparse.csr_array(sparse.hstack([*(terms[place - 1] for place in columns), fixed], format="csr"))
        products = Products.of(terms[absorbed - 1] if absorbed else sparse.csr_array((len(y), 0)), design)
        told = (columns, random, design, products, Columns.of(products.met, random))
        return cls(y - fixed @ about, about, fixed, [None, *terms], known, absorbed, *told)

    def at(self, theta: Array) -> At:
        """Solve the mixed model equations, and tell how the likelihood would change."""
        within = self._within(theta)
        grams = self._grams(within)
        scale = np.ones(self.design.shape[1])
        for place, own in self.columns.items():
            scale[own] = np.sqrt(theta[place])
        inverse, log_size, of_others = self.layout.inverted(grams.once, scale)
        weighed = self.weighed(within, self.y)
        found = inverse @ (self.design.T @ weighed)
        left = weighed - self.weighed(within, self.design @ found)
        log_size -= np.log(within.weight).sum() + np.log(within.left).sum()
        degrees = len(self.y) - self.fixed.shape[1]
        log_likelihood = -0.5 * (degrees * np.log(2.0 * np.pi) + log_size + self.y @ left)
        traces = self._traces(within, grams, inverse, of_others)
        moved = np.column_stack([times(term, turned(term, left)) for term in self.terms])  # V_k P y
        through = self.weighed(within, moved - self.design @ (inverse @ (self.design.T @ self.weighed(within, moved))))
        score = 0.5 * (moved.T @ left - traces)
        effects = found[self.random :] + self.about
        return At(within, grams, inverse, effects, left, float(log_likelihood), score, 0.5 * moved.T @ through)

    def _within(self, theta: Array) -> Within:
        products, weight = self.products, 1.0 / (self.known + theta[0])
        size, second = products.diagonal(weight), products.diagonal(weight**2)
        left = 1.0 / (1.0 + theta[self.absorbed] * size)
        share = theta[self.absorbed] * left
        once = products.under(weight)
        twice = products.under(weight**2) - products.each(second * share) * once
        return Within(weight, size, second, left, share, once, twice)

    def _grams(self, within: Within) -> Grams:
        products, weight = self.products, within.weight
        shared = products.each(within.share) * within.once
        once = products.of_rows(weight) - products.of_levels(within.once, shared)
        # twice_on_design has lost the whole of what the absorbed levels share, and here only half of it may go
        half = within.twice + 0.5 * products.each(within.second * within.share) * within.once
        twice = products.of_rows(weight**2) - products.both_ways(shared, half)
        through = products.each(within.left) * within.once
        return Grams(products.met.whole(once), twice, products.of_levels(through, through))

    def weighed(self, within: Within, right: Array) -> Array:
        """Return W times one column or more."""
        weighed = (within.weight * right.T).T
        term = self.terms[self.absorbed]
        if term is None:
            return weighed
        return weighed - (within.weight * (term @ (within.share * (term.T @ weighed).T).T).T).T

    def _traces(self, within: Within, grams: Grams, inverse: Array, of_others: Array) -> Array:
        """Return the traces of P V_k, of the other terms from the diagonal of what P leaves of their levels."""
        traces, met = np.empty(len(self.terms)), self.products.met
        traces[0] = within.weight.sum() - within.share @ within.second - met.trace(inverse, grams.twice)
        if self.absorbed:
            traces[self.absorbed] = within.left @ within.size - met.trace(inverse, grams.by_level)
        for place, own in self.columns.items():
            traces[place] = of_others[own].sum()
        return traces

    def through(self, within: Within) -> sparse.csr_array:
        """Return W as an array (n, n)."""
        weight, term = sparse.diags_array(within.weight, format="csr"), self.terms[self.absorbed]
        if term is None:
            return weight
        levels = weight @ term
        return sparse.csr_array(weight - levels @ sparse.diags_array(within.share, format="csr") @ levels.T)


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
