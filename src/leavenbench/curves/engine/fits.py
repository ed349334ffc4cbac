"""Fitted curves, and how well their readings tell each of their numbers."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..models import Array, Model
from .belief import Belief
from .normal import column_sums, columns, columns_or_none, inverse_root
from .together import Optimum

#: A direction in which the readings say less than this, against the best one, is taken as not seen at all.
_UNSEEN = 1e-7
#: A normal matrix with a smaller pivot has lost too many digits: the Jacobian itself is asked.
_DIGITS_LOST = 1e-9
#: With fewer readings to spare a curve cannot tell its own noise: the usual one fills them up to so many.
_ENOUGH_TO_TELL = 10


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
    spare : numpy.ndarray, shape (m,)
        Readings beyond the number of free parameters, of which a belief leaves only a part to the readings.
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
    believed : numpy.ndarray, shape (p, p, m), or None
        The part of the inverse covariance that is a belief, not read.
    degrees : numpy.ndarray, shape (m,), or None
        Degrees of freedom of the noise, where a usual one fills it up; else they are those to spare.
    rival : numpy.ndarray, shape (p, m), or None
        Step to the parameters of another model that may be the right one, times the root of its probability.
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
    believed: Array | None = None
    degrees: Array | None = None
    rival: Array | None = None

    @property
    def freedom(self) -> Array:
        """Degrees of freedom of Student's t for its standard errors, shape (m,)."""
        return self.spare if self.degrees is None else self.degrees

    def of(self, curves: Array) -> Fits:
        """Return some of the fits."""
        names = ("parameters", "rss", "spare", "settled", "held", "spread", "unseen", "influence")
        some = {name: columns(getattr(self, name), curves) for name in names}
        more = (columns_or_none(it, curves) for it in (self.believed, self.degrees, self.rival))
        return Fits(self.model, **some, believed=next(more), degrees=next(more), rival=next(more))

    def filled_up(self, usual_sd: float, least_sd: float = 0.0) -> Fits:
        """Return them with errors for which a usual noise fills up their own; see `noise`."""
        with np.errstate(all="ignore"):
            own, filled = (np.maximum(noise(self.rss, self.spare, sd), least_sd) for sd in (None, usual_sd))
        return replace(self, spread=self.spread * (filled / own), degrees=degrees(self.spare))

    def value(self, t: Array) -> Array:
        """Return the fitted curves at times `t` [h], shape (m,) or (n, m)."""
        return self.model.value(t, self.parameters)

    def standard_error(self, gradient: Array) -> Array:
        """Return the standard error of a quantity of each curve by the delta method.

        A rival model adds what the quantity would be by it, as often as it is the right one (Buckland, Burnham &
        Augustin 1997, Biometrics 53:603-618, doi 10.2307/2533961, equation 9, in the form of variances).

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
        variance = ((self.spread * gradient).sum(axis=1) ** 2).sum(axis=0)
        if self.rival is not None:
            variance += (self.rival * gradient).sum(axis=0) ** 2
        se = np.sqrt(variance)
        return np.where(blind, np.nan, se)

    def believed_share(self, gradient: Array) -> Array:
        """Return the share of the variance of a quantity that goes back to a belief, not to the readings.

        Parameters
        ----------
        gradient : numpy.ndarray, shape (p, m)
            The quantity's derivatives with respect to the parameters.

        Returns
        -------
        numpy.ndarray, shape (m,)
            From 0 to 1. Of a single parameter with a Gaussian belief: the weight of the belief in their mean.
        """
        if self.believed is None:
            return np.zeros(gradient.shape[1])
        along = (self.spread * gradient).sum(axis=1)
        by = (self.spread * along[:, None]).sum(axis=0)
        believed = column_sums(column_sums(self.believed * by[:, None] * by))
        whole = (along**2).sum(axis=0)
        told = whole > 0.0  # nothing is borrowed for a quantity that has no derivatives
        return np.where(told, np.clip(believed / np.where(told, whole, 1.0), 0.0, 1.0), 0.0)


def judged(
    model: Model,
    t: Array,
    found: Optimum,
    readings: Array,
    weight: Array | None = None,
    least_sd: float = 0.0,
    usual_sd: float | None = None,
    belief: Belief | None = None,
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
    least_sd : float
        Readings are not taken to be finer than this, in their unit, however close the curve happens to run.
    usual_sd : float, optional
        Noise of such readings. Where few are to spare they are filled up with it to ten; without it, one reading to
        spare has to be enough.
    belief : Belief, optional
        What counted beside the readings.

    Returns
    -------
    Fits
    """
    p, held, size = found.parameters, found.held, len(found.parameters)
    spare = readings - size + np.count_nonzero(held, axis=0)
    rss, believed = found.rss, None
    with np.errstate(all="ignore"):
        root, pivot = inverse_root(found.sums, held)
        if belief is not None:
            rss, believed = np.maximum(rss - belief.penalty(p), 0.0), belief.in_parameters(p)
            spare = spare + np.einsum("kim,kjm,ijm->m", root, root, believed)
        sd = np.maximum(noise(rss, spare, usual_sd), least_sd)
        if believed is not None:
            believed /= sd**2
    places = np.arange(size)
    influence = np.sqrt(found.sums[places, places])
    influence[~(influence > 0.0)] = 1.0
    unseen = np.zeros((size, size, p.shape[1]))
    unseen[places, places] = (found.sums[places, places] <= 0.0) & ~held
    usable = np.isfinite(found.sums).all(axis=(0, 1))
    hard = np.flatnonzero(usable & ~(pivot > _DIGITS_LOST))
    if len(hard):
        root[..., hard], unseen[..., hard] = _by_singular_values(
            model,
            columns(t, hard),
            columns(p, hard),
            columns_or_none(weight, hard),
            columns(held, hard),
            None if belief is None else belief.of(hard),
        )
    settled = found.settled & usable
    root[..., ~usable] = np.nan
    known = None if usual_sd is None else degrees(spare)
    return Fits(model, p, rss, spare, settled, held, root * sd, unseen, influence, believed, known)


