"""Eight jars that are hard to read, and what an expert would say of each: no more than can be known, and that rightly.

The readings, what is true, and the culture's past lie in `hard_cases/`; `tests/benchmarks/hard_cases.py` draws them.
"""

import runpy
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from leavenbench.curves import trace_shelf, trace_signal
from leavenbench.curves.noise import INSTRUMENTS

HERE = Path(__file__).parent / "hard_cases"
CASES = runpy.run_path(str(HERE / "cases.py"))
OBSERVED, TRUTHS, PRIOR = (CASES[name]() for name in ("observed", "truths", "prior"))
NOISE = {kind: it.noise for kind, it in INSTRUMENTS.items()}
ALONE, HELPED = False, True
#: Shares at which the design of the curves table reads hours: peak, ripe, collapsed.
PEAK, RIPE, COLLAPSED = 0.95, 0.90, 0.80


def read(case, signal="rise"):
    return OBSERVED[(OBSERVED["refeed"] == case) & (OBSERVED["signal"] == signal)]


@cache
def told(case, helped, signal="rise"):
    return trace_signal(read(case, signal), PRIOR if helped else None, NOISE)


def row(case, helped, signal="rise"):
    """Return the case's row of the curves table."""
    return trace_shelf(read(case, signal), PRIOR if helped else None, NOISE).iloc[0]


def true_traits(truth):
    """Read the traits off the true curve, minute by minute and finer; infinite where an hour never comes."""
    t = np.linspace(0.0, 48.0, 480_001)
    rise = 100.0 * (truth.height_mm(t) / truth.start_mm - 1.0)
    slope = np.gradient(rise, t)
    steepest, falls = slope.argmax(), truth.model.endswith("collapse")
    top = rise.max() if falls else truth.shape[0] if truth.model else 0.0
    past = t >= t[rise.argmax()]

    def first(when):
        return t[when.argmax()] if when.any() else np.inf

    traits = {"start_height_mm": truth.start_mm, "extent": top, "max_rate": slope[steepest]}
    if truth.model:
        traits["lag_h"] = t[steepest] - rise[steepest] / slope[steepest]
        traits["time_to_peak_h"] = first(past) if falls else first(rise >= PEAK * top)
        traits["time_to_double_h"] = first(rise >= 100.0)
        traits["ripe_from_h"] = first(rise >= RIPE * top)
        traits["ripe_until_h"], traits["collapse_h"] = (first(past & (rise < s * top)) for s in (RIPE, COLLAPSED))
    return traits


@pytest.mark.parametrize("helped", [ALONE, HELPED])
@pytest.mark.parametrize("case", TRUTHS)
def test_what_is_told_is_true(case, helped):
    """Estimates within three of their standard errors, bounds on their side: no jar of eight is an exception.

    Whether a jar that rises by 95 % doubles is left out: no reading of it tells.
    """
    true, found = true_traits(TRUTHS[case]), told(case, helped)
    known = {name: it for name, it in found.traits.items() if np.isfinite(it.value)}
    assert "extent" in known
    for name, it in known.items():
        if it.at_least:
            assert it.value - 2.0 * np.nan_to_num(it.se) <= true[name], name
        elif name != "time_to_double_h" or np.isfinite(true[name]):
            assert abs(it.value - true[name]) <= 3.0 * it.se, name


@pytest.mark.parametrize("case", [case for case in TRUTHS if case not in ("dead", "smear line only")])
def test_the_band_holds_the_truth(case):
    found = told(case, HELPED)
    hours = np.linspace(0.0, found.until_h, 200)
    low, high = found.band(hours)
    truth = TRUTHS[case].height_mm(hours)
    assert ((low <= truth) & (truth <= high)).all()


def test_sparse():
    """Four readings carry a curve, just so; what errors it has, the shelf must say, and the past halves them."""
    alone, helped = told("sparse", ALONE), told("sparse", HELPED)
    assert (alone.status, helped.status) == ("fitted", "fitted")
    unknown = trace_signal(read("sparse"))
    assert "as many numbers in the curve as readings, so no standard errors" in unknown.reason
    assert all(np.isnan(it.se) for it in unknown.traits.values())
    assert alone.traits["extent"].se > 8.0
    assert all(it.prior_share == 0.0 for it in alone.traits.values())
    assert helped.reason.startswith("with the help of 8 earlier refeeds")
    for name in ("extent", "max_rate", "lag_h"):
        assert helped.traits[name].se < 0.6 * alone.traits[name].se
        assert 0.5 < helped.traits[name].prior_share < 0.95
    assert helped.traits["extent"].value == pytest.approx(true_traits(TRUTHS["sparse"])["extent"], rel=0.10)


