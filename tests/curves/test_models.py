"""The growth curves against their published forms, and every Jacobian against finite differences."""

import numpy as np
import pytest

from leavenbench.curves.composed import CURVES, LEVELS, collapsing, fall_width_h, share_held, slope
from leavenbench.curves.models import GROWTH, Model, inflection_share, time_of_share

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


BENT = {
    "start": 40.0,
    "extent": EXTENT,
    "max_rate": RATE,
    "lag_h": LAG,
    "nu": 0.6,
    "half_gone_after_h": 6.0,
    "fall_sharpness": 1.3,
}
#: Every model, with parameters at which it bends.
MODELS: dict[str, tuple[Model, np.ndarray]] = {
    f"{name}{suffix}": (curve, np.array([BENT[parameter] for parameter in curve.parameters]))
    for suffix, curves in (("", CURVES), (" from a start", LEVELS))
    for name, curve in curves.items()
}
#: A jar that leaks evenly, from its lag on.
MODELS |= {
    f"{name}, leaking": (curve, np.append(p[:-1], -3.0))
    for name, (curve, p) in MODELS.items()
    if "fall_sharpness" in curve.parameters
}


@pytest.mark.parametrize("name", MODELS)
def test_jacobian_is_the_derivative(name):
    curve, p = MODELS[name]
    by_hand = curve.jacobian(HOURS, p[:, None])
    assert by_hand.shape == (len(p), len(HOURS))
    for place, derivative in enumerate(by_hand):
        step = np.zeros(len(p))
        step[place] = 1e-6 * max(abs(p[place]), 1.0)
        difference = (curve.value(HOURS, p + step) - curve.value(HOURS, p - step)) / (2.0 * step[place])
        np.testing.assert_allclose(derivative, difference, rtol=1e-6, atol=1e-7)


@pytest.mark.parametrize("name", MODELS)
def test_what_is_derived_is_the_curve_itself(name):
    curve, p = MODELS[name]
    into = np.full((len(p), len(HOURS)), np.nan)
    np.testing.assert_allclose(curve.derive(HOURS, p[:, None], into), curve.value(HOURS, p[:, None]), rtol=1e-14)
    np.testing.assert_array_equal(into, curve.jacobian(HOURS, p[:, None]))


@pytest.mark.parametrize("name", MODELS)
def test_a_curve_is_linear_where_it_says(name):
    """Doubling what is called linear adds its part once more: here the starting level alone."""
    curve, p = MODELS[name]
    twice = p * np.where([parameter in curve.linear for parameter in curve.parameters], 2.0, 1.0)
    assert set(curve.linear) == ({"start"} if "start" in curve.parameters else set())
    np.testing.assert_allclose(curve.value(HOURS, twice) - curve.value(HOURS, p), p[0] if curve.linear else 0.0)


@pytest.mark.parametrize("name", CURVES)
def test_slope_is_the_derivative_in_time(name):
    curve, p = MODELS[name]
    difference = (curve.value(HOURS + 1e-6, p) - curve.value(HOURS - 1e-6, p)) / 2e-6
    np.testing.assert_allclose(slope(curve, HOURS, p), difference, rtol=1e-7, atol=1e-7)


@pytest.mark.parametrize("name", MODELS)
def test_many_curves_at_once_are_the_same_as_one_by_one(name):
    curve, p = MODELS[name]
    many = p[:, None] * np.array([1.0, 1.1, 0.9])
    hours = HOURS[:, None]
    values, derivatives = curve.value(hours, many), curve.jacobian(hours, many)
    for number in range(3):
        np.testing.assert_array_equal(values[:, number], curve.value(HOURS, many[:, number]))
        np.testing.assert_array_equal(derivatives[..., number], curve.jacobian(HOURS, many[:, number, None]))


