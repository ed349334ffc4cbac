"""Figures of comparisons show what was computed, and are saved as journals want them."""

from __future__ import annotations

import re

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest

from leavenbench.columns import RESULTS
from leavenbench.compare.map import CultureMap, culture_map
from leavenbench.compare.temperature import temperature_response
from leavenbench.compare.whole_curves import curve_difference, pooled_curve
from leavenbench.errors import CannotRead
from leavenbench.report.figures.compare import (
    plot_curve_difference,
    plot_differences,
    plot_map,
    plot_pooled_curves,
    plot_temperature,
)
from leavenbench.report.figures.journal import COLUMN_MM, PAGE_MM, save_figure
from leavenbench.temperature import Cardinal, relative_rate

mpl.use("Agg")


@pytest.fixture(autouse=True)
def _close():
    yield
    import matplotlib.pyplot as plt

    plt.close("all")


@pytest.fixture(scope="module")
def curves():
    random, hours = np.random.default_rng(1), np.arange(0.0, 6.0)
    parts = [
        pd.DataFrame({"elapsed_h": hours, "value": hours * random.normal(pace, 0.5)}).assign(
            refeed=f"{culture}{one}", day=f"d{one}", culture=culture
        )
        for culture, pace in (("A", 12.0), ("B", 9.0))
        for one in range(6)
    ]
    return pd.concat(parts)


def words(axes):
    return [text.get_text() for text in axes.texts]


def lines(axes):
    return {line.get_label(): line for line in axes.get_lines()}


def test_means_stand_in_order_with_their_intervals_and_letters():
    means = pd.DataFrame({"group": ["A", "B", "C"], "mean": [20.0, 30.0, 10.0], "refeeds": [5, 6, 7]})
    means = means.assign(
        low=means["mean"] - 2.0, high=means["mean"] + 2.0, trait="rise max_rate", by="culture", unit="%/h"
    )
    pairs = pd.DataFrame({"first": ["B"], "second": ["C"], "verdict": "differ", "adjusted_by": "Holm"})
    axes = plot_differences(means, pairs)
    assert [label.get_text() for label in axes.get_yticklabels()] == ["C (7)", "A (5)", "B (6)"]
    assert axes.get_lines()[0].get_xdata().tolist() == [10.0, 20.0, 30.0]
    ends = [segment[:, 0].tolist() for segment in axes.collections[0].get_segments()]
    assert ends == [[8.0, 12.0], [18.0, 22.0], [28.0, 32.0]]
    assert words(axes) == ["b", "ab", "a"]
    assert axes.get_xlabel() == "Max rate [%/h]"
    assert "Holm" in axes.get_title("left")


def test_a_difference_shows_its_band_and_its_hours(curves):
    difference = curve_difference(curves, "A", "B")
    axes = plot_curve_difference(difference)
    line = lines(axes)["difference of the mean curves"]
    assert np.allclose(line.get_ydata(), difference["difference"])
    assert axes.get_ylabel() == "Difference of rise [percentage points]"
    assert axes.get_xlabel() == "Time since feeding, at the reference temperature [h]"
    assert lines(axes)["they differ"].get_xdata()[-1] == 5.0
    assert "6 and 6 refeeds, 6 days shared" in axes.get_title("left")
    none = plot_curve_difference(difference.assign(differs=False), "acid")
    assert "no difference shown" in none.get_title("left")
    assert none.get_ylabel() == "Difference of pH"


def test_pooled_curves_differ_in_more_than_hue(curves):
    axes = plot_pooled_curves(pd.concat([pooled_curve(curves, of) for of in "AB"]))
    told = [line for label, line in lines(axes).items() if not label.startswith("_")]
    assert [line.get_label() for line in told] == ["A, 6 refeeds", "B, 6 refeeds"]
    assert len({line.get_linestyle() for line in told}) == 2


def rates(degC: list[float]) -> pd.DataFrame:
    tried = np.repeat(degC, 3)
    rate = 40.0 * relative_rate(tried, Cardinal(6, 28, 36)) * np.tile([0.95, 1.0, 1.05], len(degC))
    return pd.DataFrame({"culture": "A", "temperature_degC": tried, "rate": rate})


def test_temperature_shows_its_model_where_nothing_is_open():
    own = rates([9, 13, 17, 21, 25, 28, 31, 34])
    axes = plot_temperature(own, temperature_response(own), "A")
    model = lines(axes)["fitted model"]
    assert model.get_xdata()[model.get_ydata().argmax()] == pytest.approx(28.0, abs=0.5)
    assert words(axes) == ["stops below", "optimum", "stops above"]
    assert axes.get_xlabel() == "Temperature of the dough [degC]"
    assert axes.get_ylabel() == "Steepest slope of rise [%/h]"


