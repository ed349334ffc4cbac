"""Rounds left until half strength, against declines whose end is known."""

from __future__ import annotations

import numpy as np
import pytest

from leavenbench.watch.alert import Evidence, entries, in_alert
from leavenbench.watch.changes import PACES, Changes, changes
from leavenbench.watch.forecast import _AS_GOOD_AS_BASELINE, forecast, two_years
from leavenbench.watch.scatter import scatter_of

CAP = two_years(60.0)


def of_rows(found, rows):
    return Changes(*(of[rows] for of in found))


def looked_ahead(found, waited=0.0, decline=True, half_pct=50.0, most=CAP, extra=0.0):
    many = len(found.since)
    return forecast(found, np.full(many, extra), np.full(many, waited), np.full(many, decline), half_pct, most)


@pytest.fixture
def ramp(series, wanders):
    """Return a function that gives what a clean fall of a pace says after so many rounds."""

    def make(pace, rounds, before=0.0, normal=12):
        level = before - np.concatenate([np.zeros(normal), pace * np.arange(1.0, rounds + 1)])
        shelf = series(level, variance=1e-5)
        return changes(shelf, wanders(shelf, 0.01, 0.0), np.array([len(level) - 1]))

    return make


def test_two_years_of_rounds():
    assert two_years(60.0) == pytest.approx(12.175)  # 730.5 d / 60 d


@pytest.mark.parametrize("pace", PACES[2:6])
def test_a_clean_fall_at_a_pace_that_was_tried_ends_when_it_ends(ramp, pace):
    found = looked_ahead(ramp(pace, 5), most=100.0)
    left = np.log(2.0) / pace - 5
    assert found.rounds_left[0, 1] == pytest.approx(left, abs=1e-9)
    assert found.rounds_left[0, 0] <= max(left - 0.5, 0.0) + 1e-9
    assert found.rounds_left[0, 2] >= left + 0.5 - 1e-9
    assert found.change[0, 0] < -pace < found.change[0, 2]
    assert found.probability[0] > 0.99


def test_a_lower_start_or_a_higher_bar_leaves_less(ramp):
    usual = looked_ahead(ramp(0.06, 5), most=100.0).rounds_left[0, 1]
    lower = looked_ahead(ramp(0.06, 5, before=-0.2), most=100.0).rounds_left[0, 1]
    beyond = 0.2 - _AS_GOOD_AS_BASELINE
    assert lower == pytest.approx(usual - beyond / 0.06, abs=0.05)  # the level before is estimated
    near = looked_ahead(ramp(0.06, 5, before=-0.1), most=100.0).rounds_left[0, 1]
    assert near == pytest.approx(usual, abs=1e-9)
    higher = looked_ahead(ramp(0.06, 5), half_pct=70.0, most=100.0).rounds_left[0, 1]
    assert higher == pytest.approx(usual - (np.log(0.7) - np.log(0.5)) / 0.06, abs=1e-9)


def test_time_runs_out_while_one_waits(ramp):
    found = ramp(0.06, 5)
    left = np.array([looked_ahead(found, waited, most=100.0).rounds_left[0] for waited in np.arange(0.0, 15.0, 0.5)])
    assert (np.diff(left, axis=0) <= 0.0).all()
    assert left[2] == pytest.approx(np.maximum(left[0] - 1.0, 0.0))
    assert (left[-1] == 0.0).all()


def test_never_beyond_two_years_nor_below_none(ramp):
    slow, gone = looked_ahead(ramp(0.015, 12)), looked_ahead(ramp(0.19, 12))
    assert (slow.rounds_left[0] == CAP).all()
    assert (gone.rounds_left[0] == 0.0).all()


def test_where_nothing_falls_the_rounds_are_not_within_two_years(series, wanders):
    still = series(0.02 * np.sin(5.0 * np.arange(20.0)), variance=1e-3)
    found = changes(still, wanders(still, 0.05, 0.3), np.array([19]))
    calm = looked_ahead(found, decline=False)
    assert calm.probability[0] < 0.1
    assert (calm.rounds_left[0] == CAP).all()
    assert (looked_ahead(found, decline=True).rounds_left[0, 0]) < CAP  # an alert takes the decline for granted


def test_probability_is_the_share_of_the_odds(ramp):
    found = ramp(0.04, 2)
    odds, step = found.decline[0], found.step[0]
    for extra in (0.0, 1.0):
        expected = np.exp(odds + extra) / (1.0 + np.exp(odds + extra) + np.exp(step))
        assert looked_ahead(found, extra=extra).probability[0] == pytest.approx(expected)


def test_intervals_are_in_order(series, wander):
    rng = np.random.default_rng(1)
    shelf = series(*wander(rng, (40, 20), 0.1, 0.35), np.zeros(1), np.zeros(2), variance=0.0025)
    found = looked_ahead(changes(shelf, scatter_of(shelf)), decline=False)
    for of in (found.rounds_left, found.change):
        assert np.isfinite(of).all()
        assert (np.diff(of, axis=1) >= 0.0).all()
    assert ((found.probability >= 0.0) & (found.probability <= 1.0)).all()


def test_nothing_to_forecast_is_no_fault(series, wanders):
    nothing = series(np.empty(0))
    assert looked_ahead(changes(nothing, wanders(nothing, 0.1, 0.3))).rounds_left.shape == (0, 3)


@pytest.fixture(scope="module")
def alerted(series, wander):
    """Return alerts of shelves of which one culture in seven falls: what was found, row, round, round of its half."""
    told = []
    for seed in range(8):
        rng = np.random.default_rng(seed)
        level = wander(rng, (280, 40), 0.1, 0.35) + rng.normal(0, 0.05, (280, 40))
        falls, onset = -np.log1p(-rng.choice([0.03, 0.05, 0.08, 0.12], 40)), rng.integers(6, 16, 40)
        level[:40] -= falls[:, None] * np.maximum(0, np.arange(40) - onset[:, None])
        shelf = series(*level, variance=0.0025)
        found = changes(shelf, scatter_of(shelf))
        states = in_alert(Evidence.of(shelf, found, np.zeros(len(shelf.level))), 1.0)
        began = entries(states, shelf.first).reshape(280, 40)[:40] & (np.arange(40) > onset[:, None])
        for culture, rounds in enumerate(began):
            if rounds.any():
                half = onset[culture] + np.log(2.0) / falls[culture]
                told.append((found, 40 * culture + rounds.argmax(), rounds.argmax(), half))
    return told


@pytest.mark.parametrize("later", [0, 1, 2, 3])
def test_an_80_pct_interval_covers_true_declines(alerted, later):
    covered = []
    for found, row, alert, half in alerted:
        if half < 40 and alert + later < half:  # whose half strength lies within the record, and still ahead
            low, _, high = looked_ahead(of_rows(found, np.array([row + later]))).rounds_left[0]
            covered.append(low <= min(half - alert - later, CAP) <= high)
    assert len(covered) > 150
    # The figure to reach is 78 to 92 %; four binomial standard errors of what was simulated here.
    error = np.sqrt(0.85 * 0.15 / len(covered))
    assert 0.78 - 4.0 * error < np.mean(covered) < 0.92 + 4.0 * error
