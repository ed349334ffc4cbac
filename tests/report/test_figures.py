"""Figures draw what was read and fitted, and say what they show."""

from __future__ import annotations

import dataclasses
import datetime as dt

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest
from scipy import stats

import leavenbench
from leavenbench.curves import trace
from leavenbench.report.figures import plot_culture, plot_curve, plot_shelf, plot_vigour
from leavenbench.report.figures.curve import draw_trace
from leavenbench.simulate import simulate_shelf
from leavenbench.simulate.house.folder import write_collection

mpl.use("Agg")


@pytest.fixture(scope="module")
def house(tmp_path_factory):
    folder = tmp_path_factory.mktemp("house") / "house"
    write_collection(simulate_shelf(5, cultures=3, years=1.0).tables, folder)
    collection = leavenbench.read_collection(folder)
    curves = leavenbench.trace_collection(collection)
    vigour = leavenbench.vigour_of(collection, curves)
    return collection, curves, vigour


@pytest.fixture(autouse=True)
def _close():
    yield
    import matplotlib.pyplot as plt

    plt.close("all")


@pytest.mark.parametrize(("signal", "label"), [("rise", "Rise over the start [%]"), ("acid", "pH")])
def test_a_curve_goes_through_its_readings_and_no_further(house, signal, label):
    collection, curves, _ = house
    refeed = curves[(curves["signal"] == signal) & (curves["status"] == "fitted")]["refeed"].iloc[4]
    axes = plot_curve(collection, refeed, signal)
    lines = {line.get_label(): line for line in axes.get_lines()}
    points, line = lines["readings"], lines["fitted curve"]
    assert axes.get_xlabel() == "Time since feeding [h]"
    assert axes.get_ylabel() == label
    assert line.get_xdata().max() <= points.get_xdata().max()
    near = np.interp(points.get_xdata(), line.get_xdata(), line.get_ydata())
    within = points.get_xdata() <= line.get_xdata().max()
    span = np.ptp(line.get_ydata())
    assert np.median(np.abs(near - points.get_ydata())[within]) < 0.1 * span
    assert f"{curves.set_index(['refeed', 'signal']).loc[(refeed, signal), 'readings']} readings" in axes.get_title(
        "left"
    )


def drawn_alone(hours, heights):
    """Draw a rise on axes of its own; return them, and its trace."""
    import matplotlib.pyplot as plt

    _, axes = plt.subplots()
    found = trace(hours, heights, "height_mm", ("logistic",))
    draw_trace(axes, hours, heights, found, "rise")
    return axes, found


def labels_on(axes):
    return axes.get_legend_handles_labels()[1]


def test_the_band_is_that_of_the_whole_curve_and_says_so():
    hours = np.array([0.0, 1, 2, 3, 4, 5, 6, 8, 9])
    axes, found = drawn_alone(hours, np.array([40.2, 40, 41, 46, 62, 75, 79, 80, 79.6]))
    assert "95 % band for the whole curve" in labels_on(axes)
    (band,) = (it for it in axes.collections if it.get_label().startswith("95 %"))
    (edge,) = (path.vertices for path in band.get_paths())
    line = axes.get_lines()[1]
    for at in (0, 100, 299):
        hour = line.get_xdata()[at]
        low, high = np.sort(edge[edge[:, 0] == hour][:, 1])[[0, -1]]
        width = 0.5 * (high - low) / 100.0 * found.start
        assert 0.5 * (low + high) == pytest.approx(line.get_ydata()[at], abs=1e-9)
        # 5 readings to spare: beyond Student's t quantile, within Scheffe's bound
        pointwise, scheffe = stats.t.ppf(0.975, 5), np.sqrt(4 * stats.f.ppf(0.95, 4, 5))
        assert 1.2 * pointwise < width / found.level_se(np.array([hour]))[0] < scheffe


