"""Workbooks as bytes: the same content is the same file, and text stays text."""

from __future__ import annotations

import datetime as dt
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

if TYPE_CHECKING:
    import pandas as pd
    from openpyxl import Workbook

#: The earliest moment that a zip archive can tell: it stands for none.
_NO_TIME = dt.datetime(1980, 1, 1)


def write_book(book: Workbook, path: Path) -> None:
    """Write a workbook so that neither clock nor machine leaves a trace in it.

    Parameters
    ----------
    book : openpyxl.Workbook
        What to write; write-only or not.
    path : pathlib.Path
        Where. An existing file is overwritten.
    """
    from openpyxl.writer.excel import ExcelWriter

    book.properties.creator = "leavenbench"
    book.properties.created = book.properties.modified = _NO_TIME
    with _Timeless(path, "w", ZIP_DEFLATED) as archive:
        # Workbook.save is this and a look at the clock
        ExcelWriter(book, archive).save()


def append_table(page: Any, written: pd.DataFrame) -> None:
    """Append a table to a sheet of a write-only workbook: its header, then its rows, text as text.

    Parameters
    ----------
    page : openpyxl.worksheet.worksheet.Worksheet
        The sheet.
    written : pandas.DataFrame
        As `save.as_written` returns it.
    """
    from openpyxl.cell import WriteOnlyCell

    page.append(list(written.columns))
    rows = written.astype(object)
    for row in rows.where(rows.notna(), None).itertuples(index=False):
        cells = []
        for value in row:
            if isinstance(value, str):
                cell = WriteOnlyCell(page)
                put_text(cell, value)
                cells.append(cell)
            else:
                cells.append(value)
        page.append(cells)


def put_text(cell: Any, text: str) -> None:
    """Put text into a cell, as text even where it begins like a formula, without what no workbook may hold."""
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    cell.value = ILLEGAL_CHARACTERS_RE.sub("", text)
    cell.data_type = "s"


class _Timeless(ZipFile):
    """An archive whose entries carry no time, owner or system."""

    def writestr(self, name: Any, data: Any, *_: Any, **__: Any) -> None:  # type: ignore[override]
        with self.open(_entry(name), "w") as entry:
            entry.write(data.encode() if isinstance(data, str) else data)

    def write(self, path: Any, name: Any = None, *_: Any, **__: Any) -> None:  # type: ignore[override]
        with Path(path).open("rb") as source, self.open(_entry(name), "w") as entry:
            shutil.copyfileobj(source, entry)


def _entry(name: str) -> ZipInfo:
    entry = ZipInfo(name, _NO_TIME.timetuple()[:6])
    entry.compress_type, entry.create_system, entry.external_attr = ZIP_DEFLATED, 0, 0
    return entry
