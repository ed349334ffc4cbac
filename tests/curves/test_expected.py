"""What is expected of a curve: the covariance that it says, whatever the model, and how it counts beside readings."""

import numpy as np
import pytest

from leavenbench.curves.blocks import Block, observe
from leavenbench.curves.composed import LEVELS
from leavenbench.curves.expected import EXPECTED, Expected, strength
from leavenbench.curves.models import GROWTH
from leavenbench.curves.noise import INSTRUMENTS
from leavenbench.curves.search import search
from leavenbench.curves.starts import starts
from leavenbench.curves.traces import trace_signals

LOGISTIC = LEVELS["logistic"]
#: Logarithms of extent and slope, and lag [h]; in shares of the start these are 150 % and 45 %/h of 40 mm.
MEAN = np.array([np.log(60.0), np.log(18.0), 2.5])
SDS = np.array([0.12, 0.2, 0.5])
OF_START = np.log([40.0, 40.0, 1.0])
FINE = {kind: it.noise for kind, it in INSTRUMENTS.items()} | {"height_mm": 0.5}


def expected(curves, *, mean=MEAN, sd=SDS, gompertz=0.5, open_=False):
    mean, sd = (np.repeat(np.asarray(of)[:, None], curves, axis=1) for of in (mean, sd))
    return Expected(mean, sd, np.zeros((3, curves)), np.full(curves, gompertz), strength_open=open_)


@pytest.mark.parametrize("growth", ["logistic", "gompertz", "richards", "logistic with collapse"])
@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("open_", [False, True])
def test_the_precision_is_the_inverse_of_the_covariance(growth, sign, open_):
    """With the strength open it is the limit of a common shift of log extent and log slope of any size (1, 1, 0).

    Of the logarithms of a rise its own start's is taken off: x = A p, precision A' C^-1 A.
    """
    model, sd = LEVELS[growth], 1.5
    known = expected(1, open_=open_).belief(model, sign, sd)
    covariance = np.diag(SDS**2) + (1e7 * np.outer([1, 1, 0], [1, 1, 0]) if open_ else 0.0)
    away = np.zeros((3, len(model.parameters)))
    away[range(3), [model.place(name) for name in ("extent", "max_rate", "lag_h")]] = 1.0
    if sign > 0.0:
        away[:2, 0] = -1.0
    exact = sd**2 * away.T @ np.linalg.inv(covariance) @ away
    np.testing.assert_allclose(known.precision[..., 0], exact, rtol=1e-6, atol=1e-6 * exact.max())


def test_an_open_strength_costs_a_weaker_culture_nothing_and_another_shape_the_difference():
    """Both halved: no penalty. Slope alone halved: (log 2)^2 / (sum of the variances), less than each alone."""
    known = expected(1, open_=True).belief(LOGISTIC, 1.0, 1.5)
    usual = np.array([[1.0], [np.exp(MEAN[0])], [np.exp(MEAN[1])], [MEAN[2]]])
    assert known.penalty(usual * [[1.0], [0.5], [0.5], [1.0]]).item() == pytest.approx(0.0, abs=1e-12)
    slow = known.penalty(usual * [[1.0], [1.0], [0.5], [1.0]]).item()
    assert slow == pytest.approx(1.5**2 * np.log(2.0) ** 2 / (SDS[0] ** 2 + SDS[1] ** 2), rel=1e-12)
    closed = expected(1).belief(LOGISTIC, 1.0, 1.5).penalty(usual * [[1.0], [0.5], [0.5], [1.0]]).item()
    assert closed == pytest.approx(1.5**2 * np.log(2.0) ** 2 * (SDS[0] ** -2 + SDS[1] ** -2), rel=1e-12)
    assert strength(LOGISTIC).tolist() == [0.0, 1.0, 1.0, 0.0]


def test_the_higher_a_jar_stands_the_more_millimetres_are_expected_of_it():
    """A rise is expected in % of the start: all heights twice as large are the same rise, read twice as finely."""
    rng, mean = np.random.default_rng(9), MEAN - OF_START
    t = np.sort(rng.uniform(0.0, 6.0, (5, 5)), axis=0)
    p = np.vstack((np.full(5, 40.0), np.exp(MEAN[:2, None] + 0.3 * rng.normal(size=(2, 5))), rng.normal(2.5, 0.5, 5)))
    y = LOGISTIC.value(t, p) + rng.normal(0.0, 1.5, t.shape)
    low, high = (
        search("logistic", t, by * y, belief=expected(5, mean=mean).belief(LOGISTIC, 1.0, by * 1.5), tolerance=1e-13)
        for by in (1.0, 2.0)
    )
    np.testing.assert_allclose(high.parameters, low.parameters * [[2.0], [2.0], [2.0], [1.0]], rtol=1e-5)


@pytest.mark.parametrize("gompertz", [0.0, 0.1, 0.5, 0.9, 1.0])
def test_the_form_that_was_always_seen_costs_less(gompertz):
    """Twice the logarithm of a form's improbability, which is never under one in a hundred."""
    of = expected(3, gompertz=gompertz)
    np.testing.assert_allclose(of.odds("gompertz"), -2.0 * np.log(max(gompertz, 0.01)), atol=1e-12)
    np.testing.assert_allclose(of.odds("logistic"), -2.0 * np.log(max(1.0 - gompertz, 0.01)), atol=1e-12)


