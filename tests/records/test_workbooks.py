"""Workbooks, with the cells that spreadsheets make of what people type."""

import datetime as dt

import openpyxl
import pytest
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from leavenbench.errors import CannotRead

FED = dt.datetime(2025, 3, 1, 8, 30)


def workbook(formats=None, epoch=None, **sheets):
    """Return a function that writes a workbook of these sheets."""

    def write(path):
        book = openpyxl.Workbook()
        book.remove(book.active)
        if epoch:
            book.epoch = epoch
        for name, rows in sheets.items():
            sheet = book.create_sheet(name)
            for row in rows:
                sheet.append(row)
            for cell, number_format in (formats or {}).items():
                sheet[cell].number_format = number_format
        book.save(path)

    return write


def refeeds(*rows, header=("refeed", "culture", "fed_at"), **more):
    return {"refeeds.csv": None, "refeeds.xlsx": workbook(refeeds=[header, *rows], **more)}


def readings(*rows, header=("refeed", "elapsed", "rise"), **more):
    return {"readings.csv": None, "readings.xlsx": workbook(readings=[header, *rows], **more)}


def test_numbers_may_be_names_and_date_cells_are_moments(read, listed):
    collection = read(refeeds([1, "Alba", FED], [2.0, 7, FED + dt.timedelta(days=1)]))
    assert collection["refeeds"]["refeed"].tolist() == ["1", "2"]
    assert collection["refeeds"]["culture"].tolist() == ["Alba", "7"]
    assert collection["refeeds"]["fed_at"].dt.tz_localize(None).tolist() == [FED, FED + dt.timedelta(days=1)]
    assert listed(collection) == [("no readings", 3, "refeed", "warning")]


def test_days_may_be_counted_from_1904(read):
    collection = read(refeeds([1, "Alba", FED], epoch=CALENDAR_MAC_1904))
    assert collection["refeeds"]["fed_at"].dt.tz_localize(None).tolist() == [FED]


def test_a_date_cell_without_a_time_of_day(read, listed):
    day = dt.datetime(2025, 3, 1)
    shown_as_day = read(refeeds([1, "Alba", day], formats={"C2": "dd.mm.yyyy"}))
    assert listed(shown_as_day) == [("time of day", 2, "fed_at", "warning")]
    shown_as_midnight = read(refeeds([1, "Alba", day], formats={"C2": "yyyy-mm-dd hh:mm"}))
    assert listed(shown_as_midnight) == []


def test_text_in_a_date_column_is_read_as_text(read, listed):
    collection = read(refeeds([1, "Alba", "25.04.2025 08:00"], [2, "Alba", 45773]))
    assert collection["refeeds"]["fed_at"].dt.date.tolist() == [dt.date(2025, 4, 25), dt.date(2025, 4, 26)]
    assert listed(collection, "date") == [("date", 3, "fed_at", "warning")]


def test_time_cells_are_hours(read, listed):
    rows = [1, dt.time(2, 30), 10], [1, dt.timedelta(hours=26, minutes=30), 20], [1, 30, 30], [1, 30.25, 40]
    collection = read(readings(*rows))
    assert collection["readings"]["elapsed_h"].tolist() == [2.5, 26.5, 30.0, 30.25]
    assert listed(collection) == []


def test_a_percent_format_is_a_percentage(read):
    """Typed as 150%, a cell holds 1.5 and the format; a bare 150 is 150."""
    collection = read(readings([1, 1, 1.5], [1, 2, 150], [1, 3, "150%"], formats={"C2": "0%"}))
    assert collection["readings"]["rise_pct"].tolist() == [150.0, 150.0, 150.0]


def test_yes_and_no_cells(read):
    collection = read(refeeds([1, "Alba", FED, True], header=["refeed", "culture", "fed_at", "passed"]))
    assert collection["refeeds"]["passed"].tolist() == [True]


def test_cells_that_hold_an_error(read, listed):
    rows = [1, "#N/A", FED, 40], [2, "Alba", FED, "#DIV/0!"]
    collection = read(refeeds(*rows, header=["refeed", "culture", "fed_at", "flour"]))
    assert collection["refeeds"]["refeed"].tolist() == ["2"]
    assert listed(collection, "formula", "number") == [
        ("formula", 2, "culture", "error"),
        ("number", 3, "flour", "error"),
    ]


def test_a_formula_that_was_never_computed_is_listed(read, listed):
    """Other programs than spreadsheets write formulas without their results."""
    rows = [1, "=B9", FED, 40], [2, "Alba", FED, "=D1*2"]
    collection = read(refeeds(*rows, header=["refeed", "culture", "fed_at", "flour"]))
    assert collection["refeeds"]["refeed"].tolist() == ["2"]
    assert listed(collection, "formula", "number") == [
        ("formula", 2, "culture", "error"),
        ("number", 3, "flour", "error"),
    ]
    assert "=D1*2" in collection.problems["value"].tolist()


def test_remarks_beside_the_table_lose_no_row(read, listed):
    collection = read(readings([1, 1, 10], [1, 2, 20, None, "look here"], [1, 3, 30]))
    assert len(collection["readings"]) == 3
    assert listed(collection) == [("known column", 1, "", "warning")]


def test_blank_rows_keep_the_row_numbers(read):
    collection = read(
        {"readings.csv": None, "readings.xlsx": workbook(r=[[], ["refeed", "elapsed", "ph"], [], [1, 1, 5]])}
    )
    assert collection["readings"]["row"].tolist() == [4]


def test_the_sheet_of_the_tables_name_is_read_else_the_first(read):
    rows = [["refeed", "elapsed", "ph"], [1, 1, 5]]
    named = read({"readings.csv": None, "readings.xlsx": workbook(notes=[["hello"]], Readings=rows)})
    assert named["readings"]["ph"].tolist() == [5.0]
    first = read({"readings.csv": None, "readings.xlsx": workbook(data=rows, more=[["hello"]])})
    assert first["readings"]["ph"].tolist() == [5.0]


def test_one_workbook_may_hold_the_whole_collection(read, listed):
    sheets = {
        "refeeds": [["refeed", "culture", "fed_at"], [1, "Alba", FED]],
        "Readings": [["refeed", "elapsed", "ph"], [1, 1, 5]],
        "redings": [["refeed"]],
    }
    collection = read({"refeeds.csv": None, "readings.csv": None, "collection.xlsx": workbook(**sheets)})
    assert collection["readings"]["ph"].tolist() == [5.0]
    assert collection["refeeds"]["file"].tolist() == ["collection.xlsx:refeeds"]
    assert listed(collection) == [("known table", None, "", "warning")]
    assert "rename it to readings" in collection.problems["remedy"][0]


@pytest.mark.parametrize("name", ["readings.xlsx", "readings.parquet", "collection.xlsx"])
def test_a_damaged_file_is_refused_by_name(read, name):
    with pytest.raises(CannotRead, match=name):
        read({name: b"PK\x03\x04 this is no such file"})
