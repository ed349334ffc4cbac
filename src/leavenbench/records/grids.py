"""Cells of any origin as a grid of text."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

import pandas as pd


def even(rows: Iterable[list[str]]) -> pd.DataFrame:
    """Return rows of unequal length as a table of text, the short ones filled up."""
    rows = list(rows)
    width = max(map(len, rows), default=0)
    return pd.DataFrame([row + [""] * (width - len(row)) for row in rows], dtype="str")


def as_text(cell: object) -> str:
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
