"""The ready table: what the simulation finds, interpolated between its points."""

from __future__ import annotations

import numpy as np
import pytest

from leavenbench.watch.calibration.conditions import Conditions
from leavenbench.watch.calibration.law import simulate_law
from leavenbench.watch.calibration.ready import every_condition, ready_law

COMMON = Conditions(0.5, 0.35, 0.0, 0.03, 150)
#: The middle of each band of age, where the law is told as it was fitted; and rounds of a culture in each.
AGES, ROUNDS = np.array([5.0, 11.5, 22.5, 37.0]), np.array([5, 8, 14, 15])


def test_every_law_falls_with_the_threshold_and_is_its_own():
    laws = [ready_law(one) for one in every_condition()]
    assert all((law.falls > 0.1).all() and np.isfinite(law.at_zero).all() for law in laws)
    assert len({tuple(law.at_zero) for law in laws}) == len(laws)


def test_the_more_is_carried_over_the_more_evidence_it_takes():
    told = [ready_law(COMMON._replace(carry_over=of)).threshold(0.23, AGES[1:]).mean() for of in (0.0, 0.4, 0.8)]
    assert told == sorted(told)
    assert told[0] < told[-1]


@pytest.mark.parametrize("place", [16, 40])
def test_it_is_what_the_simulation_finds(place):
    conditions, cultures, rate = every_condition()[place], 1200, 0.4
    found, ready = simulate_law(conditions, cultures), ready_law(conditions)
    rate_found = found.at_zero - found.falls * ready.threshold(rate, AGES)
    # Poisson error of the false alerts that so many cultures raise in each band, and of the ten times as many of the
    # table; four standard errors of each, and of their mean.
    error = np.sqrt(1.1 / (rate / 100.0 * cultures * ROUNDS))
    away = rate_found - np.log(rate)
    assert (np.abs(away) < 4.0 * error).all()
    assert abs(away.mean()) < np.sqrt((error**2).sum())


def test_between_its_points_it_is_interpolated():
    low, middle, high = (ready_law(COMMON._replace(carry_over=of)) for of in (0.2, 0.3, 0.4))
    assert middle.at_zero == pytest.approx((low.at_zero + high.at_zero) / 2.0)
    half_way = ready_law(COMMON._replace(reading_error=np.sqrt(0.5)))  # from .5 to 1, by ratio
    ends = [ready_law(COMMON._replace(reading_error=of)).falls for of in (0.5, 1.0)]
    assert half_way.falls == pytest.approx((ends[0] + ends[1]) / 2.0)


def test_beyond_its_points_its_edge_holds():
    assert ready_law(COMMON._replace(reading_error=9.0)).at_zero == pytest.approx(
        ready_law(COMMON._replace(reading_error=2.0)).at_zero
    )


def test_uncommon_conditions_are_not_in_it():
    assert ready_law(COMMON) is not None
    assert ready_law(COMMON._replace(missing=0.3)) is None
