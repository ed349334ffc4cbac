"""Hours found on curves against closed forms and against a dense search on the curve itself."""

import numpy as np
import pytest
from scipy.optimize import brentq

from leavenbench.curves.composed import CURVES, slope
from leavenbench.curves.landmarks import passing, peak_hour, steepest_hour
from leavenbench.curves.models import GROWTH

LAST = 30.0
COLLAPSING = [name for name in CURVES if "collapse" in name]
MANY = 200


def drawn(name, seed=1):
    """Draw parameters, shape (p, MANY): from gentle rises to near jumps, falls long after the rise or right in it, from
    even leaks to near steps."""
    rng = np.random.default_rng(seed)
    extent, half = rng.uniform(20.0, 80.0, MANY), rng.uniform(0.0, 20.0, MANY)
    rate = extent * np.exp(rng.uniform(np.log(0.08), np.log(2.0), MANY))
    width = np.exp(rng.uniform(np.log(0.1), np.log(3.0), MANY))
    of = {
        "extent": extent,
        "max_rate": rate,
        "lag_h": rng.uniform(0.0, 5.0, MANY),
        "nu": np.exp(rng.uniform(np.log(0.05), np.log(5.0), MANY)),
        "half_gone_after_h": half,
        "fall_sharpness": half / width - 4.0 * (half > extent / rate),  # what leaks faster than it rises has no peak
    }
    return np.array([of[parameter] for parameter in CURVES[name].parameters])


def densely(name, p, of, last_h):
    """Search every curve on ever finer grids for the hour at which `of` is largest, within the readings."""
    found = []
    for one, high in zip(p.T, last_h, strict=True):
        low = 0.0
        for _ in range(3):
            hours = np.linspace(low, high, 4001)
            at = int(np.argmax(of(CURVES[name], hours, one)))
            low, high = hours[max(at - 1, 0)], hours[min(at + 1, len(hours) - 1)]
        found.append(hours[at])
    return np.array(found)


def level(curve, t, p):
    return curve.value(t, p)


@pytest.mark.parametrize("name", GROWTH)
def test_the_inflection_of_a_growth_curve_in_closed_form(name):
    """Zwietering et al. 1990, table 2 (forms from memory, their identities checked)."""
    p = drawn(name)
    extent, rate, lag = p[:3]
    after = {"logistic": 0.5, "gompertz": 1.0 / np.e, "richards": (1.0 + p[-1]) ** (-1.0 / p[-1])}[name]
    hours = steepest_hour(name, p, np.full(MANY, LAST))
    np.testing.assert_allclose(hours, lag + after * extent / rate, rtol=1e-12)
    np.testing.assert_allclose(slope(CURVES[name], hours, p), rate, rtol=1e-10)


@pytest.mark.parametrize("name", GROWTH)
def test_an_inflection_before_the_jar_was_fed_is_at_zero(name):
    p = drawn(name)
    p[2] -= 60.0
    assert (steepest_hour(name, p, np.full(MANY, LAST)) == 0.0).all()


@pytest.mark.parametrize("name", COLLAPSING)
def test_the_steepest_hour_of_a_collapsing_curve_by_dense_search(name):
    curve, p, last = CURVES[name], drawn(name), np.random.default_rng(3).uniform(3.0, LAST, MANY)
    found = steepest_hour(name, p, last)
    best = densely(name, p, slope, last)
    ended = best == last  # the readings end before the inflection
    assert 3 <= ended.sum() < MANY / 2
    np.testing.assert_allclose(found[ended], last[ended], rtol=1e-6)
    found, best, p = found[~ended], best[~ended], p[:, ~ended]
    np.testing.assert_allclose(slope(curve, found, p), slope(curve, best, p), rtol=1e-9)
    # where the slope is highest it is flat: half the digits of the slope are left for the hour
    np.testing.assert_allclose(found, best, atol=2e-4 * (p[0] / p[1]).max())


