"""What is known of the parameters before the readings are looked at: a Gaussian over them, or over their logarithms.

It stands beside the readings as a few more, so that the optimum is that of both (Lindley & Smith 1972, J R Stat Soc
B 34:1-18, doi 10.1111/j.2517-6161.1972.tb00885.x, for the linear case).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..models import Array
from .normal import columns


class Belief(NamedTuple):
    """What is known before of the parameters of many curves.

    Attributes
    ----------
    logarithmic : numpy.ndarray of bool, shape (p,)
        Of which parameters the logarithm is meant.
    mean : numpy.ndarray, shape (p, m)
        What is expected of the parameters, or of their logarithms.
    precision : numpy.ndarray, shape (p, p, m)
        Inverse of the covariance, times the variance of a reading of weight 1; zero where nothing is known.
    """

    logarithmic: Array
    mean: Array
    precision: Array

    def of(self, curves: Array) -> Belief:
        """Return what is known of some of the curves."""
        return Belief(self.logarithmic, columns(self.mean, curves), columns(self.precision, curves))

    def part(self, some: slice) -> Belief:
        """Return what is known of a part of the curves."""
        return Belief(self.logarithmic, self.mean[:, some], self.precision[..., some])

    def weaker(self, times: Array) -> Belief:
        """Return it with standard deviations so many times as large, shape (m,)."""
        return self._replace(precision=self.precision / times**2)

    def penalty(self, p: Array) -> Array:
        """Return what it adds to the residual sum, shape (m,)."""
        away = self._away(p)
        return _along(away, [_along(row, away) for row in self.precision])

    def in_parameters(self, p: Array) -> Array:
        """Return its precision in the parameters themselves, shape (p, p, m)."""
        by = self._derivative(p)
        return self.precision * by[:, None] * by

    def gain_if_moved(self, p: Array, root: Array, along: Array) -> Array:
        """Return what optima would lose of their sum, on a straight model, were the mean free along a direction.

        Parameters
        ----------
        p : numpy.ndarray, shape (p, m)
            The optima.
        root : numpy.ndarray, shape (p, p, m)
            Of the inverse of their normal matrices, as `normal.inverse_root` gives it.
        along : numpy.ndarray, shape (p,)
            The direction, in what the belief is about: parameters or logarithms.

        Returns
        -------
        numpy.ndarray, shape (m,)
            Over the variance of a reading: chi-square with one degree of freedom where the belief holds.
        """
        away, by = self._away(p), self._derivative(p)
        pulled = np.einsum("ijm,i->jm", self.precision, along)
        turned = np.einsum("kjm,jm->km", root, pulled * by)
        left = np.einsum("jm,j->m", pulled, along) - (turned**2).sum(axis=0)
        return (pulled * away).sum(axis=0) ** 2 / left

    def rows(self, p: Array) -> Array:
        """Return it as rows of a Jacobian, shape (p, p, m)."""
        size, curves = p.shape
        strength, directions = np.linalg.eigh(self.precision.transpose(2, 0, 1))
        root = np.sqrt(np.maximum(strength, 0.0))[..., None] * directions.swapaxes(1, 2)
        return root.transpose(1, 2, 0).reshape(size, size, curves) * self._derivative(p)

    def add_to(self, sums: Array, p: Array) -> None:
        """Add it to the sums that `normal.products` makes at `p`."""
        away, by = self._away(p), self._derivative(p)
        pull = [_along(row, away) for row in self.precision]
        sums[:-1, :-1] += self.precision * by[:, None] * by
        for place, of in enumerate(pull):
            sums[place, -1] -= by[place] * of
        sums[-1, -1] += _along(away, pull)

    def _away(self, p: Array) -> Array:
        away = p - self.mean
        away[self.logarithmic] = np.log(p[self.logarithmic]) - self.mean[self.logarithmic]
        return away

    def _derivative(self, p: Array) -> Array:
        by = np.ones_like(p)
        by[self.logarithmic] = 1.0 / p[self.logarithmic]
        return by


def _along(some: Array, others: Array | list[Array]) -> Array:
    """Sum the products of rows, one after another, whatever the number of columns."""
    total = some[0] * others[0]
    for one, other in zip(some[1:], others[1:], strict=True):
        total = total + one * other
    return total
