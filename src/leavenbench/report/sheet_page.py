"""Bench sheets as a page to print and to write on: the cells of the workbook, as headings, tables and drawings."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import groupby
from pathlib import Path
from xml.etree.ElementTree import Element

from ..care.bench.layout import Cell, sheet_cells
from ..care.bench.sheet import BenchSheet
from .html_page import add, new_page, page_bytes
from .sheet_drawing import draw_band
from .sheet_scales import SIGNALS, band_of, hours_scale, level_scale

#: Prints on A4 and Letter, two jars to a page; legible without any colour.
_LOOK = """
@page { margin: 9mm 10mm 12mm; @bottom-right { content: "page " counter(page) " of " counter(pages); font: 8pt
  Helvetica, Arial, sans-serif; } }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 190mm; color: #1b1b1b; background: #fff; font: 10pt/1.3 Helvetica, Arial,
  "Liberation Sans", sans-serif; }
article + article { break-before: page; }
h1 { font-size: 17pt; margin: 0 0 1mm; }
h2 { font-size: 13pt; margin: 5mm 0 1.5mm; }
p, ul { margin: 0 0 1.5mm; }
ul { padding-left: 5mm; }
table { border-collapse: collapse; width: 100%; table-layout: fixed; margin: 0 0 1.5mm; }
th, td { padding: 0 0.2mm; text-align: center; vertical-align: middle; overflow-wrap: anywhere; line-height: 1.15;
  font-size: 7pt; }
