"""From readings to signals: which readings make the curve, in what unit."""

import numpy as np
import pandas as pd
import pytest

from leavenbench.curves.signals import signals

FED = pd.Timestamp("2025-03-01 08:00", tz="Europe/Zurich")


def refeeds(**columns):
    return pd.DataFrame(
        {"refeed": ["r1"], "culture": ["Ida"], "fed_at": [FED], "file": "refeeds.csv", "row": 2} | columns
    )


def readings(refeed="r1", **columns):
    table = pd.DataFrame({"refeed": refeed} | columns)
    return table.assign(file="readings.csv", row=np.arange(2, 2 + len(table)))


def rise(*args):
    found = signals(*args)
    found = found[found["signal"] == "rise"]
    return found["kind"].unique().tolist(), found[["elapsed_h", "value"]].values.tolist()


def test_heights_with_the_starting_height_in_the_order_of_time():
    read = readings(elapsed_h=[4.0, 2.0], height_mm=[60.0, 44.0])
    assert rise(read, refeeds(start_height_mm=40.0)) == (["height_mm"], [[0.0, 40.0], [2.0, 44.0], [4.0, 60.0]])


def test_each_observation_says_where_it_was_written():
    found = signals(readings(elapsed_h=[2.0, 4.0], height_mm=[44.0, 60.0]), refeeds(start_height_mm=40.0))
    assert found[["file", "row"]].values.tolist() == [["refeeds.csv", 2], ["readings.csv", 2], ["readings.csv", 3]]


def test_volumes_become_heights_in_a_straight_jar():
    """V = pi d^2 / 4 h: in a jar 100 mm wide 0.1 pi L stand 40 mm high."""
    read = readings(elapsed_h=[0.0, 3.0], height_mm=[40.0, np.nan], volume_mL=[np.nan, 200.0 * np.pi])
    jars = pd.DataFrame({"vessel": ["jar 1"], "inner_diameter_mm": [100.0], "shape": ["straight"]})
    assert rise(read, refeeds(vessel="jar 1"), jars) == (["height_mm"], [[0.0, 40.0], [3.0, pytest.approx(80.0)]])
    tapered = jars.assign(shape="tapered")
    assert rise(read, refeeds(vessel="jar 1"), tapered) == (["height_mm"], [[0.0, 40.0]])
    assert rise(read, refeeds(vessel="jar 2"), jars) == (["height_mm"], [[0.0, 40.0]])
    assert rise(read.assign(vessel="jar 1"), refeeds(), jars)[1][1] == [3.0, pytest.approx(80.0)]


def test_percentages_become_heights_where_the_start_is_known():
    read = readings(elapsed_h=[2.0, 4.0], height_mm=[44.0, np.nan], rise_pct=[np.nan, 50.0])
    assert rise(read, refeeds(start_height_mm=40.0))[1] == [[0.0, 40.0], [2.0, 44.0], [4.0, 60.0]]
    assert rise(read, refeeds())[1] == [[2.0, 44.0]]


def test_percentages_alone_count_from_100_at_the_start():
    read = readings(elapsed_h=[2.0, 4.0], rise_pct=[10.0, 50.0])
    assert rise(read, refeeds(start_height_mm=40.0)) == (["rise_pct"], [[0.0, 100.0], [2.0, 110.0], [4.0, 150.0]])
    at_start = readings(elapsed_h=[0.0, 4.0], rise_pct=[0.0, 50.0])
    assert rise(at_start, refeeds())[1] == [[0.0, 100.0], [4.0, 150.0]]


def test_without_heights_the_kind_read_more_often_is_used():
    read = readings(elapsed_h=[1.0, 2.0, 3.0], volume_mL=[300.0, 350.0, np.nan], rise_pct=[np.nan, np.nan, 50.0])
    assert rise(read, refeeds()) == (["volume_mL"], [[1.0, 300.0], [2.0, 350.0]])


def test_what_was_read_in_the_cold_is_no_part_of_the_curve():
    read = readings(elapsed_h=[2.0, 6.0, 6.5], height_mm=[44.0, 60.0, 61.0])
    cooled = refeeds(cooled_at=FED + pd.Timedelta(hours=6))
    assert rise(read, cooled)[1] == [[2.0, 44.0], [6.0, 60.0]]
    assert len(rise(read, refeeds(cooled_at=pd.NaT))[1]) == 3
    assert len(rise(read, refeeds(cooled_at=FED - pd.Timedelta(days=1)))[1]) == 3  # mistyped: no time at all


def test_ph_in_the_way_measured_more_often():
    read = readings(
        elapsed_h=[0.0, 2.0, 4.0, 6.0], ph=[5.9, 5.8, 5.0, 4.4], ph_method=["slurry", "direct", None, "direct"]
    )
    found = signals(read, refeeds())
    assert found["kind"].tolist() == ["ph_direct"] * 3
    assert found["elapsed_h"].tolist() == [2.0, 4.0, 6.0]
    found = signals(read.assign(ph_method="slurry"), refeeds())
    assert found["kind"].tolist() == ["ph_slurry"] * 4


def test_refeeds_in_their_order_rise_before_acid():
    many = pd.concat([refeeds(), refeeds(refeed="r0")])
    read = pd.concat([readings(name, elapsed_h=[1.0], height_mm=[41.0], ph=[5.9]) for name in ("r0", "r1", "unknown")])
    found = signals(read, many)
    assert list(zip(found["refeed"], found["signal"], strict=True)) == [
        ("r1", "rise"),
        ("r1", "acid"),
        ("r0", "rise"),
        ("r0", "acid"),
    ]


def test_nothing_read_gives_an_empty_table_of_the_same_columns():
    found = signals(readings(elapsed_h=[1.0], height_mm=[np.nan]), refeeds(start_height_mm=40.0))
    assert len(found) == 0
    assert found.columns.tolist() == [
        "refeed",
        "signal",
        "kind",
        "elapsed_h",
        "value",
        "sd",
        "high_mark",
        "file",
        "row",
    ]


def test_the_callers_tables_are_left_alone():
    read, fed = readings(elapsed_h=[2.0, 4.0], height_mm=[44.0, 60.0]), refeeds(start_height_mm=40.0)
    before = read.copy(), fed.copy()
    signals(read, fed)
    pd.testing.assert_frame_equal(read, before[0])
    pd.testing.assert_frame_equal(fed, before[1])
