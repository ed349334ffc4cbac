"""A collection as its folder tells it: tidy tables, and everything that was wrong in them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from ..columns import TABLES
from .as_of import end_of, forget_later
from .doubts import doubt_heights, doubt_unread
from .draft import Draft
from .drafts import Drafts, read_drafts
from .looks import drop_empty, drop_repeats, time_readings
from .problems import gathered
from .rounds import number_rounds, usual_round_days, usual_steps
from .rules import check_keys, check_not_ahead, check_references
from .running import place_readings, runs_until
from .settings import Settings
from .texts import places_in


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
    drafts = read_drafts(folder)
    if as_of is not None:
        forget_later(drafts.tables, end_of(as_of, drafts.settings.timezone))
    return collected(drafts, today)


def collected(drafts: Drafts, today: dt.date | None = None) -> Collection:
    """Check tables against each other, and put together what is kept.

    Parameters
    ----------
    drafts : Drafts
        What was read; it is used up.
    today : datetime.date, optional
        Mark dates that lie ahead of this day.

    Returns
    -------
    Collection
    """
    settings = drafts.settings
    _check(drafts, today)
    tables = {name: draft.finished() for name, draft in drafts.tables.items()}
    tables["refeeds"] = number_rounds(tables["refeeds"], settings.round_gap_h)
    found = [part for draft in drafts.tables.values() for part in draft.problems]
    return Collection(
        folder=drafts.folder,
        settings=_completed(settings, tables["refeeds"]),
        tables=tables,
        present=drafts.present,
        problems=gathered(found + drafts.remarks, list(TABLES)),
        counts=_counts(drafts.tables, drafts.present),
    )


def _check(drafts: Drafts, today: dt.date | None) -> None:
    """Check every table, and place the readings in their refeeds."""
    settings, refeeds, readings = drafts.settings, drafts.tables["refeeds"], drafts.tables["readings"]
    for draft in (drafts.tables[name] for name in drafts.present):
        check_keys(draft)
        check_references(draft, drafts.held)
        if today is not None:
            check_not_ahead(draft, end_of(today, settings.timezone))
    refeeds.rows["purpose"] = refeeds.rows["purpose"].fillna("round")
    running = refeeds.finished()
    running["ends_at"] = runs_until(running)
    named = refeeds.rows["refeed"].dropna().unique()
    left_out = pd.Index(named).difference(running["refeed"])
    place_readings(readings, running, left_out, settings.round_gap_h)
    fed = places_in(running["refeed"], readings.rows["refeed"])
    time_readings(readings, running, fed)
    drop_empty(readings)
    drop_repeats(readings, fed)
    doubt_heights(readings, refeeds, fed)
    doubt_unread(refeeds, fed[readings.kept].unique())


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
