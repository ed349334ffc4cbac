"""Fitted curves, and how well their readings tell each of their numbers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..models import Array, Model
from .normal import column_sums, columns, columns_or_none, inverse_root
from .together import Optimum

#: A direction in which the readings say less than this, against the best one, is taken as not seen at all.
_UNSEEN = 1e-7
#: A normal matrix with a smaller pivot has lost too many digits: the Jacobian itself is asked.
_DIGITS_LOST = 1e-9


@dataclass(frozen=True)
class Fits:
    """Many fits of one model, each array with one column per curve.

    Attributes
    ----------
    model : Model
        What was fitted.
    parameters : numpy.ndarray, shape (p, m)
        The optima.
    rss : numpy.ndarray, shape (m,)
        Residual sum of squares.
    spare : numpy.ndarray of int, shape (m,)
        Readings beyond the number of free parameters.
    settled : numpy.ndarray of bool, shape (m,)
        Whether the search came to rest.
    held : numpy.ndarray of bool, shape (p, m)
        Parameters that were kept where they are; no standard error counts them.
    spread : numpy.ndarray, shape (p, p, m)
        ``spread.T @ spread`` is the covariance of the parameters by linear theory; NaN without a spare reading.
    unseen : numpy.ndarray, shape (p, p, m)
        Projection onto the directions, each parameter scaled by its influence, on which the readings are silent.
    influence : numpy.ndarray, shape (p, m)
        Length of each column of the Jacobian.
    """

    model: Model
    parameters: Array
    rss: Array
    spare: Array
    settled: Array
    held: Array
    spread: Array
    unseen: Array
    influence: Array

    def of(self, curves: Array) -> Fits:
        """Return some of the fits."""
        names = ("parameters", "rss", "spare", "settled", "held", "spread", "unseen", "influence")
        return Fits(self.model, *(columns(getattr(self, name), curves) for name in names))

    def value(self, t: Array) -> Array:
        """Return the fitted curves at times `t` [h], shape (m,) or (n, m)."""
        return self.model.value(t, self.parameters)

    def standard_error(self, gradient: Array) -> Array:
        """Return the standard error of a quantity of each curve by the delta method.

        Parameters
        ----------
        gradient : numpy.ndarray, shape (p, m)
            The quantity's derivatives with respect to the parameters.

        Returns
        -------
        numpy.ndarray, shape (m,)
            NaN where the readings cannot tell: no spare reading, or the quantity moves in an unseen direction.
        """
        scaled = gradient / self.influence
        hidden = (self.unseen * scaled).sum(axis=1)
        blind = (hidden**2).sum(axis=0) > _UNSEEN**2 * (scaled**2).sum(axis=0)
        se = np.sqrt(((self.spread * gradient).sum(axis=1) ** 2).sum(axis=0))
        return np.where(blind, np.nan, se)


def judged(
    model: Model,
    t: Array,
    found: Optimum,
    readings: Array,
    weight: Array | None = None,
    least_sd: Array | float = 0.0,
) -> Fits:
    """Judge optima by what the readings say about each parameter.

    Parameters
    ----------
    model : Model
        The curve.
    t : numpy.ndarray, shape (n, m)
        Times of the readings [h].
    found : Optimum
        The optima.
    readings : numpy.ndarray of int, shape (m,)
        How many readings there are.
    weight
        As for `optimum`.
    least_sd : float or numpy.ndarray, shape (m,)
        Readings are not taken to be finer than this, in their unit, however close the curve happens to run.

    Returns
    -------
    Fits
    """
    p, held, size = found.parameters, found.held, len(found.parameters)
    spare = readings - size + np.count_nonzero(held, axis=0)
    with np.errstate(all="ignore"):
        sd = np.maximum(np.sqrt(found.rss / np.where(spare > 0, spare, np.nan)), least_sd)
        root, pivot = inverse_root(found.sums, held)
    places = np.arange(size)
    influence = np.sqrt(found.sums[places, places])
    influence[~(influence > 0.0)] = 1.0
    unseen = np.zeros((size, size, p.shape[1]))
    unseen[places, places] = (found.sums[places, places] <= 0.0) & ~held
    usable = np.isfinite(found.sums).all(axis=(0, 1))
    hard = np.flatnonzero(usable & ~(pivot > _DIGITS_LOST))
    if len(hard):
        root[..., hard], unseen[..., hard] = _by_singular_values(
            model, columns(t, hard), columns(p, hard), columns_or_none(weight, hard), columns(held, hard)
        )
    settled = found.settled & usable
    root[..., ~usable] = np.nan
    return Fits(model, p, found.rss, spare, settled, held, root * sd, unseen, influence)


def _by_singular_values(model: Model, t: Array, p: Array, weight: Array | None, held: Array) -> tuple[Array, Array]:
    """Return a root of the inverse and the projection onto what is unseen, without squaring the Jacobian."""
    jacobian, influence = scaled_jacobian(model, t, p, weight, held)
    _, strength, directions = np.linalg.svd(jacobian, full_matrices=True)
    strength = np.pad(strength, ((0, 0), (0, len(p) - strength.shape[1])))
    seen = strength > _UNSEEN * np.maximum(strength[:, :1], _UNSEEN)
    with np.errstate(all="ignore"):
        root = np.where(seen, 1.0 / strength, 0.0)[..., None] * directions
    dark = np.where(seen[..., None], 0.0, directions)
    unseen = dark.swapaxes(1, 2) @ dark
    return root.transpose(1, 2, 0) * ~held / influence, unseen.transpose(1, 2, 0) * ~held


def scaled_jacobian(model: Model, t: Array, p: Array, weight: Array | None, held: Array) -> tuple[Array, Array]:
    """Return the weighted Jacobian of each curve with columns of length 1.

    Parameters
    ----------
    model, t, weight
        As for `judged`.
    p : numpy.ndarray, shape (p, m)
        Parameters.
    held : numpy.ndarray of bool, shape (p, m)
        Those that do not move.

    Returns
    -------
    jacobian : numpy.ndarray, shape (m, n, p)
        Columns of parameters that are held, or have no influence, are zero.
    influence : numpy.ndarray, shape (p, m)
        The lengths that were divided out; 1 for a zero column.
    """
    jacobian = np.empty((len(p), *t.shape))
    with np.errstate(all="ignore"):
        model.derive(t, p, jacobian)
    if weight is not None:
        jacobian *= weight
    jacobian[np.broadcast_to(held[:, None], jacobian.shape)] = 0.0
    influence = np.sqrt([column_sums(row**2) for row in jacobian])
    influence[influence == 0.0] = 1.0
    return (jacobian / influence[:, None]).transpose(2, 1, 0), influence
