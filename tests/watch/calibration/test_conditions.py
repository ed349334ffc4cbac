"""What a threshold depends on, read off a shelf."""

from __future__ import annotations

import numpy as np
import pytest

from leavenbench.simulate.levels import simulate_healthy_levels
from leavenbench.watch.calibration.conditions import USUAL, Conditions, conditions_of
from leavenbench.watch.scatter import scatter_of
from leavenbench.watch.series import Series


def of_shelf(sd=0.08, cultures=150, rounds=40, seed=1, **of):
    usual = {"reading_error": 0.6, "carry_over": 0.4, "missing": 0.0, "extra_steps": 0.0}
    drawn = simulate_healthy_levels(np.random.default_rng(seed), cultures, rounds, **(usual | of))
    shelf = Series(sd * drawn.level, sd**2 * drawn.variance, drawn.at, drawn.first)
    return conditions_of(shelf, scatter_of(shelf), drawn.extra_steps)


def test_what_was_simulated_is_read_off():
    found = of_shelf(missing=0.1, extra_steps=0.05)
    # Cultures differ evenly from .6 to 1.4 of the usual sd, so that what is usual is one by its middle: within a step.
    assert found.reading_error == pytest.approx(0.6, abs=0.2)
    assert found.carry_over == pytest.approx(0.4, abs=0.1)
    assert found.missing == pytest.approx(0.1)
    assert found.extra_steps == pytest.approx(0.05, abs=0.01)
    assert found.cultures == 150


def test_one_more_month_asks_for_nothing_new():
    long = simulate_healthy_levels(
        np.random.default_rng(3), 150, 40, reading_error=0.6, carry_over=0.4, missing=0.05, extra_steps=0.03
    )
    culture = np.searchsorted(np.unique(long.first), long.first)
    told = set()
    for until in (38.0, 38.5, 39.0):
        kept = long.at <= until
        first = np.searchsorted(culture[kept], culture[kept])
        shelf = Series(0.08 * long.level[kept], 0.08**2 * long.variance[kept], long.at[kept], first)
        told.add(conditions_of(shelf, scatter_of(shelf), long.extra_steps[kept]))
    assert len(told) <= 2  # a value may lie near the edge of a rounding


@pytest.mark.parametrize(("cultures", "told"), [(3, 10), (12, 10), (96, 100), (400, 150)])
def test_the_size_of_the_shelf_is_rounded_and_held(cultures, told):
    assert of_shelf(cultures=cultures, rounds=12).cultures == told


def test_extra_steps_count_where_passing_is_mostly_recorded(series, wanders):
    shelf = series(np.zeros(10), np.zeros(10), variance=0.002)
    noise = wanders(shelf, 0.08, 0.3)
    seldom = np.where(np.arange(20) < 9, 1.0, np.nan)
    assert conditions_of(shelf, noise, seldom).extra_steps == 0.0
    assert conditions_of(shelf, noise, np.where(np.arange(20) < 2, 1.0, 0.0)).extra_steps == 0.1
    assert conditions_of(shelf, noise, np.ones(20)).extra_steps == 0.15  # the most that is told apart


def test_everything_is_held_to_what_can_be_simulated(series, wanders):
    odd = series(np.zeros(4), np.zeros(4), at=[np.array([0.0, 40.0, 90.0, 95.0])] * 2, variance=4.0)
    found = conditions_of(odd, wanders(odd, 0.02, 0.99), np.full(8, np.nan))
    assert found == Conditions(2.0, 0.8, 0.0, 0.5, 10)


@pytest.mark.parametrize("rounds", [0, 1, 3])
def test_a_shelf_too_young_for_a_trend_has_usual_conditions(series, wanders, rounds):
    young = series(*np.zeros((50, rounds)), at=[7.0 * np.arange(rounds)] * 50, variance=0.5)
    assert conditions_of(young, wanders(young, 0.1, 0.3), np.full(50 * rounds, np.nan)) == USUAL
    assert USUAL.missing == 0.0
