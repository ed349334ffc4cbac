"""The true vigour of every culture at every round: its story, and the chance around it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from .stories import ACID_COURSES, BEYOND_RECALL, DEAD, Story, told


class Course(NamedTuple):
    """True log vigour of both signals, shape (cultures, rounds), and what makes it up while a culture lives."""

    log_vigour: np.ndarray
    log_vigour_acid: np.ndarray
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
    stories: Sequence[Story],
    sd: np.ndarray,
    carry_over: float,
    log_store: np.ndarray,
    rng: np.random.Generator,
) -> Course:
    """Return the true log vigour of every culture at every round.

    A culture that falls below a twentieth of its strength is dead from then on, unless its story restores it.

    Parameters
    ----------
    stories : sequence of Story, length cultures
        What happens to each culture.
    sd : numpy.ndarray, shape (cultures,)
        Sd of each culture's log vigour from round to round.
    carry_over : float
        Coefficient of the AR(1) series.
    log_store : numpy.ndarray, shape (cultures, rounds)
        What each culture suffered in its refrigerator.
    rng : numpy.random.Generator
        Where chance comes from.

    Returns
    -------
    Course
        Log vigour and its parts, each of shape (cultures, rounds).

    Examples
    --------
    >>> dying = [Story("ramp", onset=1, percent=80)]
    >>> course = true_course(dying, np.zeros(1), 0.3, np.zeros((1, 3)), np.random.default_rng(1))
    >>> np.exp(course.log_vigour).round(3).tolist()
    [[0.2, 0.001, 0.001]]
    """
    rounds = log_store.shape[1]
    story = np.stack([told(one, rounds) for one in stories])
    acid_story = np.stack([told(one, rounds, ACID_COURSES) for one in stories])
    chance = wander(sd, rounds, carry_over, rng)
    alive = story + chance + log_store
    dead = _dead(alive, stories)
    return Course(np.where(dead, DEAD, alive), np.where(dead, DEAD, acid_story + chance + log_store), story, chance)


def _dead(alive: np.ndarray, stories: Sequence[Story]) -> np.ndarray:
    """Tell at which rounds a culture is dead: for good, or until it is restored."""
    gone = alive < BEYOND_RECALL
    dead = np.maximum.accumulate(gone, axis=1)
    for at, story in enumerate(stories):
        if story.kind == "death" and story.turns_in:
            dead[at, story.turns_in :] = np.maximum.accumulate(gone[at, story.turns_in :])
    return dead
