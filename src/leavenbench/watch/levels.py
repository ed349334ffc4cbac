"""One level of vigour per round: what the steps of a round say together."""

from __future__ import annotations

import numpy as np
import pandas as pd

#: Vigour under this [%] is taken as this when a logarithm is needed.
LEAST_PCT = 5.0
#: No refeed is known better than this (log scale): handling alone varies so much (common practice, no source).
_LEAST_SE = 0.05
#: A step further than so many standard errors from the middle of its round counts less (Huber 1964, Ann Math Stat
#: 35:73-101, doi 10.1214/aoms/1177703732).
_BOUND = 1.345
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
        One row per round with sound readings: culture, history, round, fed_at (of its last step), level (log of
        vigour over 100 %, shared causes out), level_se and refeeds.
    """
    sound = vigour.assign(history=history)[vigour["vigour_pct_own"].notna()]
    own = sound["vigour_pct_own"].clip(lower=LEAST_PCT)
    steps = sound[["culture", "history", "round", "fed_at"]].assign(
        level=np.log(own / 100.0), se=np.maximum(sound["vigour_pct_own_se"] / own, _LEAST_SE), refeeds=1
    )
    away = (steps["level"] - steps.groupby(_ROUND)["level"].transform("median")).abs() / steps["se"]
    steps["weight"] = np.minimum(1.0, _BOUND / away.clip(lower=1e-9)) / steps["se"] ** 2
    steps["weighted"] = steps["weight"] * steps["level"]
    rounds = steps.groupby(_ROUND, as_index=False).agg(
        fed_at=("fed_at", "max"), weight=("weight", "sum"), weighted=("weighted", "sum"), refeeds=("refeeds", "sum")
    )
    rounds["level"] = rounds["weighted"] / rounds["weight"]
    rounds["level_se"] = 1.0 / np.sqrt(rounds["weight"])
    rounds = rounds.sort_values(["culture", "history", "fed_at"], kind="stable", ignore_index=True)
    return rounds.drop(columns=["weight", "weighted"])
