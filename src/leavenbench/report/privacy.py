"""A collection as it may be shown: who has not agreed is not in it, in whatever table or column their name stood."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pandas as pd

from ..columns import TABLES
from ..records.collection import Collection
from .secret_words import WITHHELD, Secrets, secrets_in

#: Places that are not to be shown exactly stand in the middle of their field of so many degrees.
GRID_DEG = 1.0
#: What a problem quotes from the tables.
_QUOTING = ("file", "value", "message", "remedy")


def withheld(collection: Collection, *, everyone: bool = False) -> Collection:
    r"""Return a copy of a collection that holds only what may be shown.

    What is computed from the copy is safe by construction.

    Parameters
    ----------
    collection : Collection
        The records.
    everyone : bool
        Withhold the names and contacts of all depositors, also of those who have agreed.

    Returns
    -------
    Collection
        In every text of every table each occurrence of a private depositor's key, full name, surname or contact reads
        'withheld': a depositor is private without a row whose `public` is yes. Names of cultures, lots, refeeds and so
        on stay apart from each other, and the same in all tables. Of a culture whose `public` is not yes the origin is
        withheld wherever it stands, and latitude and longitude are those of the middle of a field of one degree. The
        folder is not named.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from leavenbench.records.collection import read_collection
    >>> folder = pathlib.Path(tempfile.mkdtemp())
    >>> def write(name, text): _ = (folder / f"{name}.csv").write_text(text.replace("|", "\n"))
    >>> write("refeeds", "refeed,culture,fed_at,note|1,Oskell 1,2025-01-02 08:00,as merrit oskell does it|")
    >>> write("readings", "refeed,elapsed,height|1,0,40|")
    >>> write("depositors", "depositor,name,public|D1,\"Oskell, Merrit\",no|")
    >>> withheld(read_collection(folder))["refeeds"][["culture", "note"]].values.tolist()
    [['withheld 1', 'as withheld does it']]
    """
    secrets = secrets_of(collection, everyone=everyone)
    tables = {name: table.copy() for name, table in collection.tables.items()}
    _hide_depositors(tables, everyone)
    _hide_places(tables["cultures"])
    named = _names_apart(tables, secrets)
    for name, table in tables.items():
        for column in _texts_of(name, table):
            known = named.get(_kind_of_name(name, column), {})
            table[column] = _replaced(table[column], secrets, known)
    problems = collection.problems.copy()
    for column in _QUOTING:
        problems[column] = _replaced(problems[column], secrets, {})
    settings = replace(collection.settings, title=secrets.taken_out(collection.settings.title))
    folder = type(collection.folder)(WITHHELD)
    return replace(collection, folder=folder, settings=settings, tables=tables, problems=problems)


def secrets_of(collection: Collection, *, everyone: bool = False) -> Secrets:
    """Return what is not to be shown of a collection's depositors and places.

    Parameters
    ----------
    collection, everyone
        As for `withheld`.

    Returns
    -------
    Secrets
    """
    depositors, cultures = collection["depositors"], collection["cultures"]
    agreed = _agreed(depositors, everyone)
    private = depositors[~agreed]
    known = set(depositors.loc[agreed, "depositor"].dropna())
    without_row = set(cultures["depositor"].dropna()) - known - set(private["depositor"].dropna())
    open_places = set(cultures.loc[_yes(cultures["public"]), "origin"].dropna())
    hidden = cultures[~_yes(cultures["public"])]
    return secrets_in(
        keys=[*private["depositor"].dropna(), *sorted(without_row)],
        names=[*private["name"].dropna(), *sorted(without_row)],
        contacts=private["contact"].dropna(),
        places=[place for place in hidden["origin"].dropna() if place not in open_places],
        numbers=_coordinates(hidden),
    )


def _yes(answers: pd.Series) -> pd.Series:
    return answers.astype("boolean").fillna(False).astype(bool)


def _agreed(depositors: pd.DataFrame, everyone: bool) -> pd.Series:
    return _yes(depositors["public"]) & (not everyone)


def _coordinates(hidden: pd.DataFrame) -> list[str]:
    """Return coordinates as they would give a place away in a text."""
    told = pd.concat([hidden["latitude"], hidden["longitude"]]).dropna().map(lambda value: f"{abs(value):.12g}")
    return list(told.unique())


def _hide_depositors(tables: dict[str, pd.DataFrame], everyone: bool) -> None:
    """Take away name, contact and key of the private, and who gave what."""
    depositors, cultures = tables["depositors"], tables["cultures"]
    private = ~_agreed(depositors, everyone)
    depositors.loc[private, ["name", "contact"]] = pd.NA
    open_keys = set(depositors.loc[~private, "depositor"].dropna())
    depositors.loc[private, "depositor"] = [f"{WITHHELD} {n}" for n in range(1, int(private.sum()) + 1)]
    hidden = cultures["depositor"].notna() & ~cultures["depositor"].isin(open_keys)
    cultures.loc[hidden, "depositor"] = WITHHELD


def _hide_places(cultures: pd.DataFrame) -> None:
    hidden = ~_yes(cultures["public"])
    cultures.loc[hidden & cultures["origin"].notna(), "origin"] = WITHHELD
    for name, highest in (("latitude", 90.0), ("longitude", 180.0)):
        middle = (np.floor(cultures[name] / GRID_DEG) + 0.5) * GRID_DEG
        cultures[name] = cultures[name].mask(hidden, middle.clip(upper=highest - 0.5 * GRID_DEG))


def _texts_of(name: str, table: pd.DataFrame) -> list[str]:
    """Return the columns that hold people's own words: a choice holds one of ours, whoever is called like it."""
    chosen = {column.inside for column in TABLES[name].columns if column.kind == "choice"}
    return [column for column in table.columns if pd.api.types.is_string_dtype(table[column]) and column not in chosen]


