"""The true vigour of every culture at every round: its story, and the chance around it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from .stories import BEYOND_RECALL, DEAD, Story, told


class Course(NamedTuple):
    """True log vigour, shape (cultures, rounds), and the two parts that make it up while a culture lives."""

    log_vigour: np.ndarray
    log_story: np.ndarray
    log_wander: np.ndarray


def wander(sd: np.ndarray, rounds: int, carry_over: float, rng: np.random.Generator) -> np.ndarray:
    """Return a stationary AR(1) series for each culture.

    Parameters
    ----------
    sd : numpy.ndarray, shape (cultures,)
        Stationary standard deviation of each culture's log vigour.
    rounds : int
        Number of rounds.
    carry_over : float
        Coefficient of the series, 0 to below 1.
    rng : numpy.random.Generator
        Where chance comes from.

    Returns
    -------
    numpy.ndarray, shape (cultures, rounds)
        Deviations of log vigour, mean 0.

    Examples
    --------
    >>> series = wander(np.array([0.05, 0.12]), 5000, 0.3, np.random.default_rng(1))
    >>> series.std(axis=1).round(2).tolist()
    [0.05, 0.12]
    """
    series = rng.standard_normal((len(sd), rounds))
    fresh = np.sqrt(1.0 - carry_over**2)
    for now in range(1, rounds):
        series[:, now] = carry_over * series[:, now - 1] + fresh * series[:, now]
    return series * np.asarray(sd)[:, None]


def true_course(
    stories: Sequence[Story], sd: np.ndarray, rounds: int, carry_over: float, rng: np.random.Generator
) -> Course:
    """Return the true log vigour of every culture at every round.

    A culture that falls below a twentieth of its strength is dead from then on.

    Parameters
    ----------
    stories : sequence of Story, length cultures
        What happens to each culture.
    sd : numpy.ndarray, shape (cultures,)
        Sd of each culture's log vigour from round to round.
    rounds : int
        Number of rounds.
    carry_over : float
        Coefficient of the AR(1) series.
    rng : numpy.random.Generator
        Where chance comes from.

    Returns
    -------
    Course
        Log vigour and its parts, each of shape (cultures, rounds).

    Examples
    --------
    >>> calm = np.zeros(1)
    >>> dying = [Story("ramp", onset=1, percent=80)]
    >>> np.exp(true_course(dying, calm, 3, 0.3, np.random.default_rng(1)).log_vigour).round(3).tolist()
    [[0.2, 0.001, 0.001]]
    """
    story = np.stack([told(one, rounds) for one in stories])
    chance = wander(sd, rounds, carry_over, rng)
    alive = story + chance
    dead = np.maximum.accumulate(alive < BEYOND_RECALL, axis=1)
    return Course(np.where(dead, DEAD, alive), story, chance)
