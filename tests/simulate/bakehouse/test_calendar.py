"""Rounds by group about every sixty days, steps on consecutive days."""

from datetime import date

import numpy as np
import pandas as pd
import pytest

from leavenbench.simulate.bakehouse.calendar import MOST_STEPS, USUAL_STEPS, lay_out_steps, plan_rounds
from leavenbench.simulate.bakehouse.mishaps import MissedRound

SHELF = pd.DataFrame({"culture": [f"C{n}" for n in range(40)], "group": ["A", "B"] * 20})
BEGIN = date(2022, 1, 3)


def plan(missing=0.0, rounds=18, **more):
    return plan_rounds(SHELF, rounds, BEGIN, missing, np.random.default_rng(4), **more)


def test_rounds_begin_on_mondays_about_two_months_apart():
    rounds = plan()
    assert (rounds["begins_on"].dt.day_of_week == 0).all()
    assert rounds["begins_on"].min() >= pd.Timestamp(BEGIN)
    apart = rounds.groupby("culture")["begins_on"].diff().dt.days.dropna()
    # 365.25 / 6 = 60.9 days, drawn up to 6 days late and moved to the next Monday.
    assert apart.between(61 - 13, 61 + 13).all()
    assert apart.mean() == pytest.approx(60.875, abs=1.0)
    assert rounds["days_cold"].iloc[1:18].tolist() == (apart.iloc[:17] - USUAL_STEPS).tolist()


def test_half_of_the_shelf_each_month():
    begins = plan().groupby(["group", "round"])["begins_on"].unique()
    assert begins.map(len).eq(1).all()
    first, second = begins["A"].map(lambda day: day[0]), begins["B"].map(lambda day: day[0])
    assert ((second - first).dt.days.between(30 - 13, 30 + 14)).all()


def test_rounds_are_missed_at_the_share_asked_for():
    rounds = plan(missing=0.03, rounds=120)
    share, n = 1.0 - rounds["held"].mean(), len(rounds)
    assert share == pytest.approx(0.03, abs=4.0 * np.sqrt(0.03 * 0.97 / n))  # binomial, 4 standard errors
    after_a_gap = rounds["held"] & ~rounds.groupby("culture")["held"].shift(fill_value=True)
    assert rounds.loc[after_a_gap & (rounds["round"] > 2), "days_cold"].min() > 90


def test_a_group_goes_without_a_round():
    rounds = plan(missed=[MissedRound("B", 7)])
    left = rounds.loc[~rounds["held"]]
    assert len(left) == 20
    assert set(left["group"]) == {"B"}
    assert set(left["round"]) == {7}


def test_a_rescue_comes_two_weeks_after_its_round_when_the_others_are_done():
    rounds = plan(rescued_after={"C3": 5})
    (rescue,) = rounds.loc[rounds["purpose"] == "rescue"].to_dict("records")
    before, after = rounds.loc[(rounds["culture"] == "C3") & rounds["round"].isin([5, 6])].to_dict("records")[:2]
    assert rescue["culture"] == "C3"
    assert (rescue["begins_on"] - before["begins_on"]).days == 14
    assert rescue["days_cold"] == 14 - USUAL_STEPS
    assert after["days_cold"] == (after["begins_on"] - rescue["begins_on"]).days - USUAL_STEPS
    steps = lay_out_steps(rounds, np.random.default_rng(2))
    by_purpose = steps.groupby("purpose")["fed_at"].agg(lambda fed: fed.dt.hour.min())
    assert by_purpose["rescue"] > by_purpose["round"]


def test_steps_follow_a_day_apart_in_working_hours_and_never_over_a_sunday():
    rounds = plan()
    steps = lay_out_steps(rounds, np.random.default_rng(2))
    assert len(steps) == len(rounds) * MOST_STEPS
    apart = steps.groupby(["culture", "round"])["fed_at"].diff().dropna() / pd.Timedelta(hours=1)
    assert apart.between(23.9, 24.1).all()
    assert steps["fed_at"].dt.hour.between(7, 9).all()
    assert steps["fed_at"].dt.day_of_week.between(0, 4).all()  # Monday to Friday: read on Saturday at the latest
    assert steps.groupby(["day", "bench_order"]).size().eq(1).all()
