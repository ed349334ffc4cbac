"""The figures of the safety net say what the tables say."""

from __future__ import annotations

import datetime as dt

import matplotlib as mpl
import pandas as pd
import pytest

from leavenbench.care.backups import cover
from leavenbench.report.figures import plot_cover, plot_store_log

mpl.use("Agg")
ON = dt.date(2025, 6, 30)


@pytest.fixture(autouse=True)
def _close():
    yield
    import matplotlib.pyplot as plt

    plt.close("all")


@pytest.fixture
def covered(make_collection):
    made = pd.to_datetime(["2024-06-30", "2024-06-30", "2023-06-30"])
    shelf = make_collection(
        cultures={"culture": ["Alba", "Bruno"]},
        backups={
            "backup": ["K1", "K2", "K3"],
            "culture": ["Alba", "Alba", "Bruno"],
            "kind": ["whole_frozen", "whole_dried", "isolates_frozen"],
            "made_on": made,
            "units": [8, 5, 4],
        },
        backup_uses={"backup": ["K1"], "used_on": pd.to_datetime(["2025-01-01"]), "units": [1], "result": ["alive"]},
    )
    return cover(shelf, ON)


def marks(axes):
    """Return where each mark stands and of what shade it is."""
    return {
        (int(line.get_xdata()[0]), int(line.get_ydata()[0])): line.get_color()
        for line in axes.get_lines()
        if len(line.get_xdata()) == 1
    }


def test_each_form_has_its_mark_with_age_and_portions_and_the_uncovered_stand_on_grey(covered):
    axes = plot_cover(covered)
    assert marks(axes) == {(0, 0): "#0b5394", (1, 0): "white", (3, 1): "white"}  # proven is dark, unproven hollow
    words = {text.xy: text.get_text() for text in axes.texts}
    assert words == {(0, 0): "1.0 y; 7", (1, 0): "1.0 y; 5", (3, 1): "2.0 y; 4"}
    grounds = [patch for patch in axes.patches if patch.get_height() == 1.0]
    assert [patch.get_y() for patch in grounds] == [0.5]  # Bruno: isolates alone
    assert axes.get_title("left") == "Cover of 2 cultures: 1 full, 1 partial"


def test_the_most_needed_is_at_the_top_when_the_priority_is_given(covered):
    axes = plot_cover(covered, pd.DataFrame({"culture": ["Bruno", "Alba"]}))
    assert [label.get_text() for label in axes.get_yticklabels()] == ["Bruno", "Alba"]
    assert axes.yaxis_inverted()
    assert (3, 0) in marks(axes)


def test_a_stores_log_shows_its_limit_and_the_time_at_which_it_was_too_warm(make_collection):
    hours = pd.date_range("2025-06-10", periods=24, freq="h", tz="UTC")
    log = {
        "store": ["pantry"] * 24,
        "read_at": hours,
        "temperature_degC": [12.5 if 2 <= h <= 9 else 4.0 for h in range(24)],
    }
    shelf = make_collection(stores={"store": ["pantry", "new"], "kind": ["cold", "cold"]}, store_log=log)
    axes = plot_store_log(shelf, "pantry")
    (limit,) = [line for line in axes.get_lines() if line.get_linestyle() == "--"]
    assert set(limit.get_ydata()) == {8.0}  # common practice, no source: `care.stores`
    (mark,) = [line for line in axes.get_lines() if line.get_marker() == "v"]
    assert mark.get_ydata()[0] == 12.5
    assert [text.get_text() for text in axes.texts] == ["2025-06-10: 7 h, to 12.5 °C"]
    assert "[°C]" in axes.get_ylabel()
    assert plot_store_log(shelf, "new").get_title("left") == "new: nothing is logged"


def test_a_shelf_of_nobody_is_drawn_empty(make_collection):
    axes = plot_cover(cover(make_collection(), ON))
    assert axes.get_title("left") == "Cover of 0 cultures: nobody lives"
    assert not marks(axes)
