"""A text file as people save it: comma, semicolon or tab; several encodings; stray quotation marks."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path

import pandas as pd

from .grids import even
from .source import plain


def text_grid(path: Path, known: set[str]) -> tuple[pd.DataFrame, list[str]]:
    """Return the cells as text, and what had to be assumed to read them."""
    text, remarks = _decoded(path.read_bytes())
    hint = re.match(r'"?sep=(.)"?\r?\n', text, re.IGNORECASE)
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
    first = next((line for line in text.splitlines() if line.strip(" ,;\t\r\n")), "")

    def score(separator: str) -> tuple[int, int]:
        names = next(csv.reader([first], delimiter=separator))
        return sum(plain(re.sub(r"\[.*?\]", "", name)) in known for name in names), len(names)

    return max(",;\t", key=score)
