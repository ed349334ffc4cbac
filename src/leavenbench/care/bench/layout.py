"""Where everything stands on a sheet in a workbook: the cells that are printed, and the boxes that are filled in.

`sheet_cells` lays a sheet out, and `find_boxes` finds the boxes again on a sheet that came back, by what is printed
beside them: so that a row put in above does no harm.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import pandas as pd

from ..cautions import OLD_JAR, UNDER_THE_BAND
from .sheet import BenchSheet


class Box(NamedTuple):
    """A kind of box.

    Attributes
    ----------
    field : str
        The column of ``refeeds`` or ``readings`` that it fills, by its bare name.
    label : str
        What is printed beside or above it.
    kind : str
        number, clock, day, word, or a list of choices separated by commas.
    low, high : float
        Where a number is expected; a program that checks cells warns outside.
    """

    field: str
    label: str
    kind: str = "word"
    low: float = 0.0
    high: float = 0.0


#: Filled in once for the sheet.
OF_SHEET = (
    Box("day", "fed on", "day"),
    Box("person", "person"),
    Box("room", "room"),
    Box("room_temperature", "room [degC]", "number", -5, 50),
    Box("water_source", "water from"),
    Box("probe", "pH probe"),
    Box("ph_method", "pH read in", "direct,slurry"),
    Box("cold_store", "cold store"),
)
#: Where the keeper did other than planned.
INSTEAD = (
    Box("seed", "seed [g]", "number", 0, 20_000),
    Box("flour", "flour [g]", "number", 0, 20_000),
    Box("water", "water [g]", "number", 0, 20_000),
    Box("vessel", "jar"),
    Box("lot", "flour lot"),
)
#: Once for each jar.
OF_JAR = (
    Box("fed_at", "fed at", "clock"),
    Box("start_height", "height fed [mm]", "number", 1, 500),
    Box("high_mark", "smear line [mm]", "number", 1, 900),
    Box("hooch", "hooch [mm]", "number", 0, 100),
    Box("passed", "passed", "yes,no"),
    Box("cooled_at", "cooled at", "clock"),
    Box("smell", "smell"),
    Box("signs", "mould, colour"),
    Box("note", "note"),
)
#: At each look at a jar; `look` is the clock time.
OF_LOOK = (
    Box("look", "clock time", "clock"),
    Box("height", "height [mm]", "number", 1, 900),
    Box("ph", "pH", "number", 2, 9),
    Box("temperature", "dough [degC]", "number", -5, 60),
)
#: The whole bench at once: this clock time holds for a jar without its own.
BENCH_LOOK = Box("bench_look", "whole bench read at", "clock")

#: What stands in the first column before a jar's number, and the least looks that a sheet has room for.
JAR, _LOOKS = "Jar", 6
#: The columns of what identifies the sheet, and the letters of running text that a line has room for.
_PRINTED, _LINE = (2, 6, 8, 10), 150
_EXPECTED = {"height": ("rise", "expected [mm]"), "ph": ("acid", "expected pH")}
#: Labels in the first column, by which rows are found again.
_PLAN, _INSTEAD, _HOURS, _FILL = "weigh in", "if different", "hours after feeding", "when done"


class Cell(NamedTuple):
    """A cell of a sheet.

    Attributes
    ----------
    row, column : int
        From 1.
    kind : str
        title, heading, label, value, expected, caution, clean or box.
    text : str or float
        What is printed; of a box what stands in it beforehand.
    box : Box or None
        What it is a box for.
    position : int
        The jar; 0 for the sheet as a whole.
    look : int
        Which look, from 1; 0 where it is none.
    """

    row: int
    column: int
    kind: str
    text: str | float
    box: Box | None = None
    position: int = 0
    look: int = 0


def looks_of(sheet: BenchSheet) -> int:
    """Return how many looks at each jar a sheet has room for."""
    return max(len(sheet.hours) + 1, _LOOKS)


def sheet_cells(sheet: BenchSheet) -> list[Cell]:
    """Lay a sheet out in cells.

    Parameters
    ----------
    sheet : BenchSheet
        What it holds.

    Returns
    -------
    list of Cell
        Row by row.
    """
    cells = [*_head(sheet)]
    for jar in sheet.rows.to_dict("records"):
        row = cells[-1].row + 2
        if jar["clean_before"]:
            cells.append(Cell(row, 1, "clean", "Clean probe and spoon."))
            row += 1
        cells += _jar(sheet, jar, row)
    return cells


def _head(sheet: BenchSheet) -> Iterator[Cell]:
    yield Cell(1, 1, "title", f"{sheet.title}: bench sheet, step {sheet.step}")
    printed: dict[str, str | float] = {"sheet": sheet.identity, "day": f"{sheet.day:%Y-%m-%d}"}
    printed |= {"group": sheet.group, "step": sheet.step}
    for column, (label, value) in zip(_PRINTED, printed.items(), strict=True):
        yield Cell(2, column - 1, "label", label)
        yield Cell(2, column, "value", value)
    yield Cell(3, 1, "label", "collection")
    yield Cell(3, 2, "value", sheet.title)
    row = 4
    for caution in sheet.cautions:
        for line in textwrap.wrap(caution, _LINE):
            yield Cell(row, 1, "caution", line)
            row += 1
    row += 1
    yield Cell(row, 1, "heading", "Bring from the store")
    for lot, mass, jars, so_far in sheet.flour[["lot", "mass_g", "jars", "so_far_g"]].itertuples(index=False):
        row += 1
        yield Cell(row, 1, "value", str(lot))
        yield Cell(row, 2, "value", f"{mass:g} g for {jars} {'jar' if jars == 1 else 'jars'}")
        yield Cell(row, 5, "value", f"so far in this round {so_far:g} g")
    row += 2
    yield Cell(row, 1, "heading", "For the whole sheet")
    for place, box in enumerate(OF_SHEET):
        yield Cell(row + 1, 2 + place, "label", box.label)
        yield Cell(row + 2, 2 + place, "box", f"{sheet.day:%Y-%m-%d}" if box.field == "day" else "", box)
    row += 3
    yield Cell(row, 1, "label", BENCH_LOOK.label)
    for look in range(1, looks_of(sheet) + 1):
        yield Cell(row, 1 + look, "box", "", BENCH_LOOK, 0, look)


def _jar(sheet: BenchSheet, jar: dict, row: int) -> Iterator[Cell]:
    position = int(jar["position"])
    yield Cell(row, 1, "heading", f"{JAR} {position}", None, position)
    yield Cell(row, 2, "heading", jar["culture"], None, position)
    row += 1
    name = "" if pd.isna(jar["name"]) else str(jar["name"])
    for kind, text in (("value", " · ".join(filter(None, (name, jar["why"])))), ("caution", jar["remark"])):
        for line in textwrap.wrap(text, _LINE):
            yield Cell(row, 1, kind, line, None, position)
            row += 1
    yield from _weighing(jar, row, position)
    row += 3
    yield from _looks(sheet, jar["culture"], row, position)
    row += 2 + len(OF_LOOK) + len(_EXPECTED) - 1
    for place, box in enumerate(OF_JAR):
        yield Cell(row, 2 + place, "label", box.label, None, position)
    yield Cell(row + 1, 1, "label", _FILL, None, position)
    for place, box in enumerate(OF_JAR):
        yield Cell(row + 1, 2 + place, "box", "", box, position)
    yield Cell(row + 2, 1, "caution", f"{_kept(jar)}{UNDER_THE_BAND} {OLD_JAR}", None, position)


def _kept(jar: dict) -> str:
    """Say what becomes of the jar's dough when the step is over."""
    if pd.isna(jar["keep_g"]):
        return ""
    if jar["set_aside_g"] > 0.0:
        return f"For the next step keep {jar['keep_g']:g} g, set {jar['set_aside_g']:g} g aside. "
    return f"Keep all {jar['keep_g']:g} g. "