def degrees(spare: Array) -> Array:
    """Return the degrees of freedom of a noise that a usual one fills up: the more of it that is known, the more."""
    return np.maximum(spare, _ENOUGH_TO_TELL) ** 2 / np.maximum(spare, 1e-6)


def noise(rss: Array, spare: Array, usual_sd: Array | float | None) -> Array:
    """Return the noise of the readings of each curve.

    Parameters
    ----------
    rss : numpy.ndarray, shape (m,)
        Residual sums of squares.
    spare : numpy.ndarray, shape (m,)
        Readings to spare.
    usual_sd : float or numpy.ndarray, shape (m,), optional
        Noise of such readings: it stands for those that are missing to ten.

    Returns
    -------
    numpy.ndarray, shape (m,)
        Standard deviation; NaN where it cannot be told.
    """
    if usual_sd is None:
        return np.sqrt(rss / np.where(spare > 0, spare, np.nan))
    own = np.maximum(spare, 0)
    filled = np.maximum(_ENOUGH_TO_TELL - own, 0)
    return np.sqrt((np.where(own > 0, rss, 0.0) + filled * usual_sd**2) / (own + filled))


def _by_singular_values(
    model: Model, t: Array, p: Array, weight: Array | None, held: Array, belief: Belief | None
) -> tuple[Array, Array]:
    """Return a root of the inverse and the projection onto what is unseen, without squaring the Jacobian."""
    jacobian, influence = scaled_jacobian(model, t, p, weight, held)
    if belief is not None:
        rows = belief.rows(p) / influence
        rows[:, held] = 0.0
        jacobian = np.concatenate((jacobian, rows.transpose(2, 0, 1)), axis=1)
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
