"""The command line: thin, for the few things done without a notebook."""

from __future__ import annotations

import argparse
import datetime as dt
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .errors import LeavenbenchError

if TYPE_CHECKING:
    import pandas as pd

    from .records.collection import Collection

_ABOUT = """\
Keep a collection of living sourdough cultures: read the feeding log and the
rise and pH readings, fit an activity curve to every refeed, and name the
cultures whose vigour is slipping while they can still be saved."""
_AFTER = """\
FOLDER holds the tables as people keep them in spreadsheets; only refeeds and
readings are needed. Nothing in FOLDER is ever changed. Exit status: 0 done;
1 refused, or (check) something was left out; 2 cannot be read, or wrong usage."""


def main(argv: list[str] | None = None) -> int:
    """Run one command and return its exit status.

    Parameters
    ----------
    argv : list of str, optional
        The words after ``leavenbench``; those of the command line when not given.

    Returns
    -------
    int
        0 done, 1 refused or (check) something left out, 2 cannot be read or wrong usage.
    """
    arguments = _parser().parse_args(argv)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # an old terminal shows a sign that it lacks as '?'
            stream.reconfigure(errors="replace")
    try:
        status = int(arguments.run(arguments))
        sys.stdout.flush()
        return status
    except LeavenbenchError as error:
        print(f"leavenbench: {error}", file=sys.stderr)
        return error.exit_code
    except BrokenPipeError:
        # Whoever read along has heard enough; nothing is left to say at the end either.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt:
        print("leavenbench: stopped; nothing was written", file=sys.stderr)
        return 130


def _parser() -> argparse.ArgumentParser:
    shape = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser("leavenbench", description=_ABOUT, epilog=_AFTER, formatter_class=shape)
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for name, run, about in (
        ("new", _new, "make an empty collection: one headed table for each kind of record"),
        ("check", _check, "list everything that is wrong or doubtful in the tables"),
        ("curves", _curves, "fit an activity curve to every refeed: one row per refeed and signal"),
        ("watch", _watch, "the watch list: how every living culture stands, most urgent first"),
        ("round", _round, "the bench sheets of what is due"),
        ("take-in", _take_in, "take the filled-in bench sheets of a workbook in to the collection"),
        ("report", _report, "the annual report: a folder with a page, its figures and its tables"),
        ("pages", _pages, "one page per living culture for its depositor, in plain words"),
    ):
        command = commands.add_parser(name, help=about, description=about[0].upper() + about[1:] + ".")
        command.add_argument("folder", metavar="FOLDER", type=Path, help="the collection's folder")
        command.set_defaults(run=run)
        if name == "round":
            _add_round(command)
        elif name == "take-in":
            _add_take_in(command)
        elif name in ("report", "pages"):
            _add_year(command)
            if name == "pages":
                command.add_argument("--culture", metavar="C", help="only the page of this culture")
        elif name != "new":
            command.add_argument(
                "--out", metavar="FILE", type=Path, help="save the full table: .csv, .xlsx or .parquet"
            )
        if name == "watch":
            as_of = "read only what was written down up to the end of that day (2025-12-31)"
            command.add_argument("--as-of", metavar="DATE", type=_day, help=as_of)
    about = "open JupyterLab on your own copy of the notebooks, set to your collection"
    lab = commands.add_parser("lab", help=about, description=about[0].upper() + about[1:] + ".")
    lab.add_argument("folder", metavar="FOLDER", type=Path, nargs="?", help="the collection; a demo without it")
    lab.set_defaults(run=_lab)
    return parser


def _add_round(command: argparse.ArgumentParser) -> None:
    where = "where the sheets go: an .xlsx to fill in and take in again, or an .html to print; a new file"
    command.add_argument("--out", metavar="FILE", type=Path, required=True, help=where)
    command.add_argument("--on", metavar="DATE", type=_day, help="the day of the first step; today without it")
    command.add_argument("--group", metavar="G", help="only the cultures of this group")
    extra = "one more step for jars that have not passed, in place of a round; names separated by commas"
    command.add_argument("--extra", metavar="CULTURE,...", help=extra)


def _add_take_in(command: argparse.ArgumentParser) -> None:
    command.add_argument("sheet", metavar="SHEET", type=Path, help="the workbook that 'round' made, filled in (.xlsx)")
    leave = "take in all but the jars with a fault, which stay open on the sheet"
    command.add_argument("--leave-faulty", action="store_true", help=leave)
    correct = "take in a sheet that changes what was taken in from it before; it is put beside the first"
    command.add_argument("--correct", action="store_true", help=correct)


def _add_year(command: argparse.ArgumentParser) -> None:
    command.add_argument("--year", metavar="Y", type=int, required=True, help="a year that the records touch")
    where = "a new folder for it, or an empty one, outside the collection's"
    command.add_argument("--out", metavar="DIR", type=Path, required=True, help=where)


def _day(words: str) -> dt.date:
    try:
        return dt.date.fromisoformat(words)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"'{words}' is not a date; write it as 2025-12-31") from error


def _new(arguments: argparse.Namespace) -> int:
    from .records.template import new_collection
    from .report.terminal import say

    folder = new_collection(arguments.folder)
    say(f"Made an empty collection in {folder}. Fill in refeeds.csv and readings.csv first;")
    say("about_the_tables.md tells what each column holds. Then: leavenbench check " + str(folder))
    return 0


def _check(arguments: argparse.Namespace) -> int:
    from .records.collection import read_collection
    from .records.settings import today_there
    from .report.listings import show_problems

    _check_target(arguments)
    collection = read_collection(arguments.folder, today=today_there(arguments.folder))
    _save(collection.problems, arguments.out, "problems")
    show_problems(collection)
    return 1 if (collection.problems["severity"] == "error").any() else 0


