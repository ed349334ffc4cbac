"""When evidence becomes an alert, and when an alert is over."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .changes import Changes
from .series import Array, Series

#: Half-width of an 80 % interval in standard errors.
Z80 = 1.2815515655446004
#: The keeper's one dial, false alerts per 100 healthy culture-years, is held to this range.
DIAL = (0.5, 10.0)
#: Rounds with sound readings before anything is said of a trend.
FEWEST_ROUNDS = 4
#: An alert is over when the log odds have stayed so far under the threshold for two rounds.
CLEARING = 1.5
#: No alert begins where a step that has come to rest is so much likelier than a decline (log odds); one that stands is
#: over when it has become likelier still.
_RATHER_A_STEP, _SURELY_A_STEP = 2.0, 2.5
_AS_IT_STOOD = -1
#: A step down counts as seen when it is as likely as no change (log odds).
STEP_SEEN = 0.0


class Evidence(NamedTuple):
    """The evidence at each round, as log odds against no change.

    Attributes
    ----------
    decline : numpy.ndarray, shape (n,)
        For a decline, extra steps counted in.
    step : numpy.ndarray, shape (n,)
        For a step down that has come to rest.
    first : numpy.ndarray of int, shape (n,)
        Where the history of each round begins.
    """

    decline: Array
    step: Array
    first: Array

    @classmethod
    def of(cls, series: Series, found: Changes, of_extra_steps: Array) -> Evidence:
        """Bring together what levels and extra steps say; histories with too few rounds say nothing."""
        short = series.nth < FEWEST_ROUNDS - 1
        decline, step = (np.where(short, -np.inf, of) for of in (found.decline + of_extra_steps, found.step))
        return cls(decline, step, series.first)

    @property
    def decline_over_step(self) -> Array:
        """Log odds for a decline against no change and a step together, shape (n,)."""
        with np.errstate(invalid="ignore"):
            return np.where(np.isfinite(self.decline), self.decline - np.logaddexp(0.0, self.step), -np.inf)


def in_alert(evidence: Evidence, threshold: float | Array) -> Array:
    """Tell at which rounds a culture stands in alert.

    Parameters
    ----------
    evidence : Evidence
        What the rounds say.
    threshold : float or numpy.ndarray, shape (n,)
        Log odds of a decline from which on it is an alert.

    Returns
    -------
    numpy.ndarray of bool, shape (n,)
        It begins at the threshold, unless a step that has come to rest explains the same. It is over with the second
        round in a row well under the threshold, or surely explained by such a step.

    Examples
    --------
    >>> nothing, first = np.full(6, -9.0), np.zeros(6, int)
    >>> in_alert(Evidence(np.array([0.0, 4.0, 1.0, 3.0, 1.0, 1.0]), nothing, first), 3.5).tolist()
    [False, True, True, True, True, False]
    """
    over_step = evidence.decline_over_step
    begins = (evidence.decline >= threshold) & (over_step >= -_RATHER_A_STEP)
    quiet = (evidence.decline < threshold - CLEARING) | (over_step < -_SURELY_A_STEP)
    nth = np.arange(len(begins)) - evidence.first
    over = quiet & np.append(False, quiet[:-1]) & (nth > 0) & ~begins
    told = np.where(begins, 1, np.where(over | (nth == 0), 0, _AS_IT_STOOD))
    last_told = np.maximum.accumulate(np.where(told != _AS_IT_STOOD, np.arange(len(told)), 0))
    return told[last_told] == 1


def entries(states: Array, first: Array) -> Array:
    """Return the rounds at which an alert begins, shape (n,)."""
    before = np.append(False, states[:-1]) & (first != np.arange(len(states)))
    return states & ~before
