"""One culture's standing, by the rules of the watch list."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from leavenbench.watch.standing import Yardstick, stand, two_years

YARDSTICK = Yardstick(noise=0.08, threshold=3.37, round_days=60.0, half_pct=50.0)
#: Before the first round of these tests, so that rounds left count from the last one.
AS_OF = pd.Timestamp("2022-01-01")


def rounds(level, error=0.04):
    """Return levels as rounds every 60 days."""
    fed_at = pd.Timestamp("2022-01-01", tz="UTC") + pd.to_timedelta(60 * np.arange(len(level)), unit="D")
    return pd.DataFrame({"fed_at": fed_at, "level": level, "level_se": error, "refeeds": 3})


def jitter(n, seed=1, sd=0.03):
    return np.random.default_rng(seed).normal(0, sd, n)


def test_steady():
    found = stand(rounds(jitter(20)), YARDSTICK, as_of=AS_OF)
    assert found.standing == "steady"
    assert found.evidence == []
    assert found.numbers["rounds_left"] == pytest.approx(two_years(60), rel=0.9)


def test_a_ramp_slips_and_its_forecast_covers_the_truth():
    fall = np.log(0.95)
    level = np.concatenate([np.zeros(10), fall * np.arange(1, 9)]) + jitter(18)
    found = stand(rounds(level), YARDSTICK, as_of=AS_OF)
    assert found.standing == "slipping"
    truth = np.log(0.5) / fall - 8  # rounds from the last one until half strength
    assert found.numbers["rounds_left_low"] < truth < found.numbers["rounds_left_high"]
    assert found.numbers["change_per_round_pct_low"] < -5 < found.numbers["change_per_round_pct_high"]
    assert found.numbers["decline_probability"] > 0.99
    assert "falling trend" in found.evidence[0]


def test_nearly_at_half_strength_is_urgent():
    level = np.concatenate([np.zeros(8), np.log(0.9) * np.arange(1, 7)]) + jitter(14)
    found = stand(rounds(level), YARDSTICK, as_of=AS_OF)
    assert found.standing == "urgent"
    assert found.numbers["rounds_left"] <= 2


def test_a_step_that_settled_is_low():
    level = np.concatenate([np.zeros(10), np.full(20, np.log(0.7))]) + jitter(30)
    found = stand(rounds(level), YARDSTICK, as_of=AS_OF)
    assert found.standing == "low"
    assert "settled low" in found.evidence[0]


def test_a_dip_that_healed_is_steady_again():
    level = np.zeros(24)
    level[10:13] = np.log(0.75)
    assert stand(rounds(level + jitter(24)), YARDSTICK, as_of=AS_OF).standing == "steady"


def test_a_short_history_says_how_many_rounds_are_missing():
    found = stand(rounds([0.0, -0.5]), YARDSTICK, as_of=AS_OF)
    assert found.standing == "unknown"
    assert "2 missing" in found.evidence[0]
    assert "rounds_left" not in found.numbers
    assert found.numbers["vigour_pct"] == pytest.approx(100 * np.exp(-0.5))


def test_no_activity_is_urgent_even_with_a_short_history():
    assert stand(rounds([]), YARDSTICK, as_of=AS_OF, lifeless="no souring").standing == "urgent"


def test_calendar_time_counts_not_the_number_of_rounds():
    level = np.concatenate([np.zeros(8), np.log(0.9) * np.arange(1, 7)])
    often = rounds(level)
    seldom = often.assign(fed_at=often["fed_at"].iloc[0] + 2 * (often["fed_at"] - often["fed_at"].iloc[0]))
    fast = stand(often, YARDSTICK, as_of=AS_OF).numbers["change_per_round_pct"]
    slow = stand(seldom, YARDSTICK, as_of=AS_OF).numbers["change_per_round_pct"]
    assert np.log1p(slow / 100) == pytest.approx(np.log1p(fast / 100) / 2)
