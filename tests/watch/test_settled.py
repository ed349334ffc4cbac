"""The mean of the last four rounds and its error against the baseline."""

from __future__ import annotations

import numpy as np
import pytest

from leavenbench.watch.settled import settled_level, surely_low


def test_the_mean_of_the_last_four_and_nothing_before_them(series, wanders):
    level = np.array([0.0, 0.1, -0.1, 0.2, -0.4, -0.5])
    shelf = series(level, level[:3])
    mean, error = settled_level(shelf, wanders(shelf, 0.1, 0.3))
    assert mean[3:6] == pytest.approx([level[at - 3 : at + 1].mean() for at in (3, 4, 5)])
    assert np.isnan(mean[[0, 1, 2, 6, 7, 8]]).all()
    assert np.isnan(error[[0, 1, 2, 6, 7, 8]]).all()


@pytest.mark.parametrize("carry_over", [0.0, 0.35, 0.8])
def test_its_error_is_the_true_spread_against_a_baseline_of_six_rounds(series, wanders, wander, carry_over):
    rng = np.random.default_rng(1)
    # Twenty rounds apart, what is carried over between the two is forgotten (.8^14 = .04).
    noise = wander(rng, (4000, 24), 0.1, carry_over) + rng.normal(0, 0.05, (4000, 24))
    shelf = series(*noise, variance=0.05**2)
    level, error = settled_level(shelf, wanders(shelf, 0.1, carry_over))
    away = level.reshape(4000, 24)[:, -1] - noise[:, :6].mean(axis=1)
    # A standard deviation of 4,000 has a sampling error of 1.1 %; four of them.
    assert error[-1] == pytest.approx(away.std(), rel=0.045)


def test_low_is_surely_under_nine_tenths(series, wanders):
    # One-sided 10 % point of the normal distribution: 1.2816 (any table).
    edge = np.log(0.9) - 1.2816 * 0.05
    assert surely_low(np.array([edge - 1e-4, edge + 1e-4, np.nan]), np.full(3, 0.05)).tolist() == [True, False, False]


def test_few_or_no_rounds_are_no_fault(series, wanders):
    for length in (0, 1, 3):
        shelf = series(np.zeros(length))
        level, error = settled_level(shelf, wanders(shelf, 0.1, 0.3))
        assert len(level) == len(error) == length
        assert not surely_low(level, error).any()
