"""How a tab of bench sheets goes on paper: column widths, row heights, and no jar cut by the end of a page."""

from __future__ import annotations

import textwrap
from collections import defaultdict
from typing import TYPE_CHECKING

from ..care.bench.layout import Cell, reference
from .sheet_charts import CHARTS

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

#: Widths in digits: the labels, a box, the gap before the charts, and the charts.
_LABELS, _BOX, _GAP, _CHARTS = 21.0, 13.0, 1.5, 36.0
#: Least heights of a row by what stands in it, and of one without anything [pt].
_BOX_PT, _EMPTY_PT = 20.0, 9.0
#: A letter's mean width and a line's height, as shares of the size of the letters.
_LETTER, _LINE = 0.48, 1.25
#: A4 lying, less its margins [pt].
_WIDE_PT, _HIGH_PT = (297 - 16) / 25.4 * 72, (210 - 8 - 13) / 25.4 * 72
_SPARE = 0.97


def fit_on_paper(tab: Worksheet, identity: str, cells: list[Cell]) -> None:
    """Set a tab up for A4 lying: one page wide, its identity on top and at the foot of each page, jars whole.

    Parameters
    ----------
    tab : openpyxl.worksheet.worksheet.Worksheet
        With all cells written.
    identity : str
        The sheet's.
    cells : list of Cell
        What is printed on it.
    """
    _set_widths(tab)
    heights = _set_heights(tab, cells)
    _set_page(tab, identity, len(heights))
    _break_pages(tab, cells, heights)


def _set_widths(tab: Worksheet) -> None:
    for column in range(1, CHARTS + 1):
        width = {1: _LABELS, CHARTS - 1: _GAP, CHARTS: _CHARTS}.get(column, _BOX)
        tab.column_dimensions[reference(1, column)[:-1]].width = width


def _width_pt(tab: Worksheet, first: int, last: int) -> float:
    """Return the width of columns: a digit of the common font is 7 pixels wide, and 5 are for the edges."""
    digits = [tab.column_dimensions[reference(1, column)[:-1]].width for column in range(first, last + 1)]
    return 0.75 * sum(7.0 * width + 5.0 for width in digits)


def _set_heights(tab: Worksheet, cells: list[Cell]) -> list[float]:
    """Make every row as high as its text needs, wrapped where the next cell is taken; return the heights [pt]."""
    rows: dict[int, list[Cell]] = defaultdict(list)
    for cell in cells:
        if cell.text != "" or cell.box:
            rows[cell.row].append(cell)
    heights = []
    for row in range(1, max(rows) + 1):
        needed = [_EMPTY_PT]
        own = sorted(rows[row], key=lambda cell: cell.column)
        ends = [*(cell.column - 1 for cell in own[1:]), CHARTS][: len(own)]
        for cell, end in zip(own, ends, strict=True):
            needed.append(_needed_pt(tab, cell, end))
        heights.append(max(needed))
        tab.row_dimensions[row].height = heights[-1]
    return heights


def _needed_pt(tab: Worksheet, cell: Cell, end: int) -> float:
    from openpyxl.styles import Alignment

    at = tab.cell(cell.row, cell.column)
    letter, line = _LETTER * at.font.size, _LINE * at.font.size
    # what has neighbours keeps to its own column; what begins a row of its own may run on over empty ones
    centred = at.alignment.horizontal == "center"
    room = _width_pt(tab, cell.column, cell.column if centred else end) - 3.0
    lines = 1
    if len(str(cell.text)) * letter > room:
        at.alignment = Alignment(horizontal=at.alignment.horizontal, vertical="center", wrap_text=True)
        own = _width_pt(tab, cell.column, cell.column) - 3.0
        lines = len(textwrap.wrap(str(cell.text), max(int(own / letter), 1)))
    return max(_BOX_PT if cell.box else 0.0, lines * line + 2.0)


def _set_page(tab: Worksheet, identity: str, rows: int) -> None:
    from openpyxl.worksheet.properties import PageSetupProperties

    tab.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    tab.page_setup.paperSize, tab.page_setup.orientation = tab.PAPERSIZE_A4, "landscape"
    tab.page_setup.fitToWidth, tab.page_setup.fitToHeight = 1, 0
    tab.print_area = f"A1:{reference(rows, CHARTS)}"
    tab.print_title_rows = "1:2"
    margins = tab.page_margins
    margins.left = margins.right = margins.top = 8 / 25.4
    margins.bottom, margins.header, margins.footer = 13 / 25.4, 0.0, 6 / 25.4
    tab.oddFooter.left.text, tab.oddFooter.right.text = f"sheet {identity}", "page &P of &N"


def _break_pages(tab: Worksheet, cells: list[Cell], heights: list[float]) -> None:
    """Begin a page before each jar that the page would cut."""
    from openpyxl.worksheet.pagebreak import Break

    cleaned = {cell.row for cell in cells if cell.kind == "clean"}
    tops = [cell.row for cell in cells if cell.position and cell.kind == "heading" and cell.column == 1]
    starts = [row - 1 if row - 1 in cleaned else row for row in tops]
    scale = min(1.0, _WIDE_PT / _width_pt(tab, 1, CHARTS))
    page = _SPARE * _HIGH_PT / scale
    repeated = sum(heights[:2])
    filled = sum(heights[: starts[0] - 1]) % page if starts else 0.0
    for start, end in zip(starts, [*starts[1:], len(heights) + 1], strict=True):
        high = sum(heights[start - 1 : end - 1])
        if filled + high > page:
            tab.row_breaks.append(Break(id=start - 1))
            filled = repeated
        filled += high
