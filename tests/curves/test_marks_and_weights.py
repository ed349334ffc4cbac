"""The smear line, the peak's height without its hour; and readings that are surer than others."""

import numpy as np
import pandas as pd
import pytest

from leavenbench.curves import signals, trace, trace_refeed, trace_shelf
from leavenbench.curves.activity import straight_line
from leavenbench.curves.blocks import Block, blocks, observe
from leavenbench.curves.composed import LEVELS

SD_MM, START_MM = 1.5, 40.0
FED = pd.Timestamp("2025-03-01 08:00", tz="Europe/Zurich")
CUT_OFF = np.linspace(0.0, 5.0, 8)
WHOLE = np.linspace(0.0, 9.0, 10)


def rise(hours, seed=0, extent_mm=40.0, sd_mm=SD_MM):
    level = LEVELS["logistic"].value(np.asarray(hours, float), np.array([START_MM, extent_mm, 12.0, 2.5]))
    return level + np.random.default_rng(seed).normal(0.0, sd_mm, len(hours))


# The smear line


def test_of_a_rise_cut_off_the_smear_line_tells_the_extent_within_its_error():
    """200 jars of 100 % read up to two thirds of it, and their smear line next morning: an interval of 95 % is held by
    .95 +- .03 (two standard errors of a share among 200). Without it there is only 'at least'."""
    rng = np.random.default_rng(1)
    tables = []
    for jar in range(200):
        marked = pd.DataFrame(
            {"elapsed_h": [np.inf], "value": [2 * START_MM + SD_MM * rng.normal()], "high_mark": True}
        )
        read = pd.DataFrame({"elapsed_h": CUT_OFF, "value": rise(CUT_OFF, seed=100 + jar), "high_mark": False})
        tables.append(pd.concat([read, marked]).assign(refeed=f"r{jar}"))
    observed = pd.concat(tables, ignore_index=True).assign(signal="rise", kind="height_mm")
    with_mark, without = trace_shelf(observed), trace_shelf(observed[~observed["high_mark"]])
    assert (with_mark["status"] == "fitted").mean() > 0.95
    assert without["lower_bounds"].str.contains("extent").mean() > 0.95
    sure = with_mark["extent_se"].notna() & ~with_mark["lower_bounds"].str.contains(r"\bextent\b")
    assert sure.mean() > 0.95
    away = (with_mark["extent"] - 100.0).abs() / with_mark["extent_se"]
    assert (away[sure] < 2.57).mean() == pytest.approx(0.95, abs=0.035)  # Student's t with 5 to spare
    by_two = 100 / 40 * 1.5 * np.hypot(1.0, 2.0)  # error of mark and start alone, of which half lie within .6745
    assert (with_mark["extent"] - 100.0).abs().median() < 0.6745 * by_two
    assert (with_mark["max_rate"] - 30.0).abs().median() < (without["max_rate"] - 30.0).abs().median()


def test_a_smear_line_and_a_start_tell_the_extent_if_nothing_else():
    """Extent 100 (mark / start - 1); its error by the delta method 100 / start * sd * hypot(1, mark / start)."""
    row = trace_refeed([0.25], [START_MM], "height_mm", high_mark=90.0)
    assert (row["status"], row["readings"]) == ("too few readings", 1)
    assert row["extent"] == pytest.approx(125.0, rel=1e-12)
    assert row["extent_se"] == pytest.approx(100 / 40 * 1.5 * np.hypot(1.0, 90 / 40), rel=1e-12)
    assert row["reason"].endswith("the extent is that of the smear line")
    assert row[["max_rate", "lag_h", "time_to_peak_h"]].isna().all()
    sunk = trace_refeed([0.0], [START_MM], "height_mm", high_mark=38.0)
    assert sunk["extent"] == 0.0
    volume = trace_refeed([0.0], [400.0], "volume_mL", high_mark=900.0)
    assert (volume["extent"], volume["extent_se"]) == pytest.approx((125.0, 100 / 400 * 10.0 * np.hypot(1.0, 2.25)))


@pytest.mark.parametrize(
    ("hours", "values", "mark"),
    [
        ([3.0], [50.0], 90.0),  # where did it start?
        ([], [], 90.0),
        ([0.0], [0.0], 90.0),
        ([0.0], [START_MM], np.nan),
        ([0.0], [START_MM], np.inf),
        ([0.0], [START_MM], None),
        ([0.0], [1e-300], 90.0),  # a start of nothing
        ([0.0], [0.5], 90.0),
    ],
)
def test_without_either_it_tells_nothing(hours, values, mark):
    row = trace_refeed(hours, values, "height_mm", high_mark=mark)
    assert row["status"] in {"too few readings", "no readings"}
    assert np.isnan(row["extent"])
    assert "smear" not in row["reason"]


