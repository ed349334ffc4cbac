"""How early and how calm: false alerts per 100 healthy culture-years, and rounds until a decline stands in alert.

- A false alert is an alert that begins at a round of a healthy culture: a steady one, or another before its onset.
- The delay of a decline is the number of rounds from its onset, that one counted, until the culture stands in alert
  after a round. Records end before some declines are found, so that delays are censored: shares, medians and means
  are those of Kaplan & Meier (1958, J Am Stat Assoc 53:457-481, doi 10.1080/01621459.1958.10501452; from memory), means
  up to the longest time that a decline was followed. One is found in time before the first round at half strength or
  less.
- Intervals (95 %): of counts by Poisson, of shares by Wilson, of delays by drawing whole shelves anew.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy.stats import binomtest, chi2
from warning_shelves import PACES, ROUNDS, Watched, rounds_to_half

from leavenbench.watch.alert import entries

_DRAWN_ANEW = 400
#: Rounds within which a step or a dip is looked for.
SOON = 6


class Rate(NamedTuple):
    """False alerts per 100 healthy culture-years, and its interval."""

    per_100: float
    low: float
    high: float
    alerts: int
    years: float

    def __str__(self) -> str:
        return f"{self.per_100:.2f} ({self.low:.2f}-{self.high:.2f})"


def false_alerts(shelves: Watched, alert: np.ndarray) -> Rate:
    """Count the alerts that begin at healthy rounds."""
    count = int((entries(alert, shelves.series.first) & shelves.healthy).sum())
    years = shelves.culture_years
    low = chi2.ppf(0.025, 2 * count) / 2.0 if count else 0.0
    high = chi2.ppf(0.975, 2 * count + 2) / 2.0
    return Rate(100.0 * count / years, 100.0 * low / years, 100.0 * high / years, count, years)


def share(hits: np.ndarray) -> tuple[float, str]:
    """Return a share, and in words with its interval and the number behind it."""
    if not len(hits):
        return np.nan, "none of them"
    told = binomtest(int(hits.sum()), len(hits)).proportion_ci(method="wilson")
    return float(hits.mean()), f"{100 * told.low:.1f}-{100 * told.high:.1f} %, {len(hits)} of them"


def delays(shelves: Watched, alert: np.ndarray) -> pd.DataFrame:
    """Return one row per decline: shelf, percent, onset, half, delay, found."""
    levels = shelves.levels.assign(first=shelves.series.first, alert=alert)
    after = levels[(levels["story"] == "ramp") & (levels["round"] >= levels["onset"])]
    found = after[after["alert"]].groupby("first")["round"].min()
    one = after.groupby("first")[["shelf", "percent", "onset", "half"]].first()
    one["found"] = one.index.isin(found.index)
    last = found.reindex(one.index).astype(float).fillna(float(ROUNDS))
    return one.assign(delay=last - one["onset"] + 1.0).reset_index(drop=True)


class Delays(NamedTuple):
    """Of the declines at one pace: share found in time, median warning, mean delay; each drawn anew beside it."""

    in_time: np.ndarray
    warning: np.ndarray
    mean: np.ndarray
    declines: int

    def words(self, name: str, form: str = ".1f", times: float = 1.0) -> str:
        """Return a figure with its interval."""
        drawn = times * getattr(self, name)
        low, high = np.quantile(drawn[1:], (0.025, 0.975))
        return f"{drawn[0]:{form}} ({low:{form}}-{high:{form}})"


def summed_up(found: pd.DataFrame, drawn_anew: int = _DRAWN_ANEW) -> dict[float, Delays]:
    """Sum up delays pace by pace; the first of each array is the estimate, the others are of shelves drawn anew."""
    shelves = int(found["shelf"].max()) + 1
    rng = np.random.default_rng(shelves)
    counts = rng.multinomial(shelves, np.full(shelves, 1.0 / shelves), drawn_anew)
    counts = np.vstack((np.ones(shelves), counts))
    return {pace: _of_pace(pace, found[found["percent"] == pace], counts) for pace in PACES}


def _of_pace(pace: float, found: pd.DataFrame, counts: np.ndarray) -> Delays:
    weight = counts[:, found["shelf"].to_numpy(int)]
    delay, hit = found["delay"].to_numpy(), found["found"].to_numpy(float)
    left = np.ones((len(counts), ROUNDS + 1))  # share not yet found after so many rounds
    followed = np.zeros(left.shape, bool)  # whether any decline was followed further
    for nth in range(1, ROUNDS + 1):
        at_risk = weight @ (delay >= nth)
        now = weight @ (hit * (delay == nth))
        followed[:, nth - 1] = at_risk > 0.0
        left[:, nth] = left[:, nth - 1] * (1.0 - now / np.maximum(at_risk, 1.0))
    in_time = round(rounds_to_half(pace))
    middle = (left <= 0.5).argmax(axis=1)
    return Delays(1.0 - left[:, in_time], in_time + 1.0 - middle, (left * followed).sum(axis=1), len(found))


def mean_delay(found: pd.DataFrame, drawn_anew: int = _DRAWN_ANEW) -> np.ndarray:
    """Return the mean over the paces of the mean delay; then that of shelves drawn anew."""
    return np.mean([of.mean for of in summed_up(found, drawn_anew).values()], axis=0)


def soon(shelves: Watched, stands: np.ndarray, story: str, percent: float) -> np.ndarray:
    """Tell of each step or dip whether the culture stood so within six rounds of it."""
    levels = shelves.levels.assign(first=shelves.series.first, stands=stands)
    since = levels["round"] - levels["onset"]
    told = (levels["story"] == story) & (levels["percent"] == percent) & (levels["onset"] + SOON - 1 <= ROUNDS)
    return levels[told & since.between(0, SOON - 1)].groupby("first")["stands"].any().to_numpy()