def test_a_search_begins_where_the_curve_is_expected():
    """On the start that suits the readings best: of the expected curve itself, without noise, its own."""
    t = np.linspace(0.0, 8.0, 6)[:, None]
    for sign, start in ((1.0, 40.0), (-1.0, 5.9)):
        mean = MEAN - OF_START if sign > 0 else np.array([np.log(1.9), np.log(0.5), 2.5])
        p = np.array([sign * start, *np.exp(mean[:2]) * (start if sign > 0 else 1.0), mean[2]])[:, None]
        y = sign * LOGISTIC.value(t, p)
        begin = expected(1, mean=mean).start("logistic", Block(np.array([0]), t, y, None, np.array([6])), sign)
        np.testing.assert_allclose(begin, p, rtol=1e-12)
        assert not np.allclose(begin, starts("logistic", t, sign * y), rtol=1e-3)


def test_some_of_what_is_expected_is_that_of_some_curves():
    of = Expected(
        np.arange(12.0).reshape(3, 4), np.arange(12.0).reshape(3, 4) + 1, np.ones((3, 4)), np.arange(4) / 4, True
    )
    some = of.of(np.array([3, 1]))
    for whole, part in zip(of[:4], some[:4], strict=True):
        np.testing.assert_array_equal(part, whole[..., [3, 1]])
    assert some.strength_open


def test_traits_that_lie_beyond_their_parameters_are_expected_of_the_traits():
    """A collapse takes some of the extent away before it is reached: so much more is expected of the parameter."""
    beyond = np.array([[-0.3], [0.1], [0.05]])
    of = expected(1)._replace(beyond=beyond)
    places = [LOGISTIC.place(name) for name in EXPECTED]
    np.testing.assert_allclose(of.belief(LOGISTIC, -1.0, 1.0).mean[places, 0], MEAN - beyond[:, 0], rtol=1e-15)


@pytest.mark.parametrize("growth", GROWTH)
def test_a_weaker_culture_moves_in_extent_and_slope_alone(growth):
    model = LEVELS[growth]
    moved = [name for name, by in zip(model.parameters, strength(model), strict=True) if by]
    assert moved == ["extent", "max_rate"]


def read_well(curves, seed, sd_mm=0.5):
    """Read rises 24 times, and say what was expected of them, a standard deviation or so off."""
    rng = np.random.default_rng(seed)
    off = rng.normal(size=(3, curves))
    truth = np.exp(MEAN[:2, None]), MEAN[2, None] + np.zeros(curves)
    p = np.vstack((np.full(curves, 40.0), truth[0] + np.zeros(curves), truth[1]))
    t = np.linspace(0.0, 9.0, 24)[:, None] + np.zeros(curves)
    y = LOGISTIC.value(t, p) + rng.normal(0.0, sd_mm, t.shape)
    signal = np.repeat(np.arange(curves), 24)
    observed, _ = observe(signal, t.T.ravel(), y.T.ravel(), np.full(curves, "height_mm"))
    return observed, expected(curves, mean=MEAN - OF_START)._replace(
        mean=(MEAN - OF_START)[:, None] + SDS[:, None] * off
    )


def test_what_the_readings_alone_say_is_kept():
    """Where they say much the step back to them is short: a straight model tells it to a hundredth of an error."""
    observed, believed = read_well(40, seed=1)
    free = trace_signals(observed, ("logistic",), noise=FINE)
    helped = trace_signals(observed, ("logistic",), noise=FINE, expected=believed)
    for name in EXPECTED:
        alone, both = free.traits[name], helped.traits[name]
        np.testing.assert_allclose(both.alone, alone.value, atol=0.01 * alone.se.min())
        np.testing.assert_allclose(both.alone_se, alone.se, rtol=0.02)
        assert (np.abs(both.value - alone.value) > 0.05 * alone.se).mean() > 0.2  # it did move
        assert (both.se < both.alone_se).all()
        assert ((both.prior_share > 0.0) & (both.prior_share < 0.2)).all()


def test_without_an_expectation_what_stands_in_the_row_is_what_the_readings_say():
    observed, _ = read_well(5, seed=2)
    for it in trace_signals(observed, ("logistic",)).traits.values():
        np.testing.assert_array_equal(it.alone, it.value)
        np.testing.assert_array_equal(it.alone_se, it.se)


def test_the_share_grows_as_the_expectation_gets_surer():
    observed, believed = read_well(6, seed=3)
    shares = [
        trace_signals(observed, ("logistic",), noise=FINE, expected=believed._replace(sd=by * believed.sd))
        .traits["extent"]
        .prior_share
        for by in (10.0, 1.0, 0.1, 0.01)
    ]
    assert (np.diff(shares, axis=0) > 0.0).all()
    assert (shares[0] < 1e-3).all()
    assert (shares[-1] > 0.9).all()
