"""The verdict on one signal of one refeed: its status, and the words for what is missing."""

import numpy as np
import pandas as pd
import pytest

from leavenbench.curves.composed import CURVES, LEVELS
from leavenbench.curves.trace import trace, trace_signal

PLAN = np.array([0.0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 22])
RISE = np.array([40.0, 60, 14, 2.5])
COLLAPSE = np.array([40.0, 60, 14, 2.5, 10.5, 7.0])


def rise(t, p=RISE, name="logistic", noise=0.5):
    return LEVELS[name].value(t, p) + np.random.default_rng(3).normal(0.0, noise, len(t))


def test_a_full_rise_is_fitted():
    found = trace(PLAN, rise(PLAN), "height_mm")
    assert (found.status, found.readings) == ("fitted", 11)
    assert found.traits["extent"].value == pytest.approx(150.0, abs=3 * found.traits["extent"].se)
    assert found.rms_residual < 1.0
    assert found.level(np.array([2.5 + 60 / 28]))[0] == pytest.approx(70.0, abs=2.0)  # start + extent / 2 there


def test_a_collapse_is_fitted_where_the_fall_was_read():
    t = np.linspace(0.0, 18.0, 13)
    found = trace(t, rise(t, COLLAPSE, "logistic with collapse"), "height_mm")
    assert (found.status, found.model, found.reason) == ("fitted", "logistic with collapse", "")
    fine = np.linspace(0.0, 18.0, 18_001)
    risen = CURVES["logistic with collapse"].value(fine, COLLAPSE[1:])
    truth = fine[np.argmax((risen < 0.8 * risen.max()) & (fine > fine[risen.argmax()]))]
    assert found.traits["collapse_h"].value == pytest.approx(truth, abs=3 * found.traits["collapse_h"].se)
    assert found.traits["collapse_h"].se < 0.5


def test_a_fall_read_once_is_not_fitted_but_said():
    t = np.append(np.linspace(0.0, 8.0, 9), 20.0)
    found = trace(t, rise(t, COLLAPSE, "logistic with collapse"), "height_mm")
    assert (found.status, found.model, found.readings) == ("fitted", "logistic", 9)
    assert "it fell again, read 1 time, too few to fit the fall" in found.reason
    assert found.traits["ripe_until_h"][:3:2] == (8.0, True)


def test_a_fall_that_leaves_too_little_of_the_rise():
    found = trace(np.array([0.0, 3, 6, 10, 14]), np.array([40.0, 60, 90, 60, 50]), "height_mm")
    assert found.status == "too few readings"
    assert found.reason.endswith("fitted up to the peak, read at 3 times only")


def test_a_window_that_closes_early():
    t = np.linspace(0.0, 5.5, 9)
    found = trace(t, rise(t), "height_mm")
    assert found.status == "peak not reached"
    assert found.traits["extent"].at_least
    assert found.traits["extent"].value < 150.0  # the truth that was not seen
    assert found.traits["extent"].value == pytest.approx(
        (found.level(t[-1:])[0] / found.level(-1e3) - 1) * 100, rel=1e-6
    )


def test_nothing_happened():
    t = np.linspace(0.0, 10.0, 9)
    found = trace(t, 40.0 + np.random.default_rng(4).normal(0.0, 0.7, 9), "height_mm")
    assert (found.status, found.model) == ("no activity", "straight line")
    assert "lag_h" not in found.traits
    assert found.traits["extent"].value < 5.0
    assert found.traits["extent"].se > 0.0
    assert np.isnan(found.level(t)).all()


def test_a_jar_that_only_sinks_rose_nothing():
    found = trace(np.arange(8.0), 80.0 - 5.0 * np.arange(8.0), "height_mm")
    assert found.status == "no activity"
    assert found.traits["extent"].value == found.traits["max_rate"].value == 0.0


def test_readings_that_begin_late_and_stand_still_do_not_mean_death():
    found = trace(np.array([6.0, 7, 8, 9, 10]), np.array([90.0, 91, 90, 90, 91]), "height_mm")
    assert found.status == "too few readings"
    assert found.reason == "no change since the first reading at 6 h: what came before was not read"


def test_what_came_before_the_first_reading_is_not_made_up():
    t = np.array([9.0, 10.0, 11.0, 12.0, 13.0, 14.0, 15.0, 16.0, 17.0, 18.0])
    found = trace(t, rise(t, COLLAPSE, "logistic with collapse"), "height_mm")
    assert found.status == "too few readings"
    assert found.traits == {}


