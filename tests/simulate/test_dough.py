"""The curves have exactly the traits they are stretched to, and are not the curves that are fitted."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from leavenbench.curves.models import GROWTH
from leavenbench.simulate.dough import acid_shape, rise_shape, stretch

HOURS = np.linspace(0.0, 30.0, 30001)


def curve(shape, extent, max_rate, lag_h):
    each = np.ones_like(HOURS)
    return stretch(shape, HOURS, extent * each, max_rate * each, lag_h * each)


def traits(level):
    """Read extent, steepest rate and lag off a finely drawn curve, by their definitions."""
    slope = np.gradient(level, HOURS)
    at = int(np.argmax(slope))
    return level.max(), slope[at], HOURS[at] - level[at] / slope[at]


@pytest.mark.parametrize("leak", [0.02, 0.05, 0.09])
def test_rise_has_the_traits_it_is_given(leak):
    extent, rate, lag = traits(curve(rise_shape(leak), 140.0, 52.0, 1.8))
    assert extent == pytest.approx(140.0, rel=1e-4)
    assert rate == pytest.approx(52.0, rel=1e-3)  # the shape is drawn on a grid: 2000 steps
    assert lag == pytest.approx(1.8, abs=2e-3)


def test_acid_has_the_traits_it_is_given():
    level = curve(acid_shape(), 2.2, 0.6, 2.0)
    _, rate, lag = traits(level)
    assert rate == pytest.approx(0.6, rel=1e-3)
    assert lag == pytest.approx(2.0, abs=2e-3)
    assert level[-1] == pytest.approx(2.2, rel=0.01)  # the asymptote is reached slowly
    assert (np.diff(level) >= 0.0).all()


def test_dough_rests_then_rises_then_sinks():
    level = curve(rise_shape(0.05), 140.0, 52.0, 1.8)
    assert level[0] == 0.0
    top = int(np.argmax(level))
    begins = int(np.argmax(level > 0.0))
    assert 0 < begins < top
    assert (np.diff(level[begins : top + 1]) > 0.0).all()
    assert (np.diff(level[top:]) < 0.0).all()
    assert 0.1 < level[np.searchsorted(HOURS, 24.0)] / 140.0 < 0.7


def test_a_leakier_dough_peaks_earlier_and_keeps_less():
    tight, leaky = (curve(rise_shape(leak), 140.0, 52.0, 1.8) for leak in (0.02, 0.09))
    assert HOURS[np.argmax(leaky)] < HOURS[np.argmax(tight)]
    assert leaky[-1] < tight[-1]


@pytest.mark.parametrize("name", sorted(GROWTH))
def test_no_growth_curve_is_the_dough(name):
    """Up to the peak, the best fit of every growth curve misses by more than a rounding error."""
    level = curve(rise_shape(0.05), 140.0, 52.0, 1.8)
    rising = slice(0, int(np.argmax(level)), 50)
    start = [140.0, 52.0, 1.8] + [1.0] * (len(GROWTH[name].parameters) - 3)

    def misfit(p):
        return GROWTH[name].value(HOURS[rising], np.exp(p)) - level[rising]

    found = least_squares(misfit, np.log(start))
    rms = np.sqrt(np.mean(found.fun**2))
    assert 0.1 < rms < 10.0  # per cent of rise: wrong, as a real dough would be, but not absurd