def test_cut_off():
    """Of a peak that was not seen the readings tell only how far it came; the past tells the rest, nearly all of it."""
    alone, helped = told("cut off", ALONE), told("cut off", HELPED)
    came = 100.0 * (read("cut off")["value"].max() / 40.0 - 1.0)
    assert alone.status == helped.status == "peak not reached"
    assert "the readings end before the peak" in alone.reason
    assert alone.traits["extent"].at_least
    assert alone.traits["extent"].value == pytest.approx(came, abs=2 * alone.traits["extent"].se)
    extent = helped.traits["extent"]
    assert not extent.at_least
    assert extent.prior_share > 0.95
    assert extent.value == pytest.approx(true_traits(TRUTHS["cut off"])["extent"], rel=0.10)
    assert helped.traits["max_rate"].se < 0.5 * alone.traits["max_rate"].se
    for found in (alone, helped):  # the hour of the peak was not seen, with whatever help
        assert found.traits["time_to_peak_h"][:3:2] == (4.5, True)
    assert row("cut off", ALONE)["lower_bounds"] == "extent, time_to_peak_h, ripe_from_h, ripe_until_h"
    assert "extent" not in row("cut off", HELPED)["lower_bounds"]


@pytest.mark.parametrize("helped", [ALONE, HELPED])
def test_wild_reading(helped):
    """The height at 5 h, written down 3 cm too low, is set aside by name; all else is as if it had never been read."""
    found, place = row("wild reading", helped), read("wild reading").query("elapsed_h == 5")
    assert found["status"] == "fitted"
    assert found["readings"] == 9
    assert found["set_aside"] == f"readings.csv:{place['row'].item()}"
    assert "the reading of 50 at 5 h does not go with the others" in found["reason"]
    without = trace_signal(read("wild reading").drop(place.index), PRIOR if helped else None, NOISE)
    assert repr(told("wild reading", helped).traits) == repr(without.traits)


@pytest.mark.parametrize("helped", [ALONE, HELPED])
@pytest.mark.parametrize("signal", ["rise", "acid"])
def test_dead(signal, helped):
    """A dead jar is dead, whatever its culture used to do; nothing is borrowed, and no hour is told."""
    found = told("dead", helped, signal)
    assert (found.status, found.model, found.choice) == ("no activity", "straight line", None)
    extent = found.traits["extent"]
    assert extent.value + 3.0 * extent.se < (20.0 if signal == "rise" else 0.2)  # % and pH: a tenth of a strong jar
    assert extent.value <= 3.0 * extent.se
    assert all(np.isnan(it.value) for name, it in found.traits.items() if name.endswith("_h"))
    assert all(it.prior_share == 0.0 for it in found.traits.values() if np.isfinite(it.prior_share))


def test_late_collapse():
    """It fell in the night, read before and after: the hour is told, with what it is worth; a past is not needed."""
    found = told("late collapse", ALONE)
    assert (found.status, found.model) == ("fitted", "logistic with collapse")
    assert 12.0 < found.traits["collapse_h"].value < 20.0
    assert 0.5 < found.traits["collapse_h"].se < 2.0
    assert not any(it.at_least for it in found.traits.values())
    assert repr(told("late collapse", HELPED).traits) == repr(found.traits)


def test_whole_rise_between_two_readings():
    """How far is known, how fast is not: at least as fast as the line from one reading to the next, after 2 h."""
    alone, helped = (told("whole rise between two readings", it) for it in (ALONE, HELPED))
    assert alone.status == helped.status == "fitted"
    rate, truth = alone.traits["max_rate"], true_traits(TRUTHS["whole rise between two readings"])["max_rate"]
    assert rate.at_least
    assert np.isnan(rate.se)
    assert rate.value == pytest.approx(alone.traits["extent"].value / 7.0, rel=0.05)  # nearly all of it in seven hours
    assert rate.value < truth
    assert "nearly all of it happened between the readings at 2 and 9 h" in alone.reason
    for name in ("lag_h", "time_to_peak_h", "time_to_double_h", "ripe_from_h"):
        assert alone.traits[name][:3:2] == (2.0, True)
    assert not alone.traits["extent"].at_least
    assert not helped.traits["max_rate"].at_least
    assert min(helped.traits[name].prior_share for name in ("max_rate", "lag_h")) > 0.8
    assert helped.traits["extent"].prior_share < 0.1  # the readings know it better


def test_smear_line_only():
    """The smear line tells how far the dough came, the sunk dough of next morning nothing; how fast, only the past."""
    alone, helped = told("smear line only", ALONE), told("smear line only", HELPED)
    assert alone.status == "too few readings"
    assert alone.choice is None
    assert set(alone.traits) == {"extent"}
    assert alone.traits["extent"].value == 100.0 * (86.0 / 40.0 - 1.0)
    # of a ratio of two heights, each with the 1.5 mm of a ruler
    assert alone.traits["extent"].se == pytest.approx(100.0 * 1.5 / 40.0 * np.hypot(1.0, 86.0 / 40.0), rel=1e-9)
    assert (helped.status, helped.readings) == ("fitted", 1)
    assert "it fell again, read 1 time" in helped.reason
    assert helped.traits["extent"].se < 0.75 * alone.traits["extent"].se
    assert 0.3 < helped.traits["extent"].prior_share < 0.9
    assert min(helped.traits[name].prior_share for name in ("max_rate", "lag_h")) > 0.99
    start_and_mark = read("smear line only").query("high_mark or elapsed_h == 0")
    unread = trace_signal(start_and_mark, PRIOR, NOISE)
    for name, it in helped.traits.items():
        np.testing.assert_array_equal(unread.traits[name][:3], it[:3])


