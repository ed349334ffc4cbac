"""The keeper's dial holds on healthy shelves that no threshold was made of."""

from __future__ import annotations

import numpy as np
import pytest

from leavenbench.simulate.levels import simulate_healthy_levels
from leavenbench.watch.alert import DIAL, Evidence, entries, in_alert
from leavenbench.watch.calibration.conditions import conditions_of
from leavenbench.watch.calibration.threshold import _LEFT_ON_A_SHELF, threshold_for
from leavenbench.watch.changes import changes
from leavenbench.watch.extra_steps import evidence_of_extra_steps
from leavenbench.watch.scatter import scatter_of
from leavenbench.watch.series import Series

ROUND_DAYS = 60.0


def healthy(seed, *, sd=0.08, cultures=100, rounds=36, **of):
    """Return a healthy shelf that no law was made of, and its evidence: other chance, other size, other length."""
    drawn = simulate_healthy_levels(np.random.default_rng([seed, 4242]), cultures, rounds, **of)
    shelf = Series(sd * drawn.level, sd**2 * drawn.variance, drawn.at, drawn.first)
    scatter = scatter_of(shelf)
    evidence = Evidence.of(shelf, changes(shelf, scatter), evidence_of_extra_steps(shelf, drawn.extra_steps))
    return shelf, evidence, conditions_of(shelf, scatter, drawn.extra_steps)


def false_alerts(dial, shelves, **of):
    """Return how often healthy shelves raised an alert, and how often they may by the dial."""
    found = allowed = 0.0
    for seed in range(shelves):
        shelf, evidence, conditions = healthy(seed, **of)
        threshold = threshold_for(conditions, dial, ROUND_DAYS).of(shelf.nth)
        found += entries(in_alert(evidence, threshold), shelf.first).sum()
        # No alert comes before the fourth round; the law counts its rounds from there on.
        allowed += dial / 100.0 * (shelf.nth >= 3).sum() * ROUND_DAYS / 365.25 / _LEFT_ON_A_SHELF
    return found, allowed


@pytest.mark.parametrize(
    ("dial", "of"),
    [
        (2.0, {"reading_error": 0.5, "carry_over": 0.3, "missing": 0.05}),
        (2.0, {"reading_error": 0.9, "carry_over": 0.5, "missing": 0.0, "extra_steps": 0.04}),
        (5.0, {"reading_error": 0.5, "carry_over": 0.3, "missing": 0.05}),
        (5.0, {"reading_error": 0.3, "carry_over": 0.1, "missing": 0.02, "extra_steps": 0.02}),
    ],
)
def test_fresh_healthy_shelves_keep_to_the_dial(dial, of):
    found, allowed = false_alerts(dial, 10, **of)
    # Four Poisson standard errors of the count, and 15 % for the law: its own counts, its rounding of conditions.
    assert abs(found - allowed) < 4.0 * np.sqrt(allowed) + 0.15 * allowed


@pytest.mark.parametrize("sd", [0.04, 0.15])
def test_whatever_the_size_of_the_noise_the_dial_is_not_passed_nor_far_from_reached(sd):
    found, allowed = false_alerts(3.0, 10, sd=sd, reading_error=0.5, carry_over=0.3, missing=0.05)
    # Paces are steps of log vigour and laws are made at one sd, so that calm shelves raise fewer: a third at least.
    error = 4.0 * np.sqrt(allowed) + 0.15 * allowed
    assert allowed / 3.0 < found < allowed + error


def test_at_the_ends_of_the_dial_and_of_the_calendar_alerts_are_neither_always_nor_never():
    shelf, evidence, conditions = healthy(1, reading_error=0.5, carry_over=0.3, missing=0.05)
    for days in (7.0, 60.0, 365.0):
        for dial in (0.0, *DIAL, 1e6):
            threshold = threshold_for(conditions, dial, days).of(shelf.nth)
            share = in_alert(evidence, threshold).mean()
            # Never so low that a shelf on which nothing happens stands in alert, nor so high that a sure decline is
            # passed over (log odds of 10 are 22,000 to 1).
            assert share < 0.25, (days, dial, threshold.min())
            assert threshold.max() < 10.0, (days, dial)
