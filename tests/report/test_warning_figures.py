"""The figures of the warning say what the tables say."""

from __future__ import annotations

import datetime as dt

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest

import leavenbench
from leavenbench.report.figures import plot_evidence, plot_operating_curve, plot_vigour, plot_whole_shelf
from leavenbench.simulate import Story
from leavenbench.simulate.cast import nameless_cast
from leavenbench.simulate.house.folder import write_collection
from leavenbench.simulate.shelf import simulate_cast
from leavenbench.watch.trust import operating_curve
from leavenbench.watch.watch_list import outlook_of

mpl.use("Agg")
AS_OF = dt.date(2024, 12, 31)


@pytest.fixture(scope="module")
def house(tmp_path_factory):
    """Return a house of eight cultures for three years, the first of which loses 8 % a round from the eighth on."""
    folder = tmp_path_factory.mktemp("house") / "house"
    cast = nameless_cast(8, 18, np.random.default_rng(3))
    cast.stories.clear()
    cast.stories["C001"] = Story("ramp", 8, 8.0)
    write_collection(simulate_cast(11, cast, 3.0, dt.date(2022, 1, 3)).tables, folder)
    collection = leavenbench.read_collection(folder, as_of=AS_OF)
    curves = leavenbench.trace_collection(collection)
    vigour = leavenbench.vigour_of(collection, curves)
    return collection, vigour, leavenbench.watch_list(collection, curves, vigour, AS_OF)


@pytest.fixture(autouse=True)
def _close():
    yield
    import matplotlib.pyplot as plt

    plt.close("all")


def test_the_declining_one_is_first_and_its_fan_leads_to_half_strength(house):
    collection, vigour, listed = house
    assert listed["culture"].iloc[0] == "C001"
    moved = listed.assign(
        rounds_left_low=1.0,
        rounds_left=3.0,
        rounds_left_high=6.0,
        standing="slipping",
        as_of=pd.Timestamp("2024-06-01"),
    )
    steady = listed["culture"].iloc[-1]
    axes = plot_vigour(collection, vigour, steady, listed=moved)
    (fan,) = [patch for patch in axes.patches if patch.get_label() == "forecast, 80 %"]
    corners = fan.get_xy()
    at_half = sorted(mpl.dates.num2date(x).date() for x, y in corners if y == pytest.approx(50.0))
    days = collection.settings.round_days
    expected = [(pd.Timestamp("2024-06-01") + pd.Timedelta(days=n * days)).date() for n in (1.0, 6.0)]
    assert at_half == expected
    unlike = listed.assign(rounds_left_low=99.0, rounds_left=99.0, rounds_left_high=99.0)
    bare = plot_vigour(collection, vigour, steady, listed=unlike)
    assert "forecast, 80 %" not in [patch.get_label() for patch in bare.patches]


def test_the_first_point_beyond_its_limit_is_that_of_the_first_alert(house):
    collection, vigour, _ = house
    seen = outlook_of(collection, vigour)
    axes = plot_evidence(seen, "C001")
    own = (seen.levels["culture"] == "C001").to_numpy()
    beyond = np.flatnonzero(own & (seen.evidence.decline >= seen.threshold))
    marks = [line for line in axes.get_lines() if line.get_marker() == "o" and line.get_color() == "#0b5394"]
    assert len(beyond)
    (mark,) = marks
    expected = seen.levels["fed_at"].iloc[beyond[0]].tz_localize(None)
    assert pd.Timestamp(mark.get_xdata()[0]) == expected
    assert "no rounds" in plot_evidence(seen, "nobody").get_title("left")


def test_the_shelf_as_a_whole_is_drawn_and_too_small_a_shelf_says_so(house):
    collection, vigour, _ = house
    months = leavenbench.whole_shelf(vigour, collection.settings.round_days)
    small = plot_whole_shelf(months.iloc[:0])
    assert "too few cultures" in small.get_title("left")
    rows = pd.DataFrame({"month": ["2024-01", "2024-02"], "cultures": 9, "vigour_pct": [99.0, 80.0]})
    axes = plot_whole_shelf(rows.assign(vigour_pct_se=2.0, falling=[False, True]))
    marked = [line for line in axes.get_lines() if line.get_marker() == "v"]
    assert [line.get_ydata().tolist() for line in marked] == [[80.0]]


def test_the_operating_curve_has_a_line_for_each_method():
    axes = plot_operating_curve(operating_curve())
    assert set(axes.get_legend_handles_labels()[1]) == {"leavenbench", "oracle", "EWMA .2", "CUSUM .5"}
    assert "per 100 healthy culture-years" in axes.get_xlabel()