def _weighing(jar: dict, row: int, position: int) -> Iterator[Cell]:
    filled = jar["tare_g"] + jar["mass_g"]
    planned = {"seed": jar["seed_g"], "flour": jar["flour_g"], "water": jar["water_g"]}
    planned |= {"vessel": jar["vessel"], "lot": jar["lot"]}
    for place, box in enumerate(INSTEAD):
        yield Cell(row, 2 + place, "label", box.label, None, position)
        yield Cell(row + 1, 2 + place, "value", _told(planned[box.field]), None, position)
        yield Cell(row + 2, 2 + place, "box", "", box, position)
    more = (("holds [g]", jar["mass_g"]), ("tare [g]", jar["tare_g"]), ("on scale [g]", filled))
    for place, (label, value) in enumerate(more, start=2 + len(INSTEAD)):
        yield Cell(row, place, "label", label, None, position)
        yield Cell(row + 1, place, "value", _told(value), None, position)
    yield Cell(row + 1, 1, "label", _PLAN, None, position)
    yield Cell(row + 2, 1, "label", _INSTEAD, None, position)


def _looks(sheet: BenchSheet, culture: str, row: int, position: int) -> Iterator[Cell]:
    count = looks_of(sheet)
    yield Cell(row, 1, "label", _HOURS, None, position)
    for look, hour in enumerate(sheet.hours, start=1):
        yield Cell(row, 1 + look, "value", hour, None, position)
    for box in OF_LOOK:
        row += 1
        yield Cell(row, 1, "label", box.label, None, position)
        for look in range(1, count + 1):
            yield Cell(row, 1 + look, "box", "", box, position, look)
        if box.field in _EXPECTED:
            signal, label = _EXPECTED[box.field]
            row += 1
            bands = sheet.bands[(sheet.bands["culture"] == culture) & (sheet.bands["signal"] == signal)]
            percent = len(bands) > 0 and bands["unit"].iloc[0] == "%"
            yield Cell(row, 1, "label", "expected rise [%]" if percent else label, None, position)
            for look, hour in enumerate(sheet.hours, start=1):
                band = bands[np.isclose(bands["elapsed_h"].astype(float), hour)]
                if len(band):
                    yield Cell(row, 1 + look, "expected", _between(band.iloc[0]), None, position, look)


