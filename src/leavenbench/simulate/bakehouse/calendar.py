"""When each culture is refreshed: rounds by group, steps on consecutive days.

A round begins on a Monday and has at most five steps, so the last look at a jar falls on a Saturday morning at
the latest. Clocks change on Sundays: hours since feeding are therefore the same by the clock on the wall.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from types import MappingProxyType

import numpy as np
import pandas as pd

from .mishaps import MissedRound

#: Rounds a year and the days between them (two months, common practice, no source).
ROUNDS_A_YEAR = 6
ROUND_DAYS = 365.25 / ROUNDS_A_YEAR
#: Steps a round usually takes (common practice, no source), and the step after which the keeper gives up.
USUAL_STEPS = 3
MOST_STEPS = 5
#: Days in the cold between two rounds that both took the usual steps.
USUAL_DAYS_COLD = ROUND_DAYS - USUAL_STEPS

_BENCH_OPENS = pd.Timedelta(hours=7, minutes=30)
_BENCH_MINUTES = 80
#: A rescue begins two weeks after the round that failed; its jars are fed when those of a round are done.
_UNTIL_RESCUE = pd.Timedelta(days=14)
_RESCUE_LATER = pd.Timedelta(minutes=100)


def _mondays(begin: date, rounds: int, place: float, rng: np.random.Generator) -> pd.DatetimeIndex:
    """Mondays on which a group's rounds begin; `place` is the group's share of the interval, 0 to below 1."""
    days = np.round((np.arange(rounds) + place) * ROUND_DAYS + rng.uniform(0.0, 6.0, rounds))
    wanted = np.datetime64(begin, "D") + days.astype("timedelta64[D]")
    return pd.DatetimeIndex(np.busday_offset(wanted, 0, roll="forward", weekmask="Mon")).as_unit("us")


def plan_rounds(
    cultures: pd.DataFrame,
    rounds: int,
    begin: date,
    missing: float,
    rng: np.random.Generator,
    missed: Sequence[MissedRound] = (),
    rescued_after: Mapping[str, int] = MappingProxyType({}),
) -> pd.DataFrame:
    """Return one row per culture and round of the calendar, whether it was held or not, and one per rescue.

    Parameters
    ----------
    cultures : pandas.DataFrame
        A cultures table, with ``culture`` and ``group``.
    rounds : int
        Rounds of each culture.
    begin : datetime.date
        No round begins before this day.
    missing : float
        Share of a culture's rounds that are not held.
    rng : numpy.random.Generator
        Where chance comes from.
    missed : sequence of MissedRound
        Rounds that a whole group goes without.
    rescued_after : mapping of str to int
        Cultures that are rescued two weeks after a round, and the round.

    Returns
    -------
    pandas.DataFrame
        culture, group, round (from 1; of a rescue, that before it), purpose (round or rescue), begins_on (a Monday),
        held, days_cold (days in the cold before it). Rescues stand last.

    Examples
    --------
    >>> shelf = pd.DataFrame({"culture": ["Ash", "Elm"], "group": ["A", "B"]})
    >>> plan = plan_rounds(shelf, 2, date(2024, 1, 1), 0.0, np.random.default_rng(1))
    >>> plan[["culture", "round", "begins_on"]].to_string(index=False).splitlines()[1:]
    ['    Ash      1 2024-01-08', '    Ash      2 2024-03-11', '    Elm      1 2024-02-05', '    Elm      2 2024-04-08']
    """
    groups = sorted(cultures["group"].unique())
    begins = {group: _mondays(begin, rounds, place / len(groups), rng) for place, group in enumerate(groups)}
    plan = pd.DataFrame(
        {
            "culture": np.repeat(cultures["culture"].to_numpy(), rounds),
            "group": np.repeat(cultures["group"].to_numpy(), rounds),
            "round": np.tile(np.arange(1, rounds + 1), len(cultures)),
            "purpose": "round",
            "begins_on": np.concatenate([begins[group] for group in cultures["group"]]),
            "held": rng.random(len(cultures) * rounds) >= missing,
        }
    )
    for gap in missed:
        plan["held"] &= (plan["group"] != gap.group) | (plan["round"] != gap.round)
    rescues = plan.loc[plan["round"] == plan["culture"].map(rescued_after)]
    rescues = rescues.assign(purpose="rescue", begins_on=rescues["begins_on"] + _UNTIL_RESCUE, held=True)
    plan = pd.concat([plan, rescues], ignore_index=True)
    in_time = plan.loc[plan["held"]].sort_values(["culture", "begins_on"], kind="stable")
    apart = in_time.groupby("culture")["begins_on"].diff().dt.days
    plan["days_cold"] = (apart - USUAL_STEPS).fillna(USUAL_DAYS_COLD)
    return plan


def lay_out_steps(rounds: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Return every step that the rounds held could take, each with the minute of its feeding.

    The keeper works along the shelf, in the same order on every day of a round, so two steps of a jar are a day
    apart, give or take some minutes.

    Parameters
    ----------
    rounds : pandas.DataFrame
        As from `plan_rounds`, cultures in the order of the shelf.
    rng : numpy.random.Generator
        Where chance comes from.

    Returns
    -------
    pandas.DataFrame
        The columns of `rounds` with step (1 to 5), day, bench_order and fed_at (local time), one row per step.
    """
    held = rounds.loc[rounds["held"]].sort_values(["begins_on", "group"], kind="stable")
    in_round = held.groupby(["group", "round", "purpose"], sort=False)
    held = held.assign(bench_order=in_round.cumcount() + 1, jars=in_round["culture"].transform("size"))
    steps = held.loc[held.index.repeat(MOST_STEPS)].reset_index(drop=True)
    steps["step"] = np.tile(np.arange(1, MOST_STEPS + 1), len(held))
    steps["day"] = steps["begins_on"] + pd.to_timedelta(steps["step"] - 1, unit="D")
    minute = _BENCH_MINUTES * (steps["bench_order"] - 1) / steps["jars"] + rng.uniform(0.0, 5.0, len(steps))
    steps["fed_at"] = steps["day"] + _BENCH_OPENS + pd.to_timedelta(np.floor(minute), unit="min")
    steps.loc[steps["purpose"] == "rescue", "fed_at"] += _RESCUE_LATER
    return steps.drop(columns=["jars", "held"])
