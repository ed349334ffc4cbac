"""Whatever tables are thrown at the reader, it ends in a Collection or in one clear error, and the counts add up."""

from __future__ import annotations

import csv
import datetime as dt
import io
import tempfile
from pathlib import Path

import openpyxl
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from leavenbench.columns import NEEDED_TABLES, TABLES
from leavenbench.errors import LeavenbenchError
from leavenbench.records.collection import read_collection

FULL = {
    "refeeds": "refeed,culture,fed_at\n1,Alba,2025-03-01 08:00\n2,Alba,2025-10-25 20:00\n",
    "readings": "refeed,elapsed,height\n1,0,45\n1,6,110\n",
}
VIENNA = 'timezone = "Europe/Vienna"\n'
steady = settings(deadline=None, derandomize=True, max_examples=15)

NAMES = [
    "",
    " ",
    "1",
    "2",
    "01",
    "1.0",
    "Alba",
    "alba",
    "Älba",
    "A\u0308lba",
    "💥",
    "#N/A",
    "=A1",
    "[cm]",
    "-",
    "nan",
    "None",
]
NUMBERS = [
    "0",
    "-0",
    "-1",
    "4.5",
    "4,5",
    "1,250",
    "1.250",
    "1e308",
    "1e999",
    "inf",
    "4,5 cm",
    "5 m**9**9**9",
    "٣",
    "2:30",
    "99:99",
]
DAYS = [
    "2025-03-01",
    "2025-02-30",
    "03/04/2025",
    "1.3.25",
    "45773",
    "45773.99",
    "0001-01-01",
    "9999-12-31",
    "1 Mar 2025",
    "1 Foo 25",
]
CLOCKS = [
    "2025-10-26 02:30",
    "2025-03-30 02:30",
    "2025-03-01 8:30 pm",
    "2025-03-01T08:00Z",
    "9999-12-31T23:59-12:00",
    "25:70",
    "08:00",
]
WORDS = [
    "yes",
    "no",
    "perhaps",
    "round",
    "test",
    "dispatch",
    "rescue",
    "direct",
    "straight",
    '"',
    '""',
    "'",
    ";",
    ",",
    "\n",
    "\r",
    "\t",
]
STRANGE = ["\x00", "\ufeff", "\u2028", "\x1a", "\x85", "%", "°", "(", "**", "_", "x" * 300]
CELLS = st.one_of(st.sampled_from(NAMES + NUMBERS + DAYS + CLOCKS + WORDS + STRANGE), st.text(max_size=6))
UNITS = st.sampled_from(["", "", "", " [cm]", " [degF]", " [", " []", " [foo]", " [%] x", " [9**9**9**9]", " [UTC]"])


def outcome(files: dict[str, object], **more: object) -> object:
    """Write files over a small sound folder and read it; return what came of it."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "collection.toml").write_text(VIENNA, encoding="utf-8")
        given_tables = {Path(file).stem for file in files}
        for table, text in FULL.items():
            if table not in given_tables:
                (folder / f"{table}.csv").write_text(text, encoding="utf-8")
        for file, content in files.items():
            content(folder / file) if callable(content) else (folder / file).write_bytes(content)
        try:
            return read_collection(folder, **more)
        except LeavenbenchError as error:
            return str(error).replace(name, "")


def same(one: object, two: object) -> None:
    if isinstance(one, str):
        assert one == two
        return
    pd.testing.assert_frame_equal(one.problems, two.problems)
    for name in TABLES:
        pd.testing.assert_frame_equal(one[name], two[name])


def check(nothing_is_lost, files, **more):
    came = outcome(files, **more)
    if isinstance(came, str):
        assert len(came) > 20
    else:
        nothing_is_lost(came)
    return came


@st.composite
def grids(draw, cells=CELLS):
    """Draw a table's name, some of its columns as a header, and rows of any cells."""
    name = draw(st.sampled_from([*NEEDED_TABLES, *NEEDED_TABLES, *TABLES]))
    needed = [column.name for column in TABLES[name].columns if column.needed]
    columns = draw(st.lists(st.sampled_from(TABLES[name].names), max_size=6))
    header = list(dict.fromkeys(needed + columns)) if draw(st.integers(0, 9)) else columns
    if name == "readings" and draw(st.integers(0, 9)):
        header = list(dict.fromkeys([*header, draw(st.sampled_from(["elapsed", "read_at"])), "refeed"]))
    header = [column + draw(UNITS) for column in header]
    rows = draw(st.lists(st.lists(cells, min_size=len(header), max_size=len(header)), max_size=6))
    return name, header, rows


