"""The shelf's own chart: a decline of everything is seen, a steady shelf is left in peace."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from leavenbench.watch.whole_shelf import whole_shelf

CULTURES, ROUNDS_A_YEAR = 60, 6


def shelf(seed, *, years=4, loses_pct=0.0, from_round=6):
    """Return vigour of a shelf, half of it each month: cultures wander by 10 %, months by 5 %, refeeds by 4 %."""
    rng = np.random.default_rng(seed)
    rounds = years * ROUNDS_A_YEAR
    month, own = rng.normal(0, 0.05, 2 * rounds), rng.normal(0, 0.10, (CULTURES, rounds))
    culture, number = (of.ravel() for of in np.indices((CULTURES, rounds)))
    late = culture % 2
    fallen = -np.log1p(-loses_pct / 100.0) * np.maximum(number + late / 2.0 - from_round, 0.0)
    log = month[2 * number + late] + own[culture, number] + rng.normal(0, 0.04, len(number)) - fallen
    fed_at = pd.Timestamp("2020-01-03", tz="UTC") + pd.to_timedelta(61.0 * number + 30.4 * late, unit="D").as_unit("us")
    named = pd.Series([f"C{one:02}" for one in culture], dtype="str")
    return pd.DataFrame({"culture": named, "round": number + 1, "fed_at": fed_at, "vigour_pct": 100.0 * np.exp(log)})


def test_a_shelf_that_falls_is_seen_and_how_fast_it_falls():
    seen, covered = [], []
    for seed in range(40):
        found = whole_shelf(shelf(seed, loses_pct=4.0), 61.0)
        assert found["falling"].iloc[-1]
        seen.append((pd.Period(found.loc[found["falling"], "month"].iloc[0], "M") - pd.Period("2021-01", "M")).n)
        a_year_on = found.iloc[23]
        covered.append(a_year_on["change_per_round_pct_low"] < -4.0 < a_year_on["change_per_round_pct_high"])
    # It begins to fall in January 2021; 4 % a round are 22 % a year, four times the scatter of a month.
    assert 0 < np.median(seen) <= 12
    assert np.mean(np.array(seen) <= 0) < 0.1
    # An 80 % interval: four binomial standard errors of 40.
    assert np.mean(covered) > 0.8 - 4.0 * np.sqrt(0.8 * 0.2 / 40)


def test_a_steady_shelf_is_left_in_peace():
    struck = sum(whole_shelf(shelf(1000 + seed), 60.0)["falling"].any() for seed in range(60))
    # One in twenty at most in four years is the aim: 3 of 60, and four Poisson standard errors.
    assert struck <= 3 + 4 * np.sqrt(3)


def test_the_level_of_a_month_is_the_middle_of_its_cultures_each_counted_once():
    table = shelf(1, years=1)
    first = table["fed_at"] < pd.Timestamp("2020-02-01", tz="UTC")
    often = table[first & (table["culture"] == "C00")].assign(vigour_pct=300.0)
    found = whole_shelf(pd.concat([table, *[often] * 9], ignore_index=True), 60.0).iloc[0]
    own = np.log(table.loc[first & (table["culture"] != "C00"), "vigour_pct"] / 100.0)
    mixed = (
        np.log(table.loc[first & (table["culture"] == "C00"), "vigour_pct"].iloc[0] / 100.0) + 9 * np.log(3.0)
    ) / 10
    assert found["month"] == "2020-01"
    assert found["cultures"] == CULTURES // 2
    assert np.log(found["vigour_pct"] / 100.0) == pytest.approx(np.median(np.append(own, mixed)))


def test_its_stated_error_is_that_of_a_median():
    # Standard error of the median of n normal values: 1.2533 sd / sqrt(n) (Kendall & Stuart; from memory).
    found = pd.concat([whole_shelf(shelf(seed), 60.0) for seed in range(5)])
    expected = 1.2533 * np.hypot(0.10, 0.04) / np.sqrt(CULTURES / 2)
    assert (found["vigour_pct_se"] / found["vigour_pct"]).median() == pytest.approx(expected, rel=0.1)


def test_looking_back_only():
    table = shelf(3, loses_pct=4.0)
    whole = whole_shelf(table, 60.0)
    cut = whole_shelf(table[table["fed_at"] < pd.Timestamp("2022-06-01", tz="UTC")], 60.0)
    pd.testing.assert_frame_equal(cut, whole.head(len(cut)))


@pytest.mark.parametrize("cultures", [0, 1, 4])
def test_a_shelf_too_small_to_be_one_has_no_months_and_no_fault(cultures):
    table = shelf(1)
    found = whole_shelf(table[table["culture"].isin([f"C{one:02}" for one in range(0, 2 * cultures, 2)])], 60.0)
    assert found.empty
    assert {"month", "falling", "log_odds"} <= set(found)


def test_months_that_are_too_few_or_all_alike_fall_not_and_have_no_endless_number():
    for table in (shelf(1, years=1).query("round <= 2"), shelf(1).assign(vigour_pct=100.0)):
        found = whole_shelf(table, 60.0)
        assert len(found)
        assert not found["falling"].any()
        assert not np.isinf(found.select_dtypes("number")).any(axis=None)
