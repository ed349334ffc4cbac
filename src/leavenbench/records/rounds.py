"""Rounds and steps: refeeds of a culture that follow each other closely are the steps of one round."""

from __future__ import annotations

import numpy as np
import pandas as pd

#: What holds until the records tell (common practice, no source).
ROUND_DAYS, STEPS_PER_ROUND = 60.0, 3.0
#: Refeeds that are steps of a round; tests and dispatches run beside.
STEPPING = ("round", "rescue")


def number_rounds(refeeds: pd.DataFrame, round_gap_h: float) -> pd.DataFrame:
    """Fill in the round and step of every refeed where they were not given.

    Parameters
    ----------
    refeeds : pandas.DataFrame
        With culture, fed_at, purpose, round and step.
    round_gap_h : float
        Refeeds of a culture closer than this [h] form one round.

    Returns
    -------
    pandas.DataFrame
        The same rows in the same order, with round and step filled for refeeds of purpose round and rescue.
    """
    stepping = refeeds[refeeds["purpose"].isin(STEPPING)].sort_values(["culture", "fed_at"], kind="stable")
    gap_h = stepping.groupby("culture")["fed_at"].diff() / pd.Timedelta(hours=1)
    series = (~(gap_h < round_gap_h)).cumsum()  # one number per run of close refeeds, over all cultures
    given = stepping["round"].groupby(series).transform("first")
    rounds = stepping["round"].fillna(given)
    counted = _counted_on(rounds, series, stepping["culture"])
    # A round that was given may hold longer gaps; what was not given is a round as long as its run.
    within = [stepping["culture"], rounds, series.where(rounds.isna(), 0)]
    step = stepping["step"].fillna((stepping.groupby(within, dropna=False).cumcount() + 1).astype("Int64"))
    return refeeds.assign(
        round=refeeds["round"].fillna(counted.reindex(refeeds.index)),
        step=refeeds["step"].fillna(step.reindex(refeeds.index)),
    )


def _counted_on(rounds: pd.Series, series: pd.Series, culture: pd.Series) -> pd.Series:
    """Return round numbers, counted onward from the last run that has one."""
    runs = pd.DataFrame({"culture": culture, "run": series, "round": rounds}).drop_duplicates("run")
    place = runs.groupby("culture").cumcount()
    anchored = (runs["round"] - place).groupby(runs["culture"]).ffill()
    anchored = anchored.groupby(runs["culture"]).bfill().fillna(1)
    numbers = runs["round"].fillna((place + anchored).astype("Int64"))
    return series.map(dict(zip(runs["run"], numbers, strict=True))).astype("Int64")


def usual_round_days(refeeds: pd.DataFrame) -> float:
    """Return the median number of days [d] between a culture's rounds; 60 until there are two rounds."""
    begun = _rounds(refeeds)["fed_at"].min().sort_index()
    gaps = begun.groupby("culture").diff().dropna() / pd.Timedelta(days=1)
    gaps = gaps[gaps > 0]
    return float(np.round(gaps.median(), 1)) if len(gaps) else ROUND_DAYS


def usual_steps(refeeds: pd.DataFrame) -> float:
    """Return the median number of steps in a round; 3 until there are two rounds."""
    steps = _rounds(refeeds).size()
    several = steps.groupby("culture").transform("size") > 1
    return float(steps[several].median()) if several.any() else STEPS_PER_ROUND


def _rounds(refeeds: pd.DataFrame):  # type: ignore[no-untyped-def]
    stepping = refeeds[refeeds["purpose"].isin(STEPPING)]
    return stepping.groupby(["culture", "round"])
