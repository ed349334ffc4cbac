"""Each reading in its time, within its refeed, once."""

import pytest

VIENNA = {"collection.toml": 'timezone = "Europe/Vienna"\n'}


def readings(*rows, header="refeed,elapsed,read_at,height,high_mark,ph"):
    return {"readings.csv": header + "\n" + "".join(f"{row}\n" for row in rows)}


def test_elapsed_hours_and_clock_times_tell_the_same(read, listed):
    collection = read(readings("1,2,,45,,", "1,,2025-03-01 10:30,50,,", "1,3,2025-03-01 11:00,55,,"))
    assert collection["readings"]["elapsed_h"].tolist() == [2.0, 2.5, 3.0]
    assert collection["readings"]["read_at"].dt.strftime("%H:%M").tolist() == ["10:00", "10:30", "11:00"]
    assert listed(collection) == []


def test_where_they_disagree_elapsed_is_used_with_a_warning(read, listed):
    collection = read(readings("1,3,2025-03-01 12:00,55,,"))
    assert collection["readings"]["elapsed_h"].tolist() == [3.0]
    assert listed(collection) == [("one time", 2, "elapsed", "warning")]


@pytest.mark.parametrize(
    ("fed_at", "read_at", "hours"),
    [
        # Fed before and read after the change of the clock, by the rule in test_moments.
        ("2025-03-29 20:00", "2025-03-30 08:00", 11.0),
        ("2025-10-25 20:00", "2025-10-26 08:00", 13.0),
        ("2025-03-30 01:30", "2025-03-30 03:30", 1.0),
        ("2025-10-26 01:30", "2025-10-26 03:30", 3.0),
        ("2025-06-01 20:00", "2025-06-02 08:00", 12.0),
    ],
)
def test_hours_run_on_when_the_clock_is_changed(read, listed, fed_at, read_at, hours):
    fed = {"refeeds.csv": f"refeed,culture,fed_at\n1,Alba,{fed_at}\n"}
    collection = read(VIENNA | fed | readings(f"1,,{read_at},45,,"))
    assert collection["readings"]["elapsed_h"].tolist() == [hours]
    assert listed(collection) == []
    back = read(VIENNA | fed | readings(f"1,{hours},,45,,"))
    assert back["readings"]["read_at"].tolist() == collection["readings"]["read_at"].tolist()


def test_a_logger_through_the_repeated_hour(read, listed):
    fed = {"refeeds.csv": "refeed,culture,fed_at\n1,Alba,2025-10-26 01:00\n"}
    clock = ["01:00", "01:30", "02:00", "02:30", "02:00", "02:30", "03:00"]
    collection = read(VIENNA | fed | readings(*(f"1,,2025-10-26 {time},45,," for time in clock)))
    assert collection["readings"]["elapsed_h"].tolist() == [0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0]
    assert listed(collection) == []


def test_a_reading_before_its_feed_is_left_out(read, listed):
    collection = read(readings("1,,2025-03-01 07:59,45,,", "1,-1,,45,,", "1,0,,45,,"))
    assert collection["readings"]["row"].tolist() == [4]
    assert listed(collection) == [
        ("within the refeed", 2, "read_at", "error"),
        ("possible range", 3, "elapsed", "error"),
    ]


def test_a_reading_without_a_time_is_left_out(read, listed):
    collection = read(readings("1,,,45,,", "1,soon,,45,,", "1,0,,45,,"))
    assert collection["readings"]["row"].tolist() == [4]
    assert listed(collection) == [("missing", 2, "", "error"), ("number", 3, "elapsed", "error")]


def test_a_reading_with_no_value_left_is_left_out(read, listed):
    collection = read(readings("1,0,,,,", "1,1,,,,41", "1,2,,tall,,", "1,3,,45,,41"))
    assert collection["readings"]["row"].tolist() == [5]
    assert listed(collection) == [
        ("missing", 2, "", "error"),
        ("possible range", 3, "ph", "error"),
        ("number", 4, "height", "error"),
        ("possible range", 5, "ph", "error"),
    ]


NEXT = {"refeeds.csv": "refeed,culture,fed_at\n1,Alba,2025-03-01 08:00\n2,Alba,2025-03-02 08:00\n"}


def test_the_smear_line_may_be_later_and_needs_no_time(read, listed):
    rows = ["1,0,,45,,", "1,,2025-03-02 09:00,,120,", "1,,,,121,", "2,0,,45,,"]
    collection = read(NEXT | readings(*rows))
    assert collection["readings"]["high_mark_mm"].dropna().tolist() == [120.0, 121.0]
    assert listed(collection) == []


def test_of_a_reading_after_the_next_feed_only_the_smear_line_is_kept(read, listed):
    collection = read(NEXT | readings("1,,2025-03-02 09:00,50,120,4.5", "2,0,,45,,"))
    assert collection["readings"]["height_mm"].tolist()[1:] == [45.0]
    assert collection["readings"]["high_mark_mm"].tolist()[:1] == [120.0]
    assert listed(collection) == [("within the refeed", 2, "read_at", "error")]


def test_rows_identical_in_every_field_are_read_once(read, listed):
    """Loggers overlap; the clock and the hours may tell the same moment."""
    rows = ["1,1,,45,,5", "1,1,,45,,5", "1,,2025-03-01 09:00,45,,5", "1,,,,120,", "1,,,,120,", "1,2,,45,,5"]
    collection = read(readings(*rows))
    assert collection["readings"]["row"].tolist() == [2, 5, 7]
    assert listed(collection) == [("row once", row, "", "error") for row in (3, 4, 6)]


def test_overlapping_logger_files(read, listed):
    one = "refeed,elapsed,ph\n1,0,5.5\n1,1,5.4\n"
    collection = read({"readings.csv": one, "readings/two.csv": "refeed;elapsed;ph\n1;1,0;5,4\n1;2,0;5,3\n"})
    assert collection["readings"]["ph"].sort_values().tolist() == [5.3, 5.4, 5.5]
    assert [row[0] for row in listed(collection)] == ["row once"]


def test_the_same_time_with_other_values_keeps_both_with_a_warning(read, listed):
    collection = read(readings("1,1,,45,,5", "1,1,,45,,5.2", "1,1,,46,,5"))
    assert len(collection["readings"]) == 3
    assert listed(collection) == [("one reading", 3, "", "warning"), ("one reading", 4, "", "warning")]


def test_two_loggers_that_read_different_things_do_not_contradict(read, listed):
    collection = read(readings("1,1,,45,,", "1,1,,,,5", "1,1,,,120,"))
    assert len(collection["readings"]) == 3
    assert listed(collection) == []


@pytest.mark.parametrize(
    ("header", "cells", "column", "values"),
    [
        ("height [cm]", ("4.5", "9"), "height_mm", [45.0, 90.0]),
        ("volume [L]", ("0.2", "0.4"), "volume_mL", [200.0, 400.0]),
        ("rise", ("0", "100"), "rise_pct", [0.0, 100.0]),
        ("rise", ("-5 %", "1.5e2"), "rise_pct", [-5.0, 150.0]),
    ],
)
def test_height_volume_or_rise(read, listed, header, cells, column, values):
    collection = read({"readings.csv": f"refeed,elapsed,{header}\n1,0,{cells[0]}\n1,6,{cells[1]}\n"})
    assert collection["readings"][column].tolist() == [pytest.approx(value) for value in values]
    assert listed(collection) == []
