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
#: Log vigour at which a portion from a back-up starts (assumed, no source).
_JUST_RESTORED = float(np.log(0.8))


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
        What is lost [%]: at every round in a ramp or before a rescue, at the first round in an accelerating ramp (at
        the second twice as much, and so on), at once in a step or dip, of the souring in a takeover.
    within : int
        Rounds within which a dip or a rescued culture heals, a restored one regains its strength, or another
        organism takes over.
    turns_after : int
        Rounds from the onset after which a declining culture is rescued, or a dead one restored; 0 for never.
    gain_percent : float
        How much better a culture rises that another organism has taken over [%].
    noticed : bool
        Whether the keeper enters a dead culture as lost, or leaves it on the shelf.
    """

    kind: str = "steady"
    onset: int = 1
    percent: float = 0.0
    within: int = 1
    turns_after: int = 0
    gain_percent: float = 0.0
    noticed: bool = True

    def __post_init__(self) -> None:
        if self.kind not in COURSES:
            raise ValueError(f"'{self.kind}' is no story; the stories are {', '.join(COURSES)}")
        if self.kind == "rescue" and self.turns_after < 1:
            raise ValueError("a rescue needs turns_after, the rounds that the culture declines before it")

    @property
    def log_loss(self) -> float:
        """The loss as a step of log vigour, below zero."""
        return float(np.log1p(-self.percent / 100.0))

    @property
    def turns_in(self) -> int | None:
        """The last round before a rescue or restoration; none where it never comes."""
        return self.onset + self.turns_after - 1 if self.turns_after else None


def _steady(since: np.ndarray, story: Story) -> np.ndarray:
    return np.zeros(since.shape)


def _ramp(since: np.ndarray, story: Story) -> np.ndarray:
    return story.log_loss * since


def _accelerating(since: np.ndarray, story: Story) -> np.ndarray:
    return story.log_loss * since * (since + 1) / 2.0


def _step(since: np.ndarray, story: Story) -> np.ndarray:
    return np.where(since > 0, story.log_loss, 0.0)


def _left_after(rounds: np.ndarray, within: int) -> np.ndarray:
    """Return what is left of a loss some rounds after it, when it heals evenly."""
    return np.clip(1.0 - rounds / within, 0.0, 1.0)


def _dip(since: np.ndarray, story: Story) -> np.ndarray:
    return np.where(since > 0, story.log_loss * _left_after(since - 1.0, story.within), 0.0)


def _death(since: np.ndarray, story: Story) -> np.ndarray:
    dead = np.where(since > 0, DEAD, 0.0)
    if not story.turns_after:
        return dead
    back = since - story.turns_after
    return np.where(back > 0, _JUST_RESTORED * _left_after(back - 1.0, story.within), dead)


def _rescue(since: np.ndarray, story: Story) -> np.ndarray:
    fallen = story.log_loss * np.minimum(since, story.turns_after)
    return fallen * _left_after(since - story.turns_after, story.within)


def _taken_over(since: np.ndarray, story: Story) -> np.ndarray:
    return np.log1p(story.gain_percent / 100.0) * (1.0 - _left_after(since, story.within))


def _soured_slower(since: np.ndarray, story: Story) -> np.ndarray:
    return story.log_loss * (1.0 - _left_after(since, story.within))


#: The stories known, by kind: ``course(rounds since onset, story) -> log vigour``.
COURSES: dict[str, Callable[[np.ndarray, Story], np.ndarray]] = {
    "steady": _steady,
    "ramp": _ramp,
    "accelerating": _accelerating,
    "step": _step,
    "dip": _dip,
    "death": _death,
    "rescue": _rescue,
    "takeover": _taken_over,
}
#: Stories in which the souring goes its own way; in all others it follows the rise.
ACID_COURSES: dict[str, Callable[[np.ndarray, Story], np.ndarray]] = {**COURSES, "takeover": _soured_slower}


def told(
    story: Story, rounds: int, courses: dict[str, Callable[[np.ndarray, Story], np.ndarray]] = COURSES
) -> np.ndarray:
    """Return a story's log vigour at rounds 1 to `rounds`, without chance.

    Parameters
    ----------
    story : Story
        What happens.
    rounds : int
        Number of rounds.
    courses : dict
        `COURSES` for the rise, `ACID_COURSES` for the souring.

    Returns
    -------
    numpy.ndarray, shape (rounds,)
        Natural logarithm of vigour; 0 is the culture's own normal.

    Examples
    --------
    >>> np.exp(told(Story("ramp", onset=2, percent=10), 4)).round(3).tolist()
    [1.0, 0.9, 0.81, 0.729]
    >>> np.exp(told(Story("dip", onset=2, percent=36, within=2), 4)).round(3).tolist()
    [1.0, 0.64, 0.8, 1.0]
    """
    since = np.maximum(np.arange(1, rounds + 1) - story.onset + 1, 0)
    return courses[story.kind](since, story)
