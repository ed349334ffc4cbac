"""Bench sheets to a file: a workbook to type into, or a page to print and write on."""

from __future__ import annotations

from pathlib import Path

from ..care.bench.sheet import BenchSheet
from .save import check_ending, check_target, refuse_existing, write_whole

#: What the file may end in.
ENDINGS = (".xlsx", ".html")


def check_sheets_target(target: Path, folder: Path) -> None:
    """Refuse a file that `write_sheets` would not write, before any work is done.

    Parameters
    ----------
    target : pathlib.Path
        Where the sheets are to go.
    folder : pathlib.Path
        The collection's folder, in which nothing is written.

    Raises
    ------
    Refused
        It exists, or lies inside the collection's folder.
    CannotRead
        Its ending is unknown, or its folder is not there.
    """
    check_target(target, folder, ENDINGS)
    refuse_existing(target)


def write_sheets(sheets: list[BenchSheet], target: Path) -> None:
    """Write bench sheets to a new file, whole or not at all.

    Parameters
    ----------
    sheets : list of BenchSheet
        At least one; the steps of a round in their order.
    target : pathlib.Path
        By its ending a workbook (.xlsx), one tab for each sheet, or a page (.html), one sheet after the other. The
        same sheets make the same bytes.

    Raises
    ------
    CannotRead
        It has another ending, or cannot be written.
    Refused
        The file exists.

    Examples
    --------
    >>> write_sheets([], Path("round.pdf"))
    Traceback (most recent call last):
    leavenbench.errors.CannotRead: 'round.pdf' must end in .xlsx, .html.
    """
    ending = check_ending(target, ENDINGS)
    if ending == ".xlsx":
        from .sheet_workbook import write_workbook as write
    else:
        from .sheet_page import write_page as write
    write_whole(target, lambda path: write(sheets, path), replacing=False)
