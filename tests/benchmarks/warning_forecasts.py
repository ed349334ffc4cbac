"""The forecast of rounds left, against the round at which a decline truly reaches half strength.

Declines that keep their pace, found in time at the dial at 1, are asked 0, 1, 2 and 4 rounds after the alert while
they stand in alert and above half strength. The truth is the number of whole rounds until the first at half strength
or less; where that lies beyond the record a decline is not asked. Rounds left are capped at two years, and so is the
truth. In words beside it: how often the truth lay under and over the interval, and the same by pace.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
from fitting_speed import Line
from warning_scores import share
from warning_shelves import ROUND_DAYS, ROUNDS, SHELVES, Watched, study

from leavenbench.watch.alert import in_alert
from leavenbench.watch.changes import changes
from leavenbench.watch.forecast import forecast, two_years

AFTER, COVERED = (0, 1, 2, 4), (0.78, 0.92)


def from_values(smaller: int, rounds: int) -> Iterator[Line]:
    """Count how often the interval holds the truth."""
    yield from forecasts("values", study(SHELVES // smaller))


def forecasts(source: str, shelves: Watched) -> Iterator[Line]:
    """Count how often the interval of rounds left holds the truth, by rounds after the alert."""
    asked = forecast_rounds(shelves)
    figure = f"{source}, dial at 1: coverage of the 80 % interval of rounds left"
    for after in AFTER:
        one = asked[asked["after"] == after]
        held = (one["low"] <= one["truth"]) & (one["truth"] <= one["high"])
        covered, note = share(held.to_numpy())
        paces = ", ".join(f"{pace:g} %: {of.mean():.0%}" for pace, of in held.groupby(one["percent"]))
        sides = f"truth under {(one['truth'] < one['low']).mean():.0%}, over {(one['truth'] > one['high']).mean():.0%}"
        outward = (np.floor(one["low"]) <= one["truth"]) & (one["truth"] <= np.ceil(one["high"]))
        note = f"{note}; {sides}; {paces}; ends rounded outward {outward.mean():.0%}"
        met = bool(COVERED[0] <= covered <= COVERED[1])
        target = f"{COVERED[0]:.0%} to {COVERED[1]:.0%}"
        yield Line(figure, f"{after} rounds after the alert", target, f"{covered:.1%}", met, note)


def forecast_rounds(shelves: Watched) -> pd.DataFrame:
    """Return one row per forecast asked for: after, percent, truth, low, high."""
    alert = in_alert(shelves.evidence, shelves.threshold[1.0])
    levels = shelves.levels.assign(first=shelves.series.first, row=np.arange(len(alert)), alert=alert)
    after = levels[(levels["story"] == "ramp") & (levels["round"] >= levels["onset"]) & (levels["half"] <= ROUNDS)]
    found = after[after["alert"]].groupby("first")["round"].min().rename("found")
    asked = after[after["alert"] & (after["round"] < after["half"])].join(found, on="first")
    asked = asked.assign(after=(asked["round"] - asked["found"]).astype(int))
    asked = asked[asked["after"].isin(AFTER)].reset_index(drop=True)
    rows = asked["row"].to_numpy()
    told, most = changes(shelves.series, shelves.scatter, rows), two_years(ROUND_DAYS)
    of_extra_steps = shelves.evidence.decline[rows] - told.decline
    left = forecast(told, of_extra_steps, np.zeros(len(rows)), np.ones(len(rows), bool), 50.0, most).rounds_left
    truth = (asked["half"] - asked["round"]).astype(float).clip(upper=most)
    return asked[["after", "percent"]].assign(truth=truth, low=left[:, 0], high=left[:, 2])