def test_of_a_ph_there_is_no_smear_line_to_start_from():
    row = trace_refeed([0.0], [5.9], "ph_direct", high_mark=4.0)
    assert np.isnan(row["extent"])


@pytest.mark.parametrize(("kind", "by"), [("height_mm", 1.0), ("volume_mL", 10.0), ("rise_pct", 2.5)])
def test_it_says_the_same_in_millimetres_millilitres_and_percent(kind, by):
    """10 mL or 2.5 % to a mm of 40."""
    in_mm = trace_refeed(CUT_OFF, rise(CUT_OFF), "height_mm", high_mark=80.0)
    row = trace_refeed(CUT_OFF, by * rise(CUT_OFF), kind, high_mark=by * 80.0)
    for name in ("extent", "max_rate", "lag_h", "extent_se"):
        assert row[name] == pytest.approx(in_mm[name], rel=1e-5)


def test_a_mark_that_goes_with_the_readings_is_one_more_of_them():
    """Read once more at the asymptote, an extent is surer, and hardly another."""
    with_mark, without = (trace(WHOLE, rise(WHOLE), "height_mm", ("logistic",), high_mark=of) for of in (80.0, None))
    marked, bare = (of.traits["extent"] for of in (with_mark, without))
    assert marked.se < bare.se
    assert abs(marked.value - bare.value) < bare.se
    assert with_mark.readings == without.readings == 10
    assert (with_mark.high_mark, without.high_mark) == (80.0, None)
    late = trace_refeed(np.append(WHOLE, 500.0), np.append(rise(WHOLE), 80.0), "height_mm", ("logistic",))
    assert marked.value == pytest.approx(late["extent"], rel=1e-6)
    assert marked.se == pytest.approx(late["extent_se"], rel=1e-4)


def test_a_mark_lower_than_the_readings_makes_the_extent_less_sure():
    """It cannot be: the line is the highest level. What it says is then weighed as any reading that lies off."""
    low, none = (trace_refeed(WHOLE, rise(WHOLE), "height_mm", high_mark=of) for of in (70.0, None))
    assert low["extent_se"] > 2.0 * none["extent_se"]
    assert abs(low["extent"] - 100.0) < 2.0 * low["extent_se"]


def test_a_dead_jar_with_its_mark_at_the_start_stays_dead():
    still = START_MM + np.random.default_rng(2).normal(0.0, SD_MM, 10)
    row = trace_refeed(WHOLE, still, "height_mm", high_mark=42.0)
    assert row["status"] == "no activity"
    later = trace_refeed(WHOLE, still, "height_mm", high_mark=80.0)
    assert later["status"] == "too few readings"
    assert "rose unseen" in later["reason"]
    assert later["extent"] == pytest.approx(100.0 * (80.0 / still[0] - 1.0))


def test_the_highest_of_several_marks_counts_with_its_hour():
    """Written down in any order; NaN, impossible and negative hours are none."""
    t = np.array([0.0, np.inf, 6.0, np.inf, 9.0, -1.0, np.nan, np.inf])
    y = np.array([40.0, 70.0, 82.0, np.nan, 75.0, 99.0, 60.0, np.inf])
    mark = np.array([False, True, True, True, True, True, True, True])
    for order in (np.arange(8), np.arange(8)[::-1], np.random.default_rng(3).permutation(8)):
        observed, known = observe(np.zeros(8, int), t[order], y[order], np.array(["height_mm"]), mark=mark[order])
        assert (known.tolist(), observed.readings.tolist()) == ([0], [1])
        assert (observed.mark.tolist(), observed.mark_h.tolist()) == ([82.0], [6.0])
    unknown, _ = observe(
        np.zeros(2, int),
        np.array([0.0, np.nan]),
        np.array([40.0, 80]),
        np.array(["height_mm"]),
        mark=np.array([False, True]),
    )
    assert unknown.mark_h.tolist() == [np.inf]


