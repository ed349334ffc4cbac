"""A misread height among sound ones is set aside, and nothing else is."""

import numpy as np
import pandas as pd
import pytest

from leavenbench.curves import trace, trace_refeed, trace_shelf
from leavenbench.curves.blocks import Observed, observe
from leavenbench.curves.composed import LEVELS
from leavenbench.curves.misread import doubted, trace_without_misread
from leavenbench.curves.traces import trace_signals

HOURS = np.array([0.0, 1, 2, 3, 4, 5, 6, 7, 8, 10])
RISE = np.array([40.0, 60, 14, 2.5])
SD_MM, SLIP_MM = 1.5, 30.0


def heights(seed=0):
    return LEVELS["logistic"].value(HOURS, RISE) + np.random.default_rng(seed).normal(0.0, SD_MM, len(HOURS))


def shelf_of_rises(readings, curves=600):
    """Simulate rises read by ruler at uneven hours, and the same with one reading each that is 3 cm off."""
    rng = np.random.default_rng(4)
    extent, lag = rng.uniform(30, 70, curves), rng.uniform(0.5, 3, curves)
    truth = np.array([np.full(curves, 40.0), extent, rng.uniform(0.15, 0.4, curves) * extent, lag])
    t = np.sort(rng.uniform(0, 14, (readings, curves)), axis=0)
    t[0] = 0.0
    sound = LEVELS["logistic"].value(t, truth) + rng.normal(0.0, SD_MM, t.shape)
    misread, which = sound.copy(), rng.integers(0, readings, curves)
    misread[which, np.arange(curves)] += SLIP_MM * rng.choice([-1.0, 1.0], curves)
    return t, sound, misread, 100.0 * extent / 40.0


def observed_of(t, y) -> Observed:
    signal = np.repeat(np.arange(t.shape[1]), len(t))
    return observe(signal, t.T.ravel(), y.T.ravel(), np.full(t.shape[1], "height_mm"))[0]


def extent_error(found, truth) -> float:
    extent = found.traits["extent"]
    told = np.isfinite(extent.value) & ~extent.at_least
    return float(np.median(np.abs(extent.value[told] / truth[told] - 1.0)))


@pytest.mark.parametrize("place", range(1, 9))
@pytest.mark.parametrize("slip", [-SLIP_MM, SLIP_MM])
def test_a_height_misread_by_three_centimetres_is_named(place, slip):
    y = heights()
    y[place] += slip
    found = trace(HOURS, y, "height_mm")
    assert (found.status, found.readings) == ("fitted", 9)
    assert f"the reading of {y[place]:.4g} at {HOURS[place]:.3g} h does not go with the others" in found.reason
    without = trace(np.delete(HOURS, place), np.delete(y, place), "height_mm")
    for name, it in without.traits.items():
        np.testing.assert_array_equal(found.traits[name][:3], it[:3])


def test_a_misread_height_costs_little():
    """With 1 of 10 readings off by 3 cm the extent errs by at most 1.3 times what it does without; left in, thrice."""
    t, sound, misread, truth = shelf_of_rises(10)
    clean = extent_error(trace_without_misread(observed_of(t, sound)), truth)
    assert extent_error(trace_without_misread(observed_of(t, misread)), truth) <= 1.3 * clean
    assert extent_error(trace_signals(observed_of(t, misread)), truth) > 2.5 * clean


@pytest.mark.parametrize("readings", [6, 8, 10, 14, 30])
def test_sound_readings_stay(readings):
    t, sound, _, _ = shelf_of_rises(readings)
    found = trace_without_misread(observed_of(t, sound))
    assert (found.set_aside >= 0).mean() <= 0.01


def test_a_jar_where_nothing_happened_is_not_made_to_rise():
    rng = np.random.default_rng(6)
    y = 40.0 + rng.normal(0.0, 4.0, (10, 400))  # read badly, and dead
    found = trace_without_misread(observed_of(np.tile(HOURS[:, None], 400), y))
    assert (found.status == "no activity").mean() > 0.9
    assert (found.set_aside >= 0).mean() < 0.05


def test_the_table_names_file_and_row_and_no_part_of_the_shelf_changes_that():
    y = heights(1)
    y[6] -= SLIP_MM
    read = pd.DataFrame({"elapsed_h": HOURS, "value": y, "file": "readings.csv", "row": np.arange(2, 12)})
    sound = pd.DataFrame({"elapsed_h": HOURS, "value": heights(2), "file": "readings.csv", "row": np.arange(12, 22)})
    both = pd.concat([read.assign(refeed="r1"), sound.assign(refeed="r2")]).assign(signal="rise", kind="height_mm")
    table = trace_shelf(both)
    assert table["set_aside"].tolist() == ["readings.csv:8", ""]
    assert table["readings"].tolist() == [9, 10]
    shuffled = trace_shelf(both.sample(frac=1.0, random_state=3)).set_index("refeed").loc[["r1", "r2"]]
    pd.testing.assert_frame_equal(shuffled.reset_index(), table, check_exact=True)
    alone = trace_shelf(both[both["refeed"] == "r1"])
    pd.testing.assert_frame_equal(alone, table.iloc[:1], check_exact=True)
    assert trace_refeed(HOURS, y, "height_mm")["set_aside"] == "6 h"


def test_of_two_that_cannot_both_be_the_one_that_lies_furthest_off_is_named():
    """Under its start after a night, and up again: no jar does that."""
    t = np.array([0.0, 0, 1.5, 3.4, 5.4, 7.2, 8.7, 20.5, 23.2])
    found = trace(t, np.array([36.0, 34, 36, 41, 45, 45, 46, 18, 40]), "height_mm")
    assert found.set_aside == ((20.5, 18.0),)


def test_two_misread_heights_are_more_than_is_mended():
    """Only one is set aside; the fit then says itself that the readings lie off."""
    y = heights(3)
    y[[3, 7]] += (SLIP_MM, -SLIP_MM)
    row = trace_refeed(HOURS, y, "height_mm")
    assert row["status"] in {"poor fit", "no activity"}
    assert len(row["set_aside"].split()) <= 2


def test_of_many_readings_only_those_that_look_wild_are_done_without():
    """On a straight line only the one that was moved off it stands out: its neighbours lie off half as far. Of few
    readings each is tried."""
    t, line = np.arange(30.0)[:, None], 40.0 + np.arange(30.0)
    y = np.array([line, line, line]).T
    y[12, 0] += SLIP_MM
    y[[5, 20], 1] += (SLIP_MM, -0.9 * SLIP_MM)
    y[29, 2] -= SLIP_MM
    many = observed_of(np.repeat(t, 3, axis=1), y)
    assert doubted(many, np.arange(3)).tolist() == [12, 30 + 5, 30 + 20, 60 + 29]
    assert doubted(many, np.array([2])).tolist() == [60 + 29]
    assert doubted(observed_of(t[:8], line[:8, None]), np.array([0])).tolist() == list(range(8))
    assert doubted(observed_of(t[:1], line[:1, None]), np.array([0])).tolist() == [0]
