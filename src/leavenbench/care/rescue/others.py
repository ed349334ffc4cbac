"""How the other cultures did that shared a suspect, against those that did not, each against its own rounds before."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from .ground import BEFORE, BY_CHANCE, Ground

#: The least scatter of other cultures about each other that is believed [log].
_LEAST_SD = 0.05
#: Degrees of freedom of their heavy tails: one on a way of its own says nothing of what is shared (Lange, Little &
#: Taylor 1989, J Am Stat Assoc 84:881-896, doi 10.1080/01621459.1989.10478852).
_TAILS, _REWEIGHTED = 4.0, 8
#: A round begins to tell of a suspect so much of the time between rounds before the culture's own met it.
_EARLIER = 0.25
#: What is told of rise and acid together strays with days and lots; the one over the other hardly does [log].
_BY_CHANCE = {"level": BY_CHANCE, "acid_over_rise": 0.02}


class Shared(NamedTuple):
    """What others say of a suspect.

    Attributes
    ----------
    effect, se : float
        How much slower (less than nothing) they were with it [log]; missing where nobody else can tell.
    met, spared : frozenset of str
        The other cultures with it, and those without.
    """

    effect: float
    se: float
    met: frozenset[str]
    spared: frozenset[str]


#: A contrast that is less sure than this [log vigour] says nothing: hardly anybody met more of it than others.
_TOO_UNSURE = 1.0
NOBODY = Shared(float("nan"), float("nan"), frozenset(), frozenset())


class Others:
    """The rounds of the other cultures, ready to be asked about one suspect after another.

    Parameters
    ----------
    ground : Ground
        The shelf's refeeds.
    """

    def __init__(self, ground: Ground) -> None:
        rounds = ground.rounds
        self._series = [of.to_numpy() for _, of in rounds.groupby(["culture", "history"]).groups.items()]
        self._number, self._names = pd.factorize(rounds["culture"])
        self._day, self._at = rounds["day"].to_numpy(), rounds["of_round"].to_numpy()
        self._value = {name: rounds[name].to_numpy() for name in ("level", "acid_over_rise")}
        self._of_round = ground.values["of_round"].to_numpy()
        self._refeeds = np.bincount(self._of_round)
        self._lead = _EARLIER * ground.round_days
        self._before: dict[tuple[str, float], np.ndarray] = {}

    def told(self, suspect: np.ndarray, begins: float, value: str = "level", among: np.ndarray | None = None) -> Shared:
        """Return what the others say.

        Parameters
        ----------
        suspect : numpy.ndarray, shape (n,)
            How much of it each refeed of the shelf met.
        begins : float
            From when on [d]; missing (NaN) for one that comes and goes: then each round is held against those before.
        value : str
            level, or acid_over_rise for what acts on the acid alone.
        among : numpy.ndarray of bool, shape (n,), optional
            For what nobody is spared: the refeeds that tell of it, each culture's against its own rounds before.

        Returns
        -------
        Shared
        """
        if not len(self._names):
            return NOBODY
        met = (np.bincount(self._of_round, suspect) / self._refeeds)[self._at]
        change = self._value[value] - self._normal(begins, value)
        there = np.isfinite(change) & (np.isnan(begins) | (self._day >= begins - self._lead))
        if among is not None:
            there &= np.bincount(self._of_round, among)[self._at] > 0
        # a row for each culture with it, and one for each without
        place = 2 * self._number[there] + (met[there] > 0.0)
        many = np.bincount(place, minlength=2 * len(self._names))
        rows = np.flatnonzero(many)
        x, y = (np.bincount(place, of[there], len(many))[rows] / many[rows] for of in (met, change))
        without, with_it = (frozenset(self._names[rows[rows % 2 == side] // 2]) for side in (0, 1))
        if not with_it or (among is None and not without):
            return NOBODY
        effect, se = _contrast(x, y) if among is None else _middle(y[x > 0.0])
        if se > _TOO_UNSURE:
            return NOBODY
        return Shared(
            effect, float(np.hypot(se, _BY_CHANCE[value])), with_it, without if among is None else frozenset()
        )

    def _normal(self, begins: float, value: str) -> np.ndarray:
        """Return what was normal for each round's culture: the middle of its rounds before."""
        key = (value, begins)
        if key in self._before:
            return self._before[key]
        level = self._value[value]
        normal = np.full(len(level), np.nan)
        for rows in self._series:
            if np.isnan(begins):
                normal[rows] = pd.Series(level[rows]).shift().rolling(BEFORE, min_periods=2).median()
                continue
            before = level[rows[self._day[rows] < begins - self._lead]][-BEFORE:]
            if np.isfinite(before).sum() > 1:
                normal[rows] = np.nanmedian(before)
        if not np.isnan(begins):
            self._before[key] = normal
        return normal


def _contrast(x: np.ndarray, change: np.ndarray) -> tuple[float, float]:
    """Return the slope of change on x, and its standard error, with heavy tails."""
    weight, slope, sd, spread = np.ones(len(x)), 0.0, _LEAST_SD, 1.0
    for _ in range(_REWEIGHTED):
        away, off = x - np.average(x, weights=weight), change - np.average(change, weights=weight)
        spread = float(weight @ away**2)
        slope = float(weight @ (away * off)) / spread
        sd, weight = _heavy(off - slope * away)
    return slope, sd / spread**0.5


def _middle(change: np.ndarray) -> tuple[float, float]:
    """Return the mean change, and its standard error, with heavy tails."""
    weight, mean, sd = np.ones(len(change)), 0.0, _LEAST_SD
    for _ in range(_REWEIGHTED):
        mean = float(np.average(change, weights=weight))
        sd, weight = _heavy(change - mean)
    return mean, sd / float(weight.sum()) ** 0.5


def _heavy(rest: np.ndarray) -> tuple[float, np.ndarray]:
    """Return the sd of what is left, and the weight of each."""
    sd = max(1.4826 * float(np.median(np.abs(rest))), _LEAST_SD)
    return sd, (_TAILS + 1.0) / (_TAILS + (rest / sd) ** 2)
