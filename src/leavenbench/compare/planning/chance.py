"""The chance to see a difference between cultures, and to show that there is none, by rounds and refeeds.

Refeeds of invented shelves that scatter as this shelf's do are analysed as real ones are: the mixed model of `mixed`,
all pairs by Tukey's range, sameness by two one-sided tests.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache

import numpy as np
import pandas as pd
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from ...columns import RESULTS
from ...errors import CannotRead
from ..adjustment import studentised_range
from ..differences import CHANCE
from .balanced import Differences, differences
from .noise import Spread
from .strata import Design

Array = np.ndarray
#: Rounds that are tried. Under three the model cannot tell rounds from chance.
ROUNDS = (3, 4, 6, 8, 12, 18, 26)
_FEWEST_ROUNDS = 3
DAYS = ("shared", "separate")
#: Degrees of freedom at which Tukey's range is worked out; between them it is interpolated.
_FREEDOMS = np.array([1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 9.0, 14.0, 24.0, 48.0, 120.0, 1000.0])


def chance_to_see(
    spread: Spread,
    difference: float,
    margin: float | None = None,
    *,
    cultures: int = 2,
    beside: int = 0,
    rounds: Sequence[int] = ROUNDS,
    refeeds: Sequence[int] = (1, 2, 3),
    days: Sequence[str] = DAYS,
    successive: bool = True,
    shelves: int = 400,
    seed: int = 0,
    progress: Callable[[int, int], None] | None = None,
) -> pd.DataFrame:
    """Say how likely a difference is seen, by the rounds of each culture and the refeeds of each round.

    Parameters
    ----------
    spread : Spread
        From `noise.planning_noise`.
    difference : float
        How much more the one culture has than the other [%, or the trait's unit where it is on a linear scale].
    margin : float, optional
        What counts as the same, for the chance to show sameness where there is no difference; `difference` by default.
    cultures : int
        How many are compared with each other, all pairs.
    beside : int
        Further cultures that are fed and read alike and are in the model, so that it knows better how all scatter, but
        of which nothing is asked.
    rounds, refeeds : sequence of int
        What is tried: rounds of each culture, three or more, and refeeds read in each.
    days : sequence of str
        Of `DAYS`: whether the cultures are fed on the same days or each on its own.
    successive : bool
        Whether rounds follow each other; else nothing is carried over from one to the next.
    shelves : int
        Invented shelves for each.
    seed : int
        The same seed gives the same.
    progress : callable, optional
        Called as ``progress(done, total)`` with the plans tried.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["chance_to_see"]``.

    Raises
    ------
    CannotRead
        The difference, the margin or the plans make no sense.
    """
    margin = difference if margin is None else margin
    _check(difference, margin, cultures, beside, rounds, refeeds, days, shelves)
    fed = cultures + beside
    plans = [Design(fed, of, steps, day == "shared", successive) for day in days for steps in refeeds for of in rounds]
    rows = []
    for done, design in enumerate(plans, 1):
        rng = np.random.default_rng([seed, *(int(of) for of in design)])
        values = invented(spread, design, shelves, rng)
        found = differences(design, values, spread.reading)
        seen, same, false = _chances(found, cultures, spread.working(difference), spread.working(margin))
        rows.append(
            {
                "trait": spread.trait,
                "cultures": cultures,
                "beside": beside,
                "days": "shared" if design.shared_days else "separate",
                "rounds": design.rounds,
                "refeeds_per_round": design.refeeds,
                "refeeds": design.rounds * design.refeeds,
                "difference": difference,
                "margin": margin,
                "unit": "%" if spread.scale == "log" else spread.unit,
                **_with_ends("seen", seen, shelves),
                **_with_ends("same", same, shelves),
                "false_pct": 100.0 * false,
                "shelves": shelves,
            }
        )
        if progress is not None:
            progress(done, len(plans))
    made = RESULTS["chance_to_see"]
    return pd.DataFrame(rows, columns=made.names).astype(made.dtypes())


def _check(
    difference: float,
    margin: float,
    cultures: int,
    beside: int,
    rounds: Sequence[int],
    refeeds: Sequence[int],
    days: Sequence[str],
    shelves: int,
) -> None:
    if not difference > 0.0 or not margin > 0.0:
        raise CannotRead(f"a difference of {difference} and a margin of {margin}: give both above zero")
    if cultures < 2 or beside < 0:
        raise CannotRead(f"{cultures} cultures and {beside} beside them: a difference takes two cultures")
    if not rounds or min(rounds) < _FEWEST_ROUNDS:
        raise CannotRead(f"rounds {list(rounds)}: under {_FEWEST_ROUNDS} a culture's ups and downs cannot be told")
    if not refeeds or min(refeeds) < 1 or shelves < 1 or not days or set(days) - set(DAYS):
        raise CannotRead(f"refeeds {list(refeeds)}, days {list(days)}, shelves {shelves}: none of that can be planned")


def invented(spread: Spread, design: Design, shelves: int, rng: np.random.Generator) -> Array:
    """Return what refeeds of cultures that do not differ would show.

    Parameters
    ----------
    spread : Spread
        How they scatter.
    design : Design
        Who is fed and read.
    shelves : int
        How many shelves are invented.
    rng : numpy.random.Generator
        Where chance comes from.

    Returns
    -------
    numpy.ndarray, shape (shelves, cultures, rounds, refeeds)
        On the working scale. Rounds follow each other as an AR(1) series.
    """
    cultures, rounds, refeeds, shared, successive = design
    carry_over = spread.carry_over if successive else 0.0
    of_round = rng.normal(size=(shelves, cultures, rounds, 1))
    for one in range(1, rounds):
        new = np.sqrt(1.0 - carry_over**2) * of_round[:, :, one]
        of_round[:, :, one] = carry_over * of_round[:, :, one - 1] + new
    of_day = rng.normal(size=(shelves, 1 if shared else cultures, rounds, refeeds))
    single = rng.normal(size=(shelves, cultures, rounds, refeeds))
    return spread.round * of_round + spread.day * of_day + spread.single * single


def _chances(found: Differences, cultures: int, true: float, margin: float) -> tuple[float, float, float]:
    """Return the chance to see a true difference, to show sameness where there is none, and to see what is not there.

    What differs adds to an estimate and to nothing else, and chance has no sign: so every pair of every shelf that does
    not differ says twice what it would have been with the difference.
    """
    error, se, freedom = found
    needed = se * _critical(cultures, freedom)
    seen = 0.5 * ((np.abs(true + error) > needed).mean() + (np.abs(true - error) > needed).mean())
    same = (margin - np.abs(error)) / se > stats.t.isf(CHANCE, freedom)
    beyond = np.abs(error) > needed
    if cultures > 2:  # a family is as wrong as its worst pair
        first, second = np.triu_indices(round(0.5 + np.sqrt(0.25 + 2.0 * beyond.shape[1])), 1)
        beyond = beyond[:, (first < cultures) & (second < cultures)].any(axis=1)
    return float(seen), float(same.mean()), float(beyond.mean())


def _critical(cultures: int, freedom: Array) -> Array:
    """Return the size of t from which a difference counts, all pairs taken into account."""
    if cultures == 2:
        return np.asarray(stats.t.isf(CHANCE / 2.0, freedom))
    return np.exp(np.interp(1.0 / freedom, 1.0 / _FREEDOMS[::-1], np.log(_ranges(cultures)[::-1])))


@lru_cache(maxsize=8)
def _ranges(cultures: int) -> Array:
    """Return the critical size of t by Tukey's range at `_FREEDOMS`, by halving."""
    low, high = np.ones(len(_FREEDOMS)), np.full(len(_FREEDOMS), 200.0)
    for _ in range(30):
        middle = np.sqrt(low * high)
        beyond = [
            studentised_range(np.array([np.sqrt(2.0) * at]), cultures, freedom)[0]
            for at, freedom in zip(middle, _FREEDOMS, strict=True)
        ]
        rare = np.array(beyond) < CHANCE
        low, high = np.where(rare, low, middle), np.where(rare, middle, high)
    return np.sqrt(low * high)


def _with_ends(name: str, share: float, of: int) -> dict[str, float]:
    """Return a chance in % with the ends of its 95 % interval by simulation (Wilson 1927)."""
    low, high = proportion_confint(share * of, of, method="wilson")
    return {f"{name}_pct": 100.0 * share, f"{name}_low_pct": 100.0 * low, f"{name}_high_pct": 100.0 * high}


def fewest_refeeds(chances: pd.DataFrame, certainty: float = 80.0) -> pd.DataFrame:
    """Return the fewest rounds and refeeds that reach a certainty.

    Parameters
    ----------
    chances : pandas.DataFrame
        From `chance_to_see`.
    certainty : float
        The chance wished for [%].

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["fewest_refeeds"]``: a row for each question (a difference seen; sameness shown),
        kind of days, and refeeds per round. Between the rounds that were tried the chance is taken for a straight line;
        rounds are missing where none of those tried is enough.
    """
    rows = []
    for (days, steps), plan in chances.groupby(["days", "refeeds_per_round"], sort=False):
        for question, name in (("different", "seen_pct"), ("the same", "same_pct")):
            rounds = _reached(plan["rounds"].to_numpy(float), plan[name].to_numpy(float), certainty)
            first = plan.iloc[0]
            rows.append(
                {
                    "trait": first["trait"],
                    "question": question,
                    "within": first["difference" if question == "different" else "margin"],
                    "unit": first["unit"],
                    "days": days,
                    "refeeds_per_round": steps,
                    "rounds": rounds,
                    "refeeds": rounds * steps,
                    "certainty_pct": certainty,
                    "best_pct": plan[name].max(),
                    "most_rounds_tried": plan["rounds"].max(),
                }
            )
    made = RESULTS["fewest_refeeds"]
    table = pd.DataFrame(rows, columns=made.names)
    return table.sort_values("question", kind="stable", ignore_index=True).astype(made.dtypes())


def _reached(rounds: Array, chance: Array, wished: float) -> float:
    """Return the first whole number of rounds from which on the chance stays; NaN where it does not."""
    order = np.argsort(rounds)
    rounds, chance = rounds[order], chance[order]
    short = np.flatnonzero(chance < wished)
    if not len(short):
        return float(rounds[0])
    last = short[-1]
    if last == len(rounds) - 1:
        return float("nan")
    share = (wished - chance[last]) / (chance[last + 1] - chance[last])
    return float(np.ceil(rounds[last] + share * (rounds[last + 1] - rounds[last]) - 1e-9))
