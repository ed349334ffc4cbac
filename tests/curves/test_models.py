"""The growth curves against their published forms, and every Jacobian against finite differences."""

import numpy as np
import pytest

from leavenbench.curves.composed import CURVES, collapsing, from_start, hold, slope
from leavenbench.curves.models import GROWTH, Model

EXTENT, RATE, LAG = 10.0, 2.0, 3.0
HOURS = np.array([0.0, 1.0, 2.5, 4.0, 5.5, 7.0, 10.0, 14.0])

# Zwietering et al. 1990, doi 10.1128/aem.56.6.1875-1881.1990: forms from memory, numbers computed from them
PUBLISHED = [
    ("logistic", (), 0.0, 0.1212843),
    ("logistic", (), 5.0, 4.0131234),
    ("logistic", (), 10.0, 9.7340301),
    ("gompertz", (), 5.0, 3.9996011),
    ("gompertz", (), 10.0, 9.4132125),
    ("richards", (0.5,), 0.0, 0.0309436),
    ("richards", (0.5,), 5.0, 4.0011220),
    ("richards", (0.5,), 10.0, 9.6139896),
]


@pytest.mark.parametrize(("name", "shape", "hour", "expected"), PUBLISHED)
def test_published_values(name, shape, hour, expected):
    at = GROWTH[name].value(np.array([hour]), np.array([EXTENT, RATE, LAG, *shape]))
    assert at[0] == pytest.approx(expected, abs=5e-8)  # the digits given


# exact algebra on the same forms: hour of the inflection after the lag, in units of extent / rate
INFLECTION = [
    ("logistic", (), 1 / 2),
    ("gompertz", (), 1 / np.e),
    ("richards", (0.5,), 1.5 ** (-1 / 0.5)),
    ("richards", (3.0,), 4.0 ** (-1 / 3.0)),
]


@pytest.mark.parametrize(("name", "shape", "after"), INFLECTION)
def test_slope_at_the_inflection_is_the_rate_and_its_tangent_starts_at_the_lag(name, shape, after):
    curve, p = GROWTH[name], np.array([EXTENT, RATE, LAG, *shape])
    hour = np.array([LAG + after * EXTENT / RATE])
    assert slope(curve, hour, p)[0] == pytest.approx(RATE, rel=1e-12)
    assert slope(curve, hour - 0.2, p)[0] < RATE
    assert slope(curve, hour + 0.2, p)[0] < RATE
    assert hour[0] - curve.value(hour, p)[0] / RATE == pytest.approx(LAG, rel=1e-12)


# exact algebra: exp(-e) and 1 / (1 + e^2)
@pytest.mark.parametrize(("name", "share"), [("logistic", 0.11920292), ("gompertz", 0.06598804)])
def test_share_of_the_extent_at_the_lag(name, share):
    at = GROWTH[name].value(np.array([LAG]), np.array([EXTENT, RATE, LAG]))
    assert at[0] / EXTENT == pytest.approx(share, abs=5e-9)


def test_richards_contains_the_two_others():
    p = [EXTENT, RATE, LAG]
    richards = GROWTH["richards"].value
    np.testing.assert_allclose(richards(HOURS, [*p, 1.0]), GROWTH["logistic"].value(HOURS, p), rtol=1e-12)
    np.testing.assert_allclose(richards(HOURS, [*p, 1e-8]), GROWTH["gompertz"].value(HOURS, p), rtol=1e-6, atol=1e-7)


def _every_model() -> dict[str, tuple[Model, np.ndarray]]:
    """Give every model with parameters at which it bends."""
    found = {}
    for name, curve in CURVES.items():
        of = {"extent": EXTENT, "max_rate": RATE, "lag_h": LAG, "nu": 0.6, "half_gone_h": 9.0, "fall_width_h": 1.3}
        p = np.array([of[parameter] for parameter in curve.parameters])
        found[name] = (curve, p)
        for sign in (1.0, -1.0):
            found[f"{name} from a start, {sign:+.0f}"] = (from_start(curve, sign), np.insert(p, 0, 40.0))
        found[f"{name} without lag"] = (hold(curve, "lag_h", 0.0), np.delete(p, curve.place("lag_h")))
    return found


@pytest.mark.parametrize("name", _every_model())
def test_jacobian_is_the_derivative(name):
    curve, p = _every_model()[name]
    by_hand = curve.jacobian(HOURS, p)
    assert by_hand.shape == (len(HOURS), len(p))
    for place in range(len(p)):
        step = np.zeros(len(p))
        step[place] = 1e-6 * max(abs(p[place]), 1.0)
        difference = (curve.value(HOURS, p + step) - curve.value(HOURS, p - step)) / (2.0 * step[place])
        np.testing.assert_allclose(by_hand[:, place], difference, rtol=1e-6, atol=1e-7)


@pytest.mark.parametrize("name", CURVES)
def test_slope_is_the_derivative_in_time(name):
    curve, p = _every_model()[name]
    difference = (curve.value(HOURS + 1e-6, p) - curve.value(HOURS - 1e-6, p)) / 2e-6
    np.testing.assert_allclose(slope(curve, HOURS, p), difference, rtol=1e-7, atol=1e-7)


@pytest.mark.parametrize("name", CURVES)
def test_many_curves_at_once_are_the_same_as_one_by_one(name):
    curve, p = _every_model()[name]
    many = p[:, None] * np.array([1.0, 1.1, 0.9])
    together = curve.value(HOURS, many[:, :, None])
    for number in range(3):
        np.testing.assert_array_equal(together[number], curve.value(HOURS, many[:, number]))


@pytest.mark.parametrize("name", GROWTH)
def test_far_parameters_give_finite_values(name):
    curve = GROWTH[name]
    shape = [0.5] if name == "richards" else []
    for rate, lag in ((1e6, 3.0), (1e-6, 3.0), (2.0, 1e6), (2.0, -1e6)):
        p = np.array([EXTENT, rate, lag, *shape])
        assert np.isfinite(curve.value(HOURS, p)).all()
        assert np.isfinite(curve.jacobian(HOURS, p)).all()


def test_a_collapse_falls_to_half_at_its_hour_and_back_to_the_start():
    grown = GROWTH["logistic"]
    p = np.array([EXTENT, RATE, LAG, 12.0, 1.0])
    fell = collapsing(grown).value(np.array([12.0, 60.0]), p)
    assert fell[0] == pytest.approx(grown.value(np.array([12.0]), p[:3])[0] / 2.0, rel=1e-12)
    assert fell[1] == pytest.approx(0.0, abs=1e-12)
