"""One sheet as people keep it, as raw cells: comma, semicolon or tab; workbook; Parquet."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from ..errors import CannotRead
from .files import Source, plain


@dataclass(frozen=True)
class Sheet:
    """The cells of one sheet, as they stand.

    Attributes
    ----------
    source : Source
        Where it was read.
    header : list of str
        The headers, as typed.
    header_row : int
        The row in which they stand.
    cells : pandas.DataFrame
        One column per header, by position; text, or the file's own numbers and times.
    rows : numpy.ndarray
        The row number that a spreadsheet shows for each row of `cells`.
    too_long : pandas.Series of bool
        Rows with more cells than there are headers.
    remarks : list of str
        What had to be assumed to read it.
    """

    source: Source
    header: list[str]
    header_row: int
    cells: pd.DataFrame
    rows: np.ndarray
    too_long: pd.Series
    remarks: list[str] = field(default_factory=list)


def read_sheet(source: Source, known: set[str]) -> Sheet:
    """Read one file or sheet.

    Parameters
    ----------
    source : Source
        Where it stands.
    known : set of str
        Headers to expect, without case and spaces; they settle which separator a text file uses.

    Returns
    -------
    Sheet
        Blank rows are left out; row numbers are those that a spreadsheet shows.

    Raises
    ------
    CannotRead
        The file is damaged, locked, or not what its ending says.
    """
    try:
        match source.path.suffix.lower():
            case ".csv":
                return _from_grid(source, *_text_grid(source.path, known))
            case ".xlsx":
                return _from_grid(source, _workbook_grid(source), [])
            case _:
                return _from_parquet(source)
    except CannotRead:
        raise
    except MemoryError:
        raise
    except Exception as error:  # each file library fails in its own ways on a damaged file
        raise CannotRead(f"{source.name} cannot be read ({error}). Open it, save it again, and retry.") from error


def _from_grid(source: Source, grid: pd.DataFrame, remarks: list[str]) -> Sheet:
    """Take the first row that is not blank as the header."""
    grid = grid.apply(lambda column: column.str.strip())
    filled = (grid != "").any(axis=1).to_numpy()
    if not filled.any():
        return Sheet(source, [], 1, pd.DataFrame(), np.array([], int), pd.Series(dtype=bool), remarks)
    top = int(filled.argmax())
    header = [str(cell).strip() for cell in grid.iloc[top]]
    width = max((place + 1 for place, name in enumerate(header) if name), default=0)
    body = grid.iloc[top + 1 :]
    keep = filled[top + 1 :]
    body = body[keep]
    rows = np.arange(top + 2, top + 2 + len(keep))[keep]
    beyond = (body.iloc[:, width:] != "").any(axis=1)
    cells = body.iloc[:, :width].reset_index(drop=True)
    return Sheet(source, header[:width], top + 1, cells, rows, beyond.reset_index(drop=True), remarks)


def _text_grid(path: Path, known: set[str]) -> tuple[pd.DataFrame, list[str]]:
    text, remarks = _decoded(path.read_bytes())
    hint = re.match(r"sep=(.)\r?\n", text)
    if hint:
        text = text[hint.end() :]
    separator = hint.group(1) if hint else _separator(text, known)
    try:
        grid = pd.read_csv(
            io.StringIO(text),
            sep=separator,
            header=None,
            dtype=str,
            na_filter=False,
            skip_blank_lines=False,
            index_col=False,
        )
    except pd.errors.EmptyDataError:
        return pd.DataFrame(), remarks
    except (pd.errors.ParserError, ValueError):
        return _uneven_grid(text, separator, remarks)
    # Rows shorter than the header come out as missing even where nothing is taken for missing.
    return grid.fillna(""), remarks


def _uneven_grid(text: str, separator: str, remarks: list[str]) -> tuple[pd.DataFrame, list[str]]:
    """Read rows of unequal length, and text in which a quotation mark is never closed."""
    csv.field_size_limit(2**31 - 1)
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
    except csv.Error:
        rows = list(csv.reader(text.splitlines(), delimiter=separator, quoting=csv.QUOTE_NONE))
        remarks = [*remarks, "a quotation mark is never closed, so quotation marks are read as plain text"]
    width = max(map(len, rows), default=0)
    return pd.DataFrame([row + [""] * (width - len(row)) for row in rows], dtype=str), remarks


def _decoded(data: bytes) -> tuple[str, list[str]]:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16"), []
    try:
        return data.decode("utf-8-sig"), []
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace"), ["it is not UTF-8; read as Windows-1252"]


def _separator(text: str, known: set[str]) -> str:
    """Return the separator under which most headers are known names."""
    first = next((line for line in text.splitlines() if line.strip(" ,;\t\r\n")), "")

    def score(separator: str) -> tuple[int, int]:
        names = next(csv.reader([first], delimiter=separator))
        return sum(plain(re.sub(r"\[.*?\]", "", name)) in known for name in names), len(names)

    return max(",;\t", key=score)


def sheet_names(path: Path) -> list[str]:
    """Return the names of a workbook's sheets."""
    return list(_opened(path, path.name).sheetnames)


def _opened(path: Path, name: str):  # type: ignore[no-untyped-def]
    import warnings

    import openpyxl

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # openpyxl warns of styles and extensions that no reader needs
            return openpyxl.load_workbook(path, read_only=True, data_only=True)
    except Exception as error:
        raise CannotRead(
            f"{name} cannot be opened as a workbook ({error}). If it has a password, take it off; else save it "
            "again as .xlsx."
        ) from error


def _workbook_grid(source: Source) -> pd.DataFrame:
    book = _opened(source.path, source.name)
    try:
        wanted = source.sheet or next(
            (name for name in book.sheetnames if plain(name) == plain(source.table)), book.sheetnames[0]
        )
        sheet = book[wanted]
        sheet.reset_dimensions()  # some programs write a wrong extent
        rows = [[_as_text(cell) for cell in row] for row in sheet.iter_rows(values_only=True)]
    finally:
        book.close()
    width = max(map(len, rows), default=0)
    return pd.DataFrame([row + [""] * (width - len(row)) for row in rows], dtype=str)


def _as_text(cell: object) -> str:
    """Write a cell as text that says the same: a float's shortest exact form, a time in ISO 8601."""
    match cell:
        case None:
            return ""
        case bool():
            return "yes" if cell else "no"
        case dt.datetime():
            # A workbook stores days as floats; what is under a millisecond is rounding.
            return (cell + dt.timedelta(microseconds=500)).isoformat(timespec="milliseconds")
        case dt.timedelta():
            return f"{cell.total_seconds() / 3600:.6f} h"
        case float() if cell.is_integer() and abs(cell) < 1e15:
            return str(int(cell))
        case _:
            return str(cell)


def _from_parquet(source: Source) -> Sheet:
    cells = pd.read_parquet(source.path)
    header = [str(name) for name in cells.columns]
    cells.columns = pd.RangeIndex(cells.shape[1])
    cells = cells.reset_index(drop=True)
    for place in cells.columns:
        if not (
            pd.api.types.is_numeric_dtype(cells[place]) or pd.api.types.is_datetime64_any_dtype(cells[place])
        ) or pd.api.types.is_bool_dtype(cells[place]):
            cells[place] = cells[place].map(_as_text, na_action=None).where(cells[place].notna(), "").astype(str)
    filled = (cells.notna() & (cells != "")).any(axis=1)
    rows = np.arange(2, 2 + len(cells))[filled.to_numpy()]
    cells = cells[filled].reset_index(drop=True)
    return Sheet(source, header, 1, cells, rows, pd.Series(False, index=cells.index))
