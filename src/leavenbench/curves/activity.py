"""Whether a jar did anything at all, and what is left to say when it did not."""

from __future__ import annotations

import numpy as np

from .choice import Choice
from .models import Array
from .noise import INSTRUMENTS
from .traits import NOT_SOUR, SOUR_EARLY, SOUR_PH, SOUR_WHEN_FED, START_H, Estimate

#: Levels of the two tests. Together they call a dead jar active in about 3 cases of 100, and find a change of three
#: times the noise, read 12 times, in about 9 of 10 (measured by simulation).
_CURVE_LEVEL = 0.02
_LINE_LEVEL = 0.025
#: With fewer readings to spare than this, the usual noise of the instrument stands in for as many more.
_SPARE_ENOUGH = 3


def is_active(t: Array, y: Array, kind: str, choice: Choice | None) -> bool:
    """Test whether a signal moved its way, beyond what readings scatter.

    The best curve is tested against a constant by its F ratio, and, since that test is weak where a slight change
    is spread over few readings, so is the slope of a straight line, one-sided. Either is enough. The change must
    also be larger than the usual noise of a single reading.

    Parameters
    ----------
    t : numpy.ndarray, shape (n,)
        Times of the readings [h], ascending, two or more of them different.
    y : numpy.ndarray, shape (n,)
        The readings.
    kind : str
        Kind of the readings, a name in `noise.INSTRUMENTS`.
    choice : Choice or None
        The best curve.

    Returns
    -------
    bool

    Examples
    --------
    >>> is_active(np.arange(6.0), np.array([40.0, 41, 40, 39, 41, 40]), "height_mm", None)
    False
    """
    if choice is None or float(np.ptp(choice.fit.value(t))) < INSTRUMENTS[kind].noise:
        return False
    return _curve_p(y, kind, choice) < _CURVE_LEVEL or _line_p(t, y, choice.sign) < _LINE_LEVEL


def _curve_p(y: Array, kind: str, choice: Choice) -> float:
    """Probability of such an F ratio, curve against constant, in a jar where nothing moves."""
    from scipy.special import fdtrc

    fit, more = choice.fit, len(choice.fit.parameters) - 1
    explained = max(float(((y - y.mean()) ** 2).sum()) - fit.rss, 0.0)
    rss, spare = fit.rss, fit.spare
    if spare < _SPARE_ENOUGH:
        rss, spare = rss + _SPARE_ENOUGH * INSTRUMENTS[kind].noise ** 2, spare + _SPARE_ENOUGH
    return float(fdtrc(more, spare, explained / more / (rss / spare))) if rss > 0.0 else 0.0


def _line_p(t: Array, y: Array, sign: float) -> float:
    """Probability of such a slope the signal's way in a jar where nothing moves."""
    from scipy.special import stdtr

    coefficients, covariance, _ = _line(t, y)
    if covariance[1, 1] <= 0.0:
        return 0.0 if sign * coefficients[1] > 0.0 else 1.0
    return float(stdtr(len(t) - 2, -sign * coefficients[1] / np.sqrt(covariance[1, 1])))


def straight_line(t: Array, y: Array, kind: str, sign: float) -> tuple[dict[str, Estimate], float]:
    """Say how little happened: a straight line through the readings.

    Parameters
    ----------
    t : numpy.ndarray, shape (n,)
        Times of the readings [h], ascending, three or more.
    y : numpy.ndarray, shape (n,)
        The readings.
    kind : str
        Kind of the readings, a name in `noise.INSTRUMENTS`.
    sign : float
        1 for a rise, -1 for the fall of a pH.

    Returns
    -------
    traits : dict of str to Estimate
        Extent from 0 h to the last reading and steepest slope, not below 0, and the level at the start (of a pH
        also at the end), with the standard errors of the line.
    rms : float
        Root mean square of the residuals, in the unit read.

    Examples
    --------
    >>> found, rms = straight_line(np.arange(5.0), np.array([40.0, 41, 40, 41, 42]), "height_mm", 1.0)
    >>> found["extent"]._replace(value=round(found["extent"].value, 6), se=round(found["extent"].se, 3))
    Estimate(value=4.0, se=2.04, at_least=False, why='')
    """
    (start, slope), covariance, rms = _line(t, y)
    last = float(t[-1])
    rate = Estimate(max(0.0, -slope), _se(covariance, np.array([0.0, 1.0])))
    if sign > 0.0:
        rate = _percent_rate(float(start), float(slope), covariance)
    found = {"max_rate": rate, "extent": rate._replace(value=rate.value * last, se=rate.se * last)}
    at_start = Estimate(start, _se(covariance, np.array([1.0, 0.0])))
    if kind == "height_mm":
        found["start_height_mm"] = at_start
    if sign < 0.0:
        end = Estimate(start + slope * last, _se(covariance, np.array([1.0, last])))
        found |= {"ph_start": at_start, "ph_end": end, "time_to_ph_4_6_h": _sour(start, start + slope * t[0], t[0])}
    return found, rms


def _percent_rate(start: float, slope: float, covariance: Array) -> Estimate:
    """Slope in % of the starting level, not below 0."""
    if start <= 0.0:
        return Estimate(float("nan"), why="the starting height is zero, so there is no rise in %")
    se = 100.0 / start * _se(covariance, np.array([-slope / start, 1.0]))
    return Estimate(max(0.0, 100.0 * slope / start), se)


def _sour(when_fed: float, when_first_read: float, first: float) -> Estimate:
    if when_fed <= SOUR_PH and first <= START_H:
        return Estimate(0.0, why=SOUR_WHEN_FED)
    return Estimate(float("nan"), why=SOUR_EARLY if when_first_read <= SOUR_PH else NOT_SOUR)


def _line(t: Array, y: Array) -> tuple[Array, Array, float]:
    """Fit a straight line: (level at 0 h, slope), their covariance, root mean square of the residuals."""
    n, middle = len(t), t.mean()
    away = t - middle
    size = float(away @ away)
    slope = float(away @ y) / size
    residuals = y - y.mean() - slope * away
    variance = float(residuals @ residuals) / (n - 2)
    covariance = variance * np.array([[1 / n + middle**2 / size, -middle / size], [-middle / size, 1 / size]])
    return np.array([y.mean() - slope * middle, slope]), covariance, float(np.sqrt((residuals**2).mean()))


def _se(covariance: Array, gradient: Array) -> float:
    return float(np.sqrt(max(gradient @ covariance @ gradient, 0.0)))