@pytest.mark.parametrize(("hours", "said"), [([0.0], "1 time"), ([0.0, 4, 4, 8], "3 times")])
def test_too_few_times(hours, said):
    found = trace(np.array(hours), np.linspace(40.0, 60.0, len(hours)), "height_mm")
    assert (found.status, found.reason) == ("too few readings", f"read at {said} only, 4 are needed")


def test_no_reading_that_can_be_used():
    found = trace(np.array([0.0, np.nan, -1.0, 3.0]), np.array([np.nan, 40.0, 40.0, np.inf]), "height_mm")
    assert (found.status, found.readings) == ("no readings", 0)


def test_as_many_numbers_as_readings():
    t = np.array([0.0, 3.0, 6.0, 12.0])
    found = trace(t, LEVELS["logistic"].value(t, RISE), "height_mm", ("logistic",))
    assert found.status == "fitted"
    assert "as many numbers in the curve as readings, so no standard errors" in found.reason
    assert all(np.isnan(it.se) for it in found.traits.values())


def test_without_a_starting_height_there_is_no_percentage():
    t = np.linspace(0.0, 12.0, 9)
    found = trace(t, rise(t) - 40.0, "height_mm")
    assert found.status == "poor fit"
    assert "height of nothing" in found.reason
    assert found.traits == {}


def test_the_order_of_the_readings_does_not_matter():
    y = rise(PLAN)
    shuffled = np.random.default_rng(5).permutation(len(PLAN))
    mixed, ordered = trace(PLAN[shuffled], y[shuffled], "height_mm"), trace(PLAN, y, "height_mm")
    assert repr(mixed.traits) == repr(ordered.traits)


def test_the_unit_of_the_level_does_not_matter():
    """Heights in tenths of a millimetre: the same hours, and the same rise in %."""
    y = rise(PLAN)
    fine, coarse = (trace(PLAN, y * factor, "height_mm").traits for factor in (10.0, 1.0))
    for name in ("extent", "max_rate", "lag_h", "time_to_peak_h"):
        assert fine[name].value == pytest.approx(coarse[name].value, rel=1e-6)
        assert fine[name].se == pytest.approx(coarse[name].se, rel=1e-6)


def test_a_logger_with_tens_of_thousands_of_readings():
    t = np.linspace(0.0, 20.0, 50_000)
    found = trace(t, rise(t, COLLAPSE, "logistic with collapse"), "height_mm")
    assert (found.status, found.readings) == ("fitted", 50_000)
    assert found.traits["lag_h"].value == pytest.approx(2.5, abs=0.05)


def test_a_ph_that_stays_high_since_a_late_first_reading_has_not_fallen():
    """The dead are not hidden by a keeper who reads from three hours on; a pH that stays low may have fallen before."""
    hours = np.array([3.0, 5, 8, 12, 24])
    high, low = np.array([5.9, 5.88, 5.91, 5.9, 5.89]), np.array([3.9, 3.88, 3.91, 3.9, 3.89])
    assert trace(hours, high, "ph_direct").status == "no activity"
    assert trace(hours, low, "ph_direct").status == "too few readings"


def test_the_error_of_the_curve_is_that_of_its_start_at_the_start():
    hours = np.array([0.0, 1, 2, 3, 4, 5, 6, 8, 9])
    found = trace(hours, np.array([40.2, 40, 41, 46, 62, 75, 79, 80, 79.6]), "height_mm")
    assert found.until_h == 9.0
    # Long before the rise the curve is its starting level, so the two errors are one.
    assert found.level_se(np.array([-50.0]))[0] == pytest.approx(found.traits["start_height_mm"].se, rel=1e-9)
    assert (found.level_se(hours) > 0.0).all()


@pytest.mark.parametrize("marked_h", [22.6, np.inf])
def test_a_smear_line_above_a_risen_jar_does_not_make_it_idle(marked_h):
    """Read at 67 and 68 mm in the morning, marked at 74: whatever happened at night, it rose."""
    read = pd.DataFrame(
        {
            "elapsed_h": [0, 0, 2, 4, 5.8, 7.8, 9.5, 20.4, 22.6, marked_h],
            "value": [36.0, 36, 35, 39, 46, 53, 59, 67, 68, 74],
        }
    ).assign(refeed="r", signal="rise", kind="height_mm", high_mark=[False] * 9 + [True])
    found = trace_signal(read)
    assert found.status == "fitted"
    extent = found.traits["extent"]
    assert abs(extent.value - 100.0 * (74.0 / 35.7 - 1.0)) < 3 * extent.se
