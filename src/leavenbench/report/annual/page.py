"""A page that needs nothing beside it: headings in order, tables with headers, pictures with words in their place."""

from __future__ import annotations

import base64
from collections.abc import Iterable
from xml.etree.ElementTree import Element, SubElement

import pandas as pd

from .. import html_page
from ..html_page import add
from ..save import as_written
from .pictures import Picture

#: Prints on A4 and Letter; dark on white, so that it is legible in grey.
_LOOK = """
@page { margin: 14mm 13mm 16mm; @bottom-right { content: "page " counter(page) " of " counter(pages);
  font: 8pt Helvetica, Arial, sans-serif; } }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 184mm; color: #1b1b1b; background: #fff;
  font: 10.5pt/1.4 Helvetica, Arial, "Liberation Sans", sans-serif; overflow-wrap: break-word; }
h1 { font-size: 20pt; line-height: 1.15; margin: 0 0 2mm; }
h2 { font-size: 14pt; margin: 8mm 0 2mm; border-bottom: 0.3mm solid #1b1b1b; break-after: avoid; }
h3 { font-size: 11.5pt; margin: 5mm 0 1mm; break-after: avoid; }
p, ul, ol { margin: 0 0 2.5mm; }
h2 + p { break-after: avoid; }
a { color: #0b3d75; }
figure { margin: 3mm 0 4mm; break-inside: avoid; }
figure img { display: block; max-width: 100%; max-height: 225mm; height: auto; }
figcaption, caption { font-size: 9pt; text-align: left; color: #333; }
figcaption { margin-top: 1mm; }
caption { margin-bottom: 1mm; break-after: avoid; }
table { border-collapse: collapse; width: 100%; margin: 0 0 4mm; font-size: 8.5pt; line-height: 1.25; }
thead { display: table-header-group; }
tr, .whole { break-inside: avoid; }
table:not(.whole) tbody tr:nth-child(-n+2) { break-after: avoid; }
table:not(.whole) tbody tr:nth-last-child(-n+2) { break-before: avoid; }
th, td { max-width: 75mm; text-align: left; vertical-align: top; padding: 0.6mm 3mm 0.6mm 0;
  border-bottom: 0.15mm solid #999; }
thead th { border-bottom: 0.3mm solid #1b1b1b; vertical-align: bottom; }
tbody th { font-weight: normal; }
.number { text-align: right; font-variant-numeric: tabular-nums; }
.missing { border-left: 1mm solid #1b1b1b; padding-left: 2.5mm; break-after: avoid; }
.new-page { break-before: page; }
@media screen { body { padding: 8mm; } .wide { overflow-x: auto; } }
"""
#: How the units at the end of a column's name are written at the head of a table.
_UNITS = {"pct": "%", "g": "g", "h": "h", "d": "days", "mm": "mm", "y": "years", "degC": "°C", "deg": "°"}
#: From the one on a number is shown without decimals; what lies under the other, by that.
_LARGE, _LEAST = 100.0, 0.001
#: A table with no more rows is not parted between two sheets.
_WHOLE = 25


def new_page(title: str) -> tuple[Element, Element]:
    """Return a page, and the element that its content goes into."""
    page, body = html_page.new_page(title, _LOOK)
    return page, SubElement(body, "main")


def add_list(parent: Element, lines: Iterable[str]) -> None:
    """Add a list of some lines; nothing where there are none."""
    told = list(lines)
    if told:
        made = add(parent, "ul")
        for line in told:
            add(made, "li", line)


def add_picture(parent: Element, picture: Picture, note: str = "") -> None:
    """Add a picture with its words and its caption; a note stands behind the caption."""
    figure = add(parent, "figure")
    source = "data:image/svg+xml;base64," + base64.b64encode(picture.svg).decode("ascii")
    add(figure, "img", src=source, alt=picture.alt)
    add(figure, "figcaption", f"{picture.caption} {note}".strip())


def add_table(parent: Element, table: pd.DataFrame, caption: str, columns: dict[str, str] | None = None) -> None:
    """Add a table; its first column heads the rows.

    Parameters
    ----------
    parent : Element
        Where to.
    table : pandas.DataFrame
        What to show.
    caption : str
        What it is.
    columns : dict of str to str, optional
        The columns to show, each with its heading; all, by their names, when not given.
    """
    columns = columns or {name: heading(name) for name in table.columns}
    # on a narrow screen a wide table is moved sideways, by the keys as well
    around = add(parent, "div", class_="wide", role="region", tabindex="0", aria_label=caption)
    made = add(around, "table", **({"class_": "whole"} if len(table) <= _WHOLE else {}))
    add(made, "caption", caption)
    head = add(add(made, "thead"), "tr")
    numeric = {name: pd.api.types.is_numeric_dtype(table[name]) and table[name].dtype != "boolean" for name in columns}
    for name, words in columns.items():
        add(head, "th", words, scope="col", **_class(numeric[name]))
    body = add(made, "tbody")
    for row in as_written(table[list(columns)]).astype(object).itertuples(index=False):
        line = add(body, "tr")
        for place, (name, value) in enumerate(zip(columns, row, strict=True)):
            kind, more = ("th", {"scope": "row"}) if place == 0 else ("td", {})
            add(line, kind, in_words(value), **more, **_class(numeric[name]))


def _class(number: bool) -> dict[str, str]:
    return {"class_": "number"} if number else {}


def heading(name: str) -> str:
    """Return how a column is headed.

    Examples
    --------
    >>> heading("vigour_pct"), heading("jars_fed"), heading("rounds_left_low")
    ('vigour [%]', 'jars fed', 'rounds left low')
    """
    words, _, unit = name.rpartition("_")
    return f"{words} [{_UNITS[unit]}]".replace("_", " ") if words and unit in _UNITS else name.replace("_", " ")


def in_words(value: object) -> str:
    """Return how a value is shown in a table.

    Examples
    --------
    >>> in_words(1234.5), in_words(0.12345), in_words(1234), in_words(None), in_words(1e-9)
    ('1,234', '0.123', '1,234', '–', 'under 0.001')
    """
    if value is None or pd.isna(value):
        return "–"
    if isinstance(value, float):
        if 0.0 < abs(value) < _LEAST:
            return f"{'under ' if value > 0.0 else 'above -'}{_LEAST:g}"
        return f"{value:,.0f}" if abs(value) >= _LARGE or value == int(value) else f"{value:.3g}"
    return f"{value:,}" if isinstance(value, int) else str(value)
