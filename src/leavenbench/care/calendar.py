"""The rounds of the coming year, shifted by a few days so that no day holds much more work than another."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from ..columns import RESULTS

#: By what share of the time between rounds a round may be moved forward or back.
_MOVED = 0.1

_CALENDAR = RESULTS["calendar"]


def round_calendar(due: pd.DataFrame, on: dt.date, round_days: float, steps: int, days: int = 365) -> pd.DataFrame:
    """Lay out the rounds of the coming year.

    Parameters
    ----------
    due : pandas.DataFrame
        As `rounds.due_list` makes it.
    on : datetime.date
        The first day.
    round_days : float
        Days between two rounds [d].
    steps : int
        Days that a round takes, one step a day.
    days : int
        How far to look ahead [d].

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["calendar"]``: one row per day and group with work, `jars` of which `moved_d` says
        by how many days the round lies off its due date. Cultures without a group are laid out one by one.

    Examples
    --------
    >>> due = pd.DataFrame({"culture": list("abcd"), "group": list("AABB"), "due_on": pd.Timestamp("2025-03-01")})
    >>> made = round_calendar(due, dt.date(2025, 3, 1), 60, 3, days=30)
    >>> made[["day", "group", "step", "jars"]].head(3).astype(str).values.tolist()
    [['2025-03-01', 'A', '1', '2'], ['2025-03-02', 'A', '2', '2'], ['2025-03-03', 'A', '3', '2']]
    """
    load, rows = np.zeros(days + steps), []
    waiting = _units(due, on)
    reach = max(int(_MOVED * round_days), 0)
    while waiting:
        planned, group, jars, first = waiting.pop(0)
        if planned >= days:
            continue
        begins = _lightest(load, planned, reach, steps, first)
        load[begins : begins + steps] += jars
        rows += [(begins + step, group, step + 1, jars, begins - planned) for step in range(steps)]
        waiting.append((begins + max(round(round_days), steps), group, jars, False))
        waiting.sort(key=lambda unit: unit[:2])
    made = pd.DataFrame(rows, columns=["day", "group", "step", "jars", "moved_d"])
    made = made[made["day"] < days]
    alike = made.groupby(["day", "group", "step"], as_index=False)
    together = alike.agg(jars=("jars", "sum"), moved_d=("moved_d", "max"))
    together["day"] = pd.Timestamp(on) + pd.to_timedelta(together["day"], unit="D")
    return together[_CALENDAR.names].astype(_CALENDAR.dtypes())


def _units(due: pd.DataFrame, on: dt.date) -> list[tuple[int, str, int, bool]]:
    """Return what is refreshed together: first day from `on`, group, jars, and that it is the first round."""
    ahead = (due["due_on"] - pd.Timestamp(on)).dt.days.clip(lower=0)
    alone = due["group"] == ""
    units = [(int(day), "", 1, True) for day in ahead[alone]]
    for group, of in due[~alone].groupby("group"):
        units.append((int(ahead[of.index].median()), str(group), len(of), True))
    return sorted(units, key=lambda unit: unit[:2])


def _lightest(load: np.ndarray, planned: int, reach: int, steps: int, first: bool) -> int:
    """Return the day near the planned one on which a round meets the least other work; the nearest of several."""
    earliest = planned if first and planned == 0 else max(planned - reach, 0)
    days = np.arange(earliest, min(planned + reach, len(load) - steps) + 1)
    met = np.array([load[day : day + steps].sum() for day in days])
    return int(days[np.lexsort((np.abs(days - planned), met))[0]])