def test_marks_belong_to_their_own_signal():
    signal = np.array([0, 0, 1, 2, 2])
    t, y = np.array([0.0, np.inf, 0.0, 0.0, np.inf]), np.array([40.0, 80.0, 41.0, 42.0, np.nan])
    observed, _ = observe(signal, t, y, np.full(3, "height_mm"), mark=np.array([False, True, False, False, True]))
    np.testing.assert_array_equal(observed.mark, [80.0, np.nan, np.nan])
    assert observed.marked.tolist() == [True, False, False]
    assert observed.readings.tolist() == [1, 1, 1]
    some = observed.of(np.array([2, 0]))
    np.testing.assert_array_equal(some.mark, [np.nan, 80.0])
    for block in blocks(observed, np.arange(3), observed.readings):
        assert (block.mark is None) == (0 not in block.signals)


def test_a_mark_is_a_reading_at_an_hour_of_each_or_for_ever():
    t, y = np.array([[0.0, 0], [2, 3]]), np.array([[40.0, 41], [50, 60]])
    block = Block(np.array([0, 1]), t, y, None, np.array([2, 2]), np.array([80.0, np.nan]), np.array([np.inf, 5.0]))
    for hour, expected in ((None, 1e6), (np.array([7.0, 8.0]), 7.0)):
        marked = block.with_mark(hour)
        assert marked.t[-1].tolist() == [expected, 3.0]  # one without a mark repeats its last
        assert marked.y[-1].tolist() == [80.0, 60.0]
        assert marked.weight.tolist() == [[1, 1], [1, 1], [1, 0]]
        assert marked.readings.tolist() == [3, 2]
    assert block.highest.tolist() == [80.0, 60.0]
    bare = block._replace(mark=None, mark_h=None)
    assert bare.with_mark() is bare


@pytest.mark.parametrize("with_prior", [False, True])
def test_company_changes_no_bit_with_marks_and_weights(with_prior):
    rng, tables = np.random.default_rng(4), []
    for jar in range(30):
        hours = np.sort(rng.uniform(0.0, rng.choice([4.0, 9.0, 14.0]), rng.integers(1, 14)))
        hours[0] = 0.0
        read = pd.DataFrame(
            {"elapsed_h": hours, "value": rise(hours, seed=200 + jar), "high_mark": False, "sd": np.nan}
        )
        if jar % 3:
            read.loc[rng.random(len(hours)) < 0.3, "sd"] = 0.5
        if jar % 2:
            line = {"elapsed_h": rng.choice([np.inf, hours[-1] + 1.0]), "value": rng.uniform(60, 90), "high_mark": True}
            read = pd.concat([read, pd.DataFrame([line])])
        tables.append(read.assign(refeed=f"r{jar}"))
    observed = pd.concat(tables, ignore_index=True).assign(signal="rise", kind="height_mm")
    past = {"refeeds": 8, "log_extent": np.log(100.0), "log_extent_sd": 0.1, "log_max_rate": np.log(30.0)}
    past |= {"log_max_rate_sd": 0.12, "lag_h": 2.5, "lag_h_sd": 0.3, "gompertz": 0.2}
    prior = pd.DataFrame({"refeed": [f"r{jar}" for jar in range(30)], "signal": "rise"}).assign(**past)
    known = (prior, {"height_mm": 1.4}) if with_prior else ()
    whole = trace_shelf(observed, *known).set_index("refeed")
    for size in (1, 1, 1, 2, 12):
        some = rng.permutation(whole.index)[:size]
        part = trace_shelf(observed[observed["refeed"].isin(some)].sample(frac=1.0, random_state=size), *known)
        part = part.set_index("refeed")
        pd.testing.assert_frame_equal(part, whole.loc[part.index], check_exact=True)


# From the tables of a collection


def refeeds(**columns):
    return pd.DataFrame(
        {"refeed": ["r1"], "fed_at": [FED], "start_height_mm": START_MM, "file": "f", "row": 2} | columns
    )


def test_a_mark_speaks_until_it_is_read_or_the_jar_goes_into_the_cold():
    read = pd.DataFrame(
        {"refeed": "r1", "elapsed_h": [4.0, 20.0], "height_mm": [60.0, np.nan], "high_mark_mm": [np.nan, 80]}
    )
    until = []
    for cooled in (pd.NaT, FED + pd.Timedelta(hours=6), FED + pd.Timedelta(hours=30)):
        for hour in (20.0, np.nan):
            of = signals(read.assign(elapsed_h=[4.0, hour]), refeeds(cooled_at=cooled))
            until.append(of.loc[of["high_mark"], "elapsed_h"].item())
    assert until == [20.0, np.inf, 6.0, 6.0, 20.0, 30.0]


