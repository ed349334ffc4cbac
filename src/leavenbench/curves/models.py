"""Growth curves in terms that a baker can read off: extent, steepest rate, lag.

Every model is a function ``(t, p) -> y`` with its Jacobian, on parameters that mean the same in all of them:
``extent`` is the upper asymptote, ``max_rate`` the slope at the inflection, and ``lag_h`` where the tangent
there crosses zero. Source of the three growth forms: Zwietering, Jongenburger, Rombouts & van 't Riet 1990,
Appl Environ Microbiol 56:1875-1881, doi 10.1128/aem.56.6.1875-1881.1990, table 2 (forms from memory, their
identities checked).

The parameters lie along the first axis of ``p``; any further axes broadcast against ``t``, so that many curves
can be computed at once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

Array = np.ndarray
_E = float(np.e)


@dataclass(frozen=True)
class Model:
    """One curve.

    Attributes
    ----------
    parameters : tuple of str
        Names of the parameters, in the order in which the functions take them.
    value : callable
        ``value(t, p)``: the curve at times ``t`` [h], shape (n,).
    jacobian : callable
        ``jacobian(t, p)``: derivatives with respect to ``p``, shape (n, len(p)).
    positive : tuple of str
        Parameters that make sense above zero only.
    """

    parameters: tuple[str, ...]
    value: Callable[[Array, Array], Array]
    jacobian: Callable[[Array, Array], Array]
    positive: tuple[str, ...] = ()

    def place(self, parameter: str) -> int:
        """Return where a parameter stands among `parameters`."""
        return self.parameters.index(parameter)


def _columns(*derivatives: Array) -> Array:
    """Set derivatives, shape (n,) each, side by side as the last axis."""
    stacked = np.empty((*np.broadcast(*derivatives).shape, len(derivatives)))
    for place, derivative in enumerate(derivatives):
        stacked[..., place] = derivative
    return stacked


def sigmoid(x: Array) -> Array:
    """1 / (1 + exp(-x)), without overflow at either end."""
    return 0.5 * (1.0 + np.tanh(0.5 * x))


def logistic(t: ArrayLike, p: ArrayLike) -> Array:
    """Logistic curve, A / (1 + exp(4 mu (lambda - t) / A + 2)).

    Parameters
    ----------
    t : array_like, shape (n,)
        Time [h].
    p : array_like, shape (3,)
        Extent A, steepest rate mu [A's unit/h], lag lambda [h].

    Returns
    -------
    numpy.ndarray, shape (n,)
        The curve, in A's unit.

    Examples
    --------
    >>> logistic([0, 5, 10], [10, 2, 3]).round(7).tolist()
    [0.1212843, 4.0131234, 9.7340301]
    """
    extent, rate, lag = np.asarray(p, float)
    return extent * sigmoid(4.0 * rate * (np.asarray(t, float) - lag) / extent - 2.0)


def logistic_jacobian(t: ArrayLike, p: ArrayLike) -> Array:
    """Return the derivatives of `logistic` with respect to extent, rate and lag, shape (n, 3)."""
    extent, rate, lag = np.asarray(p, float)
    since = np.asarray(t, float) - lag
    s = sigmoid(4.0 * rate * since / extent - 2.0)
    slope = s * (1.0 - s)
    return _columns(s - slope * 4.0 * rate * since / extent, 4.0 * since * slope, -4.0 * rate * slope)


def gompertz(t: ArrayLike, p: ArrayLike) -> Array:
    """Gompertz curve, A exp(-exp(mu e (lambda - t) / A + 1)).

    Parameters
    ----------
    t : array_like, shape (n,)
        Time [h].
    p : array_like, shape (3,)
        Extent A, steepest rate mu [A's unit/h], lag lambda [h].

    Returns
    -------
    numpy.ndarray, shape (n,)
        The curve, in A's unit.

    Examples
    --------
    >>> gompertz([5, 10], [10, 2, 3]).round(7).tolist()
    [3.9996011, 9.4132125]
    """
    extent, rate, lag = np.asarray(p, float)
    inner = np.minimum(rate * _E * (lag - np.asarray(t, float)) / extent + 1.0, 700.0)
    return extent * np.exp(-np.exp(inner))


def gompertz_jacobian(t: ArrayLike, p: ArrayLike) -> Array:
    """Return the derivatives of `gompertz` with respect to extent, rate and lag, shape (n, 3)."""
    extent, rate, lag = np.asarray(p, float)
    until = lag - np.asarray(t, float)
    inner = np.minimum(rate * _E * until / extent + 1.0, 700.0)
    level = np.exp(-np.exp(inner))
    slope = level * np.exp(np.minimum(inner, 100.0))
    return _columns(level + slope * rate * _E * until / extent, -_E * until * slope, -rate * _E * slope)


def richards(t: ArrayLike, p: ArrayLike) -> Array:
    """Richards curve, A (1 + nu e^(1+nu) exp[mu/A (1+nu)^(1+1/nu) (lambda-t)])^(-1/nu).

    Parameters
    ----------
    t : array_like, shape (n,)
        Time [h].
    p : array_like, shape (4,)
        Extent A, steepest rate mu [A's unit/h], lag lambda [h], shape nu > 0 (1 is the logistic; towards 0
        the curve becomes the Gompertz).

    Returns
    -------
    numpy.ndarray, shape (n,)
        The curve, in A's unit.

    Examples
    --------
    >>> richards([0, 5, 10], [10, 2, 3, 0.5]).round(7).tolist()
    [0.0309436, 4.001122, 9.6139896]
    """
    extent, rate, lag, nu = np.asarray(p, float)
    steep = np.exp((1.0 + 1.0 / nu) * np.log1p(nu))  # (1 + nu)^(1 + 1/nu), exact for small nu
    exponent = np.log(nu) + 1.0 + nu + rate / extent * steep * (lag - np.asarray(t, float))
    return extent * np.exp(-np.logaddexp(0.0, exponent) / nu)


def richards_jacobian(t: ArrayLike, p: ArrayLike) -> Array:
    """Return the derivatives of `richards` with respect to extent, rate, lag and shape, shape (n, 4)."""
    extent, rate, lag, nu = np.asarray(p, float)
    until = lag - np.asarray(t, float)
    steep = (1.0 + nu) ** (1.0 + 1.0 / nu)
    steep_by_nu = steep * (1.0 / nu - np.log1p(nu) / nu**2)
    exponent = np.log(nu) + 1.0 + nu + rate / extent * steep * until
    log_base = np.logaddexp(0.0, exponent)
    level = np.exp(-log_base / nu)
    slope = -extent * level * sigmoid(exponent) / nu  # dy/d(exponent)
    by_nu = slope * (1.0 / nu + 1.0 + rate / extent * steep_by_nu * until) + extent * level * log_base / nu**2
    return _columns(
        level - slope * rate * steep * until / extent**2,
        slope * steep * until / extent,
        slope * rate * steep / extent,
        by_nu,
    )


_GROWTH = ("extent", "max_rate", "lag_h")
_POSITIVE = ("extent", "max_rate")

#: The growth curves that a refeed may be fitted with.
GROWTH: dict[str, Model] = {
    "logistic": Model(_GROWTH, logistic, logistic_jacobian, _POSITIVE),
    "gompertz": Model(_GROWTH, gompertz, gompertz_jacobian, _POSITIVE),
    "richards": Model((*_GROWTH, "nu"), richards, richards_jacobian, (*_POSITIVE, "nu")),
}