def with_readings(hours, heights, mark):
    """Return the jar of the smear line with other readings: the line is read next morning as well."""
    jar = read("smear line only")
    line = jar[jar["high_mark"]].assign(value=mark)
    one = jar.iloc[[0]]
    return pd.concat([*(one.assign(elapsed_h=t, value=y) for t, y in zip(hours, heights, strict=True)), line])


@pytest.mark.parametrize("helped", [ALONE, HELPED])
@pytest.mark.parametrize("mark", [86.0, 65.0])  # as usual, and at about half its strength
@pytest.mark.parametrize(
    ("hours", "heights"),
    [
        ([0, 22], [40, 62]),
        ([0, 22], [40, 41]),  # sunk to where it began
        ([0, 2, 3, 22], [40, 41, 46, 58]),
        ([0, 2, 3, 20, 22], [40, 41, 46, 58, 54]),
        ([0, 0.5, 1, 1.5], [40, 41, 40, 40]),  # not looked at while it rose
    ],
)
def test_a_smear_line_above_sunk_dough(hours, heights, mark, helped):
    """Nobody is dead who drew a line, and the extent is that of the line, within its error, however the rest went."""
    found = trace_signal(with_readings(hours, heights, mark), PRIOR if helped else None, NOISE)
    assert found.status in ("fitted", "too few readings")
    extent = found.traits["extent"]
    assert not extent.at_least
    assert extent.value == pytest.approx(100.0 * (mark / 40.0 - 1.0), abs=12.0)
    assert extent.se < 12.0
    if "max_rate" in found.traits and not found.traits["max_rate"].at_least:
        assert found.traits["max_rate"].prior_share > 0.5


def test_a_smear_line_just_above_the_last_reading_is_the_peak_to_come():
    """A window that closed while the dough rose: nothing fell, and the line is what it rose to later."""
    hours = [0, 1, 2, 3, 4, 5, 6, 7]
    found = trace_signal(with_readings(hours, [40, 41, 42, 46, 56, 67, 75, 80], 88.0), None, NOISE)
    assert (found.status, found.readings) == ("fitted", 8)
    assert "it fell" not in found.reason
    assert found.traits["extent"].value == pytest.approx(120.0, abs=2.0 * found.traits["extent"].se)


@pytest.mark.parametrize("helped", [ALONE, HELPED])
def test_lid_lifted(helped):
    """A minute's log with the lid off twice: those readings are named, and the curve is that of the others."""
    found, log = row("lid lifted", helped), read("lid lifted")
    off = log[log["value"] < 20.0]
    assert (found["status"], found["model"]) == ("fitted", "gompertz with collapse")
    assert found["readings"] == len(log) - len(off) == 1192
    rows = [off.loc[early, "row"].agg(["min", "max"]) for early in (off["elapsed_h"] < 8.0, off["elapsed_h"] > 8.0)]
    assert found["set_aside"] == ", ".join(f"lid_lifted.csv:{first}-{last}" for first, last in rows)
    assert len(told("lid lifted", helped).set_aside) == len(off)
    without = trace_signal(log.drop(off.index), PRIOR if helped else None, NOISE)
    assert repr(told("lid lifted", helped).traits) == repr(without.traits)
    assert told("lid lifted", helped).rms_residual == pytest.approx(0.3, rel=0.1)  # the noise that was put in


def test_the_tables_are_what_the_script_makes():
    """Truth and readings to the last digit; what the past lets expect changes with the fits, and is left as it is."""
    made = runpy.run_path(str(HERE / "invent.py"))["tables"]()
    for file in ("truth.csv", "readings.csv", "lid_lifted.csv"):
        assert made[file].to_csv(index=False) == (HERE / file).read_text("utf-8")


def test_their_figure_shows_all_of_it_and_nothing_overlaps():
    import matplotlib as mpl
    import matplotlib.pyplot as plt
    from matplotlib.text import Text

    mpl.use("Agg")
    figure = runpy.run_path(str(Path(__file__).parents[1] / "benchmarks" / "hard_cases.py"))["drawn"]()
    figure.draw_without_rendering()
    assert [ax.get_title("left").lower() for ax in figure.axes] == list(TRUTHS)
    texts = [it for ax in figure.axes for it in ax.get_children() if isinstance(it, Text) and it.get_text()]
    boxes = [text.get_window_extent() for text in texts]
    assert len(boxes) == 2 * len(TRUTHS)  # a title and a verdict each
    for box in (*boxes, *(legend.get_window_extent() for legend in figure.legends)):
        assert figure.bbox.x0 <= box.x0 < box.x1 <= figure.bbox.x1
        assert not any(box.overlaps(ax.bbox) for ax in figure.axes)
        assert not any(box.overlaps(other) for other in boxes if other is not box)
    crossed = {ax.get_title("left"): line for ax in figure.axes for line in ax.get_lines() if line.get_marker() == "x"}
    assert {title: len(line.get_xdata()) for title, line in crossed.items()} == {"Wild reading": 1, "Lid lifted": 9}
    plt.close(figure)
