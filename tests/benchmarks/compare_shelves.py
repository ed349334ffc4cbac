"""Invented observations of cultures that do not differ, for the benchmark of comparisons; never a check value.

Each culture holds some of the rounds of a shelf, each of two or three refeeds; half of the cultures are fed on the same
days. Log trait = step + the culture's deviation in that round + the day's (sd 5 %) + the refeed's (8, 6 and 5 % at
steps 1, 2 and 3) + the error of reading (sd 2 to 8 %, stated). ``steady``: deviations of rounds are independent, sd 8
%. ``wandering``, as the simulated shelf has them: an AR(1) series with coefficient .3, sd 5 to 12 % by culture.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy import stats

_DAY, _REFEED, _STEP = 0.05, np.array([0.08, 0.06, 0.05]), np.array([-0.2, 0.0, 0.0])


class Plan(NamedTuple):
    """Cultures, how many rounds each holds of how many, whether they wander, and on how many flours they are kept."""

    cultures: int
    least_rounds: int = 3
    rounds: int = 8
    wandering: bool = False
    flours: int = 0


def invented(plan: Plan, rng: np.random.Generator) -> pd.DataFrame:
    """Return observations; where cultures are kept on flours, each has a level of its own besides, sd 12 %."""
    held = rng.integers(plan.least_rounds, plan.rounds + 1, plan.cultures)
    culture = np.repeat(np.arange(plan.cultures), held)
    number = np.concatenate([np.sort(rng.choice(plan.rounds, of, replace=False)) for of in held])
    steps = rng.integers(2, 4, len(culture))
    culture, number = np.repeat(culture, steps), np.repeat(number, steps)
    step = np.concatenate([np.arange(of) for of in steps])
    day = (number * 2 + culture % 2) * 3 + step
    se = rng.uniform(0.02, 0.08, len(culture))
    value = _STEP[step] + _deviations(plan, rng)[culture, number] + rng.normal(0.0, _DAY, day.max() + 1)[day]
    value += _REFEED[step] * rng.normal(size=len(culture)) + se * rng.normal(size=len(culture))
    flour = culture % max(plan.flours, 1)
    if plan.flours:
        value += rng.normal(0.0, 0.12, plan.cultures)[culture]
    return pd.DataFrame(
        {
            "refeed": np.arange(len(culture)),
            "culture": pd.Series([f"culture {of:03}" for of in culture], dtype="str"),
            "flour": pd.Series([f"flour {of}" for of in flour], dtype="str"),
            "round": number,
            "step": step + 1,
            "day": day,
            "vessel": None,
            "value": value,
            "se": se,
            "trait": "rise max_rate",
            "unit": "%/h",
            "scale": "log",
        }
    )


def _deviations(plan: Plan, rng: np.random.Generator) -> np.ndarray:
    """Return the deviation of each culture in each round of the shelf."""
    drawn = rng.normal(size=(plan.cultures, plan.rounds))
    if not plan.wandering:
        return 0.08 * drawn
    for one in range(1, plan.rounds):
        drawn[:, one] = 0.3 * drawn[:, one - 1] + np.sqrt(1.0 - 0.3**2) * drawn[:, one]
    return rng.uniform(0.05, 0.12, plan.cultures)[:, None] * drawn


def ignoring_repeats(observed: pd.DataFrame, by: str) -> np.ndarray:
    """Return p values of all pairs by Welch's test, each refeed counted as a witness of its own."""
    of = observed.groupby(by, sort=True)["value"]
    mean, error, many = of.mean().to_numpy(), (of.var() / of.size()).to_numpy(), of.size().to_numpy()
    first, second = np.triu_indices(len(mean), 1)
    both = error[first] + error[second]
    freedom = both**2 / (error[first] ** 2 / (many[first] - 1) + error[second] ** 2 / (many[second] - 1))
    return 2.0 * stats.t.sf(np.abs(mean[first] - mean[second]) / np.sqrt(both), freedom)