th { font-weight: normal; color: #333; }
th[scope=row], tr > td:first-child { width: 26mm; text-align: left; font-size: 8.5pt; }
td.box { border: 0.3mm solid #1b1b1b; height: 6.5mm; font-size: 9pt; }
td.value { font-size: 9pt; }
td.planned { font-size: 17pt; font-weight: bold; line-height: 1.1; }
td.hour { font-size: 10pt; font-weight: bold; }
td.expected { font-size: 8pt; white-space: nowrap; height: 3.8mm; }
.facts b { margin-right: 6mm; white-space: nowrap; }
.store table { width: auto; table-layout: auto; }
.store th, .store td { text-align: left; padding-right: 10mm; font-size: 10pt; width: auto; }
.store td { text-align: right; }
.jar { break-inside: avoid; border-top: 0.5mm solid #1b1b1b; padding-top: 1mm; margin-top: 2.5mm; }
.head { display: flex; gap: 4mm; align-items: baseline; margin: 0 0 1mm; }
.plan tr:first-child th:nth-child(6) { width: 34mm; }
.head h2 { flex: none; max-width: 60%; font-size: 16pt; line-height: 1.1; margin: 0; }
.head h2 span { display: inline-block; min-width: 26mm; }
.head p { margin: 0; }
.head .key { margin-left: auto; font-size: 8pt; text-align: right; white-space: nowrap; }
.clean { font-weight: bold; border-bottom: 0.2mm dashed #1b1b1b; margin: 0 0 1mm; }
.caution { font-style: italic; font-size: 8pt; margin: 0 0 1mm; }
.drawings { display: flex; gap: 4mm; margin: 0 0 1mm; }
.drawings svg { width: 50%; height: auto; display: block; }
@media screen { body { padding: 8mm; } .jar { margin-top: 10mm; } }
"""


def write_page(sheets: list[BenchSheet], path: Path) -> None:
    """Write bench sheets as one page that needs nothing beside it.

    Parameters
    ----------
    sheets : list of BenchSheet
        One after the other.
    path : pathlib.Path
        Where to.
    """
    page, body = new_page(f"Bench sheets {', '.join(sheet.identity for sheet in sheets)}", _LOOK)
    for sheet in sheets:
        _add_sheet(body, sheet)
    path.write_bytes(page_bytes(page))


def _add_sheet(body: Element, sheet: BenchSheet) -> None:
    cells = sheet_cells(sheet)
    article = add(body, "article", id=sheet.identity)
    header = add(article, "header")
    add(header, "h1", next(cell.text for cell in cells if cell.kind == "title"))
    facts = add(header, "p", class_="facts")
    for label, value in zip(*[(cell for cell in cells if cell.row == 2)] * 2, strict=True):
        add(facts, "span", f"{label.text} ")
        add(facts, "b", value.text)
    cautions = add(header, "ul")
    for caution in sheet.cautions:
        add(cautions, "li", caution)
    _add_flour(article, sheet)
    whole = add(article, "section")
    add(whole, "h2", "For the whole sheet")
    boxes = [cell for cell in cells if cell.box and not cell.position]
    of_sheet, looks = (min(cell.row for cell in boxes), max(cell.row for cell in boxes))
    _add_table(whole, cells, range(of_sheet - 1, of_sheet + 1), "done")
    _add_table(whole, cells, range(looks, looks + 1), "looks")
    clean = {cell.row + 1: str(cell.text) for cell in cells if cell.kind == "clean"}
    for position, own in groupby((cell for cell in cells if cell.position), key=lambda cell: cell.position):
        _add_jar(article, sheet, position, list(own), clean)


def _add_flour(article: Element, sheet: BenchSheet) -> None:
    store = add(article, "section", class_="store")
    add(store, "h2", "Bring from the store")
    table = add(store, "table")
    head = add(add(table, "thead"), "tr")
    for label in ("flour lot", "to bring [g]", "jars", "so far in this round [g]"):
        add(head, "th", label, scope="col")
    body = add(table, "tbody")
    for lot, *numbers in sheet.flour[["lot", "mass_g", "jars", "so_far_g"]].itertuples(index=False):
        row = add(body, "tr")
        add(row, "th", lot, scope="row")
        for number in numbers:
            add(row, "td", f"{number:g}")


def _add_jar(article: Element, sheet: BenchSheet, position: int, own: list[Cell], clean: dict[int, str]) -> None:
    jar = add(article, "section", class_="jar")
    number, culture = own[:2]
    if number.row in clean:
        add(jar, "p", clean[number.row], class_="clean")
    plan, looks, done = _tables(own)
    head = add(jar, "div", class_="head")
    add(add(head, "h2"), "span", number.text).tail = str(culture.text)
    _add_words(head, own[2:], "value", range(plan.start))
    add(head, "p", f"{sheet.identity}, jar {position}", class_="key")
    _add_words(jar, own, "caution", range(plan.start))
    _add_table(jar, own, plan, "plan")
    _add_drawings(jar, sheet, position, str(culture.text))
    _add_table(jar, own, looks, "looks")
    _add_table(jar, own, done, "done")
    _add_words(jar, own, "caution", range(done.stop, done.stop + 1))


def _add_words(parent: Element, cells: Iterable[Cell], kind: str, rows: range) -> None:
    """Add the lines of a workbook's running text as one paragraph."""
    lines = [str(cell.text) for cell in cells if cell.kind == kind and cell.row in rows]
    if lines:
        add(parent, "p", " ".join(lines), class_=kind)


def _tables(own: list[Cell]) -> tuple[range, range, range]:
    """Return the rows of a jar's three tables: the plan, the looks, and what is filled in when it is done."""
    rows = [cell.row for cell in own if cell.box]
    hours = min(cell.row for cell in own if cell.look) - 1
    return range(min(rows) - 2, hours), range(hours, max(rows) - 1), range(max(rows) - 1, max(rows) + 1)


def _add_table(parent: Element, cells: Iterable[Cell], rows: range, name: str) -> None:
    """Add some rows of the workbook as a table: labels become headers, boxes stay empty."""
    taken = {(cell.row, cell.column): cell for cell in cells if cell.row in rows}
    table = add(add(parent, "table", class_=name), "tbody")
    width = max(column for _, column in taken)
    for row in rows:
        line = add(table, "tr")
        for column in range(1, width + 1):
            cell = taken.get((row, column))
            if cell is None:
                add(line, "td")
            elif cell.kind == "label":
                add(line, "th", cell.text, scope="row" if column == 1 else "col")
            else:
                number = isinstance(cell.text, float)
                add(line, "td", f"{cell.text:g}" if number else cell.text, class_=_class(cell, rows))


def _class(cell: Cell, rows: range) -> str:
    if cell.kind != "value" or not isinstance(cell.text, float):
        return cell.kind
    return "hour" if cell.row == rows.start else "planned"


def _add_drawings(jar: Element, sheet: BenchSheet, position: int, culture: str) -> None:
    drawings = add(jar, "div", class_="drawings")
    for signal in SIGNALS:
        band = band_of(sheet, culture, signal)
        level = level_scale(band, signal)
        title = f"{culture}: {level.label} expected over hours since feeding"
        drawings.append(draw_band(band, hours_scale(sheet), level, title, f"{sheet.identity}-{position}-{signal}"))
