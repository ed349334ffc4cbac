"""What was known at the end of a day: later rows are as if they had never been written."""

import datetime as dt

import pandas as pd
import pytest

from leavenbench.records.as_of import end_of

REFEEDS = (
    "refeed,culture,fed_at,cooled_at,cold_store,passed,seed\n"
    "1,Alba,2025-03-01 08:00,2025-03-01 20:00,north,yes,20\n"
    "2,Alba,2025-03-02 08:00,2025-03-03 08:00,north,yes,20\n"
    "3,Alba,2025-03-03 08:00,,,,-5\n"
    "1,Alba,2025-03-03 08:00,,,,20\n"
    "4,,2025-03-02 08:00,,,,20\n"
    "5,,2025-03-03 08:00,,,,20\n"
)
READINGS = (
    "refeed,culture,elapsed,read_at,ph,high_mark\n"
    "1,,0,,5.8,\n"
    "2,,15.9,,4.5,\n"  # 23:54 on 2 March
    "2,,16.1,,41,\n"  # 00:06 on 3 March
    "2,,,2025-03-02 23:59,4.4,\n"
    "2,,,2025-03-03 00:00,x,\n"
    "2,,,,,120\n"  # a smear line without a time is read next morning
    "1,,,,,118\n"
    "3,,0,,41,\n"
    ",Alba,,2025-03-03 09:00,5.5,\n"
    "4,,0,,5,\n"
    "4,,20,,5,\n"
    "5,,0,,5,\n"
    "9,,0,,5,\n"
)


@pytest.fixture
def on_the_second(read):
    return read({"refeeds.csv": REFEEDS, "readings.csv": READINGS}, as_of=dt.date(2025, 3, 2))


def test_later_rows_are_not_there(on_the_second):
    assert on_the_second["refeeds"]["refeed"].tolist() == ["1", "2"]
    assert on_the_second["readings"]["row"].tolist() == [2, 3, 5, 8]


def test_nothing_is_said_of_later_rows(on_the_second, listed):
    assert listed(on_the_second) == [
        ("missing", 6, "culture", "error"),
        ("refeed left out", 11, "refeed", "error"),
        ("known reference", 14, "refeed", "error"),
    ]
    assert on_the_second.problems["message"].str.contains("its readings: 1$").sum() == 1


def test_later_rows_are_not_counted(on_the_second):
    counts = on_the_second.counts.set_index("table")
    assert counts.loc["refeeds", ["rows_in", "rows_left_out"]].tolist() == [3, 1]
    assert counts.loc["readings", ["rows_in", "rows_left_out"]].tolist() == [6, 2]


def test_what_was_filled_in_later_is_empty(on_the_second):
    """Refeed 2 went back to the cold on 3 March; whether it passed was not known before."""
    refeeds = on_the_second["refeeds"].set_index("refeed")
    assert refeeds.loc["1", ["cold_store", "passed"]].tolist() == ["north", True]
    assert refeeds.loc["2", ["cooled_at", "cold_store", "passed"]].isna().all()


def test_it_is_the_same_as_if_later_rows_had_never_been_written(read):
    """Cutting the files by hand at that day gives the same tables and the same problems."""
    cut_refeeds = "".join(REFEEDS.splitlines(keepends=True)[row - 1] for row in (1, 2, 3, 6))
    cut_refeeds = cut_refeeds.replace("2025-03-03 08:00,north,yes", ",,")
    cut_readings = "".join(READINGS.splitlines(keepends=True)[row - 1] for row in (1, 2, 3, 5, 8, 11, 14))
    early = read({"refeeds.csv": REFEEDS, "readings.csv": READINGS}, as_of=dt.date(2025, 3, 2))
    cut = read({"refeeds.csv": cut_refeeds, "readings.csv": cut_readings})
    for name in ("refeeds", "readings"):
        pd.testing.assert_frame_equal(early[name].drop(columns="row"), cut[name].drop(columns="row"))
    pd.testing.assert_frame_equal(early.problems.drop(columns="row"), cut.problems.drop(columns="row"))
    pd.testing.assert_frame_equal(early.counts, cut.counts)


def test_a_refeed_that_is_not_yet_fed_ends_nothing(read):
    collection = read({"refeeds.csv": REFEEDS, "readings.csv": READINGS}, as_of=dt.date(2025, 3, 1))
    assert collection["refeeds"]["refeed"].tolist() == ["1"]
    assert collection["readings"]["row"].tolist() == [2]


def test_before_everything_there_is_nothing(read, listed):
    collection = read({"refeeds.csv": REFEEDS, "readings.csv": READINGS}, as_of=dt.date(2024, 1, 1))
    assert collection.counts["rows_in"].tolist() == [0, 1]
    assert listed(collection) == [("known reference", 14, "refeed", "error")]


def test_every_table_with_a_moment_is_cut(read):
    collection = read(
        {
            "events.csv": "event,culture,happened_on,kind\n1,Alba,2025-03-02,moved\n2,Alba,2025-03-03,lost\n",
            "store_log.csv": "store,read_at,temperature\nN,2025-03-02 23:59,4\nN,2025-03-03 00:00,4\n",
            "dispatches.csv": "dispatch,culture,sent_on,arrived_on,arrived_alive\n1,Alba,2025-03-02,2025-03-05,yes\n",
            "flour_lots.csv": "lot,received,best_before\nL,2025-03-02,2026-01-01\nM,2025-03-03,2026-01-01\n",
            "refeed_flours.csv": "refeed,lot,mass\n1,L,20\n2,L,20\n",
            "cultures.csv": "culture,received\nAlba,2024-01-01\nBea,2025-03-03\nCleo,\n",
            "refeeds.csv": REFEEDS.replace("2025-03-02", "2025-03-03"),
        },
        as_of=dt.date(2025, 3, 2),
    )
    assert collection["cultures"]["culture"].tolist() == ["Alba", "Cleo"]
    assert collection["events"]["event"].tolist() == ["1"]
    assert len(collection["store_log"]) == 1
    assert collection["dispatches"][["arrived_on", "arrived_alive"]].isna().all(axis=None)
    assert collection["flour_lots"]["best_before"].tolist() == [pd.Timestamp("2026-01-01")]
    assert collection["refeed_flours"]["refeed"].tolist() == ["1"]


def test_a_day_ends_in_the_zone_of_the_collection(read):
    refeeds = "refeed,culture,fed_at\n1,Alba,2025-03-01T10:30Z\n2,Alba,2025-03-01T11:30Z\n"
    zone = {"collection.toml": 'timezone = "Pacific/Auckland"\n', "refeeds.csv": refeeds}
    # Auckland is 13 hours ahead of UTC in March (IANA tz database, from memory).
    assert read(zone, as_of=dt.date(2025, 3, 1))["refeeds"]["refeed"].tolist() == ["1"]


@pytest.mark.parametrize(
    ("day", "zone", "end"),
    [
        # Cairo skipped the midnight after 24 April 2025; Havana had the one after 1 November 2025 twice (both by
        # the IANA tz database, from memory).
        (dt.date(2025, 4, 24), "Africa/Cairo", "2025-04-24 22:00"),
        (dt.date(2025, 11, 1), "America/Havana", "2025-11-02 04:00"),
        (dt.date(2025, 3, 30), "Europe/Vienna", "2025-03-30 22:00"),
        (dt.date(2025, 10, 26), "Europe/Vienna", "2025-10-26 23:00"),
    ],
)
def test_the_end_of_a_day_when_the_clock_is_changed(day, zone, end):
    assert end_of(day, zone) == pd.Timestamp(end, tz="UTC") - pd.Timedelta(microseconds=1)
