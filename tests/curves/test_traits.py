"""Traits against closed forms and against brute force on a fine grid; their derivatives against finite differences."""

import numpy as np
import pytest

from leavenbench.curves.blocks import Block
from leavenbench.curves.choice import choose
from leavenbench.curves.composed import CURVES, LEVELS
from leavenbench.curves.engine import Fits
from leavenbench.curves.noise import INSTRUMENTS
from leavenbench.curves.traits import Estimate, traits
from leavenbench.curves.tried import Choice

HOURS = np.linspace(0.0, 24.0, 25)
OF = {
    "start": 40.0,
    "extent": 60.0,
    "max_rate": 14.0,
    "lag_h": 2.5,
    "nu": 0.6,
    "half_gone_after_h": 11.5,
    "fall_sharpness": 6.4,
}
FALL = {"start": 6.0, "extent": 2.2, "max_rate": 0.5, "lag_h": 1.5}
COLLAPSING = [name for name in CURVES if "collapse" in name]
OF_THE_FALL = {"time_to_peak_h", "ripe_until_h", "collapse_h"}


def parameters(name, kind, other):
    """Return the parameters of a curve as fits have them: turned so that activity raises the readings."""
    of = OF | other
    of["start"] *= INSTRUMENTS[kind].sign
    return np.array([of[parameter] for parameter in LEVELS[name].parameters])


def chosen(name, p, spread=None, held=()):
    """Give curves as if they had been fitted, `p` of shape (p, m); `spread` is the root of their covariance."""
    model, (size, curves) = LEVELS[name], p.shape
    bound = np.repeat([[parameter in held] for parameter in model.parameters], curves, axis=1)
    spread = np.zeros((1, size, curves)) if spread is None else spread
    ones, unseen = np.ones(curves), np.zeros((size, size, curves))
    fits = Fits(model, p, ones, np.full(curves, 10), ones > 0.0, bound, spread, unseen, np.ones((size, curves)))
    return Choice(name, np.arange(curves), fits)


def alone(found):
    """Return the traits of a single curve as plain numbers."""
    return {name: Estimate(*(part[0] for part in it)) for name, it in found.items()}


def told(name, t=HOURS, kind="height_mm", held=(), **other):
    """Return the traits of one curve whose every free parameter is uncertain by 1 % of itself."""
    p = parameters(name, kind, other)[:, None]
    uncertain = 0.01 * np.eye(len(p))[..., None] * p * ~np.isin(LEVELS[name].parameters, held)[:, None]
    return alone(traits(chosen(name, p, uncertain, held), np.asarray(t)[:, None], kind))


def test_logistic_in_closed_form():
    """Logistic algebra: y = A f at lag + (A / mu) (1/2 + ln(f / (1 - f)) / 4)."""
    found = told("logistic")
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
    found = told("gompertz", kind="ph_direct", **FALL)
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


@pytest.mark.parametrize("name", COLLAPSING)
def test_a_collapse_by_brute_force(name):
    t = np.linspace(0.0, 24.0, 2_400_001)
    y = CURVES[name].value(t, parameters(name, "height_mm", {})[1:])
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
    found = told(name)
    assert {trait: found[trait].value for trait in expected} == pytest.approx(expected, abs=2e-5)
    assert not any(it.at_least for it in found.values())


@pytest.mark.parametrize(
    ("kind", "name"),
    [("height_mm", name) for name in CURVES] + [("ph_direct", "logistic"), ("ph_direct", "richards")],
)
def test_standard_errors_are_the_delta_method(kind, name):
    """With one parameter alone uncertain by one unit, a trait's standard error is its derivative.

    Curve i has parameter i uncertain; beside them stand the same curves with parameter i a little more, and less.
    """
    other = {} if kind == "height_mm" else {"start": 6.0, "extent": 2.0, "max_rate": 0.4}
    p = parameters(name, kind, other)
    size, step = len(p), 1e-5 * np.abs(p)
    p = np.repeat(p[:, None], 3 * size, axis=1)
    p[:, size:] += np.hstack([np.diag(step), -np.diag(step)])
    spread = np.tile(np.eye(size), (1, 3))[None]
    found = traits(chosen(name, p, spread), np.repeat(HOURS[:, None], 3 * size, axis=1), kind)
    with_errors = 0
    for trait, it in found.items():
        se, more, less = it.se[:size], it.value[size : 2 * size], it.value[2 * size :]
        assert (np.isfinite(se) | it.at_least[:size] | (it.why[:size] != "")).all()
        if np.isfinite(se).all():
            with_errors += 1
            np.testing.assert_allclose(se, np.abs(more - less) / (2 * step), rtol=2e-5, atol=2e-5, err_msg=trait)
    assert with_errors >= (9 if "collapse" in name else 7)


def test_a_window_that_closes_early_gives_what_was_seen():
    t = np.linspace(0.0, 5.0, 11)  # the inflection is at 2.5 + 60 / 28 = 4.64 h
    found = told("logistic", t)
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
    found = told("logistic", np.linspace(0.0, 4.0, 9))
    grown, before = 1 / (1 + np.exp(4 * 14 * (2.5 - np.array([4.0, 8 / 3])) / 60 + 2))  # Zwietering's logistic
    slope = 60 * (grown - before) / (4.0 / 3.0)  # over the last third of the window, mm/h
    assert found["max_rate"].value == pytest.approx(slope / 0.4, rel=1e-9)
    assert found["max_rate"].value < 35.0
    assert found["lag_h"].value == pytest.approx(4.0 - 60 * grown / slope, rel=1e-9)
    assert found["lag_h"].value < 2.5
    assert found["max_rate"].at_least
    assert found["lag_h"].at_least


