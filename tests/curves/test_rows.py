"""From readings to rows: nothing lost, whatever is missing, and every row in the declared columns."""

import numpy as np
import pandas as pd
import pytest

from leavenbench.columns import RESULTS
from leavenbench.curves.noise import INSTRUMENTS
from leavenbench.curves.rows import LOG, MORE, Shelf, dtypes, one_refeed
from leavenbench.curves.traces import nothing_yet, trace_signals

HOURS, HEIGHTS = [0.0, 2, 3, 4, 5, 6, 8, 9], [40.0, 41, 46, 62, 75, 79, 80, 79.6]


def readings(refeed, signal="rise", kind="height_mm", hours=HOURS, values=HEIGHTS, **columns):
    return pd.DataFrame(
        {"refeed": refeed, "signal": signal, "kind": kind, "elapsed_h": hours, "value": values} | columns
    )


def told(observed):
    shelf = Shelf.of(observed)
    return shelf.told(trace_signals(shelf.observed))


def test_signals_stand_in_the_order_of_their_first_reading():
    late, early = readings("b"), readings("a", "acid", "ph_direct", values=-0.02 * np.array(HEIGHTS) + 6.7)
    mixed = pd.concat([late.iloc[:1], early, late.iloc[1:]], ignore_index=True)
    shelf = Shelf.of(mixed)
    assert shelf.signals.values.tolist() == [["b", "rise", "height_mm"], ["a", "acid", "ph_direct"]]
    assert shelf.known.tolist() == [0, 1]
    assert shelf.observed.readings.tolist() == [8, 8]
    found = told(mixed)
    assert found["refeed"].tolist() == ["b", "a"]
    assert found["unit"].tolist() == ["%", "pH"]
    assert found["status"].tolist() == ["fitted", "fitted"]


def test_a_signal_without_a_usable_reading_keeps_its_row_at_its_place():
    silent = readings("b", hours=[np.nan, 1.0, -2.0], values=[40.0, np.nan, 41.0])
    found = told(pd.concat([readings("a"), silent, readings("c")], ignore_index=True))
    assert found["refeed"].tolist() == ["a", "b", "c"]
    row = found.iloc[1]
    assert (row["status"], row["reason"], row["readings"]) == ("no readings", "no reading that can be used", 0)
    assert (row["model"], row["lower_bounds"], row["set_aside"], row["unlike_history"]) == ("", "", "", False)
    numbers = found.select_dtypes("float64").columns
    assert row[numbers].isna().all()
    pd.testing.assert_frame_equal(found.iloc[[0]], told(readings("a")), check_exact=True)


def test_only_marks_are_no_readings():
    found = told(readings("a", hours=[np.inf], values=[80.0], high_mark=[True]))
    assert found[["status", "readings"]].values.tolist() == [["no readings", 0]]


def test_a_shelf_of_nothing_is_a_table_of_the_same_columns():
    found = told(readings("a").iloc[:0])
    assert found.empty
    assert found.columns.tolist() == told(readings("a")).columns.tolist()
    assert found.dtypes.equals(told(readings("a")).dtypes)


def test_the_columns_are_those_of_the_curves_table_without_the_log_and_some_more():
    found = told(readings("a"))
    of_table = [name for name in RESULTS["curves"].names if name not in LOG]
    assert found.columns.tolist() == [*of_table, *MORE]
    assert {name: str(of) for name, of in found.dtypes.items()} == dtypes(*found.columns)
    assert "fed_at" not in dtypes("refeed", "fed_at")


@pytest.mark.parametrize("without", [["sd"], ["high_mark"], ["sd", "high_mark"], ["file", "row"]])
def test_columns_that_may_be_missing(without):
    whole = readings("a", sd=np.nan, high_mark=False, file="readings.csv", row=np.arange(2, 10))
    pd.testing.assert_frame_equal(told(whole.drop(columns=without)), told(whole), check_exact=True)


def test_missing_words_on_marks_are_no_marks():
    whole = readings("a", high_mark=pd.array([None] * 8, dtype="boolean"))
    pd.testing.assert_frame_equal(told(whole), told(readings("a")), check_exact=True)


def test_what_is_only_at_least_is_named():
    found = told(readings("a", hours=HOURS[:4], values=HEIGHTS[:4]))
    bounds = set(found["lower_bounds"].item().split(", "))
    assert {"extent", "max_rate", "time_to_peak_h"} <= bounds
    assert bounds <= set(RESULTS["curves"].names)


def test_what_was_set_aside_is_named_by_file_and_row_or_by_its_hour():
    """Whichever rows came before, and in whatever order."""
    shelf = Shelf.of(pd.concat([readings("b"), readings("a")], ignore_index=True))
    found = nothing_yet(2)
    found.set_aside[:] = [3, 8 + 5]
    assert shelf.told(found)["set_aside"].tolist() == ["4 h", "6 h"]
    named = pd.concat(
        [readings("b", file="r.csv", row=np.arange(2, 10)), readings("a", file="more/r.csv", row=np.arange(50, 58))]
    ).sample(frac=1.0, random_state=1)
    shelf = Shelf.of(named)
    first = shelf.signals["refeed"].tolist()
    assert sorted(first) == ["a", "b"]
    assert shelf.told(found).set_index("refeed")["set_aside"].to_dict() == (
        {"b": "r.csv:5", "a": "more/r.csv:55"} if first == ["b", "a"] else {"a": "more/r.csv:53", "b": "r.csv:7"}
    )


def test_the_share_borrowed_is_that_of_a_curve_and_of_nothing_else():
    """0 for a curve of its own, nothing where there is none."""
    still = readings("b", values=[40.0, 40.5, 40, 40, 40.3, 40, 40.2, 40])
    found = told(pd.concat([readings("a"), still], ignore_index=True))
    assert found["status"].tolist() == ["fitted", "no activity"]
    shares = found[[f"{name}_prior_share" for name in ("extent", "max_rate", "lag_h")]]
    assert (shares.iloc[0] == 0.0).all()
    assert shares.iloc[1].isna().all()


def test_whoever_contradicts_the_past_is_marked():
    shelf = Shelf.of(pd.concat([readings("a"), readings("b"), readings("c", hours=np.nan)], ignore_index=True))
    assert shelf.known.tolist() == [0, 1]
    found = shelf.told(trace_signals(shelf.observed), np.array([False, True]))
    assert found["unlike_history"].tolist() == [False, True, False]


@pytest.mark.parametrize("kind", INSTRUMENTS)
def test_one_refeed_is_a_shelf_of_one(kind):
    read = one_refeed([2.0, 0.0], [62.0, 40.0], kind, [0.5, np.nan], 80.0)
    assert read[["elapsed_h", "value", "high_mark"]].values.tolist() == [
        [2.0, 62.0, False],
        [0.0, 40.0, False],
        [np.inf, 80.0, True],
    ]
    shelf = Shelf.of(read)
    assert shelf.observed.t.tolist() == [0.0, 2.0]
    np.testing.assert_array_equal(shelf.observed.weight, [1.0, INSTRUMENTS[kind].noise / 0.5])
    assert shelf.observed.mark.tolist() == [80.0]
    bare = one_refeed([2.0], [62.0], kind, None, None)
    assert (len(bare), bare["sd"].isna().all(), bare["high_mark"].any()) == (1, True, False)
    assert len(Shelf.of(one_refeed([], [], kind, None, None)).signals) == 1
