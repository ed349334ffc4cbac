"""Shelves with a known truth, as the early warning sees them: a level per culture and round, and what it says.

The setting is that of a study by simulation: 150 cultures, five years, six rounds a year, half the shelf each month,
three refeeds a round. One tenth of the cultures lose 3, 5, 8 or 12 % a round from a random onset on, not before the
fourth round; 2 % each step down by 15 % and by 30 %, and 2 % dip by 25 % and heal. The chances are those of
`simulate.noise.Noise`.

What many shelves say stands in one long table: `Watched`.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import pandas as pd
from vigour_values import Values, values_of

from leavenbench.records.settings import Settings
from leavenbench.simulate import Cast, Noise, Simulated, Story, simulate_values
from leavenbench.simulate.bakehouse.calendar import ROUND_DAYS, ROUNDS_A_YEAR, USUAL_STEPS
from leavenbench.simulate.cast import nameless_cast
from leavenbench.vigour.index import _extra_steps, _first_rounds_mean
from leavenbench.vigour.shared import what_is_shared
from leavenbench.watch.alert import STEP_SEEN, Evidence
from leavenbench.watch.calibration.conditions import Conditions, conditions_of
from leavenbench.watch.calibration.threshold import threshold_for
from leavenbench.watch.levels import round_levels
from leavenbench.watch.outlook import outlook
from leavenbench.watch.scatter import Scatter
from leavenbench.watch.series import Series
from leavenbench.watch.settled import settled_level, surely_low

SEED = 20260901
#: Shelves of the study: so many that false alerts at the dial at 1 are told within a tenth.
SHELVES = 60
CULTURES, YEARS = 150, 5.0
ROUNDS = round(YEARS * ROUNDS_A_YEAR)
PACES = (3.0, 5.0, 8.0, 12.0)
DIALS = (1.0, 2.0, 5.0)
SETTINGS = Settings(round_days=ROUND_DAYS, steps_per_round=USUAL_STEPS)
NOISE = Noise()
#: How often each story is told, what a step or dip loses [%], and the round before which nothing begins.
_SHARES = {"steady": 0.84, "ramp": 0.10, "step 15": 0.02, "step 30": 0.02, "dip 25": 0.02}
_FIRST_ONSET, _HEALS_WITHIN = 4, 4
#: A story that begins before this round is early.
EARLY = 6
_VALUE_SD = 0.04
#: Changes values before anybody sees them, and marks those that it struck.
Strike = Callable[[Values, Simulated, np.random.Generator], Values]


def cast_of(seed: int, cultures: int = CULTURES, early: float = 0.0) -> Cast:
    """Return the study's cast; some of the stories, if so wished, begin as early as they may."""
    rng = np.random.default_rng([SEED, seed])
    cast = nameless_cast(cultures, ROUNDS, rng)
    told = rng.choice(list(_SHARES), cultures, p=list(_SHARES.values()))
    begin, paces = rng.integers(_FIRST_ONSET, ROUNDS + 1, cultures), rng.choice(PACES, cultures)
    begin = np.where(rng.random(cultures) < early, rng.integers(_FIRST_ONSET, EARLY, cultures), begin)
    stories = {}
    for name, story, onset, pace in zip(cast.names, told, begin, paces, strict=True):
        kind, _, percent = str(story).partition(" ")
        if kind != "steady":
            stories[name] = Story(kind, int(onset), float(percent or pace), within=_HEALS_WITHIN)
    return dataclasses.replace(cast, stories=stories)


def simulated(seed: int, cast: Cast, noise: Noise = NOISE) -> Simulated:
    """Return the vigour values of a shelf."""
    return simulate_values(SEED + seed, cast=cast, years=YEARS, noise=noise, value_sd=_VALUE_SD)


def levels_of(shelf: Values) -> pd.DataFrame:
    """Return the level of each round, as the package does."""
    return round_levels(vigour_of_values(shelf), shelf.values["history"])


def vigour_of_values(shelf: Values) -> pd.DataFrame:
    """Take out what the shelf shares, and return what the watch needs of a vigour table."""
    values, shared = shelf.values, what_is_shared(shelf.values, shelf.lots)
    own = values["log_vigour"] - shared.covariates - shared.shared
    own_pct = 100.0 * np.exp(own - _first_rounds_mean(values, own))
    return values[["culture", "round", "fed_at"]].assign(
        vigour_pct_own=own_pct,
        vigour_pct_own_se=own_pct * np.hypot(values["log_vigour_se"], shared.shared_se),
        extra_steps=_extra_steps(values, SETTINGS.steps_per_round),
    )


def told_truth(shelf: Values, noise: Noise = NOISE) -> pd.DataFrame:
    """Return the level of each round to one who knows what is shared and how refeeds scatter: told, told_variance."""
    true, step = shelf.true, shelf.values["step"].to_numpy()
    own = shelf.values["log_vigour"] - true[["log_day", "log_lot", "log_cold", "log_seed"]].sum(axis=1)
    weight = 1.0 / (np.array(noise.refeed_sd)[np.minimum(step, 3) - 1] ** 2 + _VALUE_SD**2)
    of = shelf.values[["culture", "round"]].assign(weight=weight, weighed=weight * own)
    summed = of.groupby(["culture", "round"], as_index=False).sum()
    told = {"told": summed["weighed"] / summed["weight"], "told_variance": 1.0 / summed["weight"]}
    return summed[["culture", "round"]].assign(**told)


