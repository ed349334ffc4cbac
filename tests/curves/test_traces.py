"""Many signals at once: verdicts, words and traits land on the right ones, and none depends on its company."""

import numpy as np
import pytest

from leavenbench.columns import TRAITS
from leavenbench.curves.blocks import observe
from leavenbench.curves.composed import LEVELS
from leavenbench.curves.traces import trace_signals

RISE = np.array([40.0, 60, 14, 2.5])
COLLAPSE = np.array([40.0, 60, 14, 2.5, 10.5, 7.0])
FALL = np.array([-5.9, 2.0, 0.5, 1.5])


def read(name, p, t, noise, seed):
    """Read a curve, turned so that activity raises it, at some hours."""
    return LEVELS[name].value(t, p) + np.random.default_rng(seed).normal(0.0, noise, len(t))


def signals():
    """Give one signal of every fate: what it should be called, its kind, hours and readings."""
    day, fall = np.linspace(0.0, 12.0, 11), np.linspace(0.0, 18.0, 13)
    once = np.append(np.linspace(0.0, 8.0, 9), 20.0)
    logger = np.linspace(0.0, 20.0, 1200)
    collapse = "logistic with collapse"
    return [
        ("fitted", "height_mm", day, read("logistic", RISE, day, 0.5, 1)),
        ("no activity", "height_mm", day, 40.0 + np.random.default_rng(2).normal(0.0, 0.7, 11)),
        ("fitted", "height_mm", fall, read(collapse, COLLAPSE, fall, 0.5, 3)),
        ("fitted", "height_mm", once, read(collapse, COLLAPSE, once, 0.5, 4)),
        ("too few readings", "height_mm", day[:3], np.array([40.0, 50, 60])),
        ("peak not reached", "height_mm", day[:5], read("logistic", RISE, day[:5], 0.2, 5)),
        ("fitted", "ph_direct", day, -read("gompertz", FALL, day, 0.04, 6)),
        ("no activity", "ph_slurry", day, 5.9 + np.random.default_rng(4).normal(0.0, 0.04, 11)),
        ("fitted", "rise_pct", day, 2.5 * read("logistic", RISE, day, 0.5, 8)),
        ("fitted", "volume_mL", logger, 10.0 * read(collapse, COLLAPSE, logger, 0.5, 9)),
        ("poor fit", "height_mm", day, read("logistic", RISE, day, 0.5, 10) - 40.0),
        ("too few readings", "height_mm", day + 6.0, 90.0 + np.random.default_rng(11).normal(0.0, 0.7, 11)),
        ("fitted", "height_mm", np.repeat(day, 2), read("logistic", RISE, np.repeat(day, 2), 0.5, 12)),
    ]


def together(some):
    """Trace signals together."""
    sizes = [len(t) for _, _, t, _ in some]
    signal, kind = np.repeat(np.arange(len(some)), sizes), np.array([kind for _, kind, _, _ in some])
    t, y = (np.concatenate([one[part] for one in some]) for part in (2, 3))
    return trace_signals(observe(signal, t, y, kind)[0], keep_curves=True)


def row(found, number):
    """Return everything that was said of one signal."""
    of_one = [
        found.status,
        found.reason,
        found.model,
        found.readings,
        found.rms_residual,
        found.range_read,
        found.until_h,
    ]
    traits = {name: tuple(part[number] for part in it) for name, it in found.traits.items()}
    return repr([of[number] for of in of_one]), repr(traits)


def test_every_signal_has_its_own_verdict():
    found = together(signals())
    assert found.status.tolist() == [status for status, *_ in signals()]
    assert found.readings.tolist() == [len(t) if number != 3 else 9 for number, (_, _, t, _) in enumerate(signals())]
    assert set(found.traits) == set(TRAITS)
    assert [found.model[number] for number in (1, 2, 3, 7)] == [
        "straight line",
        "logistic with collapse",
        "logistic",
        "straight line",
    ]
    assert "it fell again, read 1 time, too few to fit the fall" in found.reason[3]
    assert found.reason[4] == "read at 3 times only, 4 are needed"
    assert "height of nothing" in found.reason[10]
    assert found.reason[11] == "no change since the first reading at 6 h: what came before was not read"


