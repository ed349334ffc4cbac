"""Days and moments as people write them.

Summer time in the European Union, by the rule "EU" of the IANA tz database (from memory): it begins on the last
Sunday of March and ends on the last Sunday of October, both at 01:00 UTC; in 2025 on 30 March and 26 October. In
Vienna the clock then jumps from 02:00 to 03:00, and back from 03:00 to 02:00.
"""

import datetime as dt

import pandas as pd
import pytest
from openpyxl.utils.datetime import from_excel

from leavenbench.records.moments import read_days, read_moments

VIENNA = "Europe/Vienna"


def broken(findings):
    return {found.rule: list(found.cells[found.cells].index) for found in findings if found.cells.any()}


def moments(*typed, order="", zone="UTC", series=None):
    raw = pd.Series(typed, dtype="str")
    series = pd.Series(series or [""] * len(typed), dtype="str")
    read, findings = read_moments(raw, order, zone, series)
    return [None if pd.isna(moment) else moment.isoformat() for moment in read], broken(findings)


def test_a_column_that_is_plain_throughout_is_read_as_one_that_is_not():
    plain = ["2025-03-01 08:30", "2025-03-01T08:30:15", "", "2025-03-02"]
    alone, findings = moments(*plain)
    assert alone == ["2025-03-01T08:30:00+00:00", "2025-03-01T08:30:15+00:00", None, "2025-03-02T00:00:00+00:00"]
    assert findings == {"time of day": [3]}
    assert moments(*plain, "1 March 2025 8:30") == ([*alone, alone[0]], findings)


@pytest.mark.parametrize("typed", ["2025-03-01T0830Z", "2025-03-01T08+01", "2025-03-01T08:30+01", "2025-02-30 08:30"])
def test_what_is_as_long_as_a_plain_moment_need_not_be_one(typed):
    """The second column forbids the quick way; both are of the lengths that it takes."""
    alone, findings = moments("2025-03-01 08:30", typed)
    assert moments("2025-03-01 08:30", typed, "2025-03-01 8:30") == ([*alone, alone[0]], findings)


@pytest.mark.parametrize(
    "typed",
    [
        "2025-03-01 08:30",
        "2025-03-01T08:30",
        "2025-03-01T08:30:00.000",
        "2025-03-01 8:30",
        "2025/3/1 8:30",
        "2025.03.01 08.30",
        "2025-03-01 08:30 am",
        "1 March 2025 8:30",
        "1. Mar. 2025 08:30",
        "01-Mar-25 8:30",
        "March 1st, 2025 8:30 a.m.",
        "2025-03-01T08:30Z",
        "2025-03-01 09:30+01:00",
        "2025-03-01 09:30 +0100",
        "2025-03-01T03:30-05",
    ],
)
def test_moments_as_people_write_them(typed):
    assert moments(typed) == (["2025-03-01T08:30:00+00:00"], {})


@pytest.mark.parametrize(
    ("clock", "hour"), [("12:30 am", 0), ("12:30 pm", 12), ("1:30 p.m.", 13), ("11:30PM", 23), ("0:30", 0)]
)
def test_halves_of_the_day(clock, hour):
    assert moments(f"2025-03-01 {clock}") == ([f"2025-03-01T{hour:02d}:30:00+00:00"], {})


@pytest.mark.parametrize(
    ("order", "typed", "meant"),
    [
        ("dmy", "03/04/2025 08:00", "2025-04-03"),
        ("mdy", "03/04/2025 08:00", "2025-03-04"),
        ("dmy", "03.04.25 08:00", "2025-04-03"),
        ("mdy", "03/04/25 08:00", "2025-03-04"),
        ("ymd", "25-03-04 08:00", "2025-03-04"),
        ("dmy", "2025-03-04 08:00", "2025-03-04"),
        ("mdy", "2025/03/04 08:00", "2025-03-04"),
        ("", "25/04/2025 08:00", "2025-04-25"),
        ("", "04/25/2025 08:00", "2025-04-25"),
        ("", "04/04/2025 08:00", "2025-04-04"),
    ],
)
def test_order_of_day_and_month(order, typed, meant):
    assert moments(typed, order=order) == ([f"{meant}T08:00:00+00:00"], {})


@pytest.mark.parametrize(
    ("order", "typed"),
    [("", "03/04/2025 08:00"), ("", "03.04.25 08:00"), ("", "25-03-04 08:00"), ("ymd", "03/04/2025 08:00")],
)
def test_an_ambiguous_date_is_left_out_and_asked_about(order, typed):
    assert moments(typed, order=order) == ([None], {"ambiguous date": [0]})


@pytest.mark.parametrize(
    ("order", "typed"),
    [
        ("dmy", "03/25/2025 08:00"),
        ("", "2025-02-29 08:00"),
        ("", "13/13/2025 08:00"),
        ("", "2025-03-01 24:00"),
        ("", "2025-03-01 13:00 pm"),
        ("", "0025-03-01 08:00"),
        ("", "9999-12-31T23:00-12:00"),
        ("", "31. Apr 2025 08:00"),
    ],
)
def test_a_day_that_does_not_exist(order, typed):
    assert moments(typed, order=order) == ([None], {"impossible date": [0]})


