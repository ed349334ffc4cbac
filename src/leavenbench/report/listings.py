"""What each command prints: the few columns that matter at the shelf; full tables go to files."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from ..records.collection import Collection
from ..watch.alert import DIAL
from ..watch.forecast import two_years
from ..watch.levels import LEAST_PCT
from .terminal import print_table, say, say_indented

#: More problems than this are cut on the screen.
_MOST_PROBLEMS = 60


def left_out(collection: Collection) -> str:
    r"""Return how many rows and values were left out, in words; empty when none were.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from leavenbench.records.collection import read_collection
    >>> folder = pathlib.Path(tempfile.mkdtemp())
    >>> _ = (folder / "refeeds.csv").write_text("refeed,culture,fed_at\n1,Alba,2025-03-01 08:00\n")
    >>> _ = (folder / "readings.csv").write_text("refeed,elapsed,ph,height\n1,0,41,50\n2,0,5,50\n")
    >>> left_out(read_collection(folder))
    '1 row and 1 value were left out'
    """
    rows = int(collection.counts["rows_left_out"].sum())
    values = int(collection.counts["values_left_out"].sum())
    parts = [_counted(rows, "row"), _counted(values, "value")]
    told = " and ".join(part for part in parts if part)
    return f"{told} {'was' if rows + values == 1 else 'were'} left out" if told else ""


def _counted(number: int, what: str) -> str:
    return f"{number:,} {what}{'s' if number != 1 else ''}" if number else ""


def show_problems(collection: Collection) -> None:
    """Print the problems, and what was kept."""
    found = collection.problems
    for counted in collection.counts.to_dict("records"):
        if counted["rows_in"]:
            say(f"{counted['table']}: {counted['rows_kept']:,} of {counted['rows_in']:,} rows kept")
    if found.empty:
        say("No problems.")
        return
    say()
    told = problems_together(found)
    print_table(told.head(_MOST_PROBLEMS), wide=("where", "what is wrong", "what to do"))
    if len(told) > _MOST_PROBLEMS:
        say(f"... and {len(told) - _MOST_PROBLEMS:,} more lines; the full table: --out problems.csv")
    errors = int((found["severity"] == "error").sum())
    warnings = len(found) - errors
    say()
    say(f"{_counted(errors, 'error') or 'no error'} (left out), {_counted(warnings, 'warning') or 'no warning'} (kept)")


def problems_together(found: pd.DataFrame) -> pd.DataFrame:
    """Put the same problem of many rows of a file on one line; errors first.

    Parameters
    ----------
    found : pandas.DataFrame
        The problems table.

    Returns
    -------
    pandas.DataFrame
        Severity (without a header), where, what is wrong, what to do.
    """
    alike = ["severity", "file", "message", "remedy"]
    if found.empty:
        return pd.DataFrame({"": [], "where": [], "what is wrong": [], "what to do": []}, dtype="str")
    lines = found.fillna({"message": "", "remedy": ""}).groupby(alike, sort=False, as_index=False)["row"].agg(list)
    lines = lines.sort_values("severity", kind="stable")
    return pd.DataFrame(
        {
            "": lines["severity"],
            "where": lines["file"] + lines["row"].map(_rows),
            "what is wrong": lines["message"],
            "what to do": lines["remedy"],
        }
    )


def _rows(rows: list) -> str:
    """Name some rows in words.

    Examples
    --------
    >>> _rows([4]), _rows([4, 9, 12]), _rows([1, 2, 3, 4, 5, 6, 7])
    (' row 4', ' rows 4, 9, 12', ' rows 1, 2, 3, 4, 5 and 2 more')
    """
    known = [str(row) for row in rows if pd.notna(row)]
    if len(known) < 2:
        return "".join(f" row {row}" for row in known)
    more = f" and {len(known) - 5} more" if len(known) > 5 else ""
    return " rows " + ", ".join(known[:5]) + more


def show_curves(curves: pd.DataFrame) -> None:
    """Print what became of the curves, by signal and status, and each culture's latest."""
    say(f"{len(curves):,} curves: one per refeed and signal")
    if curves.empty:
        return
    counted = curves.groupby(["signal", "status"], as_index=False).size().rename(columns={"size": "curves"})
    print_table(counted)
    latest = curves[curves["status"].isin(["fitted", "peak not reached", "no activity"])]
    latest = latest.sort_values("fed_at", kind="stable").groupby(["culture", "signal"], as_index=False).tail(1)
    latest = latest.sort_values(["culture", "signal"])
    say()
    say("The latest of each culture, ± standard error; ≥ where it is only 'at least':")
    told = latest[["culture", "step", "signal"]].copy()
    told.insert(1, "fed on", latest["fed_at"].dt.strftime("%Y-%m-%d"))
    for name, header in (("extent", "extent"), ("max_rate", "steepest, per h"), ("lag_h", "lag")):
        told[header] = [_trait(row, name) for row in latest.to_dict("records")]
    print_table(told, wide=("culture",))


