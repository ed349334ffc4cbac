"""From the boxes of a bench sheet to rows of `refeeds`, `readings` and `refeed_flours`, with all that is wrong."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from ...columns import TABLES
from ...records.draft import Draft
from ...records.problems import no_problems, problems
from ...records.rules import check_ranges, check_references
from ...records.settings import Settings
from ...records.sheets import Sheet
from ...records.source import Source
from ...records.tables import draft_sheet
from ..bench.plan import lots_of
from .clock import moment_after
from .workbook import Tab

#: A look so long after feeding [h] may be a clock time of the wrong day.
_LATE_H = 30.0
_MADE = ("refeeds", "readings", "refeed_flours")


class Typed(NamedTuple):
    """What stands in a box, and where."""

    text: str
    cell: str


@dataclass
class Jar:
    """One jar that was filled in.

    Attributes
    ----------
    position : int
        Its place on the sheet.
    refeed : str
        The key of its refeed: the sheet's id and the position.
    rows : dict of str to list of dict
        By table, the rows it gives: by bare column name what is to be written, and from which box.
    """

    position: int
    refeed: str
    rows: dict[str, list[dict[str, Typed]]] = field(default_factory=lambda: {name: [] for name in _MADE})


@dataclass(frozen=True)
class Records:
    """What a bench sheet adds to the collection.

    Attributes
    ----------
    tab : Tab
        The sheet.
    tables : dict of str to pandas.DataFrame
        refeeds, readings and refeed_flours under inside names; the faulty jars are in them as far as they go.
    problems : pandas.DataFrame
        Everything that is wrong or doubtful, by the sheet's own cells: the columns of the problems table, and cell.
    faulty : frozenset of str
        The refeeds of jars with an error.
    """

    tab: Tab
    tables: dict[str, pd.DataFrame]
    problems: pd.DataFrame
    faulty: frozenset[str]

    @property
    def jars(self) -> int:
        """How many jars are filled in."""
        return len(self.tables["refeeds"])


def records_of(tab: Tab, settings: Settings, held: Mapping[str, pd.Index]) -> Records:
    """Read a bench sheet that came back.

    Parameters
    ----------
    tab : Tab
        The sheet.
    settings : Settings
        The collection's.
    held : mapping of str to pandas.Index
        The names that its tables hold.

    Returns
    -------
    Records
        With no jars where nothing was filled in.
    """
    faults: list[_Fault] = []
    boxes = tab.filled.boxes
    of_sheet = _typed(boxes[boxes["position"] == 0])
    filled = boxes[(boxes["position"] > 0) & (boxes["text"] != "")]
    jars = []
    if len(filled):
        day = _day(tab, of_sheet, faults)
        for plan in tab.filled.rows.to_dict("records"):
            own = filled[filled["position"] == plan["position"]]
            if len(own):
                jars.append(_jar(tab, plan, _typed(own), of_sheet, day, faults))
    drafts = {name: _draft(name, jars, tab, settings) for name in _MADE}
    places = {name: [row for jar in jars for row in jar.rows[name]] for name in _MADE}
    for draft in drafts.values():
        check_ranges(draft)
        check_references(draft, {**held, "refeeds": pd.Index([jar.refeed for jar in jars])})
    found = [_own(fault, tab) for fault in faults]
    found += [_placed(draft, name, places[name], tab) for name, draft in drafts.items()]
    told = pd.concat([part for part in found if len(part)] or [no_problems().assign(cell="", refeed="")])
    told = told.sort_values(["row", "column"], kind="stable", ignore_index=True)
    wrong = frozenset(told.loc[told["severity"] == "error", "refeed"])
    every = frozenset(jar.refeed for jar in jars)
    faulty = every if "" in wrong else wrong & every  # what is wrong with the sheet is wrong with each of its jars
    tables = {name: draft.rows.drop(columns=["file", "row"]) for name, draft in drafts.items()}
    return Records(tab, tables, told.drop(columns="refeed"), faulty)


class _Fault(NamedTuple):
    table: str
    refeed: str
    column: str
    typed: Typed
    rule: str
    message: str
    remedy: str
    severity: str = "error"


def _typed(boxes: pd.DataFrame) -> dict[tuple[str, int], Typed]:
    rows = boxes[["field", "look", "text", "cell"]].itertuples(index=False)
    return {(name, look): Typed(text, cell) for name, look, text, cell in rows if text}


def _day(tab: Tab, of_sheet: dict, faults: list[_Fault]) -> dt.date | None:
    """Return the day on which the sheet was fed: as filled in, else as printed."""
    typed = of_sheet.get(("day", 0), Typed(tab.filled.day, ""))
    try:
        return dt.date.fromisoformat(typed.text.strip()[:10])
    except ValueError:
        faults.append(_Fault("refeeds", "", "fed_at", typed, "date", "is not a date", "write it as 2025-04-03"))
        return None


def _jar(tab: Tab, plan: dict, own: dict, of_sheet: dict, day: dt.date | None, faults: list[_Fault]) -> Jar:
    jar = Jar(int(plan["position"]), f"{tab.filled.identity}-{plan['position']}")
    name = Typed(jar.refeed, "")
    typed = own.get(("fed_at", 0), Typed("", _cell_of(tab, jar.position, "fed_at")))
    fed = _fed_at(typed, day)
    if fed is None and day is not None:
        message = "is no clock time" if typed.text else "is empty: without the time of feeding no reading counts"
        faults.append(_Fault("refeeds", jar.refeed, "fed_at", typed, "clock time", message, "write it as 8:15"))
    row = {"refeed": name, "culture": Typed(plan["culture"], ""), "purpose": Typed("round", "")}
    row |= {"step": Typed(tab.filled.step, ""), "bench_order": Typed(str(jar.position), "")}
    row["fed_at"] = Typed("" if fed is None else fed.isoformat(" ", "minutes"), typed.cell)
    for column in ("seed", "flour", "water", "vessel"):
        planned = plan[f"{column}_g" if column != "vessel" else column]
        row[column] = own.get((column, 0), Typed(planned, ""))
    for column in ("person", "room", "room_temperature", "water_source", "cold_store"):
        row[column] = of_sheet.get((column, 0), Typed("", ""))
    for column in ("start_height", "hooch", "passed", "smell", "signs", "note"):
        row[column] = own.get((column, 0), Typed("", ""))
    row["passed"] = _ticked(row["passed"])
    row |= _flour(jar, plan, own, row["flour"], name)
    # without the time of feeding nothing is taken in of the jar, but all that is wrong with it is told at once
    since = fed or dt.datetime.combine(day or dt.date.min, dt.time())
    row["cooled_at"] = _cooled(own, since, jar, faults)
    _read(jar, own, of_sheet, since, faults)
    jar.rows["refeeds"].append(row)
    return jar


def _fed_at(typed: Typed, day: dt.date | None) -> dt.datetime | None:
    if day is None or not typed.text:
        return None
    return moment_after(typed.text, dt.datetime.combine(day, dt.time()))


def _ticked(typed: Typed) -> Typed:
    """Take a tick for yes."""
    return Typed("yes", typed.cell) if typed.text.casefold() in ("x", "✓", "✔", "ok", "j", "ja", "oui", "si") else typed


def _cooled(own: dict, fed: dt.datetime, jar: Jar, faults: list[_Fault]) -> Typed:
    typed = own.get(("cooled_at", 0), Typed("", ""))
    if not typed.text:
        return typed
    moment = moment_after(typed.text, fed)
    if moment is None:
        faults.append(
            _Fault("refeeds", jar.refeed, "cooled_at", typed, "clock time", "is no clock time", "write it as 18:30")
        )
        return Typed("", typed.cell)
    return Typed(moment.isoformat(" ", "minutes"), typed.cell)


def _flour(jar: Jar, plan: dict, own: dict, flour: Typed, name: Typed) -> dict[str, Typed]:
    """Return the lot; of a blend each lot becomes a row of its own, in proportion to what was weighed."""
    lot = own.get(("lot", 0), Typed(plan["lot"], ""))
    parts = lots_of(lot.text, np.nan) if re.search(r" [\d.]+ g$", lot.text) else {}
    if len(parts) < 2:
        return {"lot": lot}
    weighed = pd.to_numeric(flour.text.replace(",", "."), errors="coerce")
    share = weighed / sum(parts.values()) if weighed > 0.0 else 1.0
    for part, mass in parts.items():
        made = {"refeed": name, "lot": Typed(part, lot.cell), "mass": Typed(f"{mass * share:.6g}", lot.cell)}
        jar.rows["refeed_flours"].append(made)
    return {"lot": Typed("", lot.cell)}


def _read(jar: Jar, own: dict, of_sheet: dict, fed: dt.datetime, faults: list[_Fault]) -> None:
    """Place each look at the jar in time, one after the other."""
    before, name = fed, Typed(jar.refeed, "")
    for look in sorted({look for _, look in own if look}):
        values = {column: own[column, look] for column in ("height", "ph", "temperature") if (column, look) in own}
        typed = own.get(("look", look)) or of_sheet.get(("bench_look", look))
        if not values:
            if ("look", look) in own:
                told = "has a clock time and no reading", "nothing, if there was none"
                faults.append(_Fault("readings", jar.refeed, "read_at", own["look", look], "reading", *told, "warning"))
            continue
        if typed is None:
            some = next(iter(values.values()))
            told = "has no clock time above it", "write when it was read, there or for the whole bench"
            faults.append(_Fault("readings", jar.refeed, next(iter(values)), some, "clock time", *told))
            continue
        moment = moment_after(typed.text, before)
        if moment is None:
            told = "is no clock time", "write it as 14:30"
            faults.append(_Fault("readings", jar.refeed, "read_at", typed, "clock time", *told))
            continue
        if (moment - fed) / dt.timedelta(hours=1) > _LATE_H:
            told = f"comes to {(moment - fed) / dt.timedelta(hours=1):.0f} h after feeding", "check the times before it"
            faults.append(_Fault("readings", jar.refeed, "read_at", typed, "clock time", *told, "warning"))
        row = {"refeed": name, "read_at": Typed(moment.isoformat(" ", "minutes"), typed.cell), **values}
        if "ph" in values:
            for column in ("ph_method", "probe"):
                row[column] = of_sheet.get((column, 0), Typed("", ""))
        jar.rows["readings"].append(row)
        before = moment
    _mark(jar, own, faults)


def _mark(jar: Jar, own: dict, faults: list[_Fault]) -> None:
    """Write the smear line to the last look: it tells how high the dough stood, not when."""
    mark = own.get(("high_mark", 0))
    if mark is None:
        return
    if jar.rows["readings"]:
        jar.rows["readings"][-1]["high_mark"] = mark
    else:
        told = "is a smear line without any reading of the jar", "write one height with its clock time"
        faults.append(_Fault("readings", jar.refeed, "high_mark", mark, "reading", *told))


def _draft(name: str, jars: list[Jar], tab: Tab, settings: Settings) -> Draft:
    """Read what was typed by the rules that hold for every table."""
    rows = [row for jar in jars for row in jar.rows[name]]
    columns = [column.name for column in TABLES[name].columns if any(column.name in row for row in rows)]
    columns = columns or [column.name for column in TABLES[name].columns if column.needed or column.key]
    texts = [[row[column].text if column in row else "" for column in columns] for row in rows]
    cells = pd.DataFrame(texts, columns=range(len(columns)), dtype="str")
    source = Source(name, Path(tab.file), tab.file)
    none_too_long = pd.Series(False, index=cells.index)
    return draft_sheet(TABLES[name], Sheet(source, columns, 0, cells, np.arange(len(rows)), none_too_long), settings)


def _own(fault: _Fault, tab: Tab) -> pd.DataFrame:
    cell = fault.typed.cell
    said = f"{cell}: {fault.column} {fault.typed.text}".rstrip() + f" {fault.message}"
    found = problems(
        fault.table, tab.file, _row_of(cell), column=fault.column, value=fault.typed.text, rule=fault.rule,
        severity=fault.severity, message=said, remedy=fault.remedy,
    )  # fmt: skip
    return found.assign(cell=cell, refeed=fault.refeed)


def _placed(draft: Draft, name: str, rows: list[dict[str, Typed]], tab: Tab) -> pd.DataFrame:
    """Return a draft's problems by the cells of the sheet."""
    if not draft.problems:
        return no_problems().assign(cell="", refeed="")
    found = pd.concat(draft.problems, ignore_index=True)
    found = found[found["rule"] != "missing"].reset_index(drop=True)  # said already, where it was looked for
    typed = [rows[row].get(column, Typed("", "")) for row, column in found[["row", "column"]].itertuples(index=False)]
    found["refeed"] = [rows[row]["refeed"].text for row in found["row"]]
    found["cell"] = [it.cell for it in typed]
    placed = zip(found["cell"], found["message"], strict=True)
    found["message"] = [f"{cell}: {said}" if cell else said for cell, said in placed]
    found["row"] = pd.array([_row_of(it.cell) for it in typed], dtype="Int64")
    return found


def _row_of(cell: str) -> int:
    digits = re.sub(r"\D", "", cell)
    return int(digits) if digits else 0


def _cell_of(tab: Tab, position: int, name: str) -> str:
    boxes = tab.filled.boxes
    own = boxes[(boxes["position"] == position) & (boxes["field"] == name)]
    return str(own["cell"].iloc[0]) if len(own) else ""
