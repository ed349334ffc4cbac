"""A collection as a whole."""

import hashlib

import pandas as pd

from leavenbench.columns import RESULTS, TABLES
from leavenbench.records.collection import read_collection


def fingerprints(folder):
    return {
        path: (hashlib.sha256(path.read_bytes()).hexdigest(), path.stat().st_mtime_ns) for path in folder.rglob("*.*")
    }


def test_every_table_is_there_with_every_column(read):
    collection = read({"collection.toml": 'timezone = "Europe/Vienna"\n'})
    assert set(collection.tables) == set(TABLES)
    for name, table in TABLES.items():
        dtypes = {column.inside: column.dtype("Europe/Vienna") for column in table.columns}
        assert list(collection[name]) == ["file", "row", *dtypes]
        assert {column: str(dtype) for column, dtype in collection[name].dtypes.items() if column in dtypes} == dtypes
    assert collection.present == ("refeeds", "readings")


def test_the_problems_table_is_as_declared(read):
    for collection in (read(), read({"refeeds.csv": "refeed,culture,fed_at\n1,,x\n"})):
        assert list(collection.problems) == RESULTS["problems"].names
        assert {name: str(dtype) for name, dtype in collection.problems.dtypes.items()} == RESULTS["problems"].dtypes()


def test_problems_stand_in_the_order_of_tables_files_and_rows(read):
    collection = read(
        {
            "vessels.csv": "vessel,volume\nV,-1\n",
            "b.csv": "x\n",
            "refeeds.csv": "refeed,culture,fed_at,seed\n1,Alba,2025-03-01 08:00,-1\n2,Alba,x,-1\n",
            "readings.csv": "refeed,elapsed,ph\n1,0,41\n1,1,5\n",
        }
    )
    places = list(zip(collection.problems["table"], collection.problems["row"].fillna(0), strict=True))
    assert places == [
        ("collection", 0),
        ("refeeds", 2),
        ("refeeds", 3),
        ("refeeds", 3),
        ("readings", 2),
        ("vessels", 2),
    ]


def test_a_collection_shows_itself_as_a_table(read):
    assert "<table" in read()._repr_html_()


def test_the_callers_files_are_never_changed(write, listed):
    folder = write(
        {"refeeds.csv": "refeed,culture,fed_at\n1,,x\n", "taken_in/B/readings.csv": "refeed,elapsed,ph\n9,0,5\n"}
    )
    before = fingerprints(folder)
    read_collection(folder)
    assert fingerprints(folder) == before


def test_reading_twice_gives_the_same(write):
    folder = write(
        {"refeeds.csv": "refeed;culture;fed_at\n1;Alba;2025-03-01\n1;;x\n", "cultures.csv": "culture\nAlva\n"}
    )
    one, two = read_collection(folder), read_collection(folder)
    for name in TABLES:
        pd.testing.assert_frame_equal(one[name], two[name])
    pd.testing.assert_frame_equal(one.problems, two.problems)
    assert one.settings == two.settings
