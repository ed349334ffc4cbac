"""A workbook as a grid of text, each cell as it is shown."""

from __future__ import annotations

import datetime as dt
import re
import zipfile
from pathlib import Path

import pandas as pd

from ..errors import CannotRead
from .grids import as_text, even
from .source import Source, plain


def sheet_names(path: Path) -> list[str]:
    """Return the names of a workbook's sheets."""
    book = _opened(path, path.name)
    try:
        return list(book.sheetnames)
    finally:
        book.close()


def _opened(path: Path, name: str, *, formulas: bool = False):  # type: ignore[no-untyped-def]
    import warnings

    import openpyxl

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # openpyxl warns of styles and extensions that no reader needs
            return openpyxl.load_workbook(path, read_only=True, data_only=not formulas)
    except Exception as error:
        raise CannotRead(
            f"{name} cannot be opened as a workbook ({error}). If it has a password, take it off; else save it "
            "again as .xlsx."
        ) from error


def workbook_grid(source: Source, within: tuple[int | None, int | None] = (None, None)) -> pd.DataFrame:
    """Return the cells of one sheet as text, of so many rows and columns at most."""
    shown = _workbook_rows(source, within, formulas=False)
    if _has_formulas(source.path):
        # A formula that was never computed has no result: show the formula, so that it can be listed.
        behind = _workbook_rows(source, within, formulas=True)
        shown = [
            [cell if cell or not formula.startswith("=") else formula for cell, formula in zip(*rows, strict=True)]
            for rows in zip(shown, behind, strict=True)
        ]
    return even(shown)


def _has_formulas(path: Path) -> bool:
    with zipfile.ZipFile(path) as parts:
        return any(re.search(rb"<f[\s>/]", parts.read(name)) for name in parts.namelist() if "worksheets/" in name)


def _workbook_rows(source: Source, within: tuple[int | None, int | None], *, formulas: bool) -> list[list[str]]:
    book = _opened(source.path, source.name, formulas=formulas)
    try:
        wanted = source.sheet or next(
            (name for name in book.sheetnames if plain(name) == plain(source.table)), book.sheetnames[0]
        )
        sheet = book[wanted]
        sheet.reset_dimensions()  # some programs write a wrong extent
        rows = sheet.iter_rows(max_row=within[0], max_col=within[1])
        return [[_as_shown(cell.value, cell.number_format) for cell in row] for row in rows]
    finally:
        book.close()


def _as_shown(value: object, number_format: str | None) -> str:
    """Write a workbook's cell as text: 1.5 under a percent format is 150 %, and a bare day has no time of day."""
    from openpyxl.styles.numbers import is_datetime

    text = as_text(getattr(value, "text", value))  # an array formula keeps its words in `text`
    if isinstance(value, float | int) and not isinstance(value, bool) and "%" in (number_format or ""):
        return f"{value * 100:.12g} %"
    if isinstance(value, dt.datetime) and value.time() == dt.time() and is_datetime(number_format) == "date":
        return text[:10]
    return text
