"""Text files as spreadsheets and loggers save them."""

import pytest

from leavenbench.errors import CannotRead

ROWS = [("refeed", "elapsed", "height", "ph_method"), ("1", "0", "45", "direct"), ("1", "6", "110", "slurry")]


def lines(separator, rows=ROWS, end="\n"):
    return end.join(separator.join(row) for row in rows) + end


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_separators_and_line_ends(read, listed, separator, end):
    collection = read({"readings.csv": lines(separator, end=end).encode()})
    assert collection["readings"]["height_mm"].tolist() == [45.0, 110.0]
    assert collection["readings"]["row"].tolist() == [2, 3]
    assert listed(collection) == []


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
def test_encodings(read, listed, encoding):
    marks = {"utf-16-le": b"\xff\xfe", "utf-16-be": b"\xfe\xff"}
    text = "refeed;culture;fed_at\n1;Mühle;2025-03-01 08:00\n"
    collection = read({"refeeds.csv": marks.get(encoding, b"") + text.encode(encoding)})
    assert collection["refeeds"]["culture"].tolist() == ["Mühle"]
    assert listed(collection) == []


def test_an_old_encoding_is_read_and_said(read, listed):
    text = "refeed;culture;fed_at\n1;Mühle – 2;2025-03-01 08:00\n"
    collection = read({"refeeds.csv": text.encode("cp1252")})
    assert collection["refeeds"]["culture"].tolist() == ["Mühle – 2"]
    assert listed(collection) == [("file", 1, "", "warning")]


@pytest.mark.parametrize("hint", ["sep=;\n", "sep=;\r\n", '"sep=;"\n', "SEP=;\n"])
def test_a_line_that_names_the_separator_is_no_row(read, listed, hint):
    """A spreadsheet obeys the line and does not show it: the header stays in row 1."""
    collection = read({"readings.csv": hint + lines(";")})
    assert collection["readings"]["row"].tolist() == [2, 3]
    assert listed(collection) == []


@pytest.mark.parametrize("blank", ["\n", ",,\n", ", ,\n"])
def test_blank_lines_keep_the_row_numbers(read, blank):
    text = blank + blank + "refeed,elapsed,height\n" + blank + "1,0,45\n" + blank + "1,6,110\n" + blank
    collection = read({"readings.csv": text})
    assert collection["readings"]["row"].tolist() == [5, 7]
    assert collection.counts["rows_in"].tolist() == [1, 2]


def test_the_header_row_is_where_the_header_stands(read, listed):
    collection = read({"readings.csv": "\n\nrefeed,elapsed,height,colour\n1,0,45,red\n"})
    assert listed(collection) == [("known column", 3, "colour", "warning")]


def test_a_line_break_within_quotes_is_one_row(read, listed):
    refeeds = 'refeed,culture,fed_at,note\n1,Alba,2025-03-01 08:00,"sour,\nthen sweet\nat last"\n2,Alba,x,\n'
    collection = read({"refeeds.csv": refeeds})
    assert collection["refeeds"]["note"].tolist() == ["sour,\nthen sweet\nat last"]
    assert listed(collection, "date and time") == [("date and time", 3, "fed_at", "error")]


def test_decimal_commas_in_each_separator(read):
    for readings in (
        "refeed;elapsed;height [cm]\n1;0;4,5\n1;6,5;11,0\n",
        "refeed\telapsed\theight [cm]\n1\t0\t4,5\n1\t6,5\t11,0\n",
        'refeed,elapsed,height [cm]\n1,0,"4,5"\n1,"6,5","11,0"\n',
    ):
        rows = read({"readings.csv": readings})["readings"]
        assert rows["height_mm"].tolist() == [45.0, 110.0]
        assert rows["elapsed_h"].tolist() == [0.0, 6.5]


def test_cells_that_slipped_past_the_last_header_are_left_out(read, listed):
    """A decimal comma without quotation marks, in a file separated by commas."""
    collection = read({"readings.csv": "refeed,elapsed,height\n1,0,45\n1,6,11,0\n1,7,100\n"})
    assert collection["readings"]["row"].tolist() == [2, 4]
    assert listed(collection) == [("cells without a header", 3, "", "error")]


def test_short_rows_and_empty_last_columns_are_no_fault(read, listed):
    collection = read({"readings.csv": "refeed,elapsed,height,ph,,\n1,0,45\n1,6,110,4.5,,\n1,7,111,4.4,,,,\n"})
    assert collection["readings"]["height_mm"].tolist() == [45.0, 110.0, 111.0]
    assert listed(collection) == []


@pytest.mark.parametrize(
    "readings",
    [
        # Never closed.
        'refeed,elapsed,height,note\n1,0,45,"ripe\n1,6,110,\n1,7,120,\n',
        # Two marks that do not belong together would swallow the rows between them.
        'refeed,elapsed,height,note\n1,0,45,"ripe\n1,6,110,\n1,7,120,ripe"\n',
        'refeed,elapsed,height,note\n1,0,45,"ripe\n1,6,110,\n1,7,120,"\n',
    ],
)
def test_a_stray_quotation_mark_swallows_no_rows(read, listed, readings):
    collection = read({"readings.csv": readings})
    assert collection["readings"]["row"].tolist() == [2, 3, 4]
    assert ("file", 1, "", "warning") in listed(collection)


def test_quotation_marks_inside_a_cell(read):
    refeeds = (
        'refeed,culture,fed_at,note\n1,Alba,2025-03-01 08:00,the 5" jar\n2,Alba,2025-03-01 09:00,"a ""good"" one"\n'
    )
    assert read({"refeeds.csv": refeeds})["refeeds"]["note"].tolist() == ['the 5" jar', 'a "good" one']


@pytest.mark.parametrize("name", ["refeeds.csv", "readings.csv"])
@pytest.mark.parametrize("content", [b"", b"\n\n", b"\xef\xbb\xbf", b",,,\n"])
def test_an_empty_needed_file_is_refused_by_name(read, name, content):
    with pytest.raises(CannotRead, match=name):
        read({name: content})


def test_an_empty_file_of_another_table_is_no_table(read, listed):
    collection = read({"cultures.csv": b"", "vessels.csv": "vessel,volume\n"})
    assert collection.present == ("refeeds", "readings")
    assert listed(collection) == []
