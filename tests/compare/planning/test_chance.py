"""The chance to see a difference, against the power of known tests."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.stats.power import TTestIndPower

from leavenbench.columns import RESULTS
from leavenbench.compare.planning.chance import _critical, chance_to_see, fewest_refeeds, invented
from leavenbench.compare.planning.noise import Spread
from leavenbench.compare.planning.strata import Design
from leavenbench.errors import CannotRead


def scattering(**more):
    plain = {"reading": 0.0, "refeed": 0.1, "round": 0.0, "day": 0.0, "carry_over": 0.0, "as_stated": True}
    return Spread("rise max_rate", "%/h", "log", **(plain | more), table=pd.DataFrame())


def test_where_nothing_is_shared_it_is_the_power_of_the_t_test():
    """TTestIndPower of statsmodels; within four standard errors of 3,000 shelves."""
    plans = {"rounds": (3, 5, 9), "refeeds": (1,), "days": ("separate",), "successive": False, "shelves": 3000}
    found = chance_to_see(scattering(), 15.0, **plans)
    for row in found.itertuples():
        power = TTestIndPower().power(np.log(1.15) / 0.1, row.rounds, 0.05)
        assert row.seen_pct / 100.0 == pytest.approx(power, abs=4 * np.sqrt(power * (1 - power) / 3000))
        assert row.seen_low_pct < row.seen_pct < row.seen_high_pct
        assert row.false_pct == pytest.approx(5.0, abs=4 * 100 * np.sqrt(0.05 * 0.95 / 3000))


def test_sameness_is_shown_as_often_as_two_one_sided_tests_do():
    """By the joint law of mean and variance, integrated (Phillips 1990, J Pharmacokinet Biopharm 18:137-144)."""
    rounds, sd, margin = 8, 0.1, np.log(1.15)
    freedom, se = 2 * rounds - 2, sd * np.sqrt(2 / rounds)
    s = np.linspace(1e-3, 4.0, 4001)
    density = stats.chi2.pdf(freedom * s**2, freedom) * 2 * freedom * s
    room = np.maximum(margin / se - stats.t.isf(0.05, freedom) * s, 0.0)
    chance = float(np.trapezoid(density * (2 * stats.norm.cdf(room) - 1), s))
    plans = {"rounds": (rounds,), "refeeds": (1,), "days": ("separate",), "successive": False, "shelves": 3000}
    found = chance_to_see(scattering(), 15.0, **plans)
    assert found["same_pct"][0] / 100 == pytest.approx(chance, abs=4 * np.sqrt(chance * (1 - chance) / 3000))
    assert found["same_pct"][0] < found["seen_pct"][0]


def test_the_critical_t_of_many_pairs_is_tukeys():
    """scipy.stats.studentized_range, over the root of 2; between table places within half a percent."""
    for cultures, freedom in ((3, 12.0), (5, 33.0), (10, 4.7)):
        expected = stats.studentized_range.ppf(0.95, cultures, freedom) / np.sqrt(2)
        assert _critical(cultures, np.array([freedom]))[0] == pytest.approx(expected, rel=5e-3)


def test_invented_refeeds_scatter_as_they_are_told_to():
    spread = scattering(reading=0.03, refeed=0.04, round=0.2, day=0.1, carry_over=0.5)
    values = invented(spread, Design(2, 6, 2), 4000, np.random.default_rng(3))
    within = values - values.mean(axis=3, keepdims=True)
    apart = (values[:, 0] - values[:, 1]).mean(axis=2)  # days cancel
    assert within.var() * 2 == pytest.approx(0.05**2 + 0.1**2, rel=0.03)
    assert apart.var() == pytest.approx(2 * (0.2**2 + 0.05**2 / 2), rel=0.03)
    follow = (apart[:, 1:] * apart[:, :-1]).mean() / (2 * 0.2**2)
    assert follow == pytest.approx(0.5, abs=0.03)


def test_further_rounds_help_and_a_worse_shelf_hurts():
    plans = {"rounds": (4, 12), "refeeds": (2,), "days": ("shared",), "shelves": 200}
    calm = chance_to_see(scattering(round=0.05), 20.0, **plans)["seen_pct"]
    wild = chance_to_see(scattering(round=0.20), 20.0, **plans)["seen_pct"]
    assert calm[0] < calm[1]
    assert (wild < calm).all()


def test_all_pairs_ask_for_more_than_one_and_company_tells_the_noise():
    plans = {"rounds": (4,), "refeeds": (2,), "days": ("shared",), "successive": False, "shelves": 300}
    one = chance_to_see(scattering(round=0.05), 25.0, **plans)
    many = chance_to_see(scattering(round=0.05), 25.0, cultures=6, **plans)
    in_company = chance_to_see(scattering(round=0.05), 25.0, beside=4, **plans)
    assert many["seen_pct"][0] < in_company["seen_pct"][0]
    assert one["seen_pct"][0] < in_company["seen_pct"][0]
    assert many["false_pct"][0] < 12.0


def test_the_table_is_as_declared_and_the_same_each_time():
    plans = {"rounds": (3, 4), "refeeds": (1, 2), "shelves": 20}
    told = []
    found = chance_to_see(scattering(), 15.0, **plans, progress=lambda done, total: told.append((done, total)))
    assert list(found.columns) == RESULTS["chance_to_see"].names
    assert told == [(one, 8) for one in range(1, 9)]
    pd.testing.assert_frame_equal(found, chance_to_see(scattering(), 15.0, **plans))
    assert not found.equals(chance_to_see(scattering(), 15.0, **plans, seed=1))


@pytest.mark.parametrize(
    ("difference", "plans"),
    [
        (0.0, {}),
        (10.0, {"margin": -1.0}),
        (10.0, {"cultures": 1}),
        (10.0, {"rounds": (2,)}),
        (10.0, {"refeeds": ()}),
        (10.0, {"days": ("never",)}),
    ],
)
def test_what_cannot_be_planned_is_said(difference, plans):
    with pytest.raises(CannotRead):
        chance_to_see(scattering(), difference, **plans)


def test_the_fewest_rounds_lie_on_the_line_between_those_tried():
    chances = pd.DataFrame({"rounds": [4, 8, 12], "seen_pct": [50.0, 70.0, 90.0], "same_pct": [10.0, 20.0, 30.0]})
    same = {"trait": "t", "days": "shared", "refeeds_per_round": 2, "difference": 9.0, "margin": 9.0, "unit": "%"}
    found = fewest_refeeds(chances.assign(**same), 80.0)
    assert found["rounds"].tolist() == [10, pd.NA]
    assert found["refeeds"].tolist() == [20, pd.NA]
    assert found["best_pct"].tolist() == [90.0, 30.0]


def test_a_chance_that_falls_again_does_not_count():
    chances = pd.DataFrame({"rounds": [4, 8, 12], "seen_pct": [85.0, 70.0, 90.0], "same_pct": [90.0, 90.0, 90.0]})
    same = {"trait": "t", "days": "shared", "refeeds_per_round": 1, "difference": 9.0, "margin": 9.0, "unit": "%"}
    assert fewest_refeeds(chances.assign(**same), 80.0)["rounds"].tolist() == [10, 4]