def test_traits_land_on_the_signal_they_were_read_off():
    """A rise of 60 on 40 mm, in mm, in % and in mL; of pH a fall of 2.0: the truth within four standard errors."""
    extent = together(signals()).traits["extent"]
    for number, truth in ((0, 150.0), (8, 150.0), (6, 2.0), (12, 150.0)):
        assert extent.value[number] == pytest.approx(truth, abs=4.0 * extent.se[number])
        assert extent.se[number] < 0.1 * truth
    assert np.isnan(extent.value[[4, 10, 11]]).all()
    assert extent.at_least.tolist() == [status == "peak not reached" for status, *_ in signals()]


def test_curves_are_kept_for_what_was_fitted_and_for_nothing_else():
    found = together(signals())
    kept = {signal: (choice, column) for of, choice in found.choices for column, signal in enumerate(of.tolist())}
    assert sorted(kept) == [0, 2, 3, 5, 6, 8, 9, 10, 12]
    for number, (choice, column) in kept.items():
        _, kind, t, y = signals()[number]
        used = slice(found.readings[number])
        level = choice.fits.model.value(t[used], choice.fits.parameters[:, column])
        off = (-y if kind == "ph_direct" else y)[used] - level
        assert np.sqrt((off**2).mean()) == pytest.approx(found.rms_residual[number], rel=1e-9)
        assert choice.name == found.model[number]
    forgotten = trace_signals(observe(np.zeros(11, int), *signals()[0][2:], np.array(["height_mm"]))[0])
    assert forgotten.status.tolist() == ["fitted"]
    assert forgotten.choices == []


def test_any_company_gives_the_same_to_the_last_bit():
    leap = np.array([0.0, 4, 5, 5, 8, 11, 12, 14, 14, 15, 17, 17, 21, 22, 22, 23, 24])  # hard to tell errors from
    some = [*signals(), ("fitted", "height_mm", leap, np.where(leap > 0.0, 55.0, 53.0))]
    whole = together(some)
    rng = np.random.default_rng(7)
    parts = [[number] for number in range(len(some))]
    parts += [rng.permutation(len(some))[: rng.integers(2, len(some))].tolist() for _ in range(10)]
    parts.append(np.tile(np.arange(len(some)), 20).tolist())
    for part in parts:
        found = together([some[number] for number in part])
        for place, number in enumerate(part):
            assert row(found, place) == row(whole, number), (number, part)


def test_progress_counts_up_to_all_signals():
    calls = []
    some = signals()
    signal = np.repeat(np.arange(len(some)), [len(t) for _, _, t, _ in some])
    observed, _ = observe(
        signal, *(np.concatenate([one[part] for one in some]) for part in (2, 3)), np.array([one[1] for one in some])
    )
    trace_signals(observed, progress=lambda done, total: calls.append((done, total)))
    done = [number for number, _ in calls]
    assert {total for _, total in calls} == {len(some)}
    assert done == sorted(set(done))  # ever more
    assert done[-1] == len(some)


def test_progress_reaches_the_end_where_nothing_can_be_fitted():
    calls = []
    observed, _ = observe(np.array([0, 0, 1]), np.zeros(3), np.full(3, 40.0), np.full(2, "height_mm"))
    trace_signals(observed, progress=lambda done, total: calls.append((done, total)))
    assert calls[-1:] == [(2, 2)]


def test_no_signals_are_traced_to_nothing():
    observed, _ = observe(np.zeros(0, int), np.zeros(0), np.zeros(0), np.zeros(0, str))
    found = trace_signals(observed, keep_curves=True)
    assert len(found.status) == 0
    assert found.choices == []
    assert all(len(it.value) == 0 for it in found.traits.values())


