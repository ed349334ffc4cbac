"""When a jar passes, how many steps a round takes, and when the jar goes back to the cold."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from ..bakehouse.calendar import MOST_STEPS, USUAL_STEPS
from .looks import DAY_ENDS_H

#: Jars that passed by the evening are cooled then, at this share; all others next morning (assumed).
_EVENING_SHARE = 0.5
_EVENING, _NEXT_MORNING = pd.Timedelta(hours=10, minutes=30), pd.Timedelta(hours=23, minutes=45)


def hours_to_pass(steps: pd.DataFrame, readings: pd.DataFrame) -> pd.Series:
    """Return the hour at which each step was first seen to have passed; missing where it was not.

    Parameters
    ----------
    steps : pandas.DataFrame
        With start_height, pass_rise, pass_ph and pass_within of the culture.
    readings : pandas.DataFrame
        With at (position in `steps`), elapsed_h, height and ph.

    Returns
    -------
    pandas.Series
        Hours, the index of `steps` (0 to n - 1).
    """
    asked = steps.iloc[readings["at"]].reset_index(drop=True)
    seen = readings.reset_index(drop=True)
    rise = 100.0 * (seen["height"] / asked["start_height"] - 1.0)
    passed = (rise >= asked["pass_rise"]) | (seen["ph"] <= asked["pass_ph"])
    passed &= seen["elapsed_h"] <= asked["pass_within"]
    return seen.loc[passed].groupby("at")["elapsed_h"].min().reindex(range(len(steps)))


def end_rounds(
    steps: pd.DataFrame, pass_h: pd.Series, store_of: Mapping[str, str], rng: np.random.Generator
) -> pd.DataFrame:
    """Return the steps taken: at least three, then until the jar passes or the keeper gives up.

    Parameters
    ----------
    steps : pandas.DataFrame
        Every step a round could take, with culture, round, purpose, step and fed_at.
    pass_h : pandas.Series
        As from `hours_to_pass`.
    store_of : mapping of str to str
        Where each culture's jar goes after its last step.
    rng : numpy.random.Generator
        Where chance comes from.

    Returns
    -------
    pandas.DataFrame
        Steps taken, with the index of `steps`, passed ("yes", "no" or missing before the third step), and cooled_at
        and cold_store (missing but at the last step).
    """
    steps, at_last = judge(steps, pass_h.notna())
    evening = (pass_h.loc[steps.index] <= DAY_ENDS_H) & (rng.random(len(steps)) < _EVENING_SHARE)
    cooled = steps["fed_at"] + pd.Series(np.where(evening, _EVENING, _NEXT_MORNING), index=steps.index)
    return steps.assign(
        cooled_at=cooled.where(at_last),
        cold_store=steps["culture"].map(store_of).where(at_last),
    )


def judge(steps: pd.DataFrame, would_pass: pd.Series) -> tuple[pd.DataFrame, pd.Series]:
    """Return the steps taken, with the keeper's judgement, and which of them are the last of their round.

    Parameters
    ----------
    steps : pandas.DataFrame
        Every step a round could take, with culture, round, purpose and step.
    would_pass : pandas.Series of bool
        Whether the jar of each step does what is asked of it; before the third step nobody asks.

    Returns
    -------
    steps : pandas.DataFrame
        Steps taken, with the index of `steps`, and passed ("yes", "no" or missing before the third step).
    at_last : pandas.Series of bool
        Which of them end their round: the jar passed, or the keeper gave up.
    """
    asked = steps["step"] >= USUAL_STEPS
    passes = asked & would_pass
    last = steps["step"].where(passes).groupby([steps["culture"], steps["round"], steps["purpose"]]).transform("min")
    last = last.fillna(MOST_STEPS)
    passed = pd.Series(np.where(passes, "yes", "no"), index=steps.index, dtype="str").where(asked)
    taken = steps["step"] <= last
    return steps.assign(passed=passed).loc[taken], (steps["step"] == last).loc[taken]
