"""What a threshold depends on: how a shelf's levels wander, are read, and are missed."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..alert import FEWEST_ROUNDS
from ..scatter import Scatter
from ..series import Array, Series


class Conditions(NamedTuple):
    """The conditions of a shelf, rounded, so that one more month of records asks for nothing new.

    Attributes
    ----------
    reading_error : float
        Error of a level against the usual sd of a culture.
    carry_over : float
        How much of a deviation is left after one round.
    extra_steps : float
        Share of rounds with an extra step; 0 where passing is not recorded.
    missing : float
        Share of rounds without a level.
    cultures : int
        Number of histories.
    """

    reading_error: float
    carry_over: float
    extra_steps: float = 0.0
    missing: float = 0.0
    cultures: int = 150


#: Where a shelf cannot tell its own.
USUAL = Conditions(0.5, 0.35)
#: The most that is told apart of each; a shelf with more cultures has the same thresholds.
_LEAST = Conditions(0.2, 0.0, 0.0, 0.0, 10)
_MOST = Conditions(2.0, 0.8, 0.15, 0.5, 150)


def conditions_of(series: Series, scatter: Scatter, extra_steps: Array) -> Conditions:
    """Return the conditions of a shelf at the end of its records.

    Parameters
    ----------
    series : Series
        Its levels.
    scatter : Scatter
        How they wander.
    extra_steps : numpy.ndarray, shape (n,)
        Extra steps of each round; missing where passing is not recorded.

    Returns
    -------
    Conditions
    """
    if series.nth.max(initial=0) < FEWEST_ROUNDS - 1:
        return USUAL  # nothing is said of a trend, and nothing need be calibrated
    latest = int(np.argmax(series.at))
    sd, carry_over = float(scatter.shelf_sd[latest]), float(scatter.carry_over[latest])
    error = float(np.sqrt(np.median(series.variance)))
    span = series.at[series.last] - series.at[series.first[series.last]]
    missing = 1.0 - (len(series.at) - len(span)) / max(float(span.sum()), 1.0)
    told = ~np.isnan(extra_steps)
    extra = float((extra_steps[told] > 0.0).mean()) if told.mean() > 0.5 else 0.0
    found = Conditions(
        round(5.0 * error / sd) / 5.0,
        round(20.0 * carry_over) / 20.0,
        round(extra, 2),
        round(10.0 * max(missing, 0.0)) / 10.0,
        10 * round(len(span) / 10.0),
    )
    held = (min(max(of, low), high) for of, low, high in zip(found, _LEAST, _MOST, strict=True))
    return Conditions._make(held)
