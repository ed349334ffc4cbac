"""From the files of a table to its rows: headers matched, units converted, cells read."""

from __future__ import annotations

import difflib
from functools import cache, partial

import pandas as pd

from ..declaration import Column, Table
from ..errors import CannotRead
from ..units import UnknownUnit, to_canonical
from .cells import Finding, as_words, is_nothing, read_choice, read_numbers, read_once, read_text, read_yes_no
from .draft import Draft
from .moments import read_days, read_moments
from .problems import problems
from .settings import FILE, Settings
from .sheets import Sheet, read_sheet
from .source import Source, plain
from .texts import each_once, joined

#: Columns that tell which rows form one series, for the hour that autumn repeats.
_SERIES = ("refeed", "culture", "vessel", "store", "probe")
#: What `refeeds` and `readings` cannot do without: one column of each group.
_NEEDED = {
    "refeeds": (("refeed",), ("culture",), ("fed_at",)),
    "readings": (("refeed", "culture", "vessel"), ("elapsed", "read_at")),
}


def draft_table(table: Table, sources: list[Source], settings: Settings) -> Draft:
    """Read all the places where a table's rows stand, and what their cells mean.

    Parameters
    ----------
    table : Table
        Its declaration.
    sources : list of Source
        Where its rows stand.
    settings : Settings
        For dates and times.

    Returns
    -------
    Draft
        All rows; those without a usable key, culture or time are marked as left out.

    Raises
    ------
    CannotRead
        A file is damaged, or no file has a column that this table needs.
    """
    known = {plain(column.name) for column in table.columns}
    sheets = [read_sheet(source, known) for source in sources]
    parts = [draft_sheet(table, sheet, settings) for sheet in sheets]
    if not parts:
        return Draft(table, _empty(table, settings.timezone).copy(), pd.DataFrame({}))
    _require_columns(table, sheets, parts)
    if len(parts) == 1:
        return parts[0]
    rows = pd.concat([part.rows for part in parts], ignore_index=True)
    whole = Draft(table, rows, joined([part.typed for part in parts]))
    whole.kept = pd.concat([part.kept for part in parts], ignore_index=True)
    whole.lost = pd.concat([part.lost for part in parts], ignore_index=True)
    whole.problems = [found for part in parts for found in part.problems]
    return whole


@cache
def _empty(table: Table, timezone: str) -> pd.DataFrame:
    dtypes = {"file": "str", "row": "int64"} | {column.inside: column.dtype(timezone) for column in table.columns}
    return pd.DataFrame({name: pd.Series(dtype=dtype) for name, dtype in dtypes.items()})


def draft_sheet(table: Table, sheet: Sheet, settings: Settings) -> Draft:
    """Read one sheet of a table, as `draft_table` reads them all."""
    index = sheet.cells.index
    file = pd.Series(sheet.source.name, index=index, dtype="str")
    draft = Draft(table, pd.DataFrame({"file": file, "row": sheet.rows.astype("int64")}), pd.DataFrame(index=index))
    for remark in sheet.remarks:
        draft.problems.append(_about_the_file(sheet, remark, "save it as UTF-8 with every quotation closed"))
    places = _match_headers(table, sheet, draft)
    draft.typed = sheet.cells[[place for place, _ in places.values()]].set_axis(list(places), axis=1)
    _read_cells(draft, {name: unit for name, (_, unit) in places.items()}, settings)
    slipped = (
        "holds more cells than there are headers; they may have slipped",
        "put decimal commas in quotation marks",
    )
    draft.drop_row(Finding(sheet.too_long, "cells without a header", *slipped))
    _require_values(table, sheet, draft)
    return draft


def _read_cells(draft: Draft, units: dict[str, str], settings: Settings) -> None:
    """Read what was typed, each column in its unit; columns that are not there stay empty."""
    series = draft.typed[[name for name in _SERIES if name in draft.typed]]
    read, findings = {}, []
    for column in (column for column in draft.table.columns if column.name in draft.typed):
        values, found = _read_column(column, draft.typed[column.name], units[column.name], settings, series)
        read[column.inside] = values.astype(column.dtype(settings.timezone))
        findings += [(finding, column) for finding in found]
    blank = _empty(draft.table, settings.timezone)
    missing = blank[blank.columns.difference([*draft.rows, *read])].reindex(draft.rows.index)
    columns = {**draft.rows, **read, **missing}
    draft.rows = pd.DataFrame({name: columns[name] for name in blank}, index=draft.rows.index, copy=False)
    for finding, column in findings:
        draft.drop_value(finding, column)


def _about_the_file(sheet: Sheet, message: str, remedy: str, **more: str) -> pd.DataFrame:
    """Return a problem of the sheet as a whole, placed at its header."""
    told = {"rule": "file", "severity": "warning", **more}
    table, file = sheet.source.table, sheet.source.name
    return problems(table, file, sheet.header_row, message=message, remedy=remedy, **told)