DAY = st.none() | st.sampled_from([dt.date(2025, 3, 1), dt.date(2025, 10, 26)])


@steady
@given(
    name=st.sampled_from([*NEEDED_TABLES, "cultures"]),
    suffix=st.sampled_from(["csv", "xlsx", "parquet"]),
    content=st.binary(max_size=300),
)
def test_any_bytes(nothing_is_lost, name, suffix, content):
    check(nothing_is_lost, {f"{name}.{suffix}": content})


@steady
@given(name=st.sampled_from(NEEDED_TABLES), text=st.text(alphabet='refdculta,;\t"\n\r1250-:. []', max_size=200))
def test_any_text(nothing_is_lost, name, text):
    header = FULL[name].splitlines()[0]
    check(nothing_is_lost, {f"{name}.csv": f"{header}\n{text}".encode()})


@settings(steady, max_examples=30)
@given(
    grid=grids(),
    separator=st.sampled_from([",", ";", "\t"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
    as_of=DAY,
    today=DAY,
)
def test_any_cells_in_a_text_file(nothing_is_lost, grid, separator, encoding, as_of, today):
    name, header, rows = grid
    text = io.StringIO()
    csv.writer(text, delimiter=separator).writerows([header, *rows])
    content = text.getvalue().encode(encoding, errors="replace")
    came = check(nothing_is_lost, {f"{name}.csv": content}, as_of=as_of, today=today)
    same(came, outcome({f"{name}.csv": content}, as_of=as_of, today=today))


TYPED = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**12), 10**12),
    st.floats(allow_nan=False, allow_infinity=False),
    st.datetimes(dt.datetime(1900, 3, 1), dt.datetime(9999, 12, 31)),
    st.times(),
    st.timedeltas(dt.timedelta(0), dt.timedelta(days=400)),
    st.sampled_from(NAMES + NUMBERS + DAYS + CLOCKS),
)


@steady
@given(grid=grids(TYPED), blank_rows=st.integers(0, 2), as_of=DAY)
def test_any_cells_in_a_workbook(nothing_is_lost, grid, blank_rows, as_of):
    name, header, rows = grid

    def write(path):
        book = openpyxl.Workbook()
        for _ in range(blank_rows):
            book.active.append([])
        for row in [header, *rows]:
            book.active.append(row)
        book.save(path)

    check(nothing_is_lost, {f"{name}.xlsx": write}, as_of=as_of)


COLUMNS = st.one_of(
    st.lists(st.none() | st.integers(-(2**40), 2**40), min_size=3, max_size=3).map(
        lambda cells: pd.array(cells, dtype="Int64")
    ),
    st.lists(st.none() | st.floats(), min_size=3, max_size=3).map(lambda cells: pd.array(cells, dtype="Float64")),
    st.lists(st.floats(width=32), min_size=3, max_size=3),
    st.lists(st.none() | st.booleans(), min_size=3, max_size=3).map(lambda cells: pd.array(cells, dtype="boolean")),
    st.lists(st.none() | st.datetimes(), min_size=3, max_size=3).map(
        lambda cells: pd.Series(cells, dtype="datetime64[us]")
    ),
    st.lists(st.none() | st.datetimes(dt.datetime(1700, 1, 1), dt.datetime(2200, 1, 1)), min_size=3, max_size=3).map(
        lambda cells: pd.Series(cells, dtype="datetime64[ns]").dt.tz_localize("UTC").dt.tz_convert("Asia/Kathmandu")
    ),
    st.lists(st.none() | st.timedeltas(dt.timedelta(0), dt.timedelta(days=9000)), min_size=3, max_size=3).map(
        lambda cells: pd.Series(cells, dtype="timedelta64[us]")
    ),
    st.lists(st.none() | st.dates(), min_size=3, max_size=3),
    st.lists(st.none() | st.binary(max_size=4), min_size=3, max_size=3),
    st.lists(st.sampled_from(NAMES + NUMBERS), min_size=3, max_size=3).map(pd.Categorical),
    st.lists(CELLS, min_size=3, max_size=3),
)


@steady
@given(grid=grids(), data=st.data(), as_of=DAY)
def test_any_columns_in_parquet(nothing_is_lost, grid, data, as_of):
    name, header, _ = grid
    columns = {column: data.draw(COLUMNS) for column in header}
    check(nothing_is_lost, {f"{name}.parquet": lambda path: pd.DataFrame(columns).to_parquet(path)}, as_of=as_of)
