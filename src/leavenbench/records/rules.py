"""The rules that hold in every table: ranges, keys, references, dates that lie ahead."""

from __future__ import annotations

import difflib

import numpy as np
import pandas as pd

from ..columns import STRICT_REFERENCES, TABLES
from .as_of import lies_after
from .cells import Finding
from .draft import Draft
from .texts import places_in, texts_of


def check_ranges(draft: Draft) -> None:
    """Leave out impossible values; mark doubtful ones."""
    for column in draft.table.columns:
        if column.kind not in ("number", "whole") or column.name not in draft.typed:
            continue
        values = draft.rows[column.inside].to_numpy(float, na_value=np.nan)
        unit = f" {column.unit}" if column.unit else ""
        low, high = column.possible
        impossible = (values < low) | (values > high)
        if impossible.any():
            message = f"cannot be: it must be {_between(low, high)}{unit}"
            remedy = "look it up and correct it; check the unit in the header"
            cells = pd.Series(impossible, index=draft.rows.index)
            draft.drop_value(Finding(cells, "possible range", message, remedy), column)
        low, high = column.likely
        doubtful = ~impossible & ((values < low) | (values > high))
        if doubtful.any():
            message = f"is unusual: expected {_between(low, high)}{unit}"
            cells = pd.Series(doubtful, index=draft.rows.index)
            finding = Finding(cells, "likely range", message, "check it; it is kept as it is", "warning")
            draft.note(finding, column.name)


def _between(low: float, high: float) -> str:
    return f"at least {low:g}" if high == float("inf") else f"between {low:g} and {high:g}"


def check_keys(draft: Draft) -> None:
    """Leave out each later occurrence of a key, judged over all rows as read."""
    key = draft.table.key
    if not key:
        return
    names = draft.rows[key]
    later = names.notna() & names.duplicated()
    if later.any():
        first = draft.rows[~names.duplicated()].set_index(key)
        place = names[later].map(first["file"] + " row " + first["row"].astype(str))
        message = ("stands already in " + place).reindex(names.index)
        draft.drop_row(Finding(later, "key used once", message, "give one of the two another name"), key)


def check_references(draft: Draft, known: dict[str, pd.Index]) -> None:
    """Compare references with the names that the other tables hold.

    Parameters
    ----------
    draft : Draft
        The table to check.
    known : dict of str to pandas.Index
        Names held by each table that is there; a table that is absent makes no unknown reference.
    """
    for column in draft.table.columns:
        if column.refers_to not in known or column.name not in draft.typed:
            continue
        held = known[column.refers_to]
        told = texts_of(draft.typed[column.name])
        if ((places_in(held, told) >= 0) | (told == "")).all():  # rows are many, names are few
            continue
        names = draft.rows[column.inside]
        unknown = names.notna() & (places_in(held, names) < 0)
        if not unknown.any():
            continue
        message = f"is not in the table {column.refers_to}"
        near = {name: _near(name, held) for name in names[unknown].unique()}
        remedy = names.map(near).fillna("")
        if column.refers_to in STRICT_REFERENCES:
            draft.drop_row(Finding(unknown, "known reference", message, remedy), column.name)
        else:
            draft.note(Finding(unknown, "known reference", message, remedy, "warning"), column.name)


def _near(name: str, known: pd.Index) -> str:
    near = difflib.get_close_matches(name, known.astype(str), 1, 0.75) if not name.isdigit() else []
    return f"write {near[0]} if that is meant" if near else "correct it, or add it to that table"


def check_not_ahead(draft: Draft, end_of_today: pd.Timestamp) -> None:
    """Mark dates that lie ahead of today."""
    for column in draft.table.columns:
        if column.kind in ("date", "time") and not column.ahead:
            ahead = lies_after(draft.rows[column.inside], end_of_today)
            finding = Finding(ahead, "not ahead", "lies ahead of today", "correct the date", "warning")
            draft.note(finding, column.name)


def names_held(drafts: dict[str, Draft]) -> dict[str, pd.Index]:
    """Return the names that each table holds, for every table that is there.

    With no ``cultures`` table, the cultures are those in ``refeeds``.
    """
    held = {
        name: pd.Index(draft.rows[TABLES[name].key].dropna().unique())
        for name, draft in drafts.items()
        if TABLES[name].key
    }
    if "probe_checks" in drafts:
        held["probe_checks"] = pd.Index(drafts["probe_checks"].rows["probe"].dropna().unique())
    if "cultures" not in held and "refeeds" in drafts:
        held["cultures"] = pd.Index(drafts["refeeds"].rows["culture"].dropna().unique())
    return held