@pytest.mark.parametrize("name", GROWTH)
def test_far_parameters_give_finite_values(name):
    curve = GROWTH[name]
    shape = [0.5] if name == "richards" else []
    for rate, lag in ((1e6, 3.0), (1e-6, 3.0), (2.0, 1e6), (2.0, -1e6)):
        p = np.array([EXTENT, rate, lag, *shape])
        assert np.isfinite(curve.value(HOURS, p)).all()
        assert np.isfinite(curve.jacobian(HOURS, p[:, None])).all()


def held_by(growth, hours, half, sharpness):
    """Return what a curve with a collapse is of the same without."""
    p = np.array([*(BENT[name] for name in GROWTH[growth].parameters), half, sharpness])
    return collapsing(GROWTH[growth]).value(hours, p) / GROWTH[growth].value(hours, p[:-2])


@pytest.mark.parametrize("growth", GROWTH)
@pytest.mark.parametrize(("half", "sharpness"), [(9.0, 9.0), (9.0, 200.0), (1.0, 0.5), (3.0, 0.0), (6.0, -4.0)])
def test_a_collapse_holds_all_at_the_lag_half_at_its_hour_and_nothing_in_the_end(growth, half, sharpness):
    """Exact algebra on the docstring's form, whatever the sharpness."""
    held = held_by(growth, np.array([LAG, LAG + half, LAG + 60.0 * half]), half, sharpness)
    np.testing.assert_allclose(held, [1.0, 0.5, 0.0], rtol=1e-12, atol=1e-12)


def test_the_share_held_in_closed_form():
    """1 / (k + (1 - k) exp(t / w)), written out: k = 1 / 2 and w = h / ln 3 at sharpness 0, so after 2 h a fifth."""
    np.testing.assert_allclose(share_held(np.array([-1e3, 0.0, 3.0, 6.0]), 3.0, 0.0), [2.0, 1.0, 0.5, 0.2], rtol=1e-12)
    since, half, sharpness = np.linspace(-2.0, 15.0, 18), 5.0, 2.5
    k, w = 1.0 / (1.0 + np.exp(-sharpness)), half / np.log(2.0 + np.exp(sharpness))
    written_out = 1.0 / (k + (1.0 - k) * np.exp(since / w))
    np.testing.assert_allclose(share_held(since, half, sharpness), written_out, rtol=1e-12)
    assert fall_width_h(half, sharpness) == pytest.approx(w, rel=1e-12)


def test_the_least_sharp_fall_is_an_even_leak_and_the_sharpest_a_step():
    """The limits of the docstring's form: 2^(-t / h), to the k that is left of it, and all or nothing at h."""
    since = np.linspace(0.0, 20.0, 41)
    for sharpness in (-20.0, -30.0):
        np.testing.assert_allclose(
            share_held(since, 4.0, sharpness), 2.0 ** (-since / 4.0), atol=2.0 * np.exp(sharpness)
        )
    at_its_bound = share_held(since, 4.0, -4.0) / 2.0 ** (-since / 4.0)
    assert 1.0 < at_its_bound.max() < 1.02  # k at -4 is 1.8 %
    np.testing.assert_allclose(share_held(since, 4.1, 1e4), since < 4.1, atol=1e-12)


# exact algebra: where each form stands at a share of its extent, from its own curve; and where it is steepest
@pytest.mark.parametrize(("name", "shape"), [(name, shape) for name, shape, _ in INFLECTION])
def test_time_of_a_share_is_when_the_curve_is_there(name, shape):
    share = np.array([0.05, 0.2, 0.7, 0.95])
    hours = LAG + time_of_share(name, share, *shape) * EXTENT / RATE
    stands = GROWTH[name].value(hours, np.array([EXTENT, RATE, LAG, *shape]))
    np.testing.assert_allclose(stands, share * EXTENT, rtol=1e-12)


@pytest.mark.parametrize(("name", "shape", "after"), INFLECTION)
def test_share_at_the_inflection(name, shape, after):
    at = GROWTH[name].value(np.array([LAG + after * EXTENT / RATE]), np.array([EXTENT, RATE, LAG, *shape]))
    assert inflection_share(name, *shape) == pytest.approx(at[0] / EXTENT, rel=1e-12)
