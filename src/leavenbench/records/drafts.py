"""All tables of a folder as they were read, before they are checked against each other."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from ..columns import NEEDED_TABLES, TABLES
from ..errors import CannotRead
from .draft import Draft
from .files import Source, Stray, find_tables
from .problems import COLLECTION, problems
from .rules import check_ranges, names_held
from .settings import FILE, Settings, read_settings
from .tables import draft_table


@dataclass(frozen=True)
class Drafts:
    """A collection's tables in the making.

    Attributes
    ----------
    folder : pathlib.Path
        Where it is kept.
    settings : Settings
        What it says about itself.
    tables : dict of str to Draft
        Every table of `leavenbench.columns.TABLES`, its values checked by themselves.
    present : tuple of str
        The tables that it has.
    held : dict of str to pandas.Index
        The names that each table holds.
    remarks : list of pandas.DataFrame
        Problems of the folder as a whole.
    """

    folder: Path
    settings: Settings
    tables: dict[str, Draft]
    present: tuple[str, ...]
    held: dict[str, pd.Index]
    remarks: list[pd.DataFrame]

    def copy(self) -> Drafts:
        """Return drafts that can be checked by themselves."""
        return replace(self, tables={name: draft.copy() for name, draft in self.tables.items()})


def read_drafts(folder: str | Path) -> Drafts:
    """Read every file of a collection's folder once.

    Parameters
    ----------
    folder : str or pathlib.Path
        The collection's folder.

    Returns
    -------
    Drafts

    Raises
    ------
    CannotRead
        A needed table or column is missing, or a file is damaged.
    """
    folder = Path(folder)
    sources, strays = find_tables(folder)
    settings, unknown_keys = read_settings(folder)
    _require_tables(sources, strays)
    tables = {
        name: draft_table(table, [one for one in sources if one.table == name], settings)
        for name, table in TABLES.items()
    }
    present = tuple(name for name in TABLES if name in NEEDED_TABLES or len(tables[name].rows))
    for name in present:
        check_ranges(tables[name])
    return Drafts(
        folder=folder,
        settings=settings,
        tables=tables,
        present=present,
        held=names_held({name: tables[name] for name in present}),
        remarks=[_unknown_key(*pair) for pair in unknown_keys] + [_stray(stray) for stray in strays],
    )


def _require_tables(sources: list[Source], strays: list[Stray]) -> None:
    for name in NEEDED_TABLES:
        if not any(source.table == name for source in sources):
            lying = [f" {stray.name} lies there: {stray.remedy}." for stray in strays if stray.nearest == name]
            raise CannotRead(
                f"There is no table '{name}' ({name}.csv, .xlsx or .parquet).{''.join(lying)} "
                "Add it, or make an empty collection with: leavenbench new FOLDER"
            )


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
