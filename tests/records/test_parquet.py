"""Parquet files, whose cells have types."""

import datetime as dt
from decimal import Decimal

import pandas as pd


def parquet(**columns):
    frame = pd.DataFrame(columns)
    return lambda path: frame.to_parquet(path, index=False)


def readings(**columns):
    return {"readings.csv": None, "readings.parquet": parquet(**columns)}


def test_typed_columns(read, listed):
    collection = read(
        readings(
            refeed=[1.0, 1.0, 1.0],
            elapsed=pd.to_timedelta(["0h", "90min", "3h"]),
            height=pd.array([45, None, 60], dtype="Int64"),
            ph=pd.array([5.5, 5.0, None], dtype="Float32"),
            rise=[Decimal("0.5"), None, Decimal("33.3")],
            ph_method=pd.Categorical(["direct", "slurry", None]),
            stirred=[True, False, None],
            probe=pd.array([7, 7, None], dtype="Int64"),
        )
    )
    rows = collection["readings"]
    assert rows["refeed"].tolist() == ["1", "1", "1"]
    assert rows["elapsed_h"].tolist() == [0.0, 1.5, 3.0]
    assert rows["height_mm"].dropna().tolist() == [45.0, 60.0]
    assert rows["ph"].dropna().tolist() == [5.5, 5.0]
    assert rows["rise_pct"].dropna().tolist() == [0.5, 33.3]
    assert rows["ph_method"].dropna().tolist() == ["direct", "slurry"]
    assert rows["stirred"].dropna().tolist() == [True, False]
    assert rows["probe"].dropna().tolist() == ["7", "7"]
    assert listed(collection) == []


def test_moments_with_and_without_a_zone(read):
    utc = pd.to_datetime(["2025-03-01 09:00"]).tz_localize("UTC")
    vienna = {"collection.toml": 'timezone = "Europe/Vienna"\n'}
    for read_at in (utc, utc.tz_convert("America/New_York"), pd.to_datetime(["2025-03-01 10:00"])):
        collection = read(vienna | readings(refeed=["1"], read_at=read_at, ph=[5.0]))
        assert collection["readings"]["read_at"][0] == utc[0]
        assert collection["readings"]["elapsed_h"].tolist() == [2.0]


def test_days_and_spreadsheet_numbers(read, listed):
    collection = read(
        {
            "refeeds.csv": None,
            "refeeds.parquet": parquet(refeed=[1], culture=["Alba"], fed_at=[45717]),
            "cultures.parquet": parquet(culture=["Alba"], received=[dt.date(2024, 5, 1)]),
        }
    )
    assert collection["refeeds"]["fed_at"].dt.date.tolist() == [dt.date(2025, 3, 1)]
    assert collection["cultures"]["received"].tolist() == [pd.Timestamp("2024-05-01")]
    assert listed(collection, "date") == [("date", 2, "fed_at", "warning")]


def test_a_named_index_is_a_column(read):
    frame = pd.DataFrame({"refeed": ["1"], "elapsed": [1.0], "ph": [5.0]}).set_index("refeed")
    collection = read({"readings.csv": None, "readings.parquet": frame.to_parquet})
    assert collection["readings"]["refeed"].tolist() == ["1"]


def test_blank_rows_keep_the_row_numbers(read):
    collection = read(readings(refeed=["1", None, "1"], elapsed=[0.0, None, 1.0], ph=[5.0, None, 4.9]))
    assert collection["readings"]["row"].tolist() == [2, 4]
    assert collection.counts["rows_in"].tolist() == [1, 2]


def test_a_moment_where_a_number_belongs_is_left_out(read, listed):
    collection = read(readings(refeed=["1"], elapsed=[0.0], ph=pd.to_datetime(["2025-03-01"]), height=[45.0]))
    assert collection["readings"]["ph"].isna().all()
    assert listed(collection) == [("number", 2, "ph", "error")]
