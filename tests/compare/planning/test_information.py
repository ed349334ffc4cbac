"""What readings tell before they are made, against fits and against every plan there is."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from scipy.optimize import curve_fit

from leavenbench.columns import RESULTS
from leavenbench.compare.planning.information import best_hours, errors_at, gain_of_a_reading, levels, working_hours
from leavenbench.compare.planning.usual_curves import UsualCurves
from leavenbench.curves.composed import LEVELS
from leavenbench.errors import CannotRead

HOURS = np.array([0.0, 1, 2, 3, 4, 5, 6, 8, 12])


def several(signal="rise", until_h=np.inf, kept=HOURS):
    """Curves of a culture whose lag and pace vary."""
    if signal == "rise":
        parameters = np.array([[40.0, 42, 38, 41], [45.0, 50, 40, 48], [14.0, 18, 12, 15], [1.5, 2.0, 2.5, 3.0]])
        kind, unit, sd = "height_mm", "mm", 1.5
    else:
        parameters = np.array(
            [[5.9, 6.0, 5.8, 5.9], [2.0, 2.1, 1.9, 2.0], [0.3, 0.25, 0.35, 0.3], [1.0, 1.5, 2.0, 1.2]]
        )
        kind, unit, sd = "ph_direct", "pH", 0.04
    growth = np.array(["logistic", "gompertz", "logistic", "gompertz"])
    return UsualCurves("Ida", signal, kind, unit, growth, parameters, np.full(4, until_h), sd, np.asarray(kept, float))


@pytest.mark.parametrize("signal", ["rise", "acid"])
def test_errors_are_those_of_curve_fit(signal):
    """scipy.optimize.curve_fit on exact readings with their error known: its covariance, by the delta method."""
    curves = several(signal)
    found = errors_at(curves, HOURS)
    for place, growth in enumerate(curves.growth):
        true, level = curves.parameters[:, place], LEVELS[growth].value

        def curve(t, *p, level=level):
            return level(t, np.array(p))

        known = {"p0": true, "sigma": np.full(len(HOURS), curves.sd), "absolute_sigma": True, "ftol": 1e-15}
        _, covariance = curve_fit(curve, HOURS, curve(HOURS, *true), **known)
        start, extent, rate, _ = true
        of_start = -1.0 / start if signal == "rise" else 0.0
        gradients = ([of_start, 0, 1 / rate, 0], [0, 0, 0, 1], [of_start, 1 / extent, 0, 0])
        expected = [np.sqrt(np.array(of) @ covariance @ np.array(of)) for of in gradients]
        assert found[:, place] == pytest.approx(expected, rel=1e-3)


def test_too_few_readings_leave_a_curve_open():
    assert np.isinf(errors_at(several(), [0.0, 4.0])).all()
    early = errors_at(several(), [0.0, 0.1, 0.2, 0.3, 3.0, 3.1, 3.2])
    assert (early[2] > errors_at(several(), HOURS)[2]).all()


def test_after_the_fall_nothing_more_is_learnt_of_the_rise():
    curves = several(until_h=6.0)
    with_late, without = errors_at(curves, [*HOURS, 10.0, 20.0]), errors_at(curves, HOURS)
    assert with_late == pytest.approx(without)
    gains = gain_of_a_reading(curves, HOURS)
    assert (gains.loc[gains["elapsed_h"] > 6.0, "all_gain_pct"].abs() < 1e-9).all()


@pytest.mark.parametrize("aim", ["all", "max_rate", "lag_h"])
def test_the_best_hours_are_the_best_of_all(aim):
    """Against every set of five among twelve hours, by the same measure of a plan."""
    from leavenbench.compare.planning.information import _Plan

    curves, hours = several(), np.arange(0.0, 12.0)
    plan = _Plan(curves, hours, aim)
    every = [(0, *of) for of in combinations(range(1, 12), 4)]
    losses = [float(plan.loss(plan.each[list(of)].sum(axis=0))) for of in every]
    text = best_hours(curves, hours, [5], aim)["hours"].iloc[-1]
    chosen = [int(hour) for hour in text.split(", ")]
    assert float(plan.loss(plan.each[chosen].sum(axis=0))) == pytest.approx(min(losses), abs=2e-3)


def test_more_readings_know_more_and_a_good_plan_more_than_the_usual_one():
    kept = [0.0, 0.5, 9.0, 10.0, 11.0, 12.0]
    found = best_hours(several(kept=kept), working_hours())
    assert list(found.columns) == RESULTS["reading_plans"].names
    best = found[found["plan"] == "best"]
    assert best["readings"].tolist() == list(range(4, 11))
    together = best["max_rate_se_pct"] * best["lag_se_h"] * best["extent_se_pct"]
    assert (np.diff(together) < 0.0).all()
    now = found.iloc[0]
    six = best[best["readings"] == 6].iloc[0]
    assert six["max_rate_se_pct"] < 0.5 * now["max_rate_se_pct"]


def test_an_aim_serves_itself():
    rate, extent = (best_hours(several(), aim=aim, readings=[6]).iloc[-1] for aim in ("max_rate", "extent"))
    assert rate["max_rate_se_pct"] < extent["max_rate_se_pct"]
    assert extent["extent_se_pct"] < rate["extent_se_pct"]


def test_hours_are_those_of_the_day_and_what_cannot_be_is_said():
    allowed = set(working_hours(16.0, 8.0, 18.0, 20.0).tolist())
    found = best_hours(several(), working_hours(16.0, 8.0, 18.0, 20.0), [6])["hours"].iloc[-1]
    assert {float(hour) for hour in found.split(", ")} <= allowed
    for closes, opens in ((8.0, 18.0), (30.0, 8.0)):
        with pytest.raises(CannotRead):
            working_hours(8.0, opens, closes)
    with pytest.raises(CannotRead, match="nothing to aim for"):
        best_hours(several(), aim="taste")
    with pytest.raises(CannotRead, match="cannot be had"):
        best_hours(several(), np.array([1.0, 2.0]), [9])


def test_a_further_reading_teaches_what_its_errors_say():
    curves = several()
    gains = gain_of_a_reading(curves, HOURS, np.array([2.5]))
    before, after = errors_at(curves, HOURS), errors_at(curves, [*HOURS, 2.5])
    expected = -100 * np.expm1(np.log(after / before).mean(axis=1))
    found = gains[["max_rate_gain_pct", "lag_h_gain_pct", "extent_gain_pct"]].iloc[0].to_numpy()
    assert found == pytest.approx(expected, rel=0.1)  # a trait that nothing is read of counts as little known
    assert list(gains.columns) == RESULTS["gain_of_a_reading"].names


def test_a_ph_falls_and_a_rise_rises():
    rise, acid = levels(several(), HOURS), levels(several("acid"), HOURS)
    assert (np.diff(rise, axis=0) > 0.0).all()
    assert (np.diff(acid, axis=0) < 0.0).all()
    start, extent = several("acid").parameters[:2]
    assert levels(several("acid"), np.array([60.0]))[0] == pytest.approx(start - extent, abs=0.01)