def test_a_logger_longer_than_a_block():
    """More readings than a block holds: half a million, as of a logger that looks every tenth of a second."""
    t = np.linspace(0.0, 20.0, 500_000)
    found = together([("fitted", "height_mm", t, read("logistic with collapse", COLLAPSE, t, 0.5, 13))])
    assert found.status.tolist() == ["fitted"]
    assert found.traits["lag_h"].value[0] == pytest.approx(2.5, abs=0.05)


def test_a_lag_at_zero_has_no_standard_error_and_the_reason_says_so():
    t = np.linspace(0.0, 12.0, 14)
    found = together([("fitted", "height_mm", t, read("logistic", RISE - [0, 0, 0, 3.5], t, 0.3, 14))])
    assert found.status.tolist() == ["fitted"]
    assert found.traits["lag_h"].value[0] == pytest.approx(0.0, abs=1e-9)
    assert np.isnan(found.traits["lag_h"].se[0])
    assert "it began at once: the lag is zero, without a standard error" in found.reason[0]
    assert found.traits["extent"].se[0] > 0.0


HOURS_OF_A_FALL = ("time_to_peak_h", "ripe_until_h", "collapse_h")


def test_the_hours_of_a_fall_that_is_a_step_are_those_of_the_reading_before_and_the_reason_says_so(rises):
    """Of many falls that are read seldom, some lie between two readings: no sharpness is too sharp for them."""
    many = rises("logistic", 12, 1000, seed=42, collapse=True)
    signal, kind = np.repeat(np.arange(1000), 12), np.full(1000, "height_mm")
    found = trace_signals(observe(signal, many.t.T.ravel(), many.y.T.ravel(), kind)[0], ["logistic"], keep_curves=True)
    (choice,) = [choice for _, choice in found.choices if choice.collapses]
    (of,) = [of for of, choice in found.choices if choice.collapses]
    step = choice.held("fall_sharpness") & choice.fits.settled
    assert 5 <= step.sum() <= 80
    for signal in of[step]:
        assert "the hours of the fall are at least those of the reading before" in found.reason[signal]
        for name in HOURS_OF_A_FALL:
            hour = found.traits[name]
            assert (hour.value[signal] in many.t[:, signal] and hour.at_least[signal]) or np.isnan(hour.value[signal])
            assert np.isnan(hour.se[signal])
        assert found.traits["extent"].se[signal] > 0.0
    free = of[choice.fits.settled & ~step & (choice.shape[-1] < 20.0)]
    assert np.isfinite(found.traits["time_to_peak_h"].se[free]).mean() > 0.97


def test_a_jar_that_leaks_evenly_has_standard_errors_of_its_hours():
    """The same share is lost every hour since it began to rise."""
    t = np.linspace(0.0, 24.0, 20)
    risen = (LEVELS["logistic"].value(t, RISE) - 40.0) * np.exp(-np.maximum(t - 2.5, 0.0) / 15.0)
    found = together([("fitted", "height_mm", t, 40.0 + risen + np.random.default_rng(16).normal(0.0, 0.5, 20))])
    ((_, choice),) = found.choices
    assert found.status.tolist() == ["fitted"]
    assert choice.shape[-1, 0] < 0.0
    assert found.reason[0] == ""
    for name in HOURS_OF_A_FALL:
        assert 5.0 < found.traits[name].value[0] < 15.0
        assert 0.0 < found.traits[name].se[0] < 1.0


@pytest.mark.parametrize("seed", range(4))
def test_a_fall_within_one_gap_is_told_no_finer_than_the_gap(seed):
    """It falls all the way between 8 and 9 h. An hour anywhere within one has an sd of 1 / sqrt(12) h."""
    t = np.arange(14.0)
    y = np.where(t < 8.5, LEVELS["logistic"].value(t, RISE), 40.0) + np.random.default_rng(seed).normal(0.0, 0.3, 14)
    found = together([("fitted", "height_mm", t, y)])
    assert found.status.tolist() == ["fitted"]
    for name in ("ripe_until_h", "collapse_h"):
        hour = found.traits[name]
        assert 8.0 <= hour.value[0] <= 9.0
        assert hour.se[0] > 12**-0.5 or (np.isnan(hour.se[0]) and found.reason[0])