def test_a_band_that_is_wider_than_the_picture_does_not_crush_the_readings():
    hours = np.array([0.0, 3, 5, 7, 11])
    axes, _ = drawn_alone(hours, np.array([40.0, 42, 80, 84, 96]))
    (band,) = (it for it in axes.collections if it.get_label().startswith("95 %"))
    read, all_of_it = np.ptp(axes.get_lines()[0].get_ydata()), np.ptp(band.get_paths()[0].vertices[:, 1])
    axes.autoscale_view()
    assert all_of_it > 3.0 * read
    assert np.ptp(axes.get_ylim()) < 2.0 * read


def test_a_curve_without_an_error_has_no_band_and_says_so():
    hours = np.array([0.0, 3, 6, 12])  # as many readings as numbers in the curve
    axes, _ = drawn_alone(hours, np.array([40.0, 45, 85, 100]))
    assert "fitted curve, error unknown" in labels_on(axes)
    assert not any("band" in label for label in labels_on(axes))


def test_a_refeed_that_was_never_read_is_a_figure_that_says_so(house):
    collection, _, _ = house
    tables = {**collection.tables, "readings": collection["readings"].iloc[:0]}
    empty = type(collection)(**{**vars(collection), "tables": tables})
    axes = plot_curve(empty, collection["refeeds"]["refeed"].iloc[0])
    assert "no rise was read" in [text.get_text() for text in axes.texts]


def test_vigour_shows_every_refeed_baseline_and_half_strength(house):
    collection, _, vigour = house
    culture = vigour["culture"].iloc[0]
    axes = plot_vigour(collection, vigour, culture)
    own = vigour[(vigour["culture"] == culture) & vigour["vigour_pct_own"].notna()]
    drawn = [len(line.get_xdata()) for line in axes.get_lines() if line.get_linestyle() == "None"]
    assert sum(drawn) == len(own)
    assert {100.0, 50.0} <= {line.get_ydata()[0] for line in axes.get_lines()}
    assert axes.get_ylabel() == "Vigour [% of its own baseline]"
    assert f"{len(own)} refeeds" in axes.get_title("left")


def test_the_shelf_has_a_row_for_every_culture_in_the_lists_order(house):
    collection, curves, vigour = house
    listed = leavenbench.watch_list(collection, curves, vigour, dt.date(2022, 12, 31))
    axes = plot_shelf(vigour, listed)
    told = [label.get_text().split(" (")[0] for label in axes.get_yticklabels()]
    assert told == listed["culture"].tolist()
    shown = axes.images[0].get_array()
    assert shown.shape[0] == len(listed)
    assert np.ma.median(shown) == pytest.approx(100, abs=15)


def test_small_multiples_have_a_panel_for_every_step_of_every_round(house):
    collection, _, vigour = house
    culture = vigour["culture"].iloc[0]
    figure = plot_culture(collection, culture, rounds=4)
    own = collection["refeeds"][collection["refeeds"]["culture"] == culture]
    last = sorted(own["round"].dropna().unique())[-4:]
    steps = own[own["round"].isin(last)]["step"].nunique()
    assert len(figure.axes) == steps * len(last)
    assert figure.get_supxlabel() == "Time since feeding [h]"


def test_a_figure_is_drawn_where_it_is_told(house):
    import matplotlib.pyplot as plt

    collection, _, vigour = house
    _, (left, right) = plt.subplots(1, 2)
    assert plot_curve(collection, collection["refeeds"]["refeed"].iloc[0], ax=left) is left
    assert plot_vigour(collection, vigour, vigour["culture"].iloc[0], ax=right) is right


def test_events_that_follow_each_other_closely_are_named_at_different_heights(house):
    collection, _, vigour = house
    culture = vigour["culture"].iloc[0]
    events = collection["events"]
    days = [vigour["fed_at"].min().tz_localize(None) + pd.Timedelta(days=days) for days in (10, 12, 200)]
    noted = pd.DataFrame({"culture": culture, "happened_on": days, "kind": ["moved", "rescued", "other"]})
    tables = collection.tables | {"events": noted.reindex(columns=events.columns)}
    axes = plot_vigour(dataclasses.replace(collection, tables=tables), vigour, culture)
    heights = {text.get_text(): text.xy[1] for text in axes.texts if text.get_text() in set(noted["kind"])}
    assert heights["moved"] == heights["other"] > heights["rescued"] + 0.2
