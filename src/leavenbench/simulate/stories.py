"""What happens to a culture's vigour over the rounds, leaving chance aside.

Every story is a function of the rounds since its onset, in natural logarithms: 0 is the culture's own normal.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

#: Log vigour of a dead culture: a thousandth of its strength, of which nothing shows in a day.
DEAD = float(np.log(0.001))
#: Log vigour below which a culture does not come back (assumed, no source).
BEYOND_RECALL = float(np.log(0.05))


@dataclass(frozen=True)
class Story:
    """One culture's fate.

    Attributes
    ----------
    kind : str
        A key of `COURSES`.
    onset : int
        The first round that shows it; the first round of all is 1.
    percent : float
        What is lost [%]: in a ramp at every round, in a step or a dip at once.
    heals_in : int
        Rounds in which a dip heals.
    noticed : bool
        Whether the keeper enters a dead culture as lost, or leaves it on the shelf.
    """

    kind: str = "steady"
    onset: int = 1
    percent: float = 0.0
    heals_in: int = 1
    noticed: bool = True

    def __post_init__(self) -> None:
        if self.kind not in COURSES:
            raise ValueError(f"'{self.kind}' is no story; the stories are {', '.join(COURSES)}")

    @property
    def log_loss(self) -> float:
        """The loss as a step of log vigour, below zero."""
        return float(np.log1p(-self.percent / 100.0))


def _steady(since: np.ndarray, story: Story) -> np.ndarray:
    return np.zeros(since.shape)


def _ramp(since: np.ndarray, story: Story) -> np.ndarray:
    return story.log_loss * since


def _step(since: np.ndarray, story: Story) -> np.ndarray:
    return np.where(since > 0, story.log_loss, 0.0)


def _dip(since: np.ndarray, story: Story) -> np.ndarray:
    left = 1.0 - (since - 1.0) / story.heals_in
    return np.where(since > 0, story.log_loss * np.maximum(left, 0.0), 0.0)


def _death(since: np.ndarray, story: Story) -> np.ndarray:
    return np.where(since > 0, DEAD, 0.0)


#: The stories known, by kind: ``course(rounds since onset, story) -> log vigour``.
COURSES: dict[str, Callable[[np.ndarray, Story], np.ndarray]] = {
    "steady": _steady,
    "ramp": _ramp,
    "step": _step,
    "dip": _dip,
    "death": _death,
}


def told(story: Story, rounds: int) -> np.ndarray:
    """Return a story's log vigour at rounds 1 to `rounds`, without chance.

    Parameters
    ----------
    story : Story
        What happens.
    rounds : int
        Number of rounds.

    Returns
    -------
    numpy.ndarray, shape (rounds,)
        Natural logarithm of vigour; 0 is the culture's own normal.

    Examples
    --------
    >>> np.exp(told(Story("ramp", onset=2, percent=10), 4)).round(3).tolist()
    [1.0, 0.9, 0.81, 0.729]
    >>> np.exp(told(Story("dip", onset=2, percent=36, heals_in=2), 4)).round(3).tolist()
    [1.0, 0.64, 0.8, 1.0]
    """
    since = np.maximum(np.arange(1, rounds + 1) - story.onset + 1, 0)
    return COURSES[story.kind](since, story)
