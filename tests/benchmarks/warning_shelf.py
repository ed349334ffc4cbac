"""A decline of the whole shelf, which hides in what the cultures share: months until it is seen, and false alarms.

Shelves as in the study, four years long; on half of them every culture loses 2 % a round besides from the twelfth round
on. Vigour keeps what the shelf shares in it. An alarm is a month in which the shelf is said to fall.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
from fitting_speed import Line
from vigour_values import values_of
from warning_shelves import ROUNDS_A_YEAR, SETTINGS, cast_of, simulated

from leavenbench.vigour.index import _first_rounds_mean
from leavenbench.watch.whole_shelf import whole_shelf

SHELVES, YEARS = 60, 4.0
PACE, ONSET_ROUND = 0.02, 12
MONTHS_TO_SEE, FALSE_ALARMS = 12.0, 0.05


def declines_of_everything(smaller: int, rounds: int) -> Iterator[Line]:
    """Count the months until a falling shelf is seen, and the healthy ones that are called."""
    called, months = [], []
    for number in range(max(SHELVES // smaller, 4)):
        shelf = values_of(simulated(number, cast_of(number)))
        day = (shelf.values["fed_at"] - shelf.values["fed_at"].min()) / pd.Timedelta(days=1)
        within = (day < YEARS * 365.25).to_numpy()
        healthy = _with_what_is_shared(shelf.values)
        called.append(bool(_seen(healthy[within])["falling"].any()))
        since = np.maximum(day / SETTINGS.round_days - ONSET_ROUND, 0.0)
        falling = healthy.assign(vigour_pct=healthy["vigour_pct"] * np.exp(-PACE * since.to_numpy()))
        onset = healthy["fed_at"].min() + pd.Timedelta(days=ONSET_ROUND * SETTINGS.round_days)
        after = _seen(falling[within])
        after = after[after["month"] > f"{onset:%Y-%m}"].reset_index(drop=True)
        months.append(float(after["falling"].idxmax() + 1) if after["falling"].any() else np.inf)
    figure = f"the whole shelf, {YEARS:g} years, {len(called)} shelves"
    share, middle = float(np.mean(called)), float(np.median(months))
    note = f"{sum(called)} of {len(called)}"
    yield Line(figure, "called falsely", f"<= {FALSE_ALARMS:.0%}", f"{share:.1%}", share <= FALSE_ALARMS, note)
    low, high = np.quantile(months, [0.1, 0.9])
    note = f"eight of ten within {low:.0f} to {high:.0f}; {PACE:.0%} a round is {PACE * ROUNDS_A_YEAR:.0%} a year"
    case = f"months to see {PACE:.0%} a round"
    yield Line(figure, case, f"<= {MONTHS_TO_SEE:g}", f"{middle:.0f}", middle <= MONTHS_TO_SEE, note)


def _with_what_is_shared(values: pd.DataFrame) -> pd.DataFrame:
    log = values["log_vigour"] - _first_rounds_mean(values, values["log_vigour"])
    return values[["culture", "round", "fed_at"]].assign(vigour_pct=100.0 * np.exp(log))


def _seen(vigour: pd.DataFrame) -> pd.DataFrame:
    return whole_shelf(vigour, SETTINGS.round_days)
