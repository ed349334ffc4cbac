"""A workbook that came back, opened with care: what it is not, and the bench sheets in it."""

from __future__ import annotations

import re
import zipfile
from pathlib import Path
from typing import NamedTuple

from ...errors import CannotRead, Refused
from ...records.source import Source
from ...records.workbooks import sheet_names, workbook_grid
from ..bench.layout import Filled, find_boxes

#: No workbook of bench sheets is larger than this, packed and unpacked [bytes].
_LARGEST, _LARGEST_UNPACKED = 30_000_000, 120_000_000
#: No tab of one reaches further.
_MOST_ROWS, _MOST_COLUMNS = 20_000, 40
_LOCKED = b"\xd0\xcf\x11\xe0"


class Tab(NamedTuple):
    """A bench sheet in a workbook.

    Attributes
    ----------
    file : str
        How problems name it: workbook and tab.
    name : str
        The tab's.
    filled : Filled
        What stands on it.
    """

    file: str
    name: str
    filled: Filled


def bench_tabs(path: Path) -> tuple[list[Tab], list[str]]:
    """Return the bench sheets in a workbook, and the names of its other tabs.

    Parameters
    ----------
    path : pathlib.Path
        An .xlsx file.

    Raises
    ------
    CannotRead
        It is not there, no .xlsx, locked, has macros, or is far too large.
    Refused
        It holds no bench sheet, or cells of one were merged.
    """
    _look_at(path)
    tabs, others = [], []
    for name in sheet_names(path):
        try:
            grid = workbook_grid(Source("", path, path.name, name), (_MOST_ROWS, _MOST_COLUMNS))
        except AttributeError:  # a tab that is a chart has no cells
            others.append(name)
            continue
        filled = find_boxes(grid)
        if filled is None:
            others.append(name)
        else:
            tabs.append(Tab(f"{path.name}:{name}", name, filled))
    if not tabs:
        raise Refused(
            f"{path.name} holds no bench sheet. Take the workbook that 'leavenbench round' made, filled in and saved."
        )
    return tabs, others


def _look_at(path: Path) -> None:
    """Refuse what is no plain workbook before any of it is read."""
    if not path.is_file():
        raise CannotRead(f"There is no file '{path}'. Give the filled-in workbook.")
    if path.suffix.lower() != ".xlsx":
        raise CannotRead(f"{path.name} is not taken in: only .xlsx is. Save the workbook as .xlsx, without macros.")
    if path.stat().st_size > _LARGEST:
        raise CannotRead(f"{path.name} is far larger than any bench sheet ({path.stat().st_size / 1e6:.0f} MB).")
    with path.open("rb") as file:
        if file.read(4) == _LOCKED:
            raise CannotRead(f"{path.name} has a password, or is an old .xls. Take it off, and save it as .xlsx.")
    try:
        with zipfile.ZipFile(path) as parts:
            unpacked = sum(part.file_size for part in parts.infolist())
            names = parts.namelist()
            if unpacked > _LARGEST_UNPACKED:
                raise CannotRead(f"{path.name} unpacks to {unpacked / 1e6:,.0f} MB: it is no bench sheet.")
            if any(name.lower().endswith("vbaproject.bin") for name in names):
                raise CannotRead(f"{path.name} holds macros. Save it as .xlsx without them.")
            merged = _merged(parts, names)
    except (zipfile.BadZipFile, OSError, EOFError, NotImplementedError, RuntimeError) as error:
        raise CannotRead(f"{path.name} is damaged or no workbook ({error}). Save it again as .xlsx.") from error
    if merged:
        told = ", ".join(merged[:6])
        raise Refused(
            f"Cells of {path.name} were merged ({told}): what stood in them cannot be told apart. Split them."
        )


def _merged(parts: zipfile.ZipFile, names: list[str]) -> list[str]:
    """Return the ranges of merged cells; no bench sheet has any of its own."""
    found = []
    for name in names:
        if re.fullmatch(r"xl/worksheets/[^/]+\.xml", name):
            text = parts.read(name)
            found += [ref.decode() for ref in re.findall(rb"<(?:\w+:)?mergeCell [^>]*?ref=\"([A-Z0-9:]+)\"", text)]
    return found