def test_a_rise_between_two_readings_is_at_least_so_steep():
    t = np.array([0.0, 1, 2, 3, 8, 9, 10])
    found = together([("fitted", "height_mm", t, np.array([40.0, 40.2, 39.9, 40.1, 90.1, 89.8, 90.1]))])
    assert found.status.tolist() == ["fitted"]
    rate = found.traits["max_rate"]
    assert rate.at_least[0]
    assert np.isnan(rate.se[0])
    assert rate.value[0] == pytest.approx(25.0, rel=0.01)  # 50 mm in 5 h, on 40 mm
    assert "nearly all of it happened between the readings at 3 and 8 h" in found.reason[0]


def test_reading_twice_at_every_hour_does_not_show_more_of_the_slope():
    """One hour on the slope, at which rate and lag can hardly be told apart, read once and, half a mm apart, twice."""
    t, y = np.arange(6.0), np.array([40.0, 40.1, 60, 90, 90.1, 90])
    once = ("fitted", "height_mm", t, y)
    twice = ("fitted", "height_mm", np.repeat(t, 2), np.repeat(y, 2) + np.tile([-0.5, 0.5], 6))
    rate = together([once, twice]).traits["max_rate"]
    assert rate.at_least.tolist() == [True, True]
    assert np.isnan(rate.se).all()
    np.testing.assert_allclose(rate.value, 75.0, rtol=0.01)  # 30 mm in an hour, on 40 mm


def test_a_slope_at_its_bound_is_at_least_or_without_a_standard_error():
    """Rises that leap from one reading to the next, and fall, or end, before the rise is over."""
    leaps = [
        ([0.0, 10.33, 12.49, 13.13, 20.9, 27.9, 31.38, 32.7], [40.15, 50.0, 46.07, 45.14, 40.45, 40.04, 40.01, 40.01]),
        (np.repeat(np.arange(5.0), 2), [40.0, 40.1, 40.0, 40.2, 60.0, 60.2, 90.0, 90.1, 90.0, 89.9]),
        ([0, 1, 2, 3, 8, 9, 10], [40.0, 40.2, 39.9, 40.1, 90.1, 89.8, 90.1]),
        ([0, 1, 2, 3, 4, 5, 6, 7], [40.0, 40.1, 40.0, 39.9, 90.0, 90.1, 90.0, 89.9]),
    ]
    found = together([("fitted", "height_mm", np.array(t, float), np.array(y)) for t, y in leaps])
    rate = found.traits["max_rate"]
    held = {signal: choice.held("max_rate")[n] for of, choice in found.choices for n, signal in enumerate(of.tolist())}
    assert sum(held.values()) >= 2
    for number, at_bound in held.items():
        assert rate.at_least[number] or not at_bound or (np.isnan(rate.se[number]) and found.reason[number])


def test_a_leap_read_in_whole_steps_still_tells_how_far_it_went():
    """Nothing is left of the residuals, and rate and lag are open: the extent is not, to the finest step shown.

    The mean of four readings less the mean of four, each no finer than the 0.3 mm of a ruler (`noise.INSTRUMENTS`):
    its standard error is at least 0.3 sqrt(1 / 4 + 1 / 4) mm, on 40 mm, and with few readings no more than thrice that.
    """
    y = np.array([40.0, 40, 40, 40, 90, 90, 90, 90])
    found = together([("fitted", "height_mm", np.arange(8.0), y)])
    extent = found.traits["extent"]
    assert extent.value[0] == pytest.approx(125.0, rel=1e-6)
    finest = 0.3 * np.sqrt(0.5) / 0.4
    assert 0.9 * finest < extent.se[0] < 3.0 * finest
