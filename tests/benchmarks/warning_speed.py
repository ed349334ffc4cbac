"""How long it takes from vigour values to alerts: 150 cultures, 30 rounds, one core.

Timed is all that comes after the vigour table: the level of each round, noise, evidence, threshold and alert. Beside it
stands a plain pandas mean by culture and round of the same table, round after round, so that their ratio means
something on another machine too.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np
import pandas as pd
from fitting_speed import Line, alternating
from vigour_values import values_of
from warning_shelves import CULTURES, ROUNDS, SETTINGS, cast_of, simulated, vigour_of_values

from leavenbench.watch.levels import round_levels
from leavenbench.watch.outlook import outlook

MOST_S = 1.0


def from_values_to_alerts(smaller: int, rounds: int) -> Iterator[Line]:
    """Time the warning, in seconds and against a plain mean."""
    shelf = values_of(simulated(0, cast_of(0)))
    vigour = vigour_of_values(shelf)
    ours, mean = alternating(
        rounds,
        (partial(_watch, vigour, shelf.values["history"]), 1),
        (partial(_mean_by_round, vigour), 1),
    )
    case = f"{CULTURES} x {ROUNDS}, {len(vigour):,} refeeds"
    seconds, times, plain = (float(np.median(of)) for of in (ours, ours / mean, mean))
    note = f"{ours.min():.3f}-{ours.max():.3f} s; {times:.0f} times a plain mean of {plain * 1e3:.1f} ms"
    yield Line("from vigour values to alerts [s]", case, f"< {MOST_S:g}", f"{seconds:.3f}", seconds < MOST_S, note)


def _watch(vigour: pd.DataFrame, history: pd.Series) -> None:
    levels = round_levels(vigour, history)
    outlook(levels, SETTINGS, np.ones(len(levels), bool))


def _mean_by_round(vigour: pd.DataFrame) -> None:
    vigour.groupby(["culture", "round"], as_index=False)["vigour_pct_own"].mean()
