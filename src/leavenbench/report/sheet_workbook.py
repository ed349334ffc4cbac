"""Bench sheets as a workbook: one tab each, boxes to type into, everything else locked."""

from __future__ import annotations

import datetime as dt
from copy import copy
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..care.bench.layout import Box, Cell, sheet_cells
from ..care.bench.sheet import BenchSheet
from .sheet_charts import CHARTS, add_charts
from .sheet_print import fit_on_paper
from .workbook_bytes import put_text, write_book

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.worksheet.datavalidation import DataValidation
    from openpyxl.worksheet.worksheet import Worksheet

#: Letters that the name of a tab has room for.
_TAB_LETTERS = 31
_FACE = "Arial"
#: Size [pt], weight and shade of each kind of cell; big enough to be read at arm's length.
_FONTS: dict[str, dict[str, Any]] = {
    "title": {"size": 15, "bold": True},
    "heading": {"size": 14, "bold": True},
    "label": {"size": 9, "color": "444444"},
    "value": {"size": 11},
    "planned": {"size": 13, "bold": True},
    "named": {"size": 10},
    "expected": {"size": 10},
    "caution": {"size": 10, "italic": True},
    "clean": {"size": 11, "bold": True},
    "box": {"size": 11},
}
_FORMATS = {"clock": "hh:mm", "day": "yyyy-mm-dd"}


def write_workbook(sheets: list[BenchSheet], path: Path) -> None:
    """Write bench sheets as the tabs of a workbook.

    Parameters
    ----------
    sheets : list of BenchSheet
        In the order of the tabs.
    path : pathlib.Path
        Where to.
    """
    book = _empty_book()
    for sheet in sheets:
        tab = book.create_sheet(tab_name(sheet.identity))
        cells = sheet_cells(sheet)
        for cell in cells:
            _put(tab, cell)
        add_charts(tab, sheet, cells)
        _check_boxes(tab, cells)
        _protect(tab)
        fit_on_paper(tab, sheet.identity, cells)
    write_book(book, path)


def tab_name(identity: str) -> str:
    """Return a sheet's identity as the name of a tab, with the group cut short where it must be.

    Examples
    --------
    >>> tab_name("2025-01-12-all-s1-a82cdd9c")
    '2025-01-12-all-s1-a82cdd9c'
    >>> tab_name("2025-01-12-Tuesdaymorning-s1-a82cdd9c")
    '2025-01-12-Tuesdaym-s1-a82cdd9c'
    """
    day, rest = identity[:11], identity[11:]
    group, step, told = rest.rsplit("-", 2)
    tail = f"-{step}-{told}"
    return f"{day}{group[: _TAB_LETTERS - len(day) - len(tail)]}{tail}"


def _empty_book() -> Workbook:
    import openpyxl
    from openpyxl.utils.indexed_list import IndexedList

    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    # the measure of all column widths, and of what is typed beside the boxes; the first font is shared by all workbooks
    usual = copy(book._fonts[0])
    usual.name, usual.sz, usual.scheme = _FACE, 10, None
    book._fonts = IndexedList([usual])
    return book


def _put(tab: Worksheet, cell: Cell) -> None:
    from openpyxl.styles import Alignment, Font, PatternFill, Protection

    at = tab.cell(cell.row, cell.column)
    number = isinstance(cell.text, int | float)
    if cell.box and cell.box.kind == "day" and cell.text:
        at.value = dt.date.fromisoformat(str(cell.text))
    elif number:
        at.value = cell.text
    elif cell.text:
        put_text(at, str(cell.text))
    in_table = cell.column > 1 and (cell.position > 0 or cell.kind == "label") and cell.kind != "heading"
    kind = ("planned" if number else "named") if in_table and cell.kind == "value" else cell.kind
    at.font = Font(name=_FACE, **_FONTS[kind])
    centred = in_table or cell.kind == "box"
    at.alignment = Alignment(horizontal="center" if centred else "left", vertical="center")
    if cell.box:
        at.border, at.fill = _frame(), PatternFill("solid", start_color="FFFFFF")
        at.protection = Protection(locked=False)
        at.number_format = _FORMATS.get(cell.box.kind, "General")
    if cell.kind == "clean":
        for column in range(1, CHARTS + 1):
            tab.cell(cell.row, column).border = _frame(sides=("top",))


def _frame(sides: tuple[str, ...] = ("left", "right", "top", "bottom")) -> Any:
    from openpyxl.styles import Border, Side

    return Border(**dict.fromkeys(sides, Side("thin", color="1B1B1B")))


def _check_boxes(tab: Worksheet, cells: list[Cell]) -> None:
    """Let the program ask back where a box holds what is not expected; whatever is typed may stay."""
    checks: dict[Box, DataValidation] = {}
    for cell in cells:
        if cell.box and cell.box.kind != "word":
            if cell.box not in checks:
                checks[cell.box] = _check(cell.box)
                tab.add_data_validation(checks[cell.box])
            checks[cell.box].add(tab.cell(cell.row, cell.column))


def _check(box: Box) -> DataValidation:
    from openpyxl.worksheet.datavalidation import DataValidation

    expected: dict[str, Any]
    match box.kind:
        case "number":
            expected = {
                "type": "decimal",
                "operator": "between",
                "formula1": f"{box.low:g}",
                "formula2": f"{box.high:g}",
            }
            told = f"A number from {box.low:g} to {box.high:g} is expected."
        case "clock":
            expected = {"type": "time", "operator": "between", "formula1": "0", "formula2": "0.999988425925926"}
            told = "A clock time is expected, as 14:30."
        case "day":
            expected = {"type": "date", "operator": "greaterThan", "formula1": "36526"}
            told = "A day is expected, as 2025-03-01."
        case _:
            expected = {"type": "list", "formula1": f'"{box.kind}"'}
            told = f"One of these is expected: {box.kind.replace(',', ', ')}."
    check = DataValidation(**expected, allow_blank=True, errorStyle="warning", showErrorMessage=True)
    check.errorTitle, check.error = box.label, told
    return check


def _protect(tab: Worksheet) -> None:
    """Lock what is printed, without a password: a keeper who wants to can."""
    tab.protection.sheet = True
    tab.protection.formatColumns = tab.protection.formatRows = False  # that is: not forbidden
    tab.sheet_view.showGridLines = False
    tab.freeze_panes = "A3"
