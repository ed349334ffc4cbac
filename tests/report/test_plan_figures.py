"""Figures of plans show what was computed."""

from __future__ import annotations

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest

from leavenbench.report.figures.plan import plot_chance_to_see, plot_gain_of_readings, plot_rounds_until_named

mpl.use("Agg")


@pytest.fixture(autouse=True)
def _close():
    yield
    import matplotlib.pyplot as plt

    plt.close("all")


def chances():
    table = pd.DataFrame({"rounds": [3, 6, 12], "refeeds": [6, 12, 24], "seen_pct": [20.0, 50.0, 90.0]})
    table = table.assign(seen_low_pct=table["seen_pct"] - 4, seen_high_pct=table["seen_pct"] + 4, days="shared")
    table = table.assign(same_pct=[5.0, 30.0, 85.0], same_low_pct=[3.0, 25.0, 80.0], same_high_pct=[8.0, 35.0, 89.0])
    same = {"trait": "rise max_rate", "cultures": 2, "beside": 3, "refeeds_per_round": 2, "unit": "%"}
    return table.assign(**same, difference=20.0, margin=15.0)


@pytest.mark.parametrize(("question", "name"), [("different", "seen_pct"), ("the same", "same_pct")])
def test_chances_rise_with_refeeds_and_the_wish_is_drawn(question, name):
    axes = plot_chance_to_see(chances(), 75.0, question)
    line = axes.containers[0].lines[0]
    assert line.get_xdata().tolist() == [6.0, 12.0, 24.0]
    assert line.get_ydata().tolist() == chances()[name].tolist()
    assert any(set(of.get_ydata()) == {75.0} for of in axes.get_lines())
    assert ("20 %" if question == "different" else "15 %") in axes.get_title("left")
    assert "[%]" in axes.get_ylabel()


def test_declines_stand_by_their_pace_with_both_ends():
    table = pd.DataFrame({"pace_pct": [3.0, 8.0] * 2, "refeeds_per_round": [1, 1, 3, 3], "rounds": [9.0, 5, 8, 4]})
    table = table.assign(readings_times=1.0, rounds_low=table["rounds"] - 1, rounds_high=table["rounds"] + 1)
    table = table.assign(rounds_certain=table["rounds"] + 3, certainty_pct=80.0, false_alerts=1.0)
    axes = plot_rounds_until_named(table)
    assert [of.get_text() for of in axes.get_xticklabels()] == ["3", "8"]
    points = [of.get_ydata().tolist() for of in axes.get_lines() if of.get_label().endswith("in a round")]
    assert points == [[9.0, 5.0], [8.0, 4.0]]
    assert "1 false alert per" in axes.get_title("left")


def test_gains_stand_under_the_curve_at_the_same_hours():
    hours = np.arange(0.0, 10.0)
    gains = pd.DataFrame({"elapsed_h": hours, "level": hours, "level_low": hours - 1, "level_high": hours + 1})
    gains = gains.assign(culture="Ida", signal="rise", max_rate_gain_pct=hours[::-1], lag_h_gain_pct=1.0)
    above, beneath = plot_gain_of_readings(gains.assign(extent_gain_pct=2.0), [0.0, 4.0], [0.0, 3.0])
    marked = {of.get_label(): of.get_xdata().tolist() for of in above.get_lines()}
    assert (marked["kept now (2)"], marked["best (2)"]) == ([0.0, 4.0], [0.0, 3.0])
    drawn = {of.get_label(): of.get_ydata().tolist() for of in beneath.get_lines()}
    assert drawn["steepest slope"] == hours[::-1].tolist()
    assert above.get_xlim() == beneath.get_xlim()
    assert "Ida" in above.get_title("left")
    assert "[%]" in above.get_ylabel()
