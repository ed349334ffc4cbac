"""Take a filled-in workbook in: every sheet in it is checked before any of it is written."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import pandas as pd

from ...errors import Refused
from ...records.drafts import Drafts, read_drafts
from ..bench.sheet import identity_of
from .earlier import as_files, changes_between, kept_of, newest, only_adds, with_kept
from .place import put_in_place
from .records_of import Records, records_of
from .workbook import Tab, bench_tabs


@dataclass(frozen=True)
class TakenIn:
    """What came of taking a workbook in.

    Attributes
    ----------
    folders : tuple of pathlib.Path
        The new folders under ``taken_in/``.
    sheets : pandas.DataFrame
        One row per tab: tab, sheet (its id), jars and readings taken in, open_jars (faulty ones that were left), what
        (taken in, blank, already taken in, no bench sheet).
    changes : pandas.DataFrame
        What differs from what was taken in before: table, refeed, what, was, becomes.
    problems : pandas.DataFrame
        What was doubtful, and with `leave_faulty` what was wrong.
    """

    folders: tuple[Path, ...]
    sheets: pd.DataFrame
    changes: pd.DataFrame
    problems: pd.DataFrame

    def _repr_html_(self) -> str:
        return self.sheets.to_html(index=False)


_NOTHING: dict[str, object] = {"tab": "", "sheet": "", "jars": 0, "readings": 0, "open_jars": 0, "what": ""}


class _Step(NamedTuple):
    """What is to be done with one sheet."""

    records: Records
    number: int
    files: dict[str, bytes]
    changes: pd.DataFrame
    what: str


def take_in(folder: str | Path, sheet: str | Path, *, leave_faulty: bool = False, correct: bool = False) -> TakenIn:
    """Take the filled-in sheets of a workbook in to a collection.

    Parameters
    ----------
    folder : str or pathlib.Path
        The collection's folder; nothing in it is changed, and each sheet becomes a new folder ``taken_in/ID/``.
    sheet : str or pathlib.Path
        The workbook that `round` made, filled in.
    leave_faulty : bool
        Take in all but the jars with an error, which then stay open on the sheet.
    correct : bool
        Take in a sheet that changes what was taken in from it before: it becomes ``taken_in/ID.2/``, beside the first.

    Returns
    -------
    TakenIn

    Raises
    ------
    Refused
        Something is wrong on a sheet (the problems are in `evidence`), a sheet belongs to another collection or was
        altered, would change what was taken in before (the changes are in `evidence`), or there is nothing left to
        take in. Nothing is written then.
    CannotRead
        The workbook or the collection cannot be read, or the folder cannot be written.
    """
    folder, path = Path(folder), Path(sheet)
    drafts = read_drafts(folder)
    tabs, others = bench_tabs(path)
    for tab in tabs:
        _check_identity(tab, drafts, path.name)
    records = [records_of(tab, drafts.settings, drafts.held) for tab in tabs]
    problems = pd.concat([it.problems for it in records], ignore_index=True)
    if not leave_faulty:
        _refuse_faults(problems, path.name)
    steps = [_step(it, folder) for it in records]
    changes = pd.concat([step.changes for step in steps], ignore_index=True)
    _refuse_changes([step for step in steps if step.what == "changed"], correct)
    todo = [step for step in steps if step.what in ("new", "added to", "changed")]
    if not todo:
        raise Refused(_nothing_left(steps, problems, path.name), problems)
    folders = tuple(put_in_place(folder, _name(step), step.files) for step in todo)
    told = [_told(step) for step in steps]
    told += [_NOTHING | {"tab": name, "what": "no bench sheet"} for name in others]
    return TakenIn(folders, pd.DataFrame(told), changes.drop(columns=["added", "of"]), problems)


def _check_identity(tab: Tab, drafts: Drafts, workbook: str) -> None:
    """Refuse a sheet of another collection, and one whose printed part is not what its id says."""
    filled, title = tab.filled, drafts.settings.title
    if filled.title != title:
        raise Refused(
            f"{workbook}, tab {tab.name}: this sheet belongs to the collection '{filled.title}', and the folder to "
            f"'{title}'. Take it in there."
        )
    try:
        told = identity_of(title, dt.date.fromisoformat(filled.day), filled.group, int(filled.step), filled.rows)
    except (ValueError, KeyError):
        told = ""
    if told != filled.identity:
        raise Refused(
            f"{workbook}, tab {tab.name}: what is printed on the sheet was altered ({filled.identity or 'no id'}). "
            "Type only into the boxes: put the printed cells back, or copy what you typed into a new sheet."
        )


def _refuse_faults(problems: pd.DataFrame, workbook: str) -> None:
    wrong = problems[problems["severity"] == "error"]
    if len(wrong):
        count = f"{len(wrong)} {'box is' if len(wrong) == 1 else 'boxes are'}"
        raise Refused(
            f"{workbook}: {count} wrong, so nothing was taken in. Correct the cells named, or take in all but their "
            "jars with --leave-faulty.",
            problems,
        )


def _step(records: Records, folder: Path) -> _Step:
    """Decide what is to be done with a sheet."""
    number, before = newest(folder, records.tab.filled.identity)
    sound = {name: rows[~rows["refeed"].isin(records.faulty)] for name, rows in records.tables.items()}
    none = changes_between({}, {})
    if not records.jars:
        return _Step(records, number, {}, none, "blank")
    if not len(sound["refeeds"]):
        return _Step(records, number, {}, none, "all faulty")
    files = with_kept(as_files(sound), kept_of(before, records.faulty))
    if not number:
        return _Step(records, number, files, none, "new")
    changes = changes_between(before, files)
    if changes.empty:
        return _Step(records, number, files, changes, "already taken in")
    return _Step(records, number, files, changes, "added to" if only_adds(changes, before) else "changed")


def _refuse_changes(changed: list[_Step], correct: bool) -> None:
    if changed and not correct:
        told = ", ".join(step.records.tab.filled.identity for step in changed)
        changes = pd.concat([step.changes for step in changed], ignore_index=True).drop(columns=["added", "of"])
        raise Refused(
            f"{told}: taken in before, and this would change {len(changes)} "
            f"{'value' if len(changes) == 1 else 'values'}. Nothing was taken in. If the change is right, "
            "say so with --correct: it is put beside the first, which stays.",
            changes,
        )


def _nothing_left(steps: list[_Step], problems: pd.DataFrame, workbook: str) -> str:
    what = {step.what for step in steps}
    if what == {"blank"}:
        return f"{workbook}: nothing is filled in, so there is nothing to take in."
    if "all faulty" in what:
        wrong = int((problems["severity"] == "error").sum())
        return f"{workbook}: every jar that is filled in has a fault ({wrong} in all), so nothing was taken in."
    taken = ", ".join(step.records.tab.filled.identity for step in steps if step.what == "already taken in")
    return f"{workbook}: nothing is left to take in; already taken in: {taken}."


def _name(step: _Step) -> str:
    identity = step.records.tab.filled.identity
    return identity if not step.number else f"{identity}.{step.number + 1}"


def _told(step: _Step) -> dict[str, object]:
    records = step.records
    sound = ~records.tables["refeeds"]["refeed"].isin(records.faulty)
    read = ~records.tables["readings"]["refeed"].isin(records.faulty)
    taken = step.what in ("new", "added to", "changed")
    return {
        "tab": records.tab.name,
        "sheet": records.tab.filled.identity,
        "jars": int(sound.sum()) if taken else 0,
        "readings": int(read.sum()) if taken else 0,
        "open_jars": len(records.faulty),
        "what": {"new": "taken in", "added to": "taken in, with jars that were open", "changed": "corrected"}.get(
            step.what, step.what
        ),
    }
