"""A whole collection with known truth: what its keepers write down, and what they do not know."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from .activity import add_activity, add_traits
from .bench import end_rounds, hours_to_pass, put_at_bench
from .calendar import ROUNDS_A_YEAR, USUAL_STEPS, lay_out_steps, plan_rounds
from .cast import Cast, nameless_cast
from .course import true_course
from .jars import fill, jars_of
from .log_book import lose_the_dead, readings_kept, write_down
from .looks import log_rise, plan_looks, read
from .noise import Noise, Streams, streams
from .shared_causes import draw_days, draw_lots, lot_in_use
from .stories import Story
from .strength import draw_strengths, pass_marks
from .truth import true_cultures, true_misread, true_refeeds

_REFEEDS = [
    "refeed", "culture", "fed_at", "step", "lot", "seed", "flour", "water", "room", "room_temperature", "person",
    "vessel", "start_height", "bench_order", "passed", "cooled_at", "cold_store", "hooch",
]  # fmt: skip


@dataclass(frozen=True)
class Simulated:
    """A collection as its keepers wrote it down, and the truth that they do not know.

    Attributes
    ----------
    tables : mapping of str to pandas.DataFrame
        Tables of `leavenbench.columns.TABLES` under their bare column names, in the canonical units; times are
        local and without a zone.
    truth : mapping of str to pandas.DataFrame
        cultures (story and own traits), rounds (log vigour and its parts), refeeds (log activity and its parts,
        true traits of both curves; not all of them were written down), days, lots, misread (readings gone wrong)
        and logged (refeeds with a logger). Logarithms are natural.
    """

    tables: Mapping[str, pd.DataFrame]
    truth: Mapping[str, pd.DataFrame]


def simulate_shelf(
    seed: int,
    cultures: int = 30,
    years: float = 3.0,
    begin: date = date(2022, 1, 3),
    *,
    noise: Noise | None = None,
    logged: int = 12,
) -> Simulated:
    """Return a shelf of numbered cultures with known truth.

    Parameters
    ----------
    seed : int
        The same seed gives the same collection.
    cultures : int
        Number of cultures.
    years : float
        Length of the records.
    begin : datetime.date
        No round begins before this day.
    noise : Noise, optional
        Sizes of chance.
    logged : int
        Refeeds of the last year that a logger stands on.

    Returns
    -------
    Simulated
        Tables and truth.

    Examples
    --------
    >>> shelf = simulate_shelf(seed=1, cultures=4, years=1)
    >>> sorted(shelf.tables)
    ['cultures', 'events', 'flour_lots', 'flours', 'readings', 'refeeds', 'vessels']
    >>> len(shelf.truth["rounds"])
    24
    """
    rounds = round(years * ROUNDS_A_YEAR)
    cast = nameless_cast(cultures, rounds, streams(seed).stories)
    return simulate_cast(seed, cast, years, begin, noise=noise, logged=logged)


def simulate_cast(
    seed: int,
    cast: Cast,
    years: float = 3.0,
    begin: date = date(2022, 1, 3),
    *,
    noise: Noise | None = None,
    logged: int = 12,
) -> Simulated:
    """Return what is written down about a given shelf, with the truth beside it.

    Parameters
    ----------
    seed : int
        The same seed and cast give the same collection.
    cast : Cast
        Who stands on the shelf, and what happens to them.
    years : float
        Length of the records.
    begin : datetime.date
        No round begins before this day.
    noise : Noise, optional
        Sizes of chance.
    logged : int
        Refeeds of the last year that a logger stands on.

    Returns
    -------
    Simulated
        Tables and truth.
    """
    noise = noise or Noise()
    draw = streams(seed)
    strengths = draw_strengths(cast.cultures, cast.flours, noise, draw.strengths)
    cultures = pass_marks(cast.cultures, strengths)
    lots = draw_lots(cast.flours, begin, years, noise, draw.lots)
    rounds = _true_rounds(cast, strengths, round(years * ROUNDS_A_YEAR), begin, noise, draw)
    steps = lay_out_steps(rounds, draw.calendar)
    days = draw_days(steps["day"], noise, draw.days)

    lots = lots[lots["received"] <= steps["day"].max()].reset_index(drop=True)  # the books end with the last feeding
    steps = _meet_shared_causes(steps, cultures, days, lots)
    steps = fill(steps, cultures, draw.jars)
    steps = add_traits(add_activity(steps, noise, draw.refeeds), strengths)
    steps = put_at_bench(steps, cast.people, cast.room, noise, draw.bench)
    seen, misread = read(plan_looks(len(steps), draw.looks), steps, noise, draw.readings)

    steps = end_rounds(steps, hours_to_pass(steps, seen), cast.cold_store, draw.bench)
    end = pd.Timestamp(begin) + pd.Timedelta(days=round(years * 365.25))
    left_on_shelf = {name for name, story in cast.stories.items() if not story.noticed}
    steps, events = lose_the_dead(steps, left_on_shelf, end, draw.bench)
    steps = write_down(steps, noise, draw.bench)
    under_logger = _under_logger(steps, logged, draw.bench)
    by_hand = readings_kept(seen, steps, under_logger.index)
    by_logger = log_rise(under_logger, noise, draw.readings)
    return Simulated(
        tables={
            "cultures": cultures,
            "events": events,
            "flours": cast.flours,
            "flour_lots": lots.drop(columns="log_lot"),
            "vessels": jars_of(cultures),
            "refeeds": steps.loc[steps["written"], _REFEEDS].reset_index(drop=True),
            "readings": pd.concat([by_hand, by_logger], ignore_index=True),
        },
        truth={
            "cultures": true_cultures(cast, rounds, strengths),
            "rounds": rounds,
            "refeeds": true_refeeds(steps),
            "days": days,
            "lots": lots[["lot", "flour", "log_lot"]],
            "misread": true_misread(misread, steps, by_hand),
            "logged": under_logger[["refeed", "vessel", "fed_at"]].reset_index(drop=True),
        },
    )


def _true_rounds(
    cast: Cast, strengths: pd.DataFrame, rounds: int, begin: date, noise: Noise, draw: Streams
) -> pd.DataFrame:
    """Lay out the rounds with every culture's true log vigour and its parts."""
    plan = plan_rounds(cast.cultures, rounds, begin, noise.rounds_missing, draw.calendar)
    stories = [cast.stories.get(name, Story()) for name in cast.cultures["culture"]]
    course = true_course(stories, strengths["round_sd"].to_numpy(), rounds, noise.carry_over, draw.course)
    return plan.assign(**{part: values.ravel() for part, values in course._asdict().items()})


def _meet_shared_causes(
    steps: pd.DataFrame, cultures: pd.DataFrame, days: pd.DataFrame, lots: pd.DataFrame
) -> pd.DataFrame:
    """Give every step its day, its lot, and what its culture is fed on and asked for."""
    asked = ["culture", "flour", "leading_signal", "pass_rise", "pass_ph", "pass_within"]
    steps = steps.merge(cultures[asked], on="culture", validate="many_to_one")
    steps = steps.merge(days, on="day", validate="many_to_one")
    steps["lot"] = lot_in_use(steps["flour"], steps["day"], lots)
    return steps.drop(columns="flour").merge(lots[["lot", "log_lot"]], on="lot", validate="many_to_one")


def _under_logger(steps: pd.DataFrame, logged: int, rng: np.random.Generator) -> pd.DataFrame:
    """Pick the steps of the last year that the one logger stood on: the third or later, one jar a day."""
    late = steps["day"] > steps["day"].max() - pd.Timedelta(days=365)
    likely = steps.loc[steps["written"] & late & (steps["step"] >= USUAL_STEPS)]
    one_a_day = likely.iloc[rng.permutation(len(likely))].drop_duplicates("day")
    return one_a_day.head(logged).sort_values("fed_at")