@pytest.mark.parametrize("name", COLLAPSING)
def test_the_peak_of_a_collapsing_curve_by_dense_search(name):
    curve, p, last = CURVES[name], drawn(name), np.random.default_rng(3).uniform(3.0, LAST, MANY)
    steepest = steepest_hour(name, p, last)
    found = peak_hour(name, p, steepest, last)
    best = densely(name, p, level, last)
    still = slope(curve, last, p) > 0.0
    assert (np.isinf(found) == still).all()
    assert 5 < still.sum() < MANY / 2
    found, best, p = found[~still], best[~still], p[:, ~still]
    highest = curve.value(best, p)
    np.testing.assert_allclose(curve.value(found, p), highest, rtol=1e-13)
    # on a plateau that is level to the last digits any hour is as good
    bent = np.minimum(curve.value(best - 0.1, p), curve.value(best + 0.1, p)) < highest * (1.0 - 1e-6)
    assert bent.sum() > MANY / 2
    np.testing.assert_allclose(found[bent], best[bent], atol=1e-5)
    # at the peak the curve is level, to the digits that the hour has
    assert (np.abs(slope(curve, found, p)) < 1e-7 * p[1]).all()


@pytest.mark.parametrize("name", CURVES)
@pytest.mark.parametrize("falling", [False, True])
def test_a_level_is_passed_where_a_root_finder_says(name, falling):
    """Brent's method on the curve less the level (scipy 1.17, `optimize.brentq`)."""
    curve, p = CURVES[name], drawn(name)
    last = np.full(MANY, LAST)
    top = np.minimum(peak_hour(name, p, steepest_hour(name, p, last), last), LAST) if name in COLLAPSING else last
    low, high = (top, last) if falling else (0.0 * last, top)
    share = np.random.default_rng(2).uniform(0.05, 0.99, MANY)
    levels = curve.value(low, p) + share * (curve.value(high, p) - curve.value(low, p))
    found = passing(name, p, levels, low, high)
    there = (high > low) & (np.abs(curve.value(high, p) - curve.value(low, p)) > 1e-6 * p[0])
    assert there.sum() > 100 or (falling and name in GROWTH)
    for one, at, a, b, of in zip(found[there], levels[there], low[there], high[there], p[:, there].T, strict=True):
        root = brentq(lambda t: curve.value(t, of) - at, a, b, xtol=1e-13, rtol=1e-14)  # noqa: B023
        steep = np.abs(slope(curve, np.array([root]), of)[0])
        assert one == pytest.approx(root, abs=1e-8 + 1e-13 * of[0] / steep)


@pytest.mark.parametrize("name", CURVES)
def test_a_level_that_is_not_passed_has_no_hour(name):
    p, last = drawn(name), np.full(MANY, LAST)
    low, high = np.zeros(MANY), steepest_hour(name, p, last)
    ends = CURVES[name].value(low, p), CURVES[name].value(high, p)
    above = passing(name, p, np.maximum(*ends) * 1.001, low, high)
    below = passing(name, p, np.minimum(*ends) * 0.999 - 1e-9, low, high)
    assert np.isnan(above).all()
    assert np.isnan(below).all()


@pytest.mark.parametrize("name", CURVES)
def test_a_level_at_the_ends_of_the_stretch(name):
    """What stands at the level when the stretch begins has passed it before; at its end it passes just so."""
    p, last = drawn(name), np.full(MANY, LAST)
    low, high = np.zeros(MANY), steepest_hour(name, p, last)
    rising = high > low  # not where half of the gas is gone at once
    assert rising.sum() > 0.9 * MANY
    at_end = passing(name, p, CURVES[name].value(high, p), low, high)
    np.testing.assert_allclose(at_end[rising], high[rising], rtol=1e-7)
    assert np.isnan(passing(name, p, CURVES[name].value(low, p), low, high)).all()


@pytest.mark.parametrize("name", COLLAPSING)
def test_no_hour_depends_on_the_curves_beside_it(name):
    p, last = drawn(name), np.full(MANY, LAST)
    steepest = steepest_hour(name, p, last)
    peak = peak_hour(name, p, steepest, last)
    for some in (np.array([3]), np.array([7, 3, 150]), np.arange(MANY)[::-1]):
        of = np.ascontiguousarray(p[:, some])
        np.testing.assert_array_equal(steepest_hour(name, of, last[some]), steepest[some])
        np.testing.assert_array_equal(peak_hour(name, of, steepest[some], last[some]), peak[some])
