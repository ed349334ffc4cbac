"""How a trait answers to what a culture is fed."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from leavenbench.compare.feed import feed_response, feeds


def made(ratio: np.ndarray, hydration: np.ndarray, step: np.ndarray, seed: int = 0, sd: float = 0.05) -> tuple:
    """Return observations and refeeds: -0.1 per doubling, +0.002 per point of hydration, and what steps do."""
    count = len(ratio)
    flour = 20.0 * ratio
    refeeds = pd.DataFrame({"refeed": [f"r{of}" for of in range(count)], "seed_g": 20.0, "flour_g": flour})
    refeeds["water_g"] = flour * hydration / 100.0
    told = feeds(refeeds)
    value = -0.1 * told["doublings"] + 0.002 * told["hydration"] + 0.7 * step
    value = value + np.random.default_rng(seed).normal(0.0, sd, count)
    return pd.DataFrame({"refeed": refeeds["refeed"], "culture": "A", "step": step, "value": value}), refeeds


RATIO = np.tile([1.0, 2.0, 5.0, 1.0, 2.0, 5.0], 5)
WET = np.repeat([70.0, 100.0], 15)
STEP = np.tile([1, 2, 3], 10)


def test_doublings_are_those_of_the_sheet():
    """1:1:1 1.58496; 1:2:2 2.32193; 1:5:5 3.45943 doublings (exact: log2 of total over seed)."""
    fed = pd.DataFrame(
        {"refeed": list("abc"), "seed_g": 10.0, "flour_g": [10.0, 20.0, 50.0], "water_g": [10.0, 20, 50]}
    )
    assert feeds(fed)["doublings"].tolist() == pytest.approx([1.58496, 2.32193, 3.45943], abs=5e-6)
    assert feeds(fed.assign(seed_g=0.0))["doublings"].isna().all()


def test_slopes_are_those_of_least_squares_with_steps():
    observed, refeeds = made(RATIO, WET, np.repeat([2, 3], 15)[np.random.default_rng(1).permutation(30)])
    found = feed_response(observed, refeeds).set_index("fed")
    told = feeds(refeeds)
    step = pd.get_dummies(observed["step"], dtype=float).to_numpy()
    fit = sm.OLS(observed["value"], np.column_stack((told[["doublings", "hydration"]], step))).fit()  # statsmodels
    ends = fit.conf_int().to_numpy()
    assert found.loc["doublings", "slope"] == pytest.approx(fit.params.iloc[0], rel=1e-9)
    assert found.loc["doublings", ["slope_low", "slope_high"]].tolist() == pytest.approx(ends[0].tolist(), rel=1e-9)
    assert found.loc["hydration", "slope"] == pytest.approx(10.0 * fit.params.iloc[1], rel=1e-9)
    assert found.loc["hydration", ["slope_low", "slope_high"]].tolist() == pytest.approx((10 * ends[1]).tolist())


def test_the_truth_is_recovered_and_said():
    observed, refeeds = made(RATIO, WET, np.full(30, 3))
    found = feed_response(observed, refeeds).set_index("fed")
    assert found.loc["doublings", "slope_low"] < -0.1 < found.loc["doublings", "slope_high"]
    assert found.loc["hydration", "slope_low"] < 0.02 < found.loc["hydration", "slope_high"]
    assert found.loc["doublings", "words"].startswith("falls by ")


def test_steps_that_differ_in_their_ratio_are_no_answer_to_it():
    ratio = np.tile([1.0, 2.0, 5.0], 10)
    found = feed_response(*made(ratio, np.full(30, 100.0), STEP)).set_index("fed")
    assert found["slope"].isna().all()
    assert found.loc["doublings", "words"] == "not varied: sd 0.0 within steps"


def test_what_was_varied_together_cannot_be_told_apart():
    wet = np.where(RATIO == 1.0, 60.0, np.where(RATIO == 2.0, 80.0, 100.0))
    found = feed_response(*made(RATIO, wet, np.full(30, 3)))
    assert found["slope"].isna().all()
    assert found["words"].str.contains("varied together").all()


def test_few_refeeds_are_said_to_be_few():
    found = feed_response(*made(RATIO[:4], WET[:4], np.full(4, 3))).set_index("fed")
    assert "too few refeeds" in found.loc["doublings", "words"]


def test_no_answer_is_told_with_its_interval_and_a_ph_in_its_own_unit():
    observed, refeeds = made(RATIO, np.full(30, 100.0), np.full(30, 3), sd=1.0)
    row = feed_response(observed.assign(scale="linear"), refeeds).iloc[0]
    assert row["words"].startswith("no answer shown: ")
    assert "%" not in row["words"]
