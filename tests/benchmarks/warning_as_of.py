"""What changes when the list of every month knows nothing of later months.

On a shelf taken whole, the shared effects of a month are told with the refeeds of later months as well. Here the
shared effects, levels, noise and threshold are made anew at every month's end from the records up to then, and only
that month's rounds are judged by them: what a keeper would have read month by month.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
from fitting_speed import Line
from vigour_values import values_of
from warning_scores import Rate, delays, false_alerts, mean_delay
from warning_shelves import (
    SETTINGS,
    Watched,
    cast_of,
    joined,
    levels_of,
    simulated,
    study_shelf,
    watched,
)
from warning_table import CELLS, against, in_short

from leavenbench.watch.alert import FEWEST_ROUNDS, Evidence, in_alert
from leavenbench.watch.outlook import outlook

SHELVES = 6
_KEY = ["culture", "round"]


def whole_and_month_by_month(smaller: int, rounds: int) -> Iterator[Line]:
    """Compare the same shelves taken whole and month by month."""
    both = [_both(seed) for seed in range(max(SHELVES // smaller, 2))]
    ways = {"records taken whole": joined([of[0] for of in both]), "month by month": joined([of[1] for of in both])}
    told = {name: _told(shelves) for name, shelves in ways.items()}
    figure = "as of each month: the same shelves twice, dial at 1, false alerts"
    for name, (rate, _) in told.items():
        yield Line(figure, name, "", f"{rate.per_100:.2f}", None, f"{rate}; {rate.alerts} alerts")
    for name, (_, found) in told.items():
        yield in_short(f"as of each month: the same shelves twice, dial at 1, {CELLS}", name, found)
    first, second = (mean_delay(found) for _, found in told.values())
    figure = "as of each month: mean delay over that of records taken whole"
    yield against(figure, "month by month", second / first, None)


def _told(shelves: Watched) -> tuple[Rate, pd.DataFrame]:
    alert = in_alert(shelves.evidence, shelves.threshold[1.0])
    return false_alerts(shelves, alert), delays(shelves, alert)


def _both(seed: int) -> tuple[Watched, Watched]:
    whole = watched([study_shelf(seed)])
    whole = whole._replace(levels=whole.levels.assign(shelf=seed))
    told = month_by_month(seed)
    told = whole.levels[_KEY].merge(told, on=_KEY, how="left")
    short = whole.series.nth < FEWEST_ROUNDS - 1
    decline, step = (np.where(short, -np.inf, told[name].fillna(-np.inf)) for name in ("decline", "step"))
    evidence = Evidence(decline, step, whole.series.first)
    threshold = told["threshold"].fillna(np.inf).to_numpy()
    return whole, whole._replace(evidence=evidence, threshold=dict.fromkeys(whole.threshold, threshold))


def month_by_month(seed: int) -> pd.DataFrame:
    """Return what was said of each round at the end of its month: culture, round, decline, step, threshold."""
    shelf = values_of(simulated(seed, cast_of(seed)))
    month = shelf.values["fed_at"].dt.to_period("M")
    told = []
    for now in np.sort(month.unique())[2 * FEWEST_ROUNDS - 2 :]:
        known = (month <= now).to_numpy()
        levels = levels_of(shelf._replace(values=shelf.values[known].reset_index(drop=True)))
        seen = outlook(levels, SETTINGS, np.ones(len(levels), bool))
        said = levels[_KEY].assign(decline=seen.evidence.decline, step=seen.evidence.step, threshold=seen.threshold)
        told.append(said[(levels["fed_at"].dt.to_period("M") == now).to_numpy()])
    return pd.concat(told, ignore_index=True).drop_duplicates(_KEY, keep="last")
