"""What is compared: our evidence, the oracle, and the two charts, each with the limit that gives the wished rate.

Every method gives alerts as a function of one limit; the limit is found by bisection on the same shelves, so that all
make as many false alerts. For the rivals an alert is over with the second round in a row within the limit, or, of the
oracle, well within it, as ours is. The charts standardise levels as `watch.charts` does: against the mean of the
first six rounds, by the noise as known at each round. The oracle has a limit for each pace, since it knows the pace.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import NamedTuple

import numpy as np
import pandas as pd
from warning_oracle import oracle_log_odds
from warning_scores import delays, false_alerts, mean_delay
from warning_shelves import NOISE, PACES, Watched

from leavenbench.vigour.baseline import BASELINE_ROUNDS
from leavenbench.watch.alert import CLEARING, in_alert
from leavenbench.watch.charts import cusum, ewma

#: Log odds, or sd, between which limits are looked for, and how often the range is halved.
_LIMITS, _HALVED = (-8.0, 20.0), 16
#: False alerts per 100 healthy culture-years at which delays are told.
CURVE = (0.3, 0.5, 1.0, 2.0, 3.0, 5.0, 7.0, 10.0)


class Method(NamedTuple):
    """A way to watch: alerts by the limit, and the declines [%] that it is for."""

    alerts: Callable[[float], np.ndarray]
    paces: tuple[float, ...] = PACES


def methods(shelves: Watched) -> dict[str, list[Method]]:
    """Return the methods by name; the oracle is one for each pace."""
    every = {pace: oracle_log_odds(shelves, pace, NOISE.carry_over) for pace in PACES}
    z, there = _standardised(shelves), _place(shelves)
    charts = {"EWMA .2": -ewma(z, 0.2)[there], "CUSUM .5": cusum(z, 0.5)[there]}
    return {
        "ours": [Method(partial(_ours, shelves))],
        "oracle": [Method(partial(_beyond, shelves, odds, CLEARING), (pace,)) for pace, odds in every.items()],
        **{name: [Method(partial(_beyond, shelves, of, 0.0))] for name, of in charts.items()},
    }


def at_rate(shelves: Watched, of: list[Method], rate: float) -> pd.DataFrame:
    """Return the delays of a method whose limit makes so many false alerts per 100 healthy culture-years."""
    told = [(one, delays(shelves, one.alerts(limit_at(shelves, one, rate)))) for one in of]
    return pd.concat([found[found["percent"].isin(one.paces)] for one, found in told], ignore_index=True)


def limit_at(shelves: Watched, method: Method, rate: float) -> float:
    """Return the limit at which a method makes so many false alerts, by bisection."""
    low, high = _LIMITS
    for _ in range(_HALVED):
        middle = 0.5 * (low + high)
        above = false_alerts(shelves, method.alerts(middle)).per_100 > rate
        low, high = (middle, high) if above else (low, middle)
    return high


def operating_curve(shelves: Watched, found: dict[str, list[Method]]) -> dict[str, object]:
    """Return the mean delay [rounds] over the paces of each method, by false alerts per 100 culture-years."""
    curve: dict[str, object] = {"false_alerts": list(CURVE)}
    for name, of in found.items():
        curve[name] = [round(float(mean_delay(at_rate(shelves, of, rate), 1)[0]), 3) for rate in CURVE]
    return curve


def _ours(shelves: Watched, over: float) -> np.ndarray:
    """Alert at so much over our own threshold for the dial at 1."""
    return in_alert(shelves.evidence, shelves.threshold[1.0] + over)


def _beyond(shelves: Watched, statistic: np.ndarray, clearing: float, limit: float) -> np.ndarray:
    """Alert beyond the limit, until the second round in a row within it."""
    begins, quiet = statistic >= limit, statistic < limit - clearing
    nth = shelves.series.nth
    quiet_before = np.append(False, quiet[:-1]) & (nth > 0)
    ends = quiet & quiet_before & ~begins
    told = np.where(begins, 1, np.where(ends | (nth == 0), 0, -1))  # else as it stood
    last_told = np.maximum.accumulate(np.where(told >= 0, np.arange(len(told)), 0))
    return told[last_told] == 1


def _place(shelves: Watched) -> tuple[np.ndarray, np.ndarray]:
    """Return the row and column of each round in a matrix of histories by rounds."""
    number = np.cumsum(shelves.series.nth == 0) - 1
    return number, shelves.series.nth


def _standardised(shelves: Watched) -> np.ndarray:
    """Return levels as charts take them, shape (histories, rounds); missing where a chart does not run."""
    number, nth = _place(shelves)
    first = nth < BASELINE_ROUNDS
    mean = (np.bincount(number[first], shelves.series.level[first]) / np.bincount(number[first]))[number]
    noise = np.sqrt(shelves.scatter.sd**2 + shelves.series.variance)
    z = np.full((number[-1] + 1, nth.max() + 1), np.nan)
    z[number, nth] = np.where(first, np.nan, (shelves.series.level - mean) / noise)
    return z
