"""The law of false alerts: it says how many a threshold brings, on levels that it was not made of."""

from __future__ import annotations

import numpy as np
import pytest

from leavenbench.simulate.levels import simulate_healthy_levels
from leavenbench.watch.alert import Evidence, entries, in_alert
from leavenbench.watch.calibration.conditions import Conditions
from leavenbench.watch.calibration.law import Law, simulate_law
from leavenbench.watch.changes import changes
from leavenbench.watch.scatter import scatter_of
from leavenbench.watch.series import Series


def test_it_says_how_many_false_alerts_a_threshold_brings_by_age():
    law, counts, rounds = simulate_law(Conditions(0.6, 0.35, 0.0, 0.0, 150), 1500), np.zeros(4), np.zeros(4)
    for seed in range(5):
        drawn = simulate_healthy_levels(
            np.random.default_rng([seed, 77]), 150, 45, reading_error=0.6, carry_over=0.35, missing=0.0
        )
        shelf = Series(0.08 * drawn.level, 0.08**2 * drawn.variance, drawn.at, drawn.first)
        evidence = Evidence.of(shelf, changes(shelf, scatter_of(shelf)), np.zeros(len(shelf.level)))
        band = np.digitize(shelf.nth, (3, 8, 16, 30)) - 1
        began = band[entries(in_alert(evidence, 0.0), shelf.first)]
        counts += np.bincount(began[began >= 0], minlength=4)
        rounds += np.bincount(band[band >= 0], minlength=4)
    expected = rounds / 100.0 * np.exp(law.at_zero)
    # Poisson on both sides: the law rests on two cultures for each one counted here.
    assert (np.abs(counts - expected) < 4.0 * np.sqrt(expected * (1.0 + 1.0 / 2.0))).all()


def test_it_is_always_the_same_for_the_same_conditions_and_another_for_others():
    one = Conditions(0.6, 0.4, 0.0, 0.0, 150)
    first, again = simulate_law(one, 300), simulate_law(one, 300)
    assert all((a == b).all() for a, b in zip(first, again, strict=True))
    assert (simulate_law(one._replace(carry_over=0.6), 300).at_zero != first.at_zero).any()


def test_fewer_false_alerts_need_more_evidence_at_any_age():
    law = Law(np.array([-1.5, -0.8, -0.7, -0.6]), np.array([1.1, 0.8, 0.75, 0.7]))
    ages = np.array([0.0, 3.0, 7.0, 15.0, 30.0, 300.0])
    thresholds = np.array([law.threshold(rate, ages) for rate in (2.0, 1.0, 0.3, 0.05)])
    assert (np.diff(thresholds, axis=0) > 0.0).all()
    assert law.threshold(1.0, np.array([5.0, 37.0])) == pytest.approx([-1.5 / 1.1, -0.6 / 0.7])
    # At its own threshold a law gives back the rate it was asked for.
    assert np.exp(-0.8 - 0.8 * law.threshold(0.3, np.array([11.5]))) == pytest.approx(0.3)


@pytest.mark.parametrize("missing", [0.4, 0.5])
def test_shelves_that_miss_half_of_their_rounds_have_a_law_too(missing):
    law = simulate_law(Conditions(0.4, 0.35, 0.0, missing, 150), 1500)
    threshold = law.threshold(0.23, np.array([5.0, 11.5, 22.5, 37.0]))
    assert np.isfinite(threshold).all()
    assert np.ptp(threshold) < 3.0