def _between(band: pd.Series) -> str:
    decimals = 1 if band["unit"] == "pH" else 0
    return f"{band['low']:.{decimals}f} – {band['high']:.{decimals}f}"


def _told(value: object) -> str | float:
    if isinstance(value, str):
        return value
    return "" if pd.isna(value) else float(value)  # type: ignore[arg-type]


class Filled(NamedTuple):
    """What stands on a sheet that came back.

    Attributes
    ----------
    identity, title, day, group, step : str
        As printed.
    rows : pandas.DataFrame
        The printed plan: position, culture, seed_g, flour_g, water_g, lot, vessel, as texts.
    boxes : pandas.DataFrame
        One row per box: position, field, look, text, cell (its reference, as C12).
    """

    identity: str
    title: str
    day: str
    group: str
    step: str
    rows: pd.DataFrame
    boxes: pd.DataFrame


def find_boxes(grid: pd.DataFrame) -> Filled | None:
    """Find what was printed and what was filled in on a sheet that came back.

    Parameters
    ----------
    grid : pandas.DataFrame of str
        Its cells as text, from the first row and column.

    Returns
    -------
    Filled or None
        None where it is no bench sheet.
    """
    first = [str(cell).strip() for cell in grid[0]] if grid.shape[1] else []
    if "sheet" not in first or "collection" not in first:
        return None
    top, named = first.index("sheet"), first.index("collection")
    printed = [_at(grid, top, column - 1) for column in _PRINTED]
    looks = _looks_found(grid, first)
    starts = [row for row, text in enumerate(first) if re.fullmatch(rf"{JAR} \d+", text)]
    ends = [*starts[1:], len(first)]
    rows, boxes = [], list(_of_sheet(grid, first, starts[0] if starts else len(first), looks))
    for start, end in zip(starts, ends, strict=True):
        position = int(first[start].split()[1])
        plan, found = _of_jar(grid, first, start, end, position, looks)
        rows.append({"position": position, "culture": _at(grid, start, 1), **plan})
        boxes += found
    table = pd.DataFrame(boxes, columns=["position", "field", "look", "text", "cell"])
    identity, day, group, step = printed
    return Filled(identity, _at(grid, named, 1), day, group, step, pd.DataFrame(rows), table)


def _looks_found(grid: pd.DataFrame, first: list[str]) -> int:
    """Return how many looks a sheet has room for, by its first row of hours: what stands further right is no box."""
    row, hours = first.index(_HOURS) if _HOURS in first else len(first), 0
    while _at(grid, row, 1 + hours):
        hours += 1
    return max(hours + 1, _LOOKS)


def _of_sheet(grid: pd.DataFrame, first: list[str], until: int, looks: int) -> Iterator[tuple]:
    labels = [box.label for box in OF_SHEET]
    for row in range(until):
        if _at(grid, row, 1) == labels[0] and _at(grid, row, 2) == labels[1]:
            for place, box in enumerate(OF_SHEET):
                yield _box(grid, row + 1, 1 + place, 0, box)
        if first[row] == BENCH_LOOK.label:
            for look in range(1, looks + 1):
                yield _box(grid, row, look, 0, BENCH_LOOK, look)


def _of_jar(
    grid: pd.DataFrame, first: list[str], start: int, end: int, position: int, looks: int
) -> tuple[dict, list[tuple]]:
    plan = dict.fromkeys(("seed_g", "flour_g", "water_g", "vessel", "lot"), "")
    found: list[tuple] = []
    of_look = {box.label: box for box in OF_LOOK}
    for row in range(start, end):
        if first[row] == _PLAN:
            plan = {name: _at(grid, row, 1 + place) for place, name in enumerate(plan)}
        elif first[row] == _INSTEAD:
            found += [_box(grid, row, 1 + place, position, box) for place, box in enumerate(INSTEAD)]
        elif first[row] == _FILL:
            found += [_box(grid, row, 1 + place, position, box) for place, box in enumerate(OF_JAR)]
        elif first[row] in of_look:
            box = of_look[first[row]]
            found += [_box(grid, row, look, position, box, look) for look in range(1, looks + 1)]
    return plan, found


def _box(grid: pd.DataFrame, row: int, column: int, position: int, box: Box, look: int = 0) -> tuple:
    return position, box.field, look, _at(grid, row, column), reference(row + 1, column + 1)


def _at(grid: pd.DataFrame, row: int, column: int) -> str:
    inside = 0 <= row < grid.shape[0] and column < grid.shape[1]
    return str(grid.iat[row, column]).strip() if inside else ""


def reference(row: int, column: int) -> str:
    """Return the name of a cell, as a spreadsheet shows it.

    Examples
    --------
    >>> reference(12, 28)
    'AB12'
    """
    letters = ""
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return f"{letters}{row}"
