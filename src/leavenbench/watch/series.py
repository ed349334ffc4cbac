"""The rounds of all cultures as one long series of numbers, history after history."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

Array = np.ndarray

#: Error of a level that comes without one (log scale; common practice, no source).
_USUAL_ERROR = 0.06


class Series(NamedTuple):
    """Levels of all rounds, those of a history one after another in order of time.

    Attributes
    ----------
    level : numpy.ndarray, shape (n,)
        Log vigour; 0 is the baseline.
    variance : numpy.ndarray, shape (n,)
        Square of its standard error.
    at : numpy.ndarray, shape (n,)
        When, in rounds of the shelf's calendar.
    first : numpy.ndarray of int, shape (n,)
        Where the history of each round begins.
    """

    level: Array
    variance: Array
    at: Array
    first: Array

    @property
    def nth(self) -> Array:
        """How many rounds of the same history came before, shape (n,)."""
        return np.arange(len(self.level)) - self.first

    @property
    def last(self) -> Array:
        """Where each history ends, shape (histories,)."""
        return np.flatnonzero(np.append(self.first[1:] != self.first[:-1], True)) if len(self.first) else self.first


def series_of(levels: pd.DataFrame, round_days: float) -> Series:
    """Return the series of a table of levels.

    Parameters
    ----------
    levels : pandas.DataFrame
        As from `levels.round_levels`.
    round_days : float
        Days [d] between rounds.

    Returns
    -------
    Series
        Row by row that of the table.
    """
    history = levels.groupby(["culture", "history"], sort=False).ngroup().to_numpy()
    days = levels["fed_at"].dt.tz_localize(None).to_numpy("datetime64[s]").astype(float) / 86400.0
    first = np.searchsorted(history, history) if len(history) else np.empty(0, int)
    error = levels["level_se"].fillna(_USUAL_ERROR).to_numpy(float)
    return Series(levels["level"].to_numpy(float), error**2, days / round_days, first)
