"""What every step of every round meets, from the calendar to the activity of its dough; what is read comes later."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import pandas as pd

from .bakehouse.calendar import ROUNDS_A_YEAR, lay_out_steps, plan_rounds
from .bakehouse.handling import draw_days
from .bakehouse.jars import fill
from .bakehouse.lots import add_lots, draw_lots, flours_fed
from .bakehouse.mishaps import MissedRound, only
from .bakehouse.stores import suffered
from .cast import Cast
from .culture.activity import add_activity
from .culture.course import true_course
from .culture.stories import Story
from .culture.strength import draw_strengths, pass_marks
from .noise import Noise, Streams


@dataclass(frozen=True)
class Conditions:
    """Every step that the rounds could take, and what it meets.

    Attributes
    ----------
    cultures : pandas.DataFrame
        The cultures table, with what the keeper asks of each jar.
    strengths : pandas.DataFrame
        As from `culture.strength.draw_strengths`.
    rounds : pandas.DataFrame
        As from `bakehouse.calendar.plan_rounds`, with the true log vigour and its parts.
    steps : pandas.DataFrame
        As from `bakehouse.calendar.lay_out_steps`, with what is in the jar, and log activity and its parts.
    days, lots : pandas.DataFrame
        What days and flour lots do.
    fed : pandas.DataFrame
        As from `bakehouse.lots.flours_fed`.
    """

    cultures: pd.DataFrame
    strengths: pd.DataFrame
    rounds: pd.DataFrame
    steps: pd.DataFrame
    days: pd.DataFrame
    lots: pd.DataFrame
    fed: pd.DataFrame


def meet_conditions(cast: Cast, years: float, begin: date, noise: Noise, draw: Streams) -> Conditions:
    """Return every step that the rounds of some years could take, and what it meets.

    Parameters
    ----------
    cast : Cast
        Who stands on the shelf, and what happens to them.
    years : float
        Length of the records.
    begin : datetime.date
        No round begins before this day.
    noise : Noise
        Sizes of chance.
    draw : Streams
        Where it comes from.

    Returns
    -------
    Conditions
        Steps and their circumstances.
    """
    strengths = draw_strengths(cast.cultures, cast.flours, noise, draw.strengths)
    cultures = pass_marks(cast.cultures, strengths)
    shares = cast.shares()
    rounds = _true_rounds(cast, strengths, round(years * ROUNDS_A_YEAR), begin, noise, draw)
    steps = lay_out_steps(rounds, draw.calendar)
    days = draw_days(steps["day"], noise, draw.days)
    lots = draw_lots(cast.flours, shares, begin, years, noise, cast.mishaps, draw.lots)
    asked = ["culture", "leading_signal", "pass_rise", "pass_ph", "pass_within"]
    steps = steps.merge(cultures[asked], on="culture", how="left", validate="many_to_one")
    steps = steps.merge(days, on="day", how="left", validate="many_to_one")
    fed = flours_fed(steps, shares, lots, cast.mishaps)
    steps = fill(add_lots(steps, fed), cultures, draw.jars)
    return Conditions(
        cultures=cultures,
        strengths=strengths,
        rounds=rounds,
        steps=add_activity(steps, noise, draw.refeeds),
        days=days,
        lots=lots,
        fed=fed,
    )


def _true_rounds(
    cast: Cast, strengths: pd.DataFrame, rounds: int, begin: date, noise: Noise, draw: Streams
) -> pd.DataFrame:
    """Lay out the rounds and rescues with every culture's true log vigour and its parts."""
    rescued_after = {
        name: story.turns_in for name, story in cast.stories.items() if story.kind == "rescue" and story.turns_in
    }
    missed = only(cast.mishaps, MissedRound)
    plan = plan_rounds(cast.cultures, rounds, begin, noise.rounds_missing, draw.calendar, missed, rescued_after)
    regular = plan.loc[plan["purpose"] == "round"]
    begins_on = regular.pivot(index="culture", columns="round", values="begins_on").loc[cast.names]
    log_store = suffered(begins_on, cast.every_store(), cast.mishaps)
    stories = [cast.stories.get(name, Story()) for name in cast.names]
    course = true_course(stories, strengths["round_sd"].to_numpy(), noise.carry_over, log_store, draw.course)
    true = regular[["culture", "round"]].assign(
        **{part: values.ravel() for part, values in course._asdict().items()}, log_store=log_store.ravel()
    )
    return plan.merge(true, on=["culture", "round"], how="left", validate="many_to_one")
