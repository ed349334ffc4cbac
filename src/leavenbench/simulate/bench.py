"""What the keeper does at the bench: what is noted at feeding, when a jar passes, when it goes to the cold."""

from __future__ import annotations

import numpy as np
import pandas as pd

from .calendar import MOST_STEPS, USUAL_DAYS_COLD, USUAL_STEPS
from .looks import DAY_ENDS_H
from .noise import Noise

#: Steps to which the keepers read the pH: the first to a hundredth, the second to a twentieth.
_PH_STEPS = (0.01, 0.05)
#: Jars that passed by the evening are cooled then, at this share; all others next morning (assumed).
_EVENING_SHARE = 0.5
_EVENING, _NEXT_MORNING = pd.Timedelta(hours=10, minutes=30), pd.Timedelta(hours=23, minutes=45)


def put_at_bench(
    steps: pd.DataFrame, people: tuple[str, str], room: str, noise: Noise, rng: np.random.Generator
) -> pd.DataFrame:
    """Return the steps with what is noted at feeding: the keeper of the day, the thermometer, the tape, the hooch.

    Parameters
    ----------
    steps : pandas.DataFrame
        With day, step, days_cold, room_temperature_degC and true_start_mm.
    people : tuple of str
        The two keepers.
    room : str
        Where they work.
    noise : Noise
        Sizes of chance.
    rng : numpy.random.Generator
        Where it comes from.

    Returns
    -------
    pandas.DataFrame
        The columns of `steps` with room, person, ph_step (to which that keeper reads the pH), room_temperature [degC,
        to the half], start_height [mm] and hooch [mm, on a jar from the cold].
    """
    days = pd.DataFrame({"day": np.sort(steps["day"].unique())})
    keeper = rng.integers(0, 2, len(days))
    days["person"] = np.array(people)[keeper]
    days["ph_step"] = np.array(_PH_STEPS)[keeper]
    days["off_degC"] = rng.normal(0.0, noise.thermometer_sd_degC, len(days))
    steps = steps.merge(days, on="day", how="left", validate="many_to_one")
    hooch = np.maximum(rng.normal(4.0 + 0.06 * (steps["days_cold"] - USUAL_DAYS_COLD), 2.0), 0.0).round(0)
    tape = steps["true_start_mm"] + rng.normal(0.0, noise.ruler_sd_mm, len(steps))
    return steps.assign(
        room=room,
        room_temperature=(2.0 * (steps["room_temperature_degC"] + steps["off_degC"])).round(0) / 2.0,
        start_height=tape.round(0),
        hooch=np.where(steps["step"] == 1, hooch, np.nan),
    ).drop(columns="off_degC")


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


def end_rounds(steps: pd.DataFrame, pass_h: pd.Series, cold_store: str, rng: np.random.Generator) -> pd.DataFrame:
    """Return the steps taken: at least three, then until the jar passes or the keeper gives up.

    Parameters
    ----------
    steps : pandas.DataFrame
        Every step a round could take, with culture, round, step and fed_at.
    pass_h : pandas.Series
        As from `hours_to_pass`.
    cold_store : str
        Where a jar goes after its last step.
    rng : numpy.random.Generator
        Where chance comes from.

    Returns
    -------
    pandas.DataFrame
        Steps taken, with the index of `steps`, passed ("yes", "no" or missing before the third step), and cooled_at
        and cold_store (missing but at the last step).
    """
    judged = steps["step"] >= USUAL_STEPS
    passes = judged & pass_h.notna()
    last = steps["step"].where(passes).groupby([steps["culture"], steps["round"]]).transform("min")
    last = last.fillna(MOST_STEPS)
    evening = (pass_h <= DAY_ENDS_H) & (rng.random(len(steps)) < _EVENING_SHARE)
    cooled = steps["fed_at"] + pd.Series(np.where(evening, _EVENING, _NEXT_MORNING), index=steps.index)
    at_last = steps["step"] == last
    return steps.assign(
        passed=_words(np.where(passes, "yes", "no"), judged),
        cooled_at=cooled.where(at_last),
        cold_store=_words(cold_store, at_last),
    ).loc[steps["step"] <= last]


def _words(words: np.ndarray | str, where: pd.Series) -> pd.Series:
    """Return words where they are due, and missing ones elsewhere."""
    return pd.Series(words, index=where.index, dtype="str").where(where)
