"""The fitting engine: least squares for one curve, from one start, with honest standard errors.

Nothing here knows of dough. A curve comes as a `Model` with its Jacobian; out comes a `Fit`. The Levenberg-
Marquardt steps are MINPACK's (More 1978, Lecture Notes in Mathematics 630:105-116, doi 10.1007/BFb0067700).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .models import Array, Model

#: Relative change of the residual sum at which a search ends: near the last digits there are, or near enough to
#: tell one curve from another.
EXACT, ROUGH = 1e-14, 1e-5
#: Evaluations after which a search ends wherever it is; along a ridge it could go on for ever.
_MOST_EVALUATIONS = {EXACT: 200, ROUGH: 60}
#: A search is at rest when the next step would gain less than this share of the residual sum.
_AT_REST = 1e-8
#: Residuals smaller than this share of the readings are what computing leaves behind.
_ROUNDING = 1e-12
#: A direction in which the readings say less than this, against the best one, is taken as not seen at all.
_UNSEEN = 1e-7
#: How far [natural logarithm] a positive parameter may move from its start: beyond it nothing is a curve.
_FURTHEST = 12.0


@dataclass(frozen=True)
class Fit:
    """A fitted curve.

    Attributes
    ----------
    model : Model
        What was fitted.
    parameters : numpy.ndarray, shape (p,)
        The optimum.
    rss : float
        Residual sum of squares, in the readings' unit squared.
    spare : int
        Readings beyond the number of free parameters.
    settled : bool
        Whether the search came to rest.
    spread : numpy.ndarray, shape (r, p)
        ``spread.T @ spread`` is the covariance of the parameters by linear theory; all NaN without a spare
        reading.
    unseen : numpy.ndarray, shape (p - r, p)
        The directions of the parameters, each scaled by its influence, on which the readings are silent.
    influence : numpy.ndarray, shape (p,)
        Length of each column of the Jacobian.
    """

    model: Model
    parameters: Array
    rss: float
    spare: int
    settled: bool
    spread: Array
    unseen: Array
    influence: Array

    def value(self, t: Array) -> Array:
        """Return the fitted curve at times `t` [h]."""
        return self.model.value(t, self.parameters)

    def standard_error(self, gradient: Array) -> float:
        """Return the standard error of a quantity by the delta method.

        Parameters
        ----------
        gradient : numpy.ndarray, shape (p,)
            The quantity's derivatives with respect to the parameters.

        Returns
        -------
        float
            NaN where the readings cannot tell: no spare reading, or the quantity moves in an unseen direction.
        """
        scaled = gradient / self.influence
        blind = np.linalg.norm(self.unseen @ scaled) > _UNSEEN * np.linalg.norm(scaled)
        return float("nan") if blind else float(np.linalg.norm(self.spread @ gradient))


def fit(model: Model, t: Array, y: Array, start: Array, least_sd: float = 0.0) -> Fit:
    """Fit a curve by least squares, to the last digits.

    Parameters
    ----------
    model : Model
        The curve and its Jacobian.
    t : numpy.ndarray, shape (n,)
        Times of the readings [h].
    y : numpy.ndarray, shape (n,)
        The readings; at least as many as parameters.
    start : numpy.ndarray, shape (p,)
        Where the search begins; above zero for the parameters in ``model.positive``.
    least_sd : float
        Readings are not taken to be finer than this, in their unit, however close the curve happens to run.

    Returns
    -------
    Fit
        Never raises on numbers: a search that does not come to rest has ``settled`` False.

    Examples
    --------
    >>> from leavenbench.curves.models import GROWTH
    >>> hours = np.array([0.0, 2, 4, 5, 6, 8, 12])
    >>> curve = GROWTH["logistic"]
    >>> found = fit(curve, hours, curve.value(hours, np.array([80, 25, 3])), np.array([60, 30, 2]))
    >>> found.parameters.round(6).tolist()
    [80.0, 25.0, 3.0]
    """
    p, _ = search(model, t, y, start, EXACT)
    with np.errstate(all="ignore"):
        return _judged(model, p, t, y, least_sd)


def search(model: Model, t: Array, y: Array, start: Array, care: float) -> tuple[Array, float]:
    """Search for the least-squares optimum of a curve, with a given care.

    Parameters
    ----------
    model, t, y, start
        As for `fit`.
    care : {EXACT, ROUGH}
        Relative change of the residual sum at which the search ends.

    Returns
    -------
    parameters : numpy.ndarray, shape (p,)
        Where it ended.
    rss : float
        Residual sum of squares there.
    """
    from scipy.optimize import leastsq

    logged = [place for place, name in enumerate(model.parameters) if name in model.positive]
    begin = np.array(start, dtype=float)
    begin[logged] = np.log(begin[logged])
    low, high = begin[logged] - _FURTHEST, begin[logged] + _FURTHEST

    def natural(inner: Array) -> Array:
        p = inner.copy()
        p[logged] = np.exp(np.minimum(np.maximum(inner[logged], low), high))
        return p

    def residuals(inner: Array) -> Array:
        return model.value(t, natural(inner)) - y

    def jacobian(inner: Array) -> Array:
        p = natural(inner)
        derivatives = model.jacobian(t, p)
        derivatives[:, logged] *= p[logged]
        return derivatives

    most = _MOST_EVALUATIONS[care]
    with np.errstate(all="ignore"):
        end, _, told, _, _ = leastsq(
            residuals, begin, Dfun=jacobian, full_output=True, ftol=care, xtol=care, gtol=0.0, maxfev=most
        )
        return natural(end), float(told["fvec"] @ told["fvec"])


def _judged(model: Model, p: Array, t: Array, y: Array, least_sd: float) -> Fit:
    """Judge an optimum by the singular values of the scaled Jacobian, without squaring it."""
    residuals, jacobian = model.value(t, p) - y, model.jacobian(t, p)
    rss = float(residuals @ residuals)
    spare = len(residuals) - len(p)
    influence = np.linalg.norm(jacobian, axis=0)
    if not np.isfinite(rss) or not np.isfinite(influence).all():
        return Fit(model, p, np.inf, spare, False, np.empty((0, len(p))), np.eye(len(p)), np.ones(len(p)))
    influence[influence == 0.0] = 1.0
    sides, strength, directions = np.linalg.svd(jacobian / influence, full_matrices=False)
    seen = strength > _UNSEEN * max(strength[0], _UNSEEN)
    to_gain = sides[:, seen].T @ residuals  # what a last step could still take off the residuals
    sd = max(np.sqrt(rss / spare), least_sd) if spare > 0 else np.nan
    spread = sd * directions[seen] / strength[seen, None] / influence
    settled = bool(to_gain @ to_gain <= _AT_REST * rss + _ROUNDING**2 * (y @ y))
    return Fit(model, p, rss, spare, settled, spread, directions[~seen], influence)