def _trait(row: dict, name: str) -> str:
    """Write a trait with its error and unit; empty where there is none."""
    value, error = row[name], row[f"{name}_se"]
    if pd.isna(value):
        return ""
    unit = "h" if name.endswith("_h") else row["unit"]
    digits = {"%": 0, "h": 2, "pH": 2}[unit]
    bound = "≥ " if name in row["lower_bounds"].split(", ") else ""
    return f"{bound}{value:.{digits}f}" + (f" ± {error:.{digits}f}" if pd.notna(error) else "") + f" {unit}"


def show_watch_list(
    listed: pd.DataFrame, months: pd.DataFrame, collection: Collection, as_of: dt.date, *, given: bool
) -> None:
    """Print the watch list: the shelf as a whole where it falls, those that need something, then the rest by name."""
    source = "" if given or not len(collection["refeeds"]) else ", the day of the last sound record"
    say(f"{collection.settings.title}: watch list of {as_of}{source}")
    counted = listed["standing"].value_counts()
    told = ", ".join(f"{counted[name]} {name}" for name in counted.index) or "nothing was recorded yet"
    say(f"{_counted(len(listed), 'living culture') or 'no living culture'}: {told}")
    if not DIAL[0] <= collection.settings.false_alerts <= DIAL[-1]:
        say(f"false_alerts is held to the range {DIAL[0]:g} to {DIAL[-1]:g}")
    for month in months.tail(1)[months["falling"].tail(1).to_numpy(bool)].itertuples():
        words = f"the whole shelf is falling, {month.change_per_round_pct:+.1f} % a round in {month.month}"
        say(f"{words}: look for what all jars share (flour, water, warmth, probe) before you judge any one of them")
    speaking = listed[(listed["standing"] != "steady") | (listed["evidence"] != "")]
    if len(speaking):
        say()
        print_table(_for_the_shelf(speaking, two_years(collection.settings.round_days)), wide=("culture",))
        say()
        for culture, evidence in speaking[["culture", "evidence"]].itertuples(index=False):
            say_indented(f"{culture}: {evidence}")
    quiet = listed.drop(speaking.index)
    if len(quiet):
        say()
        say("Steady, nothing to say: " + ", ".join(sorted(quiet["culture"])))
    if len(listed):
        dial = min(max(collection.settings.false_alerts, DIAL[0]), DIAL[1])
        say()
        told = listed.attrs["calibrated"]
        say(f"Set for {dial:g} false alerts per 100 healthy culture-years (threshold: {told}).")


def _for_the_shelf(listed: pd.DataFrame, cap: float) -> pd.DataFrame:
    vigour = [
        _vigour(*row) for row in listed[["vigour_pct", "vigour_low_pct", "vigour_high_pct"]].itertuples(index=False)
    ]
    left = [
        "" if pd.isna(low) else _rounds(low, high, cap)
        for low, high in listed[["rounds_left_low", "rounds_left_high"]].itertuples(index=False)
    ]
    return pd.DataFrame(
        {
            "rank": listed["rank"],
            "culture": listed["culture"],
            "standing": listed["standing"],
            "vigour %": vigour,
            "rounds left": left,
            "act by": listed["act_by"].dt.strftime("%Y-%m-%d"),
        }
    )


def _vigour(level: float, low: float, high: float) -> str:
    if pd.isna(level):
        return ""
    return f"{level:.0f} ({low:.0f}-{high:.0f})" if level > LEAST_PCT + 0.5 else f"under {LEAST_PCT:.0f}"


def _rounds(low: float, high: float, cap: float) -> str:
    if low >= cap:
        return "over 2 years"
    if high < 0.5:
        return "none left"
    return f"{low:.0f} or more" if high >= cap else f"{low:.0f} to {high:.0f}"
