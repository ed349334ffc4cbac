"""Large folders are read the short way: each file once, and plain text by a plain parser. Nothing else changes."""

import datetime as dt

import pandas as pd
import pytest

from leavenbench.columns import TABLES
from leavenbench.records import tables, text_files
from leavenbench.records.collection import read_collection
from leavenbench.records.reach import read_up_to_last_day

KNOWN = {"refeed", "elapsed", "height"}
REFEEDS = (
    "refeed,culture,fed_at,cooled_at\n1,Alba,2025-03-01 08:00,{cooled}\n2,Alba,{second},\n2,Alba,2025-03-09 08:00,\n"
)


def same(one, two):
    pd.testing.assert_frame_equal(one.problems, two.problems)
    pd.testing.assert_frame_equal(one.counts, two.counts)
    for name in TABLES:
        pd.testing.assert_frame_equal(one[name], two[name])


@pytest.mark.parametrize("cooled", ["2025-03-01 20:00", "2025-03-02 07:00", "2125-03-02 07:00", "?"])
@pytest.mark.parametrize("second", ["2025-03-04 08:00", "2125-03-04 08:00"])
def test_up_to_the_last_day_is_what_was_known_at_its_end(write, cooled, second):
    """Later cells and rows, rows left out among them, are forgotten as if the day had been given."""
    folder = write({"refeeds.csv": REFEEDS.format(cooled=cooled, second=second)})
    collection, day = read_up_to_last_day(folder, dt.date(2026, 1, 1))
    assert day == dt.date(2025, 3, 1 if second.startswith("2125") else 4)  # of a number used twice the first counts
    same(collection, read_collection(folder, as_of=day))


def test_each_file_is_read_once(write, monkeypatch):
    folder = write({"vessels.csv": "vessel\na\n", "refeeds.csv": REFEEDS.format(cooled="", second="2125-03-04 08:00")})
    read, read_sheet = [], tables.read_sheet
    monkeypatch.setattr(
        tables, "read_sheet", lambda source, known: read.append(source.name) or read_sheet(source, known)
    )
    read_up_to_last_day(folder, dt.date(2026, 1, 1))
    assert sorted(read) == ["readings.csv", "refeeds.csv", "vessels.csv"]


@pytest.mark.parametrize(
    "text",
    [
        "refeed,elapsed,height\n1,0,45\n1,6, 110 \n",
        "refeed;elapsed;height\n1;0;4,5\n;;\n2;6;",
        "refeed\telapsed\theight\r\nMühle\t0\t45\r\n",
        "\ufeffrefeed,elapsed,height\n1,0,45\n",
        "refeed\n1\n\n2\n",
        "refeed,elapsed,height",
        "refeed,elapsed,height,\n1,0,45,\n",
        "refeed,elapsed,height\n1,\u2028,'45\n",
    ],
)
def test_plain_text_is_read_as_any_other(tmp_path, monkeypatch, text):
    path = tmp_path / "readings.csv"
    path.write_bytes(text.encode())
    plainly = text_files._plain_grid(path.read_bytes(), KNOWN)
    assert plainly is not None
    monkeypatch.setattr(text_files, "_plain_grid", lambda *_: None)
    carefully, remarks = text_files.text_grid(path, KNOWN)
    pd.testing.assert_frame_equal(plainly, carefully)
    assert remarks == []


@pytest.mark.parametrize(
    "data",
    [
        b'refeed,elapsed,height\n"1",0,45\n',  # a quotation mark
        b"refeed,elapsed,height\n1,0,4,5\n",  # a row that is too long
        b"refeed,elapsed,height\n1,0\n",  # and one that is too short
        b"\nrefeed,elapsed,height\n1,0,45\n",  # a blank line before the header
        b";;\nrefeed;elapsed;height\n1;0;45\n",  # and one of separators
        b"sep=;\nrefeed;elapsed;height\n1;0;45\n",  # a line that names the separator
        b"refeed,elapsed,height\rA,0,45\r",  # an old line end
        "refeed,elapsed,height\nMühle,0,45\n".encode("cp1252"),  # an old encoding
        "refeed,elapsed,height\n1,0,45\n".encode("utf-16"),
        b"refeed,elapsed,height\n1\x00,0,45\n",
        b"",
    ],
)
def test_what_may_be_read_in_two_ways_is_no_plain_text(data):
    assert text_files._plain_grid(data, KNOWN) is None