def test_a_peak_beyond_the_last_reading_is_not_reported():
    found = told("logistic with collapse", np.linspace(0.0, 6.0, 13))
    assert found["extent"].at_least
    assert found["time_to_peak_h"][:4] == (6.0, pytest.approx(np.nan, nan_ok=True), True, "")


def test_a_rise_between_two_readings_bounds_slope_and_hours():
    t = np.array([0.0, 1.0, 2.0, 3.0, 8.0, 9.0, 10.0])
    y = np.array([40.0, 40.2, 39.9, 40.1, 90.1, 89.8, 90.1])
    block = Block(np.array([0]), t[:, None], y[:, None], None, np.array([7]))
    (choice,) = choose(block, "height_mm")
    found = alone(traits(choice, block.t, "height_mm"))
    assert found["max_rate"].at_least
    assert np.isnan(found["max_rate"].se)
    # the line between the readings at 3 and 8 h climbs 10 mm/h on 40 mm
    assert found["max_rate"].value == pytest.approx(25.0, rel=0.01)
    assert found["lag_h"][:3] == (3.0, pytest.approx(np.nan, nan_ok=True), True)
    assert found["time_to_double_h"][:3] == (3.0, pytest.approx(np.nan, nan_ok=True), True)
    assert found["extent"].value == pytest.approx(125.0, rel=0.01)
    assert found["extent"].se > 0.0
    assert "between the readings at 3 and 8 h" in found["max_rate"].why


def test_ph_already_sour_is_said_not_extrapolated():
    late = told("logistic", np.linspace(8.0, 20.0, 7), "ph_direct", **FALL)["time_to_ph_4_6_h"]
    assert np.isnan(late.value)
    assert late.why == "pH was 4.6 or below already at the first reading"
    short = told("logistic", np.linspace(0.0, 3.0, 7), "ph_direct", **FALL)["time_to_ph_4_6_h"]
    assert np.isnan(short.value)
    assert short.why == "pH 4.6 was not reached within the readings"
    sour = told("logistic", kind="ph_direct", **FALL | {"start": 4.5, "extent": 0.8})
    assert sour["time_to_ph_4_6_h"].value == 0.0


@pytest.mark.parametrize("name", ["logistic", "richards", "gompertz with collapse"])
def test_a_lag_at_zero_has_no_standard_error_and_the_reason_says_so(name):
    free = told(name, lag_h=0.1)
    held = told(name, lag_h=0.0, held=("lag_h",))
    assert free["lag_h"].se > 0.0
    assert held["lag_h"].value == pytest.approx(0.0, abs=1e-6)
    assert np.isnan(held["lag_h"].se)
    assert held["lag_h"].why == "it began at once: the lag is zero, without a standard error"
    assert not held["lag_h"].at_least
    assert held["extent"].se > 0.0
    assert held["max_rate"].se > 0.0


@pytest.mark.parametrize("name", COLLAPSING)
def test_hours_of_a_fall_that_is_a_step_to_the_readings_are_at_least_those_of_the_reading_before(name):
    """Read every hour."""
    free, held = (told(name, fall_sharpness=30.0, held=held) for held in ((), ("fall_sharpness",)))
    for trait in OF_THE_FALL:
        assert free[trait].se > 0.0
        assert held[trait].value == np.floor(free[trait].value)
        assert np.isnan(held[trait].se)
        assert held[trait].at_least
        assert held[trait].why == (
            "it fell between two readings: the hours of the fall are at least those of the reading before"
        )
    before = {trait: it for trait, it in held.items() if trait not in OF_THE_FALL}
    assert all(it.se > 0.0 and not it.why for it in before.values())


@pytest.mark.parametrize("name", COLLAPSING)
def test_hours_of_an_even_leak_keep_their_standard_errors(name):
    """The least sharp fall is a curve of its own: no error of a sharpness is counted, every other one is."""
    free, held = (told(name, fall_sharpness=-4.0, held=held) for held in ((), ("fall_sharpness",)))
    for trait in OF_THE_FALL:
        assert held[trait].value == free[trait].value
        assert 0.0 < held[trait].se < free[trait].se
        assert not held[trait].why


def test_curves_side_by_side_are_read_as_each_alone():
    """Windows that close early, late and between two readings, padded to one length, by all their numbers."""
    windows = [np.linspace(0.0, end, size) for end, size in ((24.0, 25), (5.0, 11), (4.0, 9), (18.0, 7), (16.0, 4))]
    t = np.array([np.append(hours, np.full(25 - len(hours), hours[-1])) for hours in windows]).T
    for name in CURVES:
        p = np.repeat(parameters(name, "height_mm", {})[:, None], len(windows), axis=1)
        spread = 0.01 * np.eye(len(p))[..., None] * p
        together = traits(chosen(name, p, spread), t, "height_mm")
        for number, hours in enumerate(windows):
            one = told(name, hours)
            assert {trait: Estimate(*(part[number] for part in it)) for trait, it in together.items()} == {
                trait: (
                    pytest.approx(it.value, rel=1e-9, nan_ok=True),
                    pytest.approx(it.se, rel=1e-6, nan_ok=True),
                    *it[2:5],
                    pytest.approx(it.alone, rel=1e-9, nan_ok=True),
                    pytest.approx(it.alone_se, rel=1e-6, nan_ok=True),
                )
                for trait, it in one.items()
            }, (name, number)