def _match_headers(table: Table, sheet: Sheet, draft: Draft) -> dict[str, tuple[int, str]]:
    """Find each column's place and unit; say which headers mean nothing here."""
    by_plain = {plain(column.name): column for column in table.columns}
    places: dict[str, tuple[int, str]] = {}
    for place, header in enumerate(sheet.header):
        name, _, unit = header.partition("[")
        unit = unit.partition("]")[0].strip()
        column = by_plain.get(plain(name))
        if column is None:
            _note_unknown(sheet, place, by_plain, draft)
            continue
        about = {"column": column.name, "value": header, "severity": "error"}
        if column.name in places:
            message = f"column {column.name} stands twice; only the first is read"
            remedy = "give the second one its own name"
            draft.problems.append(_about_the_file(sheet, message, remedy, rule="one column", **about))
            draft.lost += _filled(sheet.cells[place])
        elif not _fits(column, unit):
            message = f"'{unit}' is no unit for {column.name}; the whole column is left out"
            draft.problems.append(_about_the_file(sheet, message, f"write {column.header}", rule="unit", **about))
            draft.lost += _filled(sheet.cells[place])
        else:
            places[column.name] = place, (unit if column.unit and unit else column.unit)
            if unit and column.kind in ("date", "time"):
                about["severity"] = "warning"
                message = f"'[{unit}]' says nothing for {column.name} and is left alone"
                remedy = f"set timezone and date_order in {FILE}"
                draft.problems.append(_about_the_file(sheet, message, remedy, rule="unit", **about))
    return places


def _filled(cells: pd.Series) -> pd.Series:
    return (cells.notna() & (cells != "")).astype(int)


def _note_unknown(sheet: Sheet, place: int, by_plain: dict[str, Column], draft: Draft) -> None:
    """Name a column that is left alone, unless there is nothing in it."""
    header = sheet.header[place]
    name = header.partition("[")[0].strip()
    if not header and (sheet.cells[place] == "").all():
        return
    near = (difflib.get_close_matches(plain(name), by_plain, 1) or [""])[0]
    remedy = f"rename it to {by_plain[near].name} if that is what it is" if near else "nothing, if it is your own"
    message = f"column '{header}' is unknown and left alone" if header else "a column without a header is left alone"
    about = {"column": name, "value": header, "rule": "known column"}
    draft.problems.append(_about_the_file(sheet, message, remedy, **about))


#: What people put in brackets behind a number that has no unit.
_UNITLESS = {"", "1", "ph"}


def _fits(column: Column, unit: str) -> bool:
    if column.kind != "number" or not unit:
        return True
    if not column.unit:
        return plain(unit) in _UNITLESS
    try:
        to_canonical(1.0, unit, column.unit)
    except UnknownUnit:
        return False
    return True


def _read_column(
    column: Column, raw: pd.Series, unit: str, settings: Settings, series: pd.DataFrame
) -> tuple[pd.Series, list[Finding]]:
    match column.kind:
        case "text":
            return read_once(raw, read_text)
        case "choice":
            return read_once(raw, lambda texts: read_choice(texts, column.choices))
        case "yes_no":
            return read_once(raw, read_yes_no)
        case "date":
            return read_once(raw, lambda texts: read_days(texts, settings.date_order))
        case "time":
            return read_moments(raw, settings.date_order, settings.timezone, series)
        case "whole":
            return read_once(raw, lambda texts: _read_whole(column, texts))
    return read_once(raw, lambda texts: read_numbers(column, texts, unit))


def _read_whole(column: Column, raw: pd.Series) -> tuple[pd.Series, list[Finding]]:
    values, findings = read_numbers(column, raw, "")
    broken = values.notna() & ((values % 1 != 0) | (values.abs() > 1e15))
    findings.append(Finding(broken, "whole number", "is not a whole number", "write a whole number"))
    return values.mask(broken), findings


def _require_columns(table: Table, sheets: list[Sheet], parts: list[Draft]) -> None:
    """Refuse when no file of a needed table has a column that it cannot do without."""
    for group in _NEEDED.get(table.name, ()):
        if not any(name in part.typed for part in parts for name in group):
            needed = " or ".join(group)
            raise CannotRead(f"The table {table.name} has no column {needed}. {_headers_found(sheets)} Add it.")


def _headers_found(sheets: list[Sheet]) -> str:
    """Say what stands where headers belong, which shows a title line or an empty file at once."""
    sheet = sheets[0]
    if not any(sheet.header):
        return f"{sheet.source.name} is empty."
    told = ", ".join(name or "(nothing)" for name in sheet.header[:8])
    return f"Row {sheet.header_row} of {sheet.source.name}, where the headers belong, holds: {told}."


def _require_values(table: Table, sheet: Sheet, draft: Draft) -> None:
    """Leave out rows that lack what they cannot be used without."""
    for column in (column for column in table.columns if column.needed):
        if column.name in draft.typed:
            empty = each_once(draft.typed[column.name], partial(_is_empty, column))
            missing = "is empty, and the row cannot be used without it", "fill it in"
            draft.drop_row(Finding(empty, "missing", *missing), column.name)
        elif len(draft.rows):
            about = {"column": column.name, "rule": "missing", "severity": "error"}
            message = f"there is no column {column.name}; {len(draft.rows)} rows are left out"
            draft.problems.append(_about_the_file(sheet, message, f"add the column {column.header}", **about))
            draft.kept[:] = False


def _is_empty(column: Column, texts: pd.Series) -> pd.Series:
    words = as_words(texts)
    return words == "" if column.kind == "text" else is_nothing(words)
