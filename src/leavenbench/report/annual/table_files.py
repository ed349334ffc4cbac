"""The tables of a report as files: one CSV each, and one workbook with a sheet for each."""

from __future__ import annotations

import io
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path

import pandas as pd

from ..save import as_written
from ..workbook_bytes import append_table, write_book

#: A spreadsheet that opens a CSV takes a cell that begins so for a formula.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
#: Longest name of a sheet.
_SHEET = 31
#: A column is no wider than so many letters.
_WIDEST = 70.0


def table_files(tables: Mapping[str, pd.DataFrame]) -> dict[str, bytes]:
    """Return the files of some tables.

    A CSV file cannot say that a cell is text, and whoever is sent a report opens it in a spreadsheet: there a text that
    begins like a formula has an apostrophe before it. The workbook holds every text as it is, as text.

    Parameters
    ----------
    tables : mapping of str to pandas.DataFrame
        By name; ``attrs["caption"]`` says what each is.

    Returns
    -------
    dict of str to bytes
        By path: ``tables/NAME.csv``, and ``tables.xlsx``.
    """
    files = {f"tables/{name}.csv": _csv(table) for name, table in tables.items()}
    return files | {"tables.xlsx": _workbook(tables)}


def _csv(table: pd.DataFrame) -> bytes:
    written = as_written(table)
    for name in written.columns:
        if pd.api.types.is_string_dtype(written[name]) and pd.api.types.is_string_dtype(table[name]):
            begins = written[name].str.startswith(_FORMULA).fillna(False).astype(bool)
            written[name] = written[name].mask(begins, "'" + written[name])
    made = io.StringIO()
    written.to_csv(made, index=False, lineterminator="\n")
    return made.getvalue().encode()


def _workbook(tables: Mapping[str, pd.DataFrame]) -> bytes:
    import openpyxl

    book = openpyxl.Workbook(write_only=True)
    contents = pd.DataFrame(
        [(name, str(table.attrs.get("caption", "")), len(table)) for name, table in tables.items()],
        columns=["table", "what it holds", "rows"],
    )
    for name, table in {"contents": contents, **tables}.items():
        _add_sheet(book, name, table)
    with tempfile.TemporaryDirectory() as aside:
        path = Path(aside) / "tables.xlsx"
        write_book(book, path)
        return path.read_bytes()


def _add_sheet(book, name: str, table: pd.DataFrame) -> None:  # type: ignore[no-untyped-def]
    page = book.create_sheet(name[:_SHEET])
    page.freeze_panes = "B2"
    written = as_written(table)
    for letter, width in _widths(written):
        page.column_dimensions[letter].width = width
    append_table(page, written)


def _widths(rows: pd.DataFrame) -> Iterator[tuple[str, float]]:
    """Return how wide each column is to be, by its longest text."""
    from openpyxl.utils import get_column_letter

    for place, name in enumerate(rows.columns, start=1):
        longest = max([len(name), *(len(value) for value in rows[name] if isinstance(value, str))])
        yield get_column_letter(place), min(longest + 2.0, _WIDEST)
