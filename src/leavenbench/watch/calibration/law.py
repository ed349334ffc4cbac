"""False alerts of healthy shelves as a law of the threshold and of a history's age, fitted to simulations."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ...simulate.levels import simulate_healthy_levels
from ..alert import Evidence, entries, in_alert
from ..changes import changes
from ..extra_steps import evidence_of_extra_steps
from ..scatter import Scatter, scatter_of
from ..series import Array, Series
from .conditions import Conditions

#: Thresholds that are tried (log odds), and the bands of age: rounds from one to before the next.
_THRESHOLDS = np.arange(-3.5, 7.01, 0.25)
_AGES = (3, 8, 16, 30, 45)
#: The middle of each band; between them the threshold is interpolated.
_MIDDLES = np.array([5.0, 11.5, 22.5, 37.0])
#: The law is fitted where there are so many false alerts per 100 rounds.
_FITTED = (0.04, 1.2)
_FEWEST = 4
#: Cultures whose levels are weighed at once.
_AT_ONCE = 150
#: The shelf's usual sd [log]. The paces that are looked for do not grow with it: where cultures wander half as much,
#: false alerts are fewer by a quarter, and where half as much again, more by a tenth.
_SD = 0.08
SEED, CULTURES_SIMULATED = 20261125, 3000


class Law(NamedTuple):
    """The log of false alerts per 100 rounds, a straight line in the threshold for each band of age.

    Attributes
    ----------
    at_zero : numpy.ndarray, shape (bands,)
        At the threshold 0.
    falls : numpy.ndarray, shape (bands,)
        How fast it falls with the threshold.
    """

    at_zero: Array
    falls: Array

    def threshold(self, per_100_rounds: float, age: Array) -> Array:
        """Return the threshold that holds false alerts at so many per 100 rounds.

        Parameters
        ----------
        per_100_rounds : float
            Wished number.
        age : numpy.ndarray, shape (n,)
            Rounds of the history before.

        Returns
        -------
        numpy.ndarray, shape (n,)
            Log odds of a decline.
        """
        return np.interp(age, _MIDDLES, (self.at_zero - np.log(per_100_rounds)) / self.falls)


def simulate_law(conditions: Conditions, cultures: int = CULTURES_SIMULATED) -> Law:
    """Simulate healthy shelves, and fit the law of their false alerts.

    Parameters
    ----------
    conditions : Conditions
        What the shelves are like.
    cultures : int
        How many cultures to simulate in all.

    Returns
    -------
    Law
        Always the same for the same conditions.
    """
    rng = np.random.default_rng([SEED, *(round(100 * of) for of in conditions)])
    alerts, rounds = np.zeros((len(_MIDDLES), len(_THRESHOLDS))), np.zeros(len(_MIDDLES))
    for shelves in np.array_split(np.arange(max(round(cultures / conditions.cultures), 1)), -(-cultures // _AT_ONCE)):
        evidence, nth = _of_healthy_shelves(conditions, len(shelves), rng)
        band = np.digitize(nth, _AGES) - 1
        rounds += np.bincount(band[band >= 0], minlength=len(_MIDDLES))[: len(_MIDDLES)]
        for place, threshold in enumerate(_THRESHOLDS):
            began = band[entries(in_alert(evidence, threshold), evidence.first)]
            alerts[:, place] += np.bincount(began[began >= 0], minlength=len(_MIDDLES))[: len(_MIDDLES)]
    return _fitted(alerts, rounds)


def _of_healthy_shelves(conditions: Conditions, shelves: int, rng: np.random.Generator) -> tuple[Evidence, Array]:
    """Return the evidence on some shelves side by side; how levels wander is told from each shelf alone."""
    if not shelves:
        nothing = np.empty(0)
        return Evidence(nothing, nothing, nothing.astype(int)), nothing.astype(int)
    parts: list[tuple[Series, Scatter, Array]] = []
    for _ in range(shelves):
        drawn = simulate_healthy_levels(rng, rounds=_AGES[-1], **conditions._asdict())
        one = Series(_SD * drawn.level, _SD**2 * drawn.variance, drawn.at, drawn.first)
        parts.append((one, scatter_of(one), evidence_of_extra_steps(one, drawn.extra_steps)))
    before = np.cumsum([0, *(len(one.level) for one, _, _ in parts)])
    shifted = [one._replace(first=one.first + begin) for (one, _, _), begin in zip(parts, before, strict=False)]
    series = Series(*(np.concatenate(of) for of in zip(*shifted, strict=True)))
    scatter = Scatter(*(np.concatenate(of) for of in zip(*(of for _, of, _ in parts), strict=True)))
    of_extra = np.concatenate([of for _, _, of in parts])
    return Evidence.of(series, changes(series, scatter), of_extra), series.nth


def _fitted(alerts: Array, rounds: Array) -> Law:
    """Fit a line to each band by least squares, weighted by how many false alerts each rate rests on."""
    lines: list[Array] = []
    for count, of_band in zip(alerts, rounds, strict=True):
        rate = 100.0 * count / max(of_band, 1.0)
        used = (rate > _FITTED[0]) & (rate < _FITTED[1])
        if used.sum() < _FEWEST and lines:  # histories that are never so old stay as they were
            lines.append(lines[-1])
        else:
            lines.append(np.polyfit(_THRESHOLDS[used], np.log(rate[used]), 1, w=np.sqrt(count[used])))
    falls, at_zero = np.array(lines).T
    return Law(at_zero, -falls)