@pytest.mark.parametrize("typed", ["yesterday", "08:00", "2025-03", "1. Foo 2025", "2025-03-01 08:00 CET", "7"])
def test_what_is_no_date_is_left_out_and_listed(typed):
    assert moments(typed) == ([None], {"date and time": [0]})


def test_nothing_noted_is_no_fault():
    assert moments("", "-", "n/a") == ([None, None, None], {})


def test_a_date_without_a_time_of_day_is_midnight_with_a_warning():
    read, faults = moments("2025-03-01", "25.04.2025", "2025-03-01 00:00", "1 Mar 2025 0:00")
    assert read == [f"2025-{day}T00:00:00+00:00" for day in ("03-01", "04-25", "03-01", "03-01")]
    assert faults == {"time of day": [0, 1]}


@pytest.mark.parametrize("serial", ["45717", "45717.75", "45717.354166666664"])
def test_a_spreadsheets_number_for_a_day(serial):
    """The 1900 date system of ECMA-376, as openpyxl implements it."""
    read, faults = moments(serial)
    assert dt.datetime.fromisoformat(read[0]).replace(tzinfo=None) == from_excel(float(serial))
    assert faults["date"] == [0]


def test_typed_times_need_no_reading():
    zoned = pd.Series(pd.to_datetime(["2025-03-01 09:30"])).dt.tz_localize(VIENNA)
    assert read_moments(zoned, "", "UTC", zoned)[0][0] == pd.Timestamp("2025-03-01 08:30", tz="UTC")
    bare = zoned.dt.tz_localize(None)
    assert read_moments(bare, "", VIENNA, zoned)[0][0] == pd.Timestamp("2025-03-01 08:30", tz="UTC")
    assert read_days(zoned, "")[0][0] == pd.Timestamp("2025-03-01")


def test_days():
    raw = pd.Series(
        ["2025-03-01", "1.4.2025", "25.4.25", "2025-03-01 23:30", "2025-03-01T23:30-05:00", "x"], dtype="str"
    )
    days, findings = read_days(raw, "dmy")
    assert [day.date().isoformat() for day in days[:5]] == [
        "2025-03-01",
        "2025-04-01",
        "2025-04-25",
        "2025-03-01",
        "2025-03-01",
    ]
    assert broken(findings) == {"date": [5]}


def test_the_hour_that_spring_skips():
    read, faults = moments("2025-03-30 01:59", "2025-03-30 02:30", "2025-03-30 03:00", zone=VIENNA)
    assert read == ["2025-03-30T01:59:00+01:00", "2025-03-30T03:30:00+02:00", "2025-03-30T03:00:00+02:00"]
    assert faults == {"skipped hour": [1]}


def test_a_logger_that_runs_through_the_hour_that_autumn_repeats():
    clock = ["01:30", "02:00", "02:30", "02:00", "02:30", "03:00"]
    read, faults = moments(*(f"2025-10-26 {time}" for time in clock), zone=VIENNA)
    hours = pd.Series(pd.to_datetime(read, utc=True)).diff() / pd.Timedelta(hours=1)
    assert hours[1:].tolist() == [0.5] * 5
    assert faults == {}


def test_a_logger_that_writes_by_the_hour():
    read, faults = moments("2025-10-26 01:30", "2025-10-26 02:30", "2025-10-26 02:30", zone=VIENNA)
    assert read[1:] == ["2025-10-26T02:30:00+02:00", "2025-10-26T02:30:00+01:00"]
    assert faults == {}


def test_two_jars_do_not_tell_each_others_hour():
    """One jar's rows are in order; only rows of the same jar that run backwards tell of the second hour."""
    clock = ["2025-10-26 02:10", "2025-10-26 02:50", "2025-10-26 02:20"]
    read, faults = moments(*clock, zone=VIENNA, series=["1", "2", "1"])
    assert [moment[-6:] for moment in read] == ["+02:00"] * 3
    assert faults == {"repeated hour": [0, 1, 2]}


def test_rows_out_of_order_tell_nothing_of_the_hour():
    """A list that runs from late to early jumps back at every row."""
    read, faults = moments("2025-10-26 02:50", "2025-10-26 02:40", "2025-10-26 02:30", zone=VIENNA)
    assert [moment[-6:] for moment in read] == ["+02:00"] * 3
    assert faults == {"repeated hour": [0, 1, 2]}


def test_an_offset_settles_the_repeated_hour():
    read, faults = moments("2025-10-26 02:30+01:00", "2025-10-26 02:30+02:00", zone=VIENNA)
    assert read == ["2025-10-26T02:30:00+01:00", "2025-10-26T02:30:00+02:00"]
    assert faults == {}
