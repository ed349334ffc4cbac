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
#: Exponents are held below this, so that nothing overflows.
LARGEST = 700.0


@dataclass(frozen=True)
class Model:
    """One curve.

    Attributes
    ----------
    parameters : tuple of str
        Names of the parameters, in the order in which the functions take them.
    value : callable
        ``value(t, p)``: the curve at times ``t`` [h], from parameters whose first axis is in that order.
    derive : callable
        ``derive(t, p, into)``: the same, and into ``into``, shape (p, ...), the derivatives by each parameter.
    positive : tuple of str
        Parameters that make sense above zero only.
    linear : tuple of str
        Parameters in which the curve is linear while the others stay put.
    """

    parameters: tuple[str, ...]
    value: Callable[[Array, Array], Array]
    derive: Callable[[Array, Array, Array], Array]
    positive: tuple[str, ...] = ()
    linear: tuple[str, ...] = ()

    def place(self, parameter: str) -> int:
        """Return where a parameter stands among `parameters`."""
        return self.parameters.index(parameter)

    def jacobian(self, t: ArrayLike, p: ArrayLike) -> Array:
        """Return the derivatives by each parameter, the parameters along the first axis."""
        times, known = np.asarray(t, float), np.asarray(p, float)
        into = np.empty((len(self.parameters), *np.broadcast_shapes(times.shape, known.shape[1:])))
        self.derive(times, known, into)
        return into


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
    return extent * sigmoid(4.0 * rate / extent * (np.asarray(t, float) - lag) - 2.0)


def derive_logistic(t: Array, p: Array, into: Array) -> Array:
    """Return `logistic` and its derivatives by extent, rate and lag."""
    extent, rate, lag = p
    share, by_rate, by_lag = into
    since = t - lag
    since *= 2.0 * rate / extent
    np.subtract(since, 1.0, out=share)
    np.tanh(share, out=share)
    share += 1.0
    share *= 0.5
    np.subtract(1.0, share, out=by_rate)
    by_rate *= share
    np.multiply(by_rate, -4.0 * rate, out=by_lag)
    by_rate *= since
    level = extent * share
    share -= 2.0 * by_rate
    by_rate *= 2.0 * extent / rate
    return level


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
    inner = np.minimum(rate * _E / extent * (lag - np.asarray(t, float)) + 1.0, LARGEST)
    return extent * np.exp(-np.exp(inner))


def derive_gompertz(t: Array, p: Array, into: Array) -> Array:
    """Return `gompertz` and its derivatives by extent, rate and lag."""
    extent, rate, lag = p
    share, by_rate, by_lag = into
    until = lag - t
    until *= rate * _E / extent
    np.add(until, 1.0, out=by_rate)
    np.minimum(by_rate, LARGEST, out=by_rate)
    np.exp(by_rate, out=by_rate)
    np.negative(by_rate, out=share)
    np.exp(share, out=share)
    by_rate *= share
    np.multiply(by_rate, -rate * _E, out=by_lag)
    by_rate *= until
    level = extent * share
    share += by_rate
    by_rate *= -extent / rate
    return level


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
    exponent = rate / extent * _steep(nu) * (lag - np.asarray(t, float)) + (np.log(nu) + 1.0 + nu)
    return extent * np.exp(-np.log1p(np.exp(np.minimum(exponent, LARGEST))) / nu)


def derive_richards(t: Array, p: Array, into: Array) -> Array:
    """Return `richards` and its derivatives by extent, rate, lag and shape."""
    extent, rate, lag, nu = p
    steep = _steep(nu)
    until = rate / extent * steep * (lag - t)
    still = np.exp(np.minimum(until + (np.log(nu) + 1.0 + nu), LARGEST))
    log_base = np.log1p(still)
    share = np.exp(log_base / -nu)
    still /= 1.0 + still
    still *= share / -nu  # d share / d exponent
    np.multiply(still, rate * steep, out=into[2])
    np.multiply(still, extent * (1.0 / nu + 1.0), out=into[3])
    still *= until
    np.subtract(share, still, out=into[0])
    np.multiply(still, extent / rate, out=into[1])
    still *= extent * (1.0 / nu - np.log1p(nu) / nu**2)  # (1 + nu)^(1 + 1/nu) by nu, relative
    into[3] += still
    log_base *= share
    log_base *= extent / nu**2
    into[3] += log_base
    return extent * share


def _steep(nu: Array) -> Array:
    """(1 + nu)^(1 + 1/nu), exact for small nu."""
    return np.exp((1.0 + 1.0 / nu) * np.log1p(nu))


def time_of_share(growth: str, share: ArrayLike, nu: ArrayLike = 1.0) -> Array:
    """Say when a growth curve stands at a share of its extent, counted from its lag in units of extent / rate.

    Parameters
    ----------
    growth : str
        A name in `GROWTH`.
    share : array_like
        The share, between 0 and 1.
    nu : array_like
        Shape of a Richards curve; the other curves have none.

    Returns
    -------
    numpy.ndarray
        The time [1].

    Examples
    --------
    >>> float(time_of_share("logistic", 0.5)), float(time_of_share("richards", 0.5, 1.0))
    (0.5, 0.5)
    """
    s, shape = np.asarray(share, float), np.asarray(nu, float)
    if growth == "logistic":
        return 0.5 + 0.25 * np.log(s / (1.0 - s))
    if growth == "gompertz":
        return (1.0 - np.log(-np.log(s))) / _E
    return (np.log(shape) + 1.0 + shape - np.log(np.expm1(-shape * np.log(s)))) / _steep(shape)


def inflection_share(growth: str, nu: ArrayLike = 1.0) -> Array:
    """Return the share of its extent at which a growth curve is steepest; parameters as for `time_of_share`."""
    shape = np.asarray(nu, float)
    of = {"logistic": 0.5, "gompertz": 1.0 / _E}
    return of[growth] + 0.0 * shape if growth in of else np.exp(-np.log1p(shape) / shape)


_GROWTH = ("extent", "max_rate", "lag_h")
_POSITIVE = ("extent", "max_rate")

#: The growth curves that a refeed may be fitted with.
GROWTH: dict[str, Model] = {
    "logistic": Model(_GROWTH, logistic, derive_logistic, _POSITIVE),
    "gompertz": Model(_GROWTH, gompertz, derive_gompertz, _POSITIVE),
    "richards": Model((*_GROWTH, "nu"), richards, derive_richards, (*_POSITIVE, "nu")),
}
