"""Traits against closed forms and against brute force on a fine grid; their derivatives against finite differences."""

import numpy as np
import pytest

from leavenbench.curves.choice import Choice, choose
from leavenbench.curves.composed import CURVES, level_curve
from leavenbench.curves.engine import Fit
from leavenbench.curves.traits import traits

HOURS = np.linspace(0.0, 24.0, 25)
OF = {
    "start": 40.0,
    "extent": 60.0,
    "max_rate": 14.0,
    "lag_h": 2.5,
    "nu": 0.6,
    "half_gone_h": 14.0,
    "fall_width_h": 1.8,
}


def chosen(name, sign=1.0, spread=None, **other):
    """Give a curve as if it had been fitted; `spread` stands in for the square root of the covariance."""
    curve = level_curve(name, sign)
    p = np.array([(OF | other)[parameter] for parameter in curve.parameters])
    spread = np.zeros((1, len(p))) if spread is None else spread
    fit = Fit(curve, p, 1.0, 10, True, spread, np.zeros((0, len(p))), np.ones(len(p)))
    return Choice(name, fit, sign, at_once=False)


def test_logistic_in_closed_form():
    """Logistic algebra: y = A f at lag + (A / mu) (1/2 + ln(f / (1 - f)) / 4)."""
    found = traits(chosen("logistic"), HOURS, "height_mm")
    hour = {share: 2.5 + 60 / 14 * (0.5 + np.log(share / (1 - share)) / 4) for share in (0.95, 0.9, 40 / 60)}
    expected = {
        "start_height_mm": 40.0,
        "extent": 150.0,
        "max_rate": 35.0,
        "lag_h": 2.5,
        "time_to_peak_h": hour[0.95],
        "ripe_from_h": hour[0.9],
        "time_to_double_h": hour[40 / 60],
        "ripe_until_h": 24.0,
    }
    assert {name: found[name].value for name in expected} == pytest.approx(expected, rel=1e-9)
    assert [name for name, it in found.items() if it.at_least] == ["ripe_until_h"]
    assert np.isnan(found["collapse_h"].value)
    assert found["collapse_h"].why == "no collapse was seen"


def test_gompertz_fall_of_ph_in_closed_form():
    """Gompertz algebra: y = A f at lag + A (1 - ln(-ln f)) / (e mu)."""
    found = traits(chosen("gompertz", -1.0, start=6.0, extent=2.2, max_rate=0.5, lag_h=1.5), HOURS, "ph_direct")
    at = lambda share: 1.5 + 2.2 / (np.e * 0.5) * (1 - np.log(-np.log(share)))  # noqa: E731
    expected = {
        "extent": 2.2,
        "max_rate": 0.5,
        "lag_h": 1.5,
        "time_to_peak_h": at(0.95),
        "time_to_ph_4_6_h": at((6.0 - 4.6) / 2.2),
        "ph_start": 6.0 - 2.2 * np.exp(-np.exp(0.5 * np.e * 1.5 / 2.2 + 1)),
        "ph_end": 6.0 - 2.2 * np.exp(-np.exp(0.5 * np.e * (1.5 - 24) / 2.2 + 1)),
    }
    assert {name: found[name].value for name in expected} == pytest.approx(expected, rel=1e-9)
    assert set(found) == set(expected)


@pytest.mark.parametrize("name", [name for name in CURVES if "collapse" in name])
def test_a_collapse_by_brute_force(name):
    choice = chosen(name)
    t = np.linspace(0.0, 24.0, 2_400_001)
    y = choice.fit.value(t) - 40.0
    steep = np.gradient(y, t)
    peak, after = int(np.argmax(y)), int(np.argmax(steep))
    rise, fell = y[: peak + 1], y[peak:]
    expected = {
        "extent": y[peak] / 0.4,
        "max_rate": steep[after] / 0.4,
        "lag_h": t[after] - y[after] / steep[after],
        "time_to_peak_h": t[peak],
        "time_to_double_h": t[np.searchsorted(rise, 40.0)],
        "ripe_from_h": t[np.searchsorted(rise, 0.9 * y[peak])],
        "ripe_until_h": t[peak + np.argmax(fell < 0.9 * y[peak])],
        "collapse_h": t[peak + np.argmax(fell < 0.8 * y[peak])],
    }
    found = traits(choice, HOURS, "height_mm")
    assert {trait: found[trait].value for trait in expected} == pytest.approx(expected, abs=2e-5)
    assert not any(it.at_least for it in found.values())


