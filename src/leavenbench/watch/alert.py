"""When evidence becomes an alert, and when an alert is over: the keeper's one dial."""

from __future__ import annotations

import numpy as np

Array = np.ndarray

#: False alerts per 100 healthy culture-years, and the loudness that holds them there: simulated by
#: ``tests/benchmarks/alert_threshold.py`` on healthy shelves, results beside it.
_DIAL = (0.5, 1.0, 2.0, 5.0, 10.0)
_THRESHOLD = (3.56, 3.26, 2.97, 2.56, 2.21)
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
    return float(np.interp(np.log(false_alerts), np.log(_DIAL), _THRESHOLD))


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
