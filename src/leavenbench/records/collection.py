"""A collection as its folder tells it: tidy tables, and everything that was wrong in them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from ..columns import NEEDED_TABLES, TABLES
from ..errors import CannotRead
from .as_of import end_of, forget_later
from .doubts import doubt_heights, doubt_unread
from .draft import Draft
from .files import Source, Stray, find_tables
from .looks import drop_empty, drop_repeats, time_readings
from .problems import COLLECTION, gathered, problems
from .rounds import number_rounds, usual_round_days, usual_steps
from .rules import check_keys, check_not_ahead, check_ranges, check_references, names_held
from .running import place_readings, runs_until
from .settings import FILE, Settings, read_settings
from .tables import draft_table


@dataclass(frozen=True)
class Collection:
    """A collection of cultures, as far as it was written down.

    Attributes
    ----------
    folder : pathlib.Path
        Where it is kept.
    settings : Settings
        What it says about itself; what it does not say comes from the records.
    tables : mapping of str to pandas.DataFrame
        Every table of `leavenbench.columns.TABLES` under inside names, with ``file`` and ``row``; empty where the
        collection has none.
    present : tuple of str
        The tables that it has; one without a row is as good as absent.
    problems : pandas.DataFrame
        Everything that is wrong or doubtful.
    counts : pandas.DataFrame
        For each table: rows_in, rows_kept, rows_left_out, and values_left_out of the rows kept.
    """

    folder: Path
    settings: Settings
    tables: Mapping[str, pd.DataFrame]
    present: tuple[str, ...]
    problems: pd.DataFrame
    counts: pd.DataFrame

    def __getitem__(self, table: str) -> pd.DataFrame:
        return self.tables[table]

    def _repr_html_(self) -> str:
        return f"<b>{len(self.counts)} tables</b>{self.counts.to_html(index=False)}"


def read_collection(folder: str | Path, *, as_of: dt.date | None = None, today: dt.date | None = None) -> Collection:
    r"""Read a collection's folder, with all the faults in it in one table.

    Parameters
    ----------
    folder : str or pathlib.Path
        A folder of tables as people keep them in spreadsheets.
    as_of : datetime.date, optional
        Read only what was written down up to the end of this day.
    today : datetime.date, optional
        Mark dates that lie ahead of this day.

    Returns
    -------
    Collection
        For each table, rows in are rows kept and rows left out.

    Raises
    ------
    CannotRead
        A needed table or column is missing, or a file is damaged.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> folder = pathlib.Path(tempfile.mkdtemp())
    >>> _ = (folder / "refeeds.csv").write_text("refeed;culture;fed_at\n1;Alba;2025-03-01 08:00\n")
    >>> _ = (folder / "readings.csv").write_text("refeed;elapsed;height [cm]\n1;0;4,5\n1;6;11,0\n")
    >>> read_collection(folder)["readings"][["refeed", "elapsed_h", "height_mm"]]
      refeed  elapsed_h  height_mm
    0      1        0.0       45.0
    1      1        6.0      110.0
    """
    folder = Path(folder)
    sources, strays = find_tables(folder)
    settings, unknown_keys = read_settings(folder)
    _require_tables(sources, strays)
    drafts = {
        name: draft_table(table, [one for one in sources if one.table == name], settings)
        for name, table in TABLES.items()
    }
    present = tuple(name for name in TABLES if name in NEEDED_TABLES or len(drafts[name].rows))
    _check(drafts, present, settings, as_of, today)
    tables = {name: draft.finished() for name, draft in drafts.items()}
    tables["refeeds"] = number_rounds(tables["refeeds"], settings.round_gap_h)
    found = [part for draft in drafts.values() for part in draft.problems]
    found += [_unknown_key(*pair) for pair in unknown_keys] + [_stray(stray) for stray in strays]
    return Collection(
        folder=folder,
        settings=_completed(settings, tables["refeeds"]),
        tables=tables,
        present=present,
        problems=gathered(found, list(TABLES)),
        counts=_counts(drafts, present),
    )


def _require_tables(sources: list[Source], strays: list[Stray]) -> None:
    for name in NEEDED_TABLES:
        if not any(source.table == name for source in sources):
            lying = [f" {stray.name} lies there: {stray.remedy}." for stray in strays if stray.nearest == name]
            raise CannotRead(
                f"There is no table '{name}' ({name}.csv, .xlsx or .parquet).{''.join(lying)} "
                "Add it, or make an empty collection with: leavenbench new FOLDER"
            )


def _check(
    drafts: dict[str, Draft],
    present: tuple[str, ...],
    settings: Settings,
    as_of: dt.date | None,
    today: dt.date | None,
) -> None:
    """Check every table, and place the readings in their refeeds."""
    held = names_held({name: drafts[name] for name in present})
    refeeds, readings = drafts["refeeds"], drafts["readings"]
    for name in present:
        check_ranges(drafts[name])
    if as_of is not None:
        forget_later(drafts, end_of(as_of, settings.timezone))
    for name in present:
        check_keys(drafts[name])
        check_references(drafts[name], held)
        if today is not None:
            check_not_ahead(drafts[name], end_of(today, settings.timezone))
    refeeds.rows["purpose"] = refeeds.rows["purpose"].fillna("round")
    running = refeeds.finished()
    running["ends_at"] = runs_until(running)
    named = refeeds.rows["refeed"].dropna().unique()
    left_out = pd.Index(named).difference(running["refeed"])
    place_readings(readings, running, left_out, settings.round_gap_h)
    time_readings(readings, running)
    drop_empty(readings)
    drop_repeats(readings)
    doubt_heights(readings, refeeds)
    doubt_unread(refeeds, pd.Index(readings.finished()["refeed"].unique()))


def _completed(settings: Settings, refeeds: pd.DataFrame) -> Settings:
    """Take from the records what the collection does not say about itself."""
    return replace(
        settings,
        round_days=settings.round_days or usual_round_days(refeeds),
        steps_per_round=settings.steps_per_round or usual_steps(refeeds),
    )


def _counts(drafts: dict[str, Draft], present: tuple[str, ...]) -> pd.DataFrame:
    counted = [
        {
            "table": name,
            "rows_in": len(drafts[name].kept),
            "rows_kept": int(drafts[name].kept.sum()),
            "rows_left_out": int((~drafts[name].kept).sum()),
            "values_left_out": drafts[name].values_left_out(),
        }
        for name in present
    ]
    return pd.DataFrame(counted, columns=["table", "rows_in", "rows_kept", "rows_left_out", "values_left_out"])


def _unknown_key(key: str, near: str) -> pd.DataFrame:
    remedy = f"write {near} if that is meant" if near else "take it out"
    return problems(
        COLLECTION,
        FILE,
        pd.Series([pd.NA], dtype="Int64"),
        column=key,
        value=key,
        rule="known setting",
        severity="warning",
        message=f"the setting {key} is unknown and left alone",
        remedy=remedy,
    )


def _stray(stray: Stray) -> pd.DataFrame:
    return problems(
        COLLECTION,
        stray.name,
        pd.Series([pd.NA], dtype="Int64"),
        value=stray.name,
        rule="known table",
        severity="warning",
        message=f"{stray.name} is no table that can be read, and is left alone",
        remedy=stray.remedy,
    )
