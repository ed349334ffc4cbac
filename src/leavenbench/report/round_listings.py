"""What `round` and `take-in` print: who is due, what is on the sheets, what was taken in and what was wrong."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import pandas as pd

from ..care.bench.sheet import BenchSheet
from ..care.take_in import TakenIn
from .terminal import print_table, say, say_indented

#: Cultures named in a line.
_NAMED = 8


def show_due(due: pd.DataFrame) -> None:
    """Print who is fed, and why now."""
    told = pd.DataFrame(
        {
            "culture": due["culture"],
            "group": due["group"],
            "due on": due["due_on"].dt.strftime("%Y-%m-%d"),
            "days over": due["overdue_d"].clip(lower=0),
            "why": due["why"],
        }
    )
    print_table(told, wide=("culture", "why"))


def show_next_due(due: pd.DataFrame, on: dt.date) -> None:
    """Say that nothing is due, and when something will be."""
    say(f"Nothing is due on {on}.")
    waiting = due[due["state"] == "waiting"]
    if len(waiting):
        first = waiting["due_on"].min()
        some = waiting.loc[waiting["due_on"] == first, "culture"]
        told = ", ".join(some.head(_NAMED)) + (f" and {len(some) - _NAMED} more" if len(some) > _NAMED else "")
        say(f"Next: {first:%Y-%m-%d}, {len(some)} {'culture' if len(some) == 1 else 'cultures'}: {told}")
    running = due.loc[due["state"] == "running", "culture"]
    if len(running):
        say(f"In a round that has begun: {', '.join(running)}. One more step: --extra {','.join(running)}")


def show_sheets(sheets: Sequence[BenchSheet]) -> None:
    """Print what the sheets hold, and what could not be planned as wished."""
    say()
    rows = [
        {
            "sheet": sheet.identity,
            "day": f"{sheet.day:%Y-%m-%d}",
            "step": str(sheet.step),
            "jars": len(sheet.rows),
            "flour g": f"{sheet.rows['flour_g'].sum():,.0f}",
        }
        for sheet in sheets
    ]
    print_table(pd.DataFrame(rows))
    remarks = sheets[0].rows.loc[sheets[0].rows["remark"] != "", ["culture", "remark"]]
    for culture, remark in remarks.itertuples(index=False):
        say_indented(f"{culture}: {remark}")


def show_taken_in(taken: TakenIn) -> None:
    """Print what was taken in, what it changed, and what was doubtful."""
    print_table(taken.sheets.drop(columns="tab").rename(columns={"open_jars": "jars left open"}), wide=("what",))
    if len(taken.changes) and (taken.sheets["what"] == "corrected").any():
        say()
        show_changes(taken.changes)
    if len(taken.problems):
        say()
        show_cells(taken.problems)
    for folder in taken.folders:
        say(f"New records: {folder}", aside=True)


def show_changes(changes: pd.DataFrame) -> None:
    """Print what differs from what was taken in before."""
    print_table(changes, wide=("refeed", "was", "becomes"))


def show_cells(problems: pd.DataFrame) -> None:
    """Print what is wrong on a sheet, cell by cell."""
    told = pd.DataFrame(
        {
            "": problems["severity"],
            "sheet": problems["file"].str.partition(":")[2],
            "cell": problems["cell"],
            "what is wrong": problems["message"].str.replace(r"^[A-Z]+\d+: ", "", regex=True),
            "what to do": problems["remedy"],
        }
    )
    print_table(told, wide=("sheet", "what is wrong", "what to do"))
