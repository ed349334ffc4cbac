"""A whole collection with known truth: what its keepers write down, and what they do not know."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import pandas as pd

from .bakehouse.calendar import ROUNDS_A_YEAR
from .bakehouse.jars import jars_of
from .bakehouse.lots import count_flour
from .bakehouse.mishaps import ColdRoom, only
from .bakehouse.rooms import draw_rooms
from .bakehouse.stores import log_stores
from .bench.feeding import put_at_bench
from .bench.log_book import lose_the_dead, number_events, other_events, readings_kept, write_down
from .bench.loggers import log_rise, under_logger
from .bench.looks import plan_looks, read
from .bench.passing import end_rounds, hours_to_pass
from .bench.probes import check_probes
from .cast import Cast, nameless_cast
from .conditions import Conditions, meet_conditions
from .culture.activity import add_cells
from .noise import Noise, streams
from .truth import true_cultures, true_misread, true_refeeds

_REFEEDS = [
    "refeed", "culture", "fed_at", "purpose", "step", "lot", "seed", "flour", "water", "room", "room_temperature",
    "person", "vessel", "start_height", "bench_order", "passed", "cooled_at", "cold_store", "hooch", "smell",
]  # fmt: skip
#: The logger was bought so long before the last feeding.
_LOGGER_SINCE = pd.Timedelta(days=365)


@dataclass(frozen=True)
class Simulated:
    """A collection as its keepers wrote it down, and the truth that they do not know.

    Attributes
    ----------
    tables : mapping of str to pandas.DataFrame
        Tables of `leavenbench.columns.TABLES` under their bare column names, in the canonical units; times are
        local and without a zone.
    truth : mapping of str to pandas.DataFrame
        cultures (story and own ways), rounds (log vigour and its parts), refeeds (log activity and its parts, living
        cells, true traits of both curves; not all of them were written down), days, lots, misread (readings gone
        wrong) and logged (refeeds with a logger). Logarithms are natural.
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
    ['cultures', 'events', 'flour_counts', 'flour_lots', 'flours', 'probe_checks', 'readings', 'refeed_flours',
     'refeeds', 'store_log', 'stores', 'vessels']
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
        Tables and truth; the last feeding ends the books: no other table holds a later row.
    """
    noise = noise or Noise()
    draw = streams(seed)
    met = meet_conditions(cast, years, begin, noise, draw)
    days = (met.steps["day"].max() - pd.Timestamp(begin)).days + 3
    rooms = draw_rooms(cast.rooms, begin, days, only(cast.mishaps, ColdRoom), draw.rooms)
    steps = put_at_bench(met.steps, rooms, cast.every_room(), cast.people, noise, draw.bench)
    steps = add_cells(steps, met.strengths)
    seen, misread = read(plan_looks(len(steps), draw.looks), steps, rooms, cast.probes, noise, draw.readings)

    steps = end_rounds(steps, hours_to_pass(steps, seen), cast.every_store(), draw.bench)
    steps, fates = lose_the_dead(steps, cast.stories, draw.bench)
    steps = write_down(steps, noise, draw.bench)
    end = steps.loc[steps["written"], "fed_at"].max()
    with_logger = under_logger(steps, logged, end - _LOGGER_SINCE, draw.bench)
    by_hand = readings_kept(seen, steps, with_logger.index)
    by_logger = log_rise(with_logger, rooms, noise, draw.readings)
    tables = {
        "cultures": met.cultures,
        "flours": cast.flours,
        "stores": cast.stores,
        "vessels": jars_of(met.cultures),
        "refeeds": steps.loc[steps["written"], _REFEEDS].reset_index(drop=True),
        "readings": pd.concat([by_hand, by_logger], ignore_index=True),
        "events": number_events([fates, other_events(steps, cast.shares(), cast.mishaps)], end),
        "probe_checks": check_probes(cast.probes, begin, end, draw.probes),
        "store_log": log_stores(cast.stores, pd.Timestamp(begin), end, cast.mishaps, draw.stores),
        **_flour_books(met, steps, end),
    }
    truth = {
        "cultures": true_cultures(cast, met.rounds, met.strengths),
        "rounds": met.rounds,
        "refeeds": true_refeeds(steps),
        "days": met.days,
        "lots": met.lots.loc[met.lots["received"] <= end, ["lot", "flour", "log_lot"]],
        "misread": true_misread(misread, steps, by_hand),
        "logged": with_logger[["refeed", "vessel", "fed_at"]].reset_index(drop=True),
    }
    return Simulated(tables, truth)


def _flour_books(met: Conditions, steps: pd.DataFrame, end: pd.Timestamp) -> dict[str, pd.DataFrame]:
    """Return what is written down about flour until the end: lots, counts, and the lots of blends."""
    lots = met.lots.loc[met.lots["received"] <= end].reset_index(drop=True)
    taken = steps[["refeed", "day", "flour", "written"]]
    used = met.fed.join(taken, on="at", how="inner").sort_values(["refeed", "lot"], kind="stable")
    used["mass"] = (used["share"] * used["flour"]).round(0)
    of_blends = used["written"] & used["at"].duplicated(keep=False)
    return {
        "flour_lots": lots.drop(columns="log_lot"),
        "flour_counts": count_flour(lots, used, end),
        "refeed_flours": used.loc[of_blends, ["refeed", "lot", "mass"]].reset_index(drop=True),
    }
