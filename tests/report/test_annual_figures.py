"""The figures of a year show what its tables hold, are legible in grey, and draw nothing from nothing."""

from __future__ import annotations

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest
from matplotlib.colors import to_rgb

from leavenbench.columns import RESULTS
from leavenbench.report.annual import figures
from leavenbench.report.annual.pictures import picture

mpl.use("Agg")


@pytest.fixture(autouse=True)
def _close():
    yield
    import matplotlib.pyplot as plt

    plt.close("all")


def table(name, **columns):
    """Return a table of the year from some of its columns."""
    made = RESULTS[f"year_{name}"]
    return pd.DataFrame(columns, columns=made.names).astype(made.dtypes())


def legend_of(axes):
    legend = axes.get_legend()
    return [text.get_text() for text in legend.get_texts()] if legend else []


def grey(colour):
    """Return how light a colour is in grey, by ITU-R BT.709 (from memory)."""
    return float(np.dot(to_rgb(colour), (0.2126, 0.7152, 0.0722)))


@pytest.fixture
def places():
    return table("places", culture=list("abcd"), latitude=[47.5, 47.5, 48.0, np.nan], longitude=[13.0, 13.0, 16, 1],
                 grain=["rye", "rye", "oat", "rye"])  # fmt: skip


def test_places_are_points_by_grain_and_several_of_one_place_are_counted(places):
    axes = figures.plot_places(places)
    drawn = {line.get_label(): list(zip(line.get_xdata(), line.get_ydata(), strict=True)) for line in axes.get_lines()}
    assert drawn == {"oat (1)": [(16.0, 48.0)], "rye (2)": [(13.0, 47.5), (13.0, 47.5)]}
    assert [text.get_text() for text in axes.texts] == ["2"]
    assert axes.get_title("left") == "Where 3 of 4 living cultures come from"
    assert np.diff(axes.get_xlim()) >= 4.0


def test_places_at_the_ends_of_the_earth_stay_on_it():
    ends = table("places", culture=["n", "s"], latitude=[90.0, -90.0], longitude=[180.0, -180.0], grain=["rye", None])
    axes = figures.plot_places(ends)
    assert axes.get_xlim() == (-180.0, 180.0)
    assert axes.get_ylim() == (-90.0, 90.0)
    assert "not noted (1)" in legend_of(axes)


def test_survival_steps_where_the_table_does():
    steps = table("survival", age_y=[2.0, 5.0], at_risk=[10, 4], lost=[1, 1], left=[0, 1], alive_pct=[90.0, 67.5],
                  alive_low_pct=[50.0, 20.0], alive_high_pct=[98.0, 90.0])  # fmt: skip
    axes = figures.plot_survival(steps, table("at_risk", age_y=[0.0, 1.0], at_risk=[11, 10]))
    line = next(line for line in axes.get_lines() if line.get_label() == "share not lost")
    assert line.get_xdata().tolist() == [0.0, 2.0, 5.0]
    assert line.get_ydata().tolist() == [100.0, 90.0, 67.5]
    assert line.get_drawstyle() == "steps-post"
    assert [text.get_text() for text in axes.texts] == ["11", "10", "under watch"]
    assert "2 losses" in axes.get_title("left")


def test_levels_count_every_culture_also_those_off_the_scale():
    axes = figures.plot_levels(table("vigour", culture=list("abcd"), level_pct=[5.0, 95.0, 400.0, np.nan]), 50.0)
    assert sum(bar.get_height() for bar in axes.patches) == 3
    assert {line.get_xdata()[0] for line in axes.get_lines()} == {50.0, 100.0}
    assert axes.get_title("left") == "Vigour at the last round of the year: 3 cultures, middle 95 %"


def test_a_change_that_is_no_chance_has_a_name_and_a_shape():
    both = table("vigour", culture=["Alba", "Bruno", "Cora"], year_pct=[60.0, 99.0, 90.0],
                 year_before_pct=[100.0, 98.0, np.nan],
                 verdict=["lower", "cannot tell", "nothing to compare"])  # fmt: skip
    axes = figures.plot_change(both)
    assert [text.get_text() for text in axes.texts] == ["Alba"]
    shapes = {line.get_label(): line.get_marker() for line in axes.get_lines() if line.get_marker() != "None"}
    assert shapes == {"lower (1)": "v", "higher (0)": "^", "cannot tell (1)": "o"}


@pytest.fixture
def months():
    return table("months", month=["2024-01", "2024-02"], rounds=[20, 6], refeeds=[60, 20], on_time=[12, 4], late=[5, 1],
                 early=[2, 0], first=[1, 1], not_held=[0, 9])  # fmt: skip


def test_the_bars_of_a_month_add_up_to_its_rounds(months):
    axes = figures.plot_kept_rounds(months)
    heights = np.array([bar.get_height() for bar in axes.patches]).reshape(5, 2)
    assert heights.sum(axis=0).tolist() == [20.0, 15.0]
    assert axes.get_title("left") == "26 rounds begun, 9 due and not held"
    assert legend_of(axes) == ["not held", "first", "early", "late", "on time"]


def test_kinds_on_each_other_differ_in_grey_or_in_hatch(months):
    axes = figures.plot_kept_rounds(months)
    looks = [(round(grey(bar.get_facecolor()[:3]), 1), bar.get_hatch()) for bar in axes.patches[::2]]
    assert len(set(looks)) == 5


def test_standings_stand_in_the_order_of_urgency():
    made = table("standings", quarter=["2024-Q1", "2024-Q1", "2024-Q2"], standing=["steady", "urgent", "low"],
                 cultures=[40, 3, 2])  # fmt: skip
    axes = figures.plot_standings(made)
    assert legend_of(axes)[::-1] == ["urgent", "slipping", "low", "unknown", "steady"]
    assert sum(bar.get_height() for bar in axes.patches) == 45


def test_species_found_once_are_hatched():
    made = table("species", species=["A b", "C d"], cultures=[1, 7], sampled=[9, 9], once=[True, False])
    axes = figures.plot_species(made)
    assert [bar.get_width() for bar in axes.patches if bar.get_hatch()] == [1.0]
    assert "2 species in 9 cultures sampled" in axes.get_title("left")


def test_nothing_makes_an_empty_picture_and_no_error():
    figures.plot_places(table("places"))
    figures.plot_survival(table("survival"), table("at_risk"))
    figures.plot_levels(table("vigour"), 50.0)
    figures.plot_change(table("vigour"))
    figures.plot_kept_rounds(table("months"))
    figures.plot_standings(table("standings"))
    figures.plot_cover_change(table("cover"))
    figures.plot_species(table("species"))


def test_a_picture_is_the_same_whatever_ones_own_settings_are(places):
    def draw():
        return figures.plot_places(places)

    first = picture("places", "c", "a", draw, with_png=True)
    with mpl.rc_context({"font.size": 30, "axes.facecolor": "red", "svg.fonttype": "path", "savefig.dpi": 10}):
        assert picture("places", "c", "a", draw, with_png=True) == first
        assert mpl.rcParams["font.size"] == 30
    assert b"<dc:date>" not in first.svg
    assert picture("places", "c", "a", draw).png == b""


def test_names_are_words_and_no_formulas(places):
    hostile = places.assign(grain=["$x_{y", "<b>&", "名", "a\u0301"])
    made = picture("places", "c", "a", lambda: figures.plot_places(hostile), with_png=True)
    assert b"$x_{y (1)" in made.svg
    assert b"&lt;b&gt;&amp; (1)" in made.svg
    assert made.png.startswith(b"\x89PNG")
