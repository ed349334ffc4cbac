"""Naming what a shelf shared: the score test against generalised least squares, and planted causes."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from leavenbench.columns import RESULTS
from leavenbench.vigour.causes import shared_causes
from leavenbench.vigour.index import Weighed
from leavenbench.vigour.shared import Shared, what_is_shared

SE, SCATTER = 0.04, 0.05
#: What is usual without a cause in these shelves [log]: the least that is believed of cultures and months, then days
#: and lots (common practice, no source).
OWN, MONTH, DAY, LOT = 0.05, 0.03, 0.05, 0.04


def weighed(values, lots):
    """Return values of which nothing is known but what they are: no normals, no effects, no own deviations."""
    none, zero = pd.DataFrame({"factor": [], "level": [], "month": [], "effect": [], "se": []}), np.zeros(len(values))
    shared = Shared(zero, zero, zero, zero, zero, SCATTER, none)
    return Weighed(values.reset_index(drop=True), lots, shared)


@pytest.fixture
def quiet_month(make_values):
    """Return a function that makes one month of a shelf on which nothing happened, by the variances of the test."""

    def make(seed, cultures=30, calm=1.0):
        """With `calm` under 1 everything stirs less, so that no refeed is so odd that it is held back."""
        rng = np.random.default_rng(seed)
        values, lots = make_values(np.zeros((cultures, 1, 3)), se=SE)
        stirred = rng.normal(0, np.hypot(SE, SCATTER), len(values)) + rng.normal(0, MONTH)
        for of, sd in ((values["culture"], OWN), (values["day"], DAY), (lots["lot"], LOT)):
            number, names = pd.factorize(of)
            stirred += rng.normal(0, sd, len(names))[number]
        return values.assign(log_vigour=calm * stirred), lots

    return make


def variance(values, lots):
    """Return the variance of a quiet month, element by element of the sum that the docstring of the module names."""
    same = {of: values[of].to_numpy()[:, None] == values[of].to_numpy() for of in ("culture", "day")}
    same_lot = lots["lot"].to_numpy()[:, None] == lots["lot"].to_numpy()
    return (
        np.eye(len(values)) * (SE**2 + SCATTER**2)
        + same["culture"] * OWN**2
        + same["day"] * DAY**2
        + same_lot * LOT**2
        + MONTH**2
    )


# Against generalised least squares


def test_effect_and_error_are_those_of_generalised_least_squares(quiet_month):
    """statsmodels.api.GLS with the variance of a quiet month, on the single column of the level named."""
    values, lots = quiet_month(1, cultures=48, calm=0.3)
    day = "2023-01-10"
    on_day = (values["day"] == day).to_numpy(float)
    values["log_vigour"] += np.log(0.78) * on_day
    table = shared_causes(weighed(values, lots)).table
    assert table[["factor", "level"]].iloc[0].tolist() == ["day", day]
    gls = sm.GLS(values["log_vigour"].to_numpy(), on_day[:, None], sigma=variance(values, lots))
    effect, error = gls.fit().params[0], gls.fit(use_t=False).normalized_cov_params[0, 0] ** 0.5
    assert table["effect_pct"].iloc[0] == pytest.approx(100.0 * np.expm1(effect))
    assert table["effect_pct_se"].iloc[0] == pytest.approx(100.0 * np.exp(effect) * error)
    assert table["cultures"].iloc[0] == values.loc[on_day > 0, "culture"].nunique()
    assert table["refeeds"].iloc[0] == on_day.sum()


def test_the_odds_are_those_of_a_normal_effect_of_twenty_percent_against_none(quiet_month):
    """Marginal likelihoods of the estimate, N(0, .2^2 + v) against N(0, v), over the number of levels tried."""
    values, lots = quiet_month(1, cultures=48, calm=0.3)
    on_day = (values["day"] == "2023-01-10").to_numpy(float)
    values["log_vigour"] += np.log(0.78) * on_day
    inverse = np.linalg.inv(variance(values, lots))
    v = 1.0 / (on_day @ inverse @ on_day)
    effect = v * on_day @ inverse @ values["log_vigour"].to_numpy()
    with_it, without = ((2 * np.pi * of) ** -0.5 * np.exp(-(effect**2) / (2 * of)) for of in (0.2**2 + v, v))
    tried = 1 + values["day"].nunique() + 2 + lots["lot"].nunique()  # the month, days, rooms, lots
    odds = shared_causes(weighed(values, lots)).table["odds"].iloc[0]
    assert odds == pytest.approx(with_it / without / tried)


def test_the_second_cause_is_told_beside_the_first(quiet_month):
    """The second of two named has the coefficient and error that it has in the joint regression by GLS."""
    values, lots = quiet_month(3, cultures=96, calm=0.15)
    on_day = (values["day"] == "2023-01-10").to_numpy(float)
    on_lot = (lots["lot"] == "flour 2 no. 1").to_numpy(float)
    values["log_vigour"] += np.log(0.75) * on_day + np.log(1.22) * on_lot
    table = shared_causes(weighed(values, lots)).table
    assert table[["factor", "level"]].to_numpy().tolist()[:2] == [["day", "2023-01-10"], ["lot", "flour 2 no. 1"]]
    both = sm.GLS(values["log_vigour"].to_numpy(), np.column_stack((on_day, on_lot)), sigma=variance(values, lots))
    told, error = both.fit().params[1], both.fit().normalized_cov_params[1, 1] ** 0.5
    assert table["effect_pct"].iloc[1] == pytest.approx(100.0 * np.expm1(told))
    assert table["effect_pct_se"].iloc[1] == pytest.approx(100.0 * np.exp(told) * error)


# False names


def test_quiet_months_are_hardly_ever_given_a_cause(quiet_month):
    """One in fifty at most, by Bonferroni over the levels tried: of 80 months 1.6; more than 6 has a chance of .003."""
    named = sum(len(shared_causes(weighed(*quiet_month(seed))).table) > 0 for seed in range(100, 180))
    assert named <= 6


def test_a_name_is_worth_giving_from_eleven_percent_on(quiet_month):
    """A keeper whose jars are 9 % off on a shelf so large that chance is ruled out is left alone; 14 % are not."""
    for by, named in ((0.91, 0), (0.86, 1)):
        values, lots = quiet_month(5, cultures=240, calm=0.0)
        values["person"] = np.where(values["culture"].str[1:].astype(int) % 5 < 2, "second keeper", "first keeper")
        values["log_vigour"] += np.log(by) * (values["person"] == "second keeper")
        assert len(shared_causes(weighed(values, lots)).table) == named


# Who may be named


def test_a_cause_needs_three_cultures_and_a_shelf_eight(quiet_month):
    values, lots = quiet_month(6)
    lots["lot"] = lots["lot"].mask(values["culture"].isin(["C0", "C1"]), "poor")
    off = np.log(0.4) * (lots["lot"] == "poor")
    named = shared_causes(weighed(values.assign(log_vigour=values["log_vigour"] + off), lots))
    assert "poor" not in " ".join(named.table["level"] + named.table["candidates"])
    values, lots = quiet_month(6)
    lots["lot"] = lots["lot"].mask(values["culture"].isin(["C0", "C1", "C2", "C3"]), "poor")
    off = np.log(0.4) * (lots["lot"] == "poor")
    named = shared_causes(weighed(values.assign(log_vigour=values["log_vigour"] + off), lots))
    assert named.table["level"].tolist() == ["poor"]
    small = values["culture"].isin([f"C{number}" for number in range(7)])
    few = values[small].assign(log_vigour=np.log(0.3))
    assert shared_causes(weighed(few, lots[small.to_numpy()])).table.empty


def test_what_nearly_all_met_is_the_month(quiet_month):
    values, lots = quiet_month(7)
    values["person"] = "only keeper"
    values["log_vigour"] += np.log(0.7)
    table = shared_causes(weighed(values, lots)).table
    assert table[["factor", "level"]].to_numpy().tolist() == [["month", "2023-01"]]
    assert "only keeper" not in table["candidates"].iloc[0]


def test_what_always_went_together_cannot_be_told_apart(quiet_month):
    values, lots = quiet_month(8)
    values["person"] = pd.Series("first keeper", values.index, dtype="str").mask(
        values["day"] == "2023-01-10", "second keeper"
    )
    met = values["day"] == "2023-01-10"
    values["log_vigour"] += np.log(0.65) * met
    causes = shared_causes(weighed(values, lots))
    row = causes.table.iloc[0]
    told = f"{row['factor']} {row['level']}, {row['candidates']}"
    assert {"day 2023-01-10", "person second keeper"} <= set(told.split(", "))
    assert len(causes.table) == 1  # what the one explains is not found again under the name of the other
    assert set(causes.met["refeed"]) == set(values.loc[met, "refeed"])
    assert " or " in causes.met["cause"].iloc[0]


def test_a_blend_counts_by_its_share(quiet_month):
    values, lots = quiet_month(9, cultures=40)
    of_flour = lots["lot"] == "flour 1 no. 1"
    blends = lots[of_flour].assign(share=0.5)
    lots = pd.concat([lots[~of_flour], blends, blends.assign(lot="other half")], ignore_index=True)
    values["log_vigour"] += 0.5 * np.log(0.5) * of_flour
    table = shared_causes(weighed(values, lots)).table
    assert table["factor"].iloc[0] == "lot"
    assert {table["level"].iloc[0], table["candidates"].iloc[0]} == {"flour 1 no. 1", "lot other half"} or {
        table["level"].iloc[0],
        table["candidates"].iloc[0],
    } == {"other half", "lot flour 1 no. 1"}
    assert table["effect_pct"].iloc[0] == pytest.approx(-50.0, abs=12.0)  # of the whole lot, though they ate half


def test_what_is_better_than_ever_is_named_as_well(quiet_month):
    values, lots = quiet_month(10)
    values["log_vigour"] += np.log(1.4) * (lots["lot"] == "flour 3 no. 1")
    table = shared_causes(weighed(values, lots)).table
    assert table["level"].tolist() == ["flour 3 no. 1"]
    assert table["effect_pct"].iloc[0] > 15.0


@pytest.mark.parametrize("by", [0.6, 0.4, 0.2])
def test_a_large_effect_is_told_as_large_as_it_is(quiet_month, by):
    """All refeeds of a day lie further off than any odd one: they are not held back together."""
    values, lots = quiet_month(14, cultures=48)
    values["log_vigour"] += np.log(by) * (values["day"] == "2023-01-10")
    table = shared_causes(weighed(values, lots)).table
    assert table[["factor", "level"]].iloc[0].tolist() == ["day", "2023-01-10"]
    assert table["effect_pct"].iloc[0] == pytest.approx(100.0 * (by - 1.0), abs=2.5 * table["effect_pct_se"].iloc[0])


def test_a_wild_refeed_is_no_cause(quiet_month):
    values, lots = quiet_month(11)
    for row in (4, 20, 50):
        values.loc[row, "log_vigour"] = -4.0
    assert shared_causes(weighed(values, lots)).table.empty


# On a shelf


def test_cultures_that_stand_low_are_no_news(make_values):
    """Eight of the fourteen in the loft halve, one after the other: once they stand there, the room did nothing."""
    rng = np.random.default_rng(12)
    log_vigour = rng.normal(0, 0.06, (40, 14, 1)) + rng.normal(0, 0.06, (40, 14, 3))
    for number, onset in zip(range(0, 24, 3), (7, 8, 9, 10, 7, 8, 9, 10), strict=True):
        log_vigour[number, onset:] += np.log(0.5)
    values, lots = make_values(log_vigour)
    causes = shared_causes(Weighed(values, lots, what_is_shared(values, lots))).table
    settled = values.loc[values["round"] > 12, "month"].unique()
    assert causes[causes["month"].isin(settled)].empty


@pytest.mark.parametrize(
    ("factor", "level"), [("month", "2024-03"), ("day", "2024-03-05"), ("lot", "flour 1 no. 4"), ("room", "loft")]
)
def test_a_quarter_lost_is_named(make_values, factor, level):
    rng = np.random.default_rng(13)
    log_vigour = rng.normal(0, 0.06, (48, 12, 1)) + rng.normal(0, 0.06, (48, 12, 3))
    values, lots = make_values(log_vigour)
    met = lots["lot"] == level if factor == "lot" else values[factor] == level
    met &= (factor != "room") | (values["month"] == "2024-03")
    values["log_vigour"] += np.log(0.75) * met
    causes = shared_causes(Weighed(values, lots, what_is_shared(values, lots)))
    assert list(causes.table.columns) == RESULTS["shared_causes"].names
    months = set(values.loc[met, "month"])
    assert set(causes.table["month"]) <= months
    of_it = causes.table[causes.table["factor"].eq(factor) & causes.table["level"].eq(level)]
    assert len(of_it) >= 1
    assert of_it["effect_pct"].iloc[0] == pytest.approx(-25.0, abs=8.0)
    assert set(causes.met["refeed"]) <= set(values["refeed"])


def test_the_order_of_rows_is_none_of_its_business(quiet_month):
    values, lots = quiet_month(3, cultures=48)
    values["log_vigour"] += np.log(0.65) * (values["day"] == "2023-01-10")
    order = np.random.default_rng(1).permutation(len(values))
    one, other = (shared_causes(weighed(of, lots)) for of in (values, values.iloc[order]))
    pd.testing.assert_frame_equal(one.table, other.table)
    assert set(map(tuple, one.met.to_numpy())) == set(map(tuple, other.met.to_numpy()))


def test_a_shelf_too_small_to_share_anything(make_values):
    values, lots = make_values(np.zeros((2, 2, 3)))
    causes = shared_causes(Weighed(values, lots, None))
    assert causes.table.empty
    assert list(causes.table.columns) == RESULTS["shared_causes"].names
    assert causes.met.columns.tolist() == ["refeed", "cause"]