def test_of_a_jar_put_into_the_cold_while_it_rose_the_mark_is_the_height_of_that_hour():
    """Marked at 64 mm and cooled at 4.5 h, where it stood: no asymptote, and so no other curve than without it."""
    hours = np.array([0.0, 1, 2, 2.5, 3, 3.5, 4, 4.5])
    heights = rise(hours, sd_mm=0.3)
    cooled = pd.DataFrame({"elapsed_h": [4.5], "value": [heights[-1]], "high_mark": [True]})
    read = pd.DataFrame({"elapsed_h": hours, "value": heights, "high_mark": False})
    row = trace_shelf(pd.concat([read, cooled]).assign(refeed="r", signal="rise", kind="height_mm")).iloc[0]
    bare = trace_refeed(hours, heights, "height_mm")
    for_ever = trace_refeed(hours, heights, "height_mm", high_mark=heights[-1])
    assert row["max_rate"] == pytest.approx(bare["max_rate"], rel=0.05)
    assert for_ever["extent"] == pytest.approx(100.0 * (heights[-1] / START_MM - 1.0), rel=0.1)
    curve_end = trace_refeed(np.append(hours, 4.5), np.append(heights, heights[-1]), "height_mm")
    assert row["max_rate"] == pytest.approx(curve_end["max_rate"], rel=1e-6)


def test_marks_are_turned_into_the_unit_of_the_other_readings():
    """80 mm are 200 % of a start of 40 mm, and in a jar 100 mm wide pi d^2 / 4 h = 200 pi mL."""
    table = pd.DataFrame({"refeed": "r1", "elapsed_h": [2.0, np.nan], "high_mark_mm": [np.nan, 80.0]})
    jars = pd.DataFrame({"vessel": ["j"], "inner_diameter_mm": [100.0], "shape": ["straight"]})
    for of, kind, value in (
        ({"height_mm": [44.0, np.nan]}, "height_mm", 80.0),
        ({"rise_pct": [10.0, np.nan]}, "rise_pct", 200.0),
        ({"volume_mL": [350.0, np.nan], "vessel": "j"}, "volume_mL", 200.0 * np.pi),
    ):
        found = signals(table.assign(**of), refeeds(), jars)
        assert found["kind"].unique().tolist() == [kind]
        assert found.loc[found["high_mark"], "value"].tolist() == pytest.approx([value])
    nowhere = signals(table.assign(volume_mL=[350.0, np.nan]), refeeds(), jars)  # mL and mm cannot be compared
    assert nowhere["high_mark"].tolist() == [False]
    unknown = signals(table.assign(rise_pct=[10.0, np.nan]), refeeds(start_height_mm=np.nan), jars)
    assert not unknown["high_mark"].any()


def test_a_mark_alone_makes_a_rise_of_its_own_with_the_starting_height():
    of = signals(pd.DataFrame({"refeed": ["r1"], "elapsed_h": [20.0], "high_mark_mm": [80.0]}), refeeds())
    assert of[["elapsed_h", "value", "high_mark"]].values.tolist() == [[0.0, 40.0, False], [20.0, 80.0, True]]
    assert trace_shelf(of)["extent"].tolist() == [100.0]
    unknown = signals(pd.DataFrame({"refeed": ["r9"], "elapsed_h": [20.0], "high_mark_mm": [80.0]}), refeeds())
    assert unknown.empty


# Readings that are surer than others


@pytest.mark.parametrize("model", ["logistic", "gompertz"])
def test_a_reading_of_half_the_noise_counts_as_four(model):
    """Weight 2 in a residual is weight 4 in its square: optimum and normal matrix are those of reading it four times;
    the errors too, but for the noise, told by fewer to spare: s2 (n - p) is the same weighted sum of squares."""
    heights = rise(WHOLE)
    sure = np.where(np.isin(WHOLE, (4.0, 6.0)), 0.5 * SD_MM, SD_MM)
    again = np.repeat(WHOLE[[4, 6]], 3), np.repeat(heights[[4, 6]], 3)
    once = trace(WHOLE, heights, "height_mm", (model,), sd=sure)
    four = trace(np.append(WHOLE, again[0]), np.append(heights, again[1]), "height_mm", (model,))
    assert (once.readings, four.readings) == (10, 16)
    for name in ("extent", "max_rate", "lag_h", "start_height_mm"):
        one, many = once.traits[name], four.traits[name]
        assert one.value == pytest.approx(many.value, rel=1e-6)
        assert one.se == pytest.approx(many.se * np.sqrt((16 - 4) / (10 - 4)), rel=1e-5)
    assert once.rms_residual**2 * 10 == pytest.approx(four.rms_residual**2 * 16, rel=1e-6)


