"""How levels wander: recovered from shelves of known noise, looking back only."""

from __future__ import annotations

import numpy as np
import pytest

from leavenbench.watch.scatter import USUAL_CARRY_OVER, USUAL_SD, scatter_of

SHELVES, CULTURES, ROUNDS = 12, 100, 30


def told(wander, series, sd, carry_over, reading, fall=0.0, falling=0):
    """Return sd and carry-over that many shelves tell at their end, one row per shelf."""
    found = []
    for seed in range(SHELVES):
        rng = np.random.default_rng(seed)
        level = wander(rng, (CULTURES, ROUNDS), sd, carry_over) + rng.normal(0, reading, (CULTURES, ROUNDS))
        level[:falling] -= fall * np.arange(ROUNDS)
        scatter = scatter_of(series(*level, variance=reading**2))
        found.append((scatter.shelf_sd[-1], scatter.carry_over[-1]))
    return np.array(found)


@pytest.mark.parametrize(
    ("sd", "carry_over", "reading"),
    [(0.15, 0.6, 0.0), (0.15, 0.6, 0.1), (0.06, 0.0, 0.03), (0.1, 0.35, 0.05), (0.1, 0.35, 0.1)],
)
def test_sd_and_carry_over_are_recovered_and_the_error_of_reading_is_taken_out(wander, series, sd, carry_over, reading):
    found = told(wander, series, sd, carry_over, reading)
    differences = CULTURES * (ROUNDS - 1)
    # The usual values count as 300 differences for the carry-over; so much of the truth they pull away.
    pulled = carry_over + 300.0 / (differences + 300.0) * (USUAL_CARRY_OVER - carry_over)
    middle, error = found.mean(axis=0), found.std(axis=0, ddof=1) / np.sqrt(SHELVES)
    # Four standard errors of the mean of 12 shelves; besides, a carry-over of 0 lies at the edge of what is tried and
    # can only be missed upwards, and the sd is wrong by half of what the carry-over is (s^2 (1 - phi) is kept).
    edge = 0.05 if carry_over == 0.0 else 0.0
    assert abs(middle[1] - pulled) < 4.0 * error[1] + edge
    off = 0.5 * sd * abs(middle[1] - carry_over) / (1.0 - carry_over)
    assert abs(middle[0] - sd) < 4.0 * error[0] + off


def test_decliners_hardly_move_what_is_usual(wander, series):
    steady = told(wander, series, 0.1, 0.35, 0.05)[:, 0].mean()
    # One culture in ten loses 3 % a round throughout, as on the shelves of the study.
    falling = told(wander, series, 0.1, 0.35, 0.05, fall=0.03, falling=CULTURES // 10)[:, 0].mean()
    assert falling == pytest.approx(steady, rel=0.05)


def test_a_trend_hardly_moves_a_cultures_own(wander, series):
    rng = np.random.default_rng(7)
    level = wander(rng, (60, ROUNDS), 0.1, 0.35)
    fallen = level.copy()
    fallen[0] -= 0.03 * np.arange(ROUNDS)
    calm, falling = (scatter_of(series(*of, variance=1e-4)).sd[ROUNDS - 1] for of in (level, fallen))
    # A slope of .03 adds .0009 to a mean square of 2 (.1)^2 (1 - .35) = .013: 7 % of the variance, at most 4 % of the
    # sd; and as much again by chance, for the slope meets the noise of this one culture.
    assert falling == pytest.approx(calm, rel=0.08)


def test_a_restless_culture_is_told_from_a_calm_one_and_a_newcomer_is_as_the_shelf(wander, series):
    rng = np.random.default_rng(8)
    usual = wander(rng, (60, 40), 0.1, 0.35)
    restless, calm = wander(rng, (1, 40), 0.2, 0.35)[0], wander(rng, (1, 40), 0.04, 0.35)[0]
    shelf = series(*usual, restless, calm, usual[0, :1], variance=1e-4)
    found = scatter_of(shelf)
    ends = found.sd[[60 * 40 + 39, 61 * 40 + 39]]
    usual_sd = found.shelf_sd[40 * 60 - 1]
    assert ends[1] < 0.8 * usual_sd
    assert ends[0] > 1.3 * usual_sd
    assert found.sd[-1] == pytest.approx(found.shelf_sd[-1])


def test_one_bad_round_does_not_carry_a_cultures_noise_off(series):
    level = np.where(np.arange(20) == 10, -3.0, 0.0)
    found = scatter_of(series(level, variance=1e-3))
    # Two differences, each counted five times its usual square at most, among 16 of the shelf's and 19 of its own.
    assert found.sd[-1] < found.shelf_sd[-1] * np.sqrt((16.0 + 2.0 * 5.0 * 1.5) / 35.0)


@pytest.mark.parametrize("length", [0, 1, 3])
def test_a_young_shelf_has_the_usual_noise(series, length):
    found = scatter_of(series(np.zeros(length)))
    assert (found.shelf_sd == USUAL_SD).all()
    assert (found.carry_over == USUAL_CARRY_OVER).all()
    assert len(found.sd) == length


def test_levels_all_alike_have_the_least_noise_and_no_fault(series):
    found = scatter_of(series(*np.zeros((40, 30)), variance=0.0))
    assert np.isfinite(found.sd).all()
    assert 0.0 < found.sd[-1] < USUAL_SD / 2.0


def test_what_comes_later_moves_nothing_that_was_known(series):
    rng = np.random.default_rng(9)
    # Half of the shelf is fed in the first days of a round, half towards its middle.
    early, late = np.arange(20.0), np.arange(20.0) + 0.4
    level = rng.normal(0, 0.1, (40, 20))
    at = [early] * 20 + [late] * 20
    whole = series(*level, at=at, variance=1e-3)
    shaken = level.copy()
    shaken[20:, 10] += 5.0  # at 10.4
    then, now = scatter_of(whole), scatter_of(series(*shaken, at=at, variance=1e-3))
    known = whole.at <= 10.0
    assert now.shelf_sd[known] == pytest.approx(then.shelf_sd[known], abs=1e-12)
    assert now.carry_over[known] == pytest.approx(then.carry_over[known], abs=1e-12)
    assert now.sd[known] == pytest.approx(then.sd[known], abs=1e-12)
    assert now.shelf_sd[-1] > then.shelf_sd[-1]
