"""Rounds left until half strength, and how fast a culture falls, from everything that may have happened to it.

Every onset and pace of a decline leaves its own number of rounds; together, by their odds, they make the posterior
predictive distribution, of which the middle and an 80 % interval are told. A step that has come to rest, and no change,
leave more rounds than anybody asks for. A culture that stood above its baseline, or a little under it, is forecast as
from the baseline.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .changes import PACES, Changes, log_sum
from .series import Array

#: Quantiles of an 80 % interval and its middle.
_LOW, _MIDDLE, _HIGH = 0.1, 0.5, 0.9
_DAYS_A_YEAR = 365.25
#: What lies between the paces and onsets that were tried counts too: half a round.
_BETWEEN = 0.5
#: A level before the decline that is no further under the baseline than this [log] counts as the baseline, which is
#: itself known from few rounds.
_AS_GOOD_AS_BASELINE = 0.15


def two_years(round_days: float) -> float:
    """Return the rounds in two years; rounds left are capped there, which means 'not within two years'."""
    return 2.0 * _DAYS_A_YEAR / round_days


class Forecast(NamedTuple):
    """What is told of some rounds, each as low, middle and high of an 80 % interval.

    Attributes
    ----------
    probability : numpy.ndarray, shape (m,)
        That the culture is declining, 0 to 1.
    rounds_left : numpy.ndarray, shape (m, 3)
        Until half strength, counted from today; capped.
    change : numpy.ndarray, shape (m, 3)
        Of log vigour per round, given a decline.
    """

    probability: Array
    rounds_left: Array
    change: Array


def forecast(
    found: Changes, of_extra_steps: Array, waited: Array, given_a_decline: Array, half_pct: float, most_rounds: float
) -> Forecast:
    """Forecast from some rounds on.

    Parameters
    ----------
    found : Changes
        What may have happened up to each of them.
    of_extra_steps : numpy.ndarray, shape (m,)
        Log odds that extra steps add to a decline.
    waited : numpy.ndarray, shape (m,)
        Rounds from each until today.
    given_a_decline : numpy.ndarray of bool, shape (m,)
        Whether to forecast as a decline, which an alert takes for granted.
    half_pct : float
        The vigour [%] that counts as half strength.
    most_rounds : float
        The cap.

    Returns
    -------
    Forecast
    """
    decline = found.decline + of_extra_steps
    others = np.logaddexp(0.0, found.step)
    probability = np.exp(decline - np.logaddexp(decline, others))
    weight = np.exp(found.ramps - log_sum(found.ramps)[:, None, None])
    fall = -np.log(half_pct / 100.0) + np.minimum(found.before + _AS_GOOD_AS_BASELINE, 0.0)
    left = fall / PACES - found.since[:, :, None] - waited[:, None, None]
    share = np.where(given_a_decline, 1.0, probability)
    flat = (len(left), left.shape[1] * left.shape[2])
    rounds = _quantiles(left.reshape(flat), weight.reshape(flat), share)
    rounds[:, 0] -= _BETWEEN
    rounds[:, 2] += _BETWEEN
    return Forecast(probability, np.clip(rounds, 0.0, most_rounds), -_paces(weight)[:, ::-1])


def _paces(weight: Array) -> Array:
    """Return low, middle and high of the pace; each pace that was tried stands for all that are nearest to it."""
    middles = np.sqrt(PACES[:-1] * PACES[1:])
    edges = np.concatenate([[PACES[0] ** 2 / middles[0]], middles, [PACES[-1] ** 2 / middles[-1]]])
    upto = np.cumsum(weight.sum(axis=1), axis=1)
    found = [np.interp((_LOW, _MIDDLE, _HIGH), np.append(0.0, of), edges) for of in upto]
    return np.array(found).reshape(-1, 3)


def _quantiles(value: Array, weight: Array, share: Array) -> Array:
    """Return low, middle and high of each row's weighted values, of which only a share of all ever comes about."""
    if not value.shape[1]:
        return np.full((len(value), 3), np.inf)
    order = np.argsort(value, axis=1, kind="stable")
    value = np.take_along_axis(value, order, axis=1)
    upto = np.cumsum(np.take_along_axis(weight, order, axis=1), axis=1) * share[:, None]
    found = []
    for asked in (_LOW, _MIDDLE, _HIGH):
        reached = upto >= asked
        place = reached.argmax(axis=1)
        found.append(np.where(reached.any(axis=1), value[np.arange(len(value)), place], np.inf))
    return np.stack(found, axis=1)