def test_a_reading_as_sure_as_usual_is_weighed_as_if_nothing_were_said():
    heights = rise(WHOLE)
    bare = trace_refeed(WHOLE, heights, "height_mm")
    for sd in (np.full(10, np.nan), np.full(10, SD_MM), np.where(WHOLE > 4, np.nan, SD_MM)):
        pd.testing.assert_series_equal(trace_refeed(WHOLE, heights, "height_mm", sd=sd), bare, check_exact=True)


@pytest.mark.parametrize("odd", [0.0, -1.0, np.inf, 1e-300, 1e300, np.nan])
def test_a_noise_that_is_none_is_the_usual_one(odd):
    heights, sd = rise(WHOLE), np.full(10, 1.0)
    sd[3] = odd
    usual = np.where(np.arange(10) == 3, SD_MM, 1.0)
    found, expected = (trace_refeed(WHOLE, heights, "height_mm", sd=of) for of in (sd, usual))
    pd.testing.assert_series_equal(found, expected, check_exact=True)


def test_a_straight_line_is_weighed_too():
    """Slope and its error by weighted least squares written out: 1 / sum w (t - mean)^2."""
    rng = np.random.default_rng(5)
    t, y = WHOLE[:, None], (400.0 + WHOLE + rng.normal(0.0, 10.0, 10))[:, None]  # mL
    weight = rng.choice([0.5, 1.0, 3.0], (10, 1))
    found, _ = straight_line(Block(np.array([0]), t, y, weight, np.array([10])), "volume_mL")
    design = weight * np.column_stack((np.ones(10), WHOLE))
    (start, slope), squares, *_ = np.linalg.lstsq(design, (weight * y)[:, 0], rcond=None)
    covariance = squares.item() / 8 * np.linalg.inv(design.T @ design)
    assert found["extent"].value.item() == pytest.approx(100.0 * 9.0 * slope / start, rel=1e-9)
    by = 100.0 * 9.0 / start * np.array([-slope / start, 1.0])  # the delta method
    assert found["extent"].se.item() == pytest.approx(np.sqrt(by @ covariance @ by), rel=1e-9)


def weighed(**columns):
    table = pd.DataFrame({"refeed": "r1"} | columns)
    found = signals(table.assign(file="r", row=np.arange(2, 2 + len(table))), refeeds(vessel="j"), JARS)
    return found.loc[found["elapsed_h"] > 0.0, "sd"].tolist()


JARS = pd.DataFrame({"vessel": ["j"], "inner_diameter_mm": [100.0], "shape": ["straight"]})


def test_heights_made_of_volumes_and_percentages_bring_their_own_noise():
    """10 mL in a jar 100 mm wide are 4000 / (pi 100^2) mm each; 4 % of 40 mm are 1.6 mm."""
    found = weighed(
        elapsed_h=[1.0, 2.0, 3.0],
        height_mm=[41.0, np.nan, np.nan],
        volume_mL=[np.nan, 400, np.nan],
        rise_pct=[np.nan, np.nan, 50],
    )
    assert np.isnan(found[0])
    assert found[1:] == pytest.approx([10.0 * 4000.0 / (np.pi * 100.0**2), 1.6], rel=1e-12)
    assert np.isnan(weighed(elapsed_h=[1.0, 2.0], rise_pct=[5.0, 50.0])).all()  # a kind of its own


def test_a_ruler_beside_a_logger_counts_less():
    """A reading every five minutes is a logger's; one and a half times the usual noise (a choice of ours)."""
    hours = np.append(np.arange(1, 40) / 12.0, [5.0, 7.0])
    found = weighed(elapsed_h=hours, height_mm=40.0 + hours)
    assert found[-2:] == [1.5 * SD_MM] * 2
    assert np.isnan(found[1:-3]).all()
    assert np.isnan(weighed(elapsed_h=[1.0, 2.0, 3.0], height_mm=[41.0, 42, 43])).all()  # rulers among themselves