def _kind_of_name(table: str, column: str) -> str:
    """Return the table whose rows a column names; empty for a column of words."""
    if (table, column) == ("events", "source"):
        return "backups"  # or words, which stand for themselves
    declared = TABLES[table].by_name.get(column)
    if declared is None:
        return ""
    return table if declared.key or (table, column) == ("probe_checks", "probe") else declared.refers_to


def _names_apart(tables: dict[str, pd.DataFrame], secrets: Secrets) -> dict[str, dict[str, str]]:
    """Return, for each kind of name, what to call those whose name holds a secret: no two alike."""
    held: dict[str, dict[str, None]] = {}
    for name, column, values in _columns_of_names(tables):
        held.setdefault(_kind_of_name(name, column), {}).update(dict.fromkeys(values))
    return {kind: _apart(list(names), secrets) for kind, names in held.items()}


def _columns_of_names(tables: dict[str, pd.DataFrame]) -> Iterator[tuple[str, str, pd.Series]]:
    for name, table in tables.items():
        for column in _texts_of(name, table):
            if _kind_of_name(name, column):
                yield name, column, table[column].dropna().unique()


def _apart(names: list[str], secrets: Secrets) -> dict[str, str]:
    shown = {name: secrets.taken_out(name) for name in names}
    taken = {name for name in names if shown[name] == name}
    for name in names:
        if shown[name] != name:
            wanted, number = shown[name], 1
            while shown[name] in taken:
                number += 1
                shown[name] = f"{wanted} ({number})"
            taken.add(shown[name])
    return shown


def _replaced(column: pd.Series, secrets: Secrets, known: dict[str, str]) -> pd.Series:
    """Return a column with its secrets replaced; each distinct text is looked at once."""
    new = {text: known.get(text) or secrets.taken_out(text) for text in column.dropna().unique()}
    if all(text == shown for text, shown in new.items()):
        return column
    return column.map(new).astype(column.dtype)
