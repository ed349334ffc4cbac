"""What was taken in from a sheet before, and what it would change now."""

from __future__ import annotations

import io
import re
from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from ...columns import TABLES
from ...records.files import TAKEN_IN

#: How rows of each table are told apart.
_KEYS = {"refeeds": ["refeed"], "readings": ["refeed", "read_at"], "refeed_flours": ["refeed", "lot"]}


def as_files(tables: Mapping[str, pd.DataFrame]) -> dict[str, bytes]:
    """Write tables as a collection keeps them: units in the headers, times with their offset, empty columns left out.

    Parameters
    ----------
    tables : mapping of str to pandas.DataFrame
        Under inside names.

    Returns
    -------
    dict of str to bytes
        By the file's name; a table without a row is left out, but for refeeds and readings.
    """
    files = {}
    for name, rows in tables.items():
        kept = {"refeeds": ("refeed", "culture", "fed_at"), "readings": ("refeed", "read_at")}.get(name, ())
        if not len(rows) and not kept:
            continue
        made = {}
        for column in TABLES[name].columns:
            values = rows[column.inside]
            if column.name in kept or values.notna().any():
                made[column.header] = _written(values)
        files[f"{name}.csv"] = pd.DataFrame(made).to_csv(index=False, lineterminator="\n").encode()
    return files


def _written(values: pd.Series) -> pd.Series:
    if isinstance(values.dtype, pd.DatetimeTZDtype):
        return values.map(lambda moment: moment.isoformat(timespec="minutes"), na_action="ignore").astype("str")
    if pd.api.types.is_bool_dtype(values):
        return values.map({True: "yes", False: "no"}).astype("str")
    if pd.api.types.is_float_dtype(values):
        return values.map(lambda number: f"{number:.10g}", na_action="ignore").astype("str")
    return values


def newest(folder: Path, identity: str) -> tuple[int, dict[str, bytes]]:
    """Return the number of the newest folder that a sheet was taken in to, and its files; 0 where there is none."""
    taken = folder / TAKEN_IN
    number, newest_path = 0, None
    for path in taken.iterdir() if taken.is_dir() else ():
        told = re.fullmatch(rf"{re.escape(identity)}(?:\.([1-9]\d*))?", path.name)
        if told and path.is_dir() and int(told[1] or 1) > number:
            number, newest_path = int(told[1] or 1), path
    files = {} if newest_path is None else {path.name: path.read_bytes() for path in newest_path.glob("*.csv")}
    return number, files


def kept_of(files: Mapping[str, bytes], refeeds: frozenset[str]) -> dict[str, pd.DataFrame]:
    """Return the rows, as texts, that some refeeds have in files taken in before."""
    found = {}
    for name in _KEYS:
        table = _texts(files, name)
        found[name] = table[table["refeed"].isin(refeeds)] if len(table) else table
    return found


def with_kept(files: Mapping[str, bytes], kept: Mapping[str, pd.DataFrame]) -> dict[str, bytes]:
    """Put rows of earlier files back among new ones."""
    made = dict(files)
    for name, rows in kept.items():
        if len(rows):
            together = pd.concat([_texts(files, name), rows], ignore_index=True).fillna("")
            made[f"{name}.csv"] = together.to_csv(index=False, lineterminator="\n").encode()
    return made


def changes_between(before: Mapping[str, bytes], now: Mapping[str, bytes]) -> pd.DataFrame:
    """Return what files change of those taken in before.

    Parameters
    ----------
    before, now : mapping of str to bytes
        Files of one sheet.

    Returns
    -------
    pandas.DataFrame
        One row per cell that differs: table, refeed, what (column, or the whole row), was, becomes; `was` is empty
        where something is added.
    """
    rows = []
    for name, keys in _KEYS.items():
        old, new = (_by_key(_texts(files, name), keys) for files in (before, now))
        for key in [*old, *(key for key in new if key not in old)]:
            was, becomes = old.get(key, {}), new.get(key, {})
            where = key[0] if len(key) == 1 else f"{key[0]} at {key[1]}"
            for column in dict.fromkeys([*was, *becomes]):
                if was.get(column, "") != becomes.get(column, ""):
                    told = (name, where, column, was.get(column, ""), becomes.get(column, ""), not was, key[0])
                    rows.append(told)
    table = pd.DataFrame(rows, columns=["table", "refeed", "what", "was", "becomes", "added", "of"])
    return table.astype({"added": bool})


def only_adds(changes: pd.DataFrame, before: Mapping[str, bytes]) -> bool:
    """Tell whether nothing that was taken in changes: only jars that were open on the sheet come to it."""
    there = set(_texts(before, "refeeds").get("refeed", ()))
    return not changes["of"].isin(there).any()


def _texts(files: Mapping[str, bytes], name: str) -> pd.DataFrame:
    content = files.get(f"{name}.csv")
    if content is None:
        return pd.DataFrame({key: pd.Series(dtype="str") for key in _KEYS[name]})
    return pd.read_csv(io.BytesIO(content), dtype="str", keep_default_na=False)


def _by_key(table: pd.DataFrame, keys: list[str]) -> dict[tuple[str, ...], dict[str, str]]:
    return {tuple(row[key] for key in keys): row for row in table.to_dict("records")}