@pytest.mark.parametrize(("sign", "name"), [(1.0, name) for name in CURVES] + [(-1.0, "logistic"), (-1.0, "richards")])
def test_standard_errors_are_the_delta_method(sign, name):
    """With one parameter alone uncertain by one unit, a trait's standard error is its derivative."""
    kind, other = ("height_mm", {}) if sign > 0 else ("ph_direct", {"start": 6.0, "extent": 2.0, "max_rate": 0.4})
    curve = level_curve(name, sign)
    for place, parameter in enumerate(curve.parameters):
        one = np.eye(len(curve.parameters))[[place]]
        found = traits(chosen(name, sign, one, **other), HOURS, kind)
        value = (OF | other)[parameter]
        step = 1e-5 * value
        more, less = (
            traits(chosen(name, sign, **(other | {parameter: value + way * step})), HOURS, kind) for way in (1, -1)
        )
        for trait, it in found.items():
            assert np.isfinite(it.se) or it.at_least or it.why
            if np.isfinite(it.se):
                derivative = (more[trait].value - less[trait].value) / (2 * step)
                assert it.se == pytest.approx(abs(derivative), rel=2e-5, abs=2e-5), (trait, parameter)


def test_a_window_that_closes_early_gives_what_was_seen():
    t = np.linspace(0.0, 5.0, 11)  # the inflection is at 2.5 + 60 / 28 = 4.64 h
    found = traits(chosen("logistic"), t, "height_mm")
    seen = 150.0 / (1 + np.exp(4 * 14 * (2.5 - 5.0) / 60 + 2))  # Zwietering's logistic at 5 h, in % of 40 mm
    assert found["extent"].value == pytest.approx(seen, rel=1e-9)
    assert found["max_rate"].value == pytest.approx(35.0, rel=1e-9)
    assert found["time_to_peak_h"].value == found["ripe_until_h"].value == 5.0
    assert {name for name, it in found.items() if it.at_least} == {
        "extent",
        "time_to_peak_h",
        "ripe_from_h",
        "ripe_until_h",
    }


def test_a_window_that_closes_before_the_inflection_bounds_the_slope_too():
    t = np.linspace(0.0, 4.0, 9)
    found = traits(chosen("logistic"), t, "height_mm")
    grown = 1 / (1 + np.exp(4 * 14 * (2.5 - 4.0) / 60 + 2))
    slope = 4 * 14 * grown * (1 - grown)  # derivative of the logistic, mm/h
    assert found["max_rate"].value == pytest.approx(slope / 0.4, rel=1e-9)
    assert found["max_rate"].value < 35.0
    assert found["lag_h"].value == pytest.approx(4.0 - 60 * grown / slope, rel=1e-9)
    assert found["lag_h"].value < 2.5
    assert found["max_rate"].at_least
    assert found["lag_h"].at_least


def test_a_peak_beyond_the_last_reading_is_not_reported():
    found = traits(chosen("logistic with collapse"), np.linspace(0.0, 6.0, 13), "height_mm")
    assert found["extent"].at_least
    assert found["time_to_peak_h"] == (6.0, pytest.approx(np.nan, nan_ok=True), True, "")


def test_a_rise_between_two_readings_bounds_slope_and_hours():
    t = np.array([0.0, 1.0, 2.0, 3.0, 8.0, 9.0, 10.0])
    y = np.array([40.0, 40.2, 39.9, 40.1, 90.1, 89.8, 90.1])
    found = traits(choose(t, y, 1.0), t, "height_mm")
    assert found["max_rate"].at_least
    # the line between the readings at 3 and 8 h climbs 10 mm/h on 40 mm
    assert found["max_rate"].value == pytest.approx(25.0, rel=0.01)
    assert found["lag_h"][:3] == (3.0, pytest.approx(np.nan, nan_ok=True), True)
    assert found["time_to_double_h"][:3] == (3.0, pytest.approx(np.nan, nan_ok=True), True)
    assert found["extent"].value == pytest.approx(125.0, rel=0.01)
    assert found["extent"].se > 0.0
    assert "between the readings at 3 and 8 h" in found["max_rate"].why


def test_ph_already_sour_is_said_not_extrapolated():
    falls = {"start": 6.0, "extent": 2.2, "max_rate": 0.5, "lag_h": 1.5}
    late = traits(chosen("logistic", -1.0, **falls), np.linspace(8.0, 20.0, 7), "ph_direct")["time_to_ph_4_6_h"]
    assert np.isnan(late.value)
    assert late.why == "pH was 4.6 or below already at the first reading"
    short = traits(chosen("logistic", -1.0, **falls), np.linspace(0.0, 3.0, 7), "ph_direct")["time_to_ph_4_6_h"]
    assert np.isnan(short.value)
    assert short.why == "pH 4.6 was not reached within the readings"
    sour = traits(chosen("logistic", -1.0, **(falls | {"start": 4.5, "extent": 0.8})), HOURS, "ph_direct")
    assert sour["time_to_ph_4_6_h"].value == 0.0
