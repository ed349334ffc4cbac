"""One level of vigour per round: what the steps of a round say together."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..vigour.shared import scatter_within

#: Vigour under this [%] is taken as this when a logarithm is needed.
LEAST_PCT = 5.0
#: Single refeeds scatter about their round by so much at least, and by so much where a shelf cannot tell (log scale;
#: common practice, no source).
_LEAST_SCATTER, _USUAL_SCATTER = 0.03, 0.06
#: From so many refeeds on a shelf can tell.
_ENOUGH = 30
#: Degrees of freedom of the heavy tails of single refeeds: one further off its round counts less (Lange, Little &
#: Taylor 1989, J Am Stat Assoc 84:881-896, doi 10.1080/01621459.1989.10478852).
_TAILS, _REWEIGHTED = 5.0, 3
_ROUND = ["culture", "history", "round"]


def round_levels(vigour: pd.DataFrame, history: pd.Series) -> pd.DataFrame:
    """Return the level of each round of each culture.

    Parameters
    ----------
    vigour : pandas.DataFrame
        The vigour table.
    history : pandas.Series of int
        The history that each refeed belongs to, aligned with `vigour`.

    Returns
    -------
    pandas.DataFrame
        One row per round with sound readings, by culture, history and time: culture, history, round, fed_at (of its
        last step), level (log of vigour over 100 %, shared causes out), level_se, refeeds, and extra_steps (missing
        where they are not told).
    """
    sound = vigour.assign(history=history)[vigour["vigour_pct_own"].notna() & vigour["round"].notna()]
    own = sound["vigour_pct_own"].clip(lower=LEAST_PCT)
    steps = sound[[*_ROUND, "fed_at", "extra_steps"]].assign(level=np.log(own / 100.0), refeeds=1)
    of_round, number = steps.groupby(_ROUND, sort=False).ngroup().to_numpy(), np.arange(len(steps))
    error = (sound["vigour_pct_own_se"] / own).fillna(_USUAL_SCATTER).to_numpy()
    level, weight = _weighed(steps["level"].to_numpy(), error, of_round)
    rounds = steps.assign(number=number).groupby(_ROUND, sort=False, as_index=False)
    rounds = rounds.agg({"fed_at": "max", "refeeds": "sum", "extra_steps": "max"})
    rounds.insert(4, "level", level)
    rounds.insert(5, "level_se", 1.0 / np.sqrt(weight))
    return rounds.sort_values(["culture", "history", "fed_at"], kind="stable", ignore_index=True)


def _weighed(value: np.ndarray, se: np.ndarray, of_round: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the weighted mean of each round and its weight; single refeeds have heavy tails."""
    if not len(value):
        return np.empty(0), np.empty(0)
    several = (np.bincount(of_round)[of_round] > 1).sum()
    scatter = scatter_within(value, se, of_round, _LEAST_SCATTER) if several >= _ENOUGH else _USUAL_SCATTER
    variance = se**2 + scatter**2
    middle = pd.Series(value).groupby(of_round).transform("median").to_numpy()
    for _ in range(_REWEIGHTED):
        weight = (_TAILS + 1.0) / (_TAILS + (value - middle) ** 2 / variance) / variance
        whole = np.bincount(of_round, weight)
        mean = np.bincount(of_round, weight * value) / whole
        middle = mean[of_round]
    return mean, whole