def with_stories(levels: pd.DataFrame, cultures: pd.DataFrame) -> pd.DataFrame:
    """Add to each round its culture's story, onset, percent, sd and half (the first round at half strength or less)."""
    story = cultures[["culture", "story", "percent", "round_sd"]].assign(
        onset=cultures["onset_round"].astype(float).fillna(np.inf)
    )
    story["half"] = (story["onset"] + rounds_to_half(story["percent"])).where(story["story"] == "ramp")
    return levels.merge(story, on="culture", how="left")


def rounds_to_half(percent: pd.Series | float) -> pd.Series | float:
    """Return the rounds from the onset, which has the first loss, to the first at half strength or less."""
    return np.ceil(np.log(2.0) / -np.log1p(-percent / 100.0)) - 1.0


def study_shelf(
    seed: int, *, cultures: int = CULTURES, noise: Noise = NOISE, strike: Strike | None = None, early: float = 0.0
) -> pd.DataFrame:
    """Return the levels of a shelf with the truth beside them; struck by something, if so wished.

    What is struck stands in a column: whether any refeed of the round was.
    """
    made = simulated(seed, cast_of(seed, cultures, early), noise)
    values = values_of(made)
    if strike is not None:
        values = strike(values, made, np.random.default_rng([SEED, seed, cultures]))
    levels = levels_of(values).merge(told_truth(values, noise), on=["culture", "round"], how="left")
    if "struck" in values.values:
        struck = values.values.groupby(["culture", "round"], as_index=False)["struck"].any()
        levels = levels.merge(struck, on=["culture", "round"], how="left")
    return with_stories(levels, made.truth["cultures"])


@lru_cache(maxsize=1)
def study(shelves: int) -> Watched:
    """Return so many shelves of the study; kept, since several parts look at them."""
    return watched(study_shelf(seed) for seed in range(shelves))


class Watched(NamedTuple):
    """What many shelves say, one after another; arrays have shape (n,), row by row those of `levels`.

    Attributes
    ----------
    levels : pandas.DataFrame
        Levels with the truth beside them, and the number of their shelf.
    series, scatter, evidence
        As the package has them.
    threshold : dict of float to numpy.ndarray
        Log odds that are an alert, by the dial.
    looks_low : numpy.ndarray of bool
        Whether the culture stands at low when not in alert.
    """

    levels: pd.DataFrame
    series: Series
    scatter: Scatter
    evidence: Evidence
    threshold: dict[float, np.ndarray]
    looks_low: np.ndarray

    @property
    def healthy(self) -> np.ndarray:
        """Rounds of steady cultures, and of others before their onset."""
        return (self.levels["round"] < self.levels["onset"]).to_numpy()

    @property
    def culture_years(self) -> float:
        """Years of healthy cultures."""
        return float(self.healthy.sum()) / ROUNDS_A_YEAR


def watched(shelves: Iterable[pd.DataFrame]) -> Watched:
    """Look at shelf after shelf with the package's own evidence and thresholds."""
    return joined([_looked_at(levels.assign(shelf=number)) for number, levels in enumerate(shelves)])


def _looked_at(levels: pd.DataFrame) -> Watched:
    passing_noted = np.ones(len(levels), bool)
    seen = outlook(levels, SETTINGS, passing_noted)
    extra = levels["extra_steps"].to_numpy(dtype=float, na_value=np.nan)
    conditions = conditions_of(seen.series, seen.scatter, extra)
    return Watched(
        levels,
        seen.series,
        seen.scatter,
        seen.evidence,
        thresholds(conditions, seen.series.nth),
        (seen.evidence.step >= STEP_SEEN) | surely_low(*settled_level(seen.series, seen.scatter)),
    )


def thresholds(conditions: Conditions, nth: np.ndarray) -> dict[float, np.ndarray]:
    """Return the package's own thresholds by the dial."""
    return {dial: threshold_for(conditions, dial, ROUND_DAYS).of(nth) for dial in DIALS}


def joined(shelves: Sequence[Watched]) -> Watched:
    """Put shelves one after another."""
    begins = np.cumsum([0, *(len(one.levels) for one in shelves[:-1])])
    firsts = [one.series.first + begin for one, begin in zip(shelves, begins, strict=True)]

    def whole(parts: Iterable[tuple[np.ndarray, ...]]) -> list[np.ndarray]:
        return [np.concatenate(of) for of in zip(*parts, strict=True)]

    series = Series(*whole(one.series._replace(first=first) for one, first in zip(shelves, firsts, strict=True)))
    return Watched(
        pd.concat([one.levels for one in shelves], ignore_index=True),
        series,
        Scatter(*whole(one.scatter for one in shelves)),
        Evidence(*whole(one.evidence for one in shelves))._replace(first=series.first),
        {dial: np.concatenate([one.threshold[dial] for one in shelves]) for dial in DIALS},
        np.concatenate([one.looks_low for one in shelves]),
    )
