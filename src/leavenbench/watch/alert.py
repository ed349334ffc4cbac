"""When evidence becomes an alert, and when an alert is over: the keeper's one dial.

Two checks raise an alert: a fall that is loud, and a level that is surely low and surely still falling.
"""

from __future__ import annotations

import numpy as np

from .trend import longest_trend, mean_error, trend

Array = np.ndarray

#: Half-widths of an 80 % and a 90 % interval in standard errors.
Z80, _Z90 = 1.2815515655446004, 1.6448536269514722
#: A level is low when the last four rounds together lie surely under this share of the baseline.
LOW_PCT = 90.0
_LOW_ROUNDS, _BASELINE_ROUNDS = 4, 6

#: False alerts per 100 healthy culture-years, and the loudness that holds them there: simulated by
#: ``tests/benchmarks/alert_threshold.py`` on healthy shelves, results beside it.
DIAL = (0.5, 1.0, 2.0, 5.0, 10.0)
_THRESHOLD = (3.83, 3.37, 3.0, 2.56, 2.21)
#: An alert is over when the evidence has stayed under this share of the threshold for two rounds.
_CLEARING = 0.5


def threshold(false_alerts: float) -> float:
    """Return the loudness of a fall above which it is an alert.

    Parameters
    ----------
    false_alerts : float
        Wished number of false alerts per 100 healthy culture-years; held to the range 0.5 to 10.

    Returns
    -------
    float
        In standard errors of the slope.

    Examples
    --------
    >>> threshold(0.5) > threshold(5)
    True
    """
    return float(np.interp(np.log(false_alerts), np.log(DIAL), _THRESHOLD))


def alerts(level: Array, at: Array, noise: Array, at_or_above: float) -> Array:
    """Tell at which rounds a culture stands in alert, looking back only.

    Parameters
    ----------
    level : numpy.ndarray, shape (n,)
        Log vigour of each round, 0 being the baseline.
    at : numpy.ndarray, shape (n,)
        When, in rounds.
    noise : numpy.ndarray, shape (n,)
        Standard deviation of a level, as known at each round.
    at_or_above : float
        The threshold of loudness.

    Returns
    -------
    numpy.ndarray of bool, shape (n,)
    """
    return in_alert(trend(level, at, noise).loudness, at_or_above) | sinking(level, at, noise)


def sinking(level: Array, at: Array, noise: Array) -> Array:
    """Tell at which rounds a culture is surely low and surely still falling (90 % intervals), shape (n,)."""
    longest = longest_trend(level, at, noise)
    falling = longest.slope + _Z90 * longest.slope_se < 0.0
    settled, error = settled_level(level, noise)
    return falling & (settled + _Z90 * error < np.log(LOW_PCT / 100.0))


def settled_level(level: Array, noise: Array) -> tuple[Array, Array]:
    """Return the mean of the last four rounds at each round, and its error as a level against the baseline."""
    settled = np.full(len(level), np.nan)
    if len(level) >= _LOW_ROUNDS:
        settled[_LOW_ROUNDS - 1 :] = np.lib.stride_tricks.sliding_window_view(level, _LOW_ROUNDS).mean(axis=1)
    return settled, noise * np.hypot(mean_error(_LOW_ROUNDS), mean_error(_BASELINE_ROUNDS))


def in_alert(loudness: Array, at_or_above: float) -> Array:
    """Tell at which rounds a culture stands in alert.

    Parameters
    ----------
    loudness : numpy.ndarray, shape (n,)
        Evidence at each round; missing counts as none.
    at_or_above : float
        The threshold.

    Returns
    -------
    numpy.ndarray of bool, shape (n,)
        It begins at the threshold and ends with the second round in a row under half of it.

    Examples
    --------
    >>> in_alert(np.array([0.0, 4.0, 1.0, 3.0, 1.0, 1.0]), 3.5).tolist()
    [False, True, True, True, True, False]
    """
    standing, quiet = False, 0
    states = []
    for evidence in np.nan_to_num(loudness, nan=0.0):
        quiet = quiet + 1 if evidence < _CLEARING * at_or_above else 0
        standing = evidence >= at_or_above or (standing and quiet < 2)
        states.append(standing)
    return np.array(states, dtype=bool)