def test_what_is_left_open_is_an_arrow_and_no_curve():
    own = rates([12, 15, 18, 21, 24])
    axes = plot_temperature(own, temperature_response(own), "A")
    assert "fitted model" not in lines(axes)
    assert any(said.startswith("optimum, at least") for said in words(axes))
    assert max(axes.get_xlim()) > 26.0


@pytest.fixture(scope="module")
def drawn_map():
    random, traits = np.random.default_rng(2), ("rise max_rate", "rise extent", "acid max_rate")
    rows = [
        (f"{culture}-{number}", culture, number, 3, trait, value)
        for group, centre in enumerate(([0.0, 0.0, 0.0], [1.0, 1.0, -1.0]))
        for culture, own in ((f"C{group}{one}", random.normal(0, 0.05, 3) + centre) for one in range(5))
        for number in range(6)
        for trait, value in zip(traits, own + random.normal(0, 0.1, 3), strict=True)
    ]
    values = pd.DataFrame(rows, columns=["refeed", "culture", "round", "step", "trait", "value"])
    return culture_map(values, resamples=10)


def test_the_map_places_cultures_in_groups_of_their_own_mark(drawn_map):
    axes = plot_map(drawn_map)
    marks = {line.get_marker(): len(line.get_xdata()) for line in axes.get_lines() if line.get_linestyle() == "None"}
    assert sorted(marks.values()) == [5, 5]
    assert any(label.startswith("group 1: very firm") for label in lines(axes))
    assert {"rise max rate", "rise extent", "acid max rate"} <= set(words(axes))
    share = drawn_map.axes["share_pct"].iloc[0]
    assert axes.get_xlabel() == f"Axis 1 ({share:.0f} % of the variance) [sd of a trait]"


def test_no_map_says_why():
    made = (pd.DataFrame(columns=RESULTS[of].names).astype(RESULTS[of].dtypes()) for of in ("culture_map", "map_axes"))
    axes = plot_map(CultureMap(*made, pd.DataFrame(), float("nan"), "no map: 2 cultures"))
    assert "no map: 2 cultures" in axes.get_title("left")


@pytest.mark.parametrize("width", [COLUMN_MM, PAGE_MM])
def test_a_drawing_has_the_width_of_the_column_and_its_font(curves, tmp_path, width):
    """1 mm is 72 / 25.4 points (definition of the inch and of the point that SVG and PDF use)."""
    figure = plot_curve_difference(curve_difference(curves, "A", "B")).figure
    before = figure.get_size_inches().tolist()
    svg = save_figure(figure, tmp_path / "a.svg", width).read_text(encoding="utf-8")
    assert float(re.search(r'width="([\d.]+)pt"', svg)[1]) == pytest.approx(width * 72 / 25.4, rel=1e-4)
    assert "@font-face" in svg
    assert "base64," in svg
    assert "Time since feeding" in svg
    pdf = save_figure(figure, tmp_path / "a.pdf", width).read_bytes()
    box = re.search(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", pdf)
    assert float(box[1]) == pytest.approx(width * 72 / 25.4, rel=1e-3)
    assert float(box[2]) / float(box[1]) == pytest.approx(before[1] / before[0], rel=1e-2)
    assert b"/FontFile2" in pdf  # an embedded TrueType font
    assert figure.get_size_inches().tolist() == before


def test_the_same_figure_makes_the_same_file_in_silence(curves, tmp_path, caplog):
    figure = plot_curve_difference(curve_difference(curves, "A", "B")).figure
    for ending in ("svg", "pdf"):
        first, again = (save_figure(figure, tmp_path / f"{name}.{ending}").read_bytes() for name in "ab")
        assert first == again
    assert not [record for record in caplog.records if record.levelname in ("WARNING", "ERROR")]


def test_what_cannot_be_saved_is_refused(curves, tmp_path):
    figure = plot_curve_difference(curve_difference(curves, "A", "B")).figure
    with pytest.raises(CannotRead, match=r"must end in \.svg, \.pdf"):
        save_figure(figure, tmp_path / "a.png")
    with pytest.raises(CannotRead, match="89 mm"):
        save_figure(figure, tmp_path / "a.svg", 0.0)
    assert list(tmp_path.iterdir()) == []
