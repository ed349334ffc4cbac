"""A text file as people save it: comma, semicolon or tab; several encodings; stray quotation marks."""

from __future__ import annotations

import codecs
import csv
import io
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa

from .grids import even
from .source import plain

_SEPARATORS = ",;\t"
_BLANK = " ,;\t\r\n"
_HINT = re.compile(r'"?sep=(.)"?\r?\n', re.IGNORECASE)


def text_grid(path: Path, known: set[str]) -> tuple[pd.DataFrame, list[str]]:
    """Return the cells as text, and what had to be assumed to read them."""
    data = path.read_bytes()
    grid = _plain_grid(data, known)
    if grid is not None:
        return grid, []
    text, remarks = _decoded(data)
    hint = _HINT.match(text)
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
    except ValueError:  # rows longer than the first one, which may be blank, or an open quotation mark
        return _uneven_grid(text, separator, remarks)
    # Rows shorter than the header come out as missing even where nothing is taken for missing.
    grid = grid.fillna("")
    return _unquoted_grid(text, separator, remarks) if '"' in text and _swallowed(grid, separator) else (grid, remarks)


def _plain_grid(data: bytes, known: set[str]) -> pd.DataFrame | None:
    """Read a file that can be read in one way only, in a fraction of the time; None for any other.

    Such a file is UTF-8 without quotation marks, begins with its header, and has rows of equal length: a cell is what
    stands between two separators.
    """
    data = data.removeprefix(codecs.BOM_UTF8)
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n")
    if any(sign in data for sign in (b'"', b"\r", b"\0")):
        return None
    first = io.BytesIO(data).readline().decode(errors="replace")
    if not first.strip(_BLANK) or _HINT.match(first):
        return None
    separator = _separator(first, known)
    names = [str(place) for place in range(first.count(separator) + 1)]
    return _split(data, separator, names)


def _split(data: bytes, separator: str, names: list[str]) -> pd.DataFrame | None:
    """Cut every line at its separators; None where that does not give a cell for each name."""
    from pyarrow import csv as by_arrow

    text = pa.large_string()
    try:
        cells = by_arrow.read_csv(
            pa.py_buffer(data),
            by_arrow.ReadOptions(column_names=names),
            by_arrow.ParseOptions(delimiter=separator, quote_char=False, ignore_empty_lines=False),
            by_arrow.ConvertOptions(column_types=dict.fromkeys(names, text), strings_can_be_null=False),
        )
    except pa.ArrowInvalid:
        return None
    grid = cells.to_pandas(types_mapper={text: pd.StringDtype(na_value=np.nan)}.get)
    return grid.set_axis(pd.RangeIndex(len(names)), axis=1)


def _swallowed(grid: pd.DataFrame, separator: str) -> bool:
    """Tell whether some cell holds whole rows, between two quotation marks that do not belong together."""
    lines = (
        line for _, column in grid.items() for cell in column[column.str.contains("\n")] for line in cell.split("\n")
    )
    return any(line.count(separator) >= max(grid.shape[1] - 1, 2) for line in lines)


def _uneven_grid(text: str, separator: str, remarks: list[str]) -> tuple[pd.DataFrame, list[str]]:
    """Read rows of unequal length, and text in which a quotation mark is never closed."""
    csv.field_size_limit(2**31 - 1)
    try:
        return even(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)), remarks
    except csv.Error:
        return _unquoted_grid(text, separator, remarks)


def _unquoted_grid(text: str, separator: str, remarks: list[str]) -> tuple[pd.DataFrame, list[str]]:
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=separator, quoting=csv.QUOTE_NONE)
    return even(rows), [*remarks, "a quotation mark is never closed, so quotation marks are read as plain text"]


def _decoded(data: bytes) -> tuple[str, list[str]]:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16"), []
    try:
        return data.decode("utf-8-sig"), []
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace"), ["it is not UTF-8; read as Windows-1252"]


def _separator(text: str, known: set[str]) -> str:
    """Return the separator under which most headers are known names."""
    pieces = (found.group() for found in re.finditer(r"[^\n]+", text))  # no more of a long file than is needed
    first = next((line for piece in pieces for line in piece.splitlines() if line.strip(_BLANK)), "")

    def score(separator: str) -> tuple[int, int]:
        names = next(csv.reader([first], delimiter=separator))
        return sum(plain(re.sub(r"\[.*?\]", "", name)) in known for name in names), len(names)

    return max(_SEPARATORS, key=score)