def _curves(arguments: argparse.Namespace) -> int:
    from .records.collection import read_collection
    from .report.listings import show_curves

    _check_target(arguments)
    collection = read_collection(arguments.folder)
    curves = _traced(collection)
    _save(curves, arguments.out, "curves")
    _tell_left_out(collection)
    show_curves(curves)
    return 0


def _watch(arguments: argparse.Namespace) -> int:
    from .records.collection import read_collection
    from .records.reach import read_up_to_last_day
    from .records.settings import today_there
    from .report.listings import show_watch_list
    from .watch.whole_shelf import whole_shelf

    _check_target(arguments)
    as_of = arguments.as_of
    if as_of is None:
        collection, as_of = read_up_to_last_day(arguments.folder, today_there(arguments.folder))
    else:
        collection = read_collection(arguments.folder, as_of=as_of)
    listed, vigour = _listed(collection, as_of)
    _save(listed, arguments.out, "watch_list")
    _tell_left_out(collection)
    months = whole_shelf(vigour, collection.settings.round_days, collection.settings.half_strength_pct)
    show_watch_list(listed, months, collection, as_of, given=arguments.as_of is not None)
    return 0


def _round(arguments: argparse.Namespace) -> int:
    from .care.bench.plan import bench_sheets, extra_sheets
    from .care.rounds import due_list, fed_now
    from .records.collection import read_collection
    from .records.settings import today_there
    from .report.round_listings import show_due, show_next_due, show_sheets
    from .report.sheets import check_sheets_target, write_sheets
    from .report.terminal import say

    check_sheets_target(arguments.out, arguments.folder)
    on = arguments.on or today_there(arguments.folder)
    collection = read_collection(arguments.folder, as_of=on)
    _tell_left_out(collection)
    listed, _ = _listed(collection, on)
    say(f"{collection.settings.title}: round of {on}{'' if arguments.on else ', today'}")
    if arguments.extra:
        cultures = [name.strip() for name in arguments.extra.split(",") if name.strip()]
        sheets = extra_sheets(collection, listed, cultures, on)
    else:
        due = due_list(collection, listed, on)
        now = fed_now(due, arguments.group)
        if now.empty:
            show_next_due(due if arguments.group is None else due[due["group"] == arguments.group], on)
            return 0
        show_due(now)
        sheets = bench_sheets(collection, listed, now, on)
    write_sheets(sheets, arguments.out)
    show_sheets(sheets)
    say(f"Bench sheets: {arguments.out}", aside=True)
    return 0


def _listed(collection: Collection, on: dt.date) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the watch list of a day, and the vigour behind it."""
    from .vigour.causes import vigour_and_causes
    from .watch.watch_list import watch_list

    curves = _traced(collection)
    vigour, causes = vigour_and_causes(collection, curves)
    return watch_list(collection, curves, vigour, on, causes), vigour


def _take_in(arguments: argparse.Namespace) -> int:
    from .care.take_in import take_in
    from .errors import Refused
    from .report.round_listings import show_cells, show_changes, show_taken_in

    allowed = {"leave_faulty": arguments.leave_faulty, "correct": arguments.correct}
    try:
        taken = take_in(arguments.folder, arguments.sheet, **allowed)
    except Refused as refused:
        table: Any = refused.evidence
        if table is not None and len(table):
            (show_cells if "cell" in table else show_changes)(table)
        raise
    show_taken_in(taken)
    return 0


def _report(arguments: argparse.Namespace) -> int:
    from .report.annual import write_report
    from .report.terminal import progress_bar, say

    _draw_to_files()
    with progress_bar("Fitting curves") as progress:
        page = write_report(arguments.folder, arguments.year, arguments.out, progress=progress)
    say(f"The year {arguments.year}: {page}", aside=True)
    return 0


def _pages(arguments: argparse.Namespace) -> int:
    from .report.annual import write_pages
    from .report.terminal import progress_bar, say

    _draw_to_files()
    with progress_bar("Fitting curves") as progress:
        pages = write_pages(arguments.folder, arguments.year, arguments.out, arguments.culture, progress=progress)
    say(f"{len(pages)} {'page' if len(pages) == 1 else 'pages'}: {arguments.out}", aside=True)
    return 0


def _draw_to_files() -> None:
    """Draw without a window, wherever this runs."""
    os.environ["MPLBACKEND"] = "agg"


def _lab(arguments: argparse.Namespace) -> int:
    from .lab import open_lab, prepare_lab
    from .report.terminal import say

    place, kept = prepare_lab(arguments.folder, Path.home())
    say(f"Your notebooks: {place}", aside=True)
    if kept:
        say(f"Kept as you left them: {', '.join(kept)}", aside=True)
    say("JupyterLab opens in your browser; close it with Ctrl-C here.", aside=True)
    return open_lab(place)


def _traced(collection: Collection) -> pd.DataFrame:
    from .curves.table import trace_collection
    from .report.terminal import progress_bar

    with progress_bar("Fitting curves") as progress:
        return trace_collection(collection, progress=progress)


def _check_target(arguments: argparse.Namespace) -> None:
    if arguments.out is not None:
        from .report.save import check_target

        check_target(arguments.out, arguments.folder)


def _save(table: pd.DataFrame, target: Path | None, name: str) -> None:
    if target is not None:
        from .report.save import save_table
        from .report.terminal import say

        save_table(table, target, name)
        say(f"Full table: {target} ({len(table):,} {'row' if len(table) == 1 else 'rows'})", aside=True)


def _tell_left_out(collection: Collection) -> None:
    from .report.listings import left_out
    from .report.terminal import say

    words = left_out(collection)
    if words:
        say(f"{words}. To see them: leavenbench check {collection.folder}", aside=True)


if __name__ == "__main__":
    sys.exit(main())
