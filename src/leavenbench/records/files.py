"""Which files of a folder hold which table."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from ..columns import TABLES
from .settings import require_folder
from .source import Source, plain
from .workbooks import sheet_names

READABLE = (".csv", ".xlsx", ".parquet")
#: Endings under which people keep tables that cannot be read here.
_FOREIGN = (".xls", ".ods", ".tsv", ".xlsm", ".numbers")
#: An ending of tables as well as of letters; such a file is named only where it bears a table's name.
_WORDS = ".txt"
WORKBOOK = "collection"
TAKEN_IN = "taken_in"


@dataclass(frozen=True)
class Stray:
    """A file or sheet that looks like a table and is none that is known."""

    name: str
    nearest: str
    remedy: str


_BY_PLAIN_NAME = {plain(name): name for name in TABLES}


def nearest_table(name: str) -> str:
    """Return the known table whose name is nearest; empty when none is near."""
    found = difflib.get_close_matches(plain(name), _BY_PLAIN_NAME, 1, 0.75)
    return _BY_PLAIN_NAME[found[0]] if found else ""


def find_tables(folder: Path) -> tuple[list[Source], list[Stray]]:
    """Find every place where a table's rows stand.

    Parameters
    ----------
    folder : pathlib.Path
        The collection's folder.

    Returns
    -------
    sources : list of Source
        In the order in which they are read: by table as declared, then by name.
    strays : list of Stray
        Files, folders and sheets left alone that look like tables.

    Raises
    ------
    CannotRead
        There is no such folder.
    """
    require_folder(folder)
    found = [*_at_the_top(folder), *_taken_in(folder)]
    sources = [one for one in found if isinstance(one, Source)]
    order = list(TABLES)
    return (
        sorted(sources, key=lambda one: order.index(one.table)),
        [one for one in found if isinstance(one, Stray)],
    )


def _visible(folder: Path) -> list[Path]:
    """Everything in a folder but hidden files and the lock files of office programs."""
    return sorted(path for path in folder.iterdir() if not path.name.startswith((".", "~$")))


def _at_the_top(folder: Path) -> Iterator[Source | Stray]:
    for path in _visible(folder):
        if path.is_dir():
            yield from _in_folder(path)
        elif path.stem.casefold() == WORKBOOK and path.suffix.lower() == ".xlsx":
            yield from _in_workbook(path)
        elif path.suffix.lower() in READABLE + _FOREIGN:
            yield _file(path, _BY_PLAIN_NAME.get(plain(path.stem), ""), path.name)
        elif path.suffix.lower() == _WORDS and plain(path.stem) in _BY_PLAIN_NAME:
            yield _file(path, _BY_PLAIN_NAME[plain(path.stem)], path.name)


def _in_folder(path: Path) -> Iterator[Source | Stray]:
    table = _BY_PLAIN_NAME.get(plain(path.name), "")
    tables_inside = [inner for inner in _visible(path) if inner.suffix.lower() in READABLE + _FOREIGN]
    if table:
        yield from (_file(inner, table, f"{path.name}/{inner.name}") for inner in tables_inside)
        for inner in _visible(path):
            if inner.is_dir():
                yield Stray(f"{path.name}/{inner.name}/", table, f"move its files up into {path.name}/")
    elif tables_inside and path.name != TAKEN_IN:
        yield _stray(f"{path.name}/", path.name)


def _in_workbook(path: Path) -> Iterator[Source | Stray]:
    for sheet in sheet_names(path):
        table = _BY_PLAIN_NAME.get(plain(sheet), "")
        name = f"{path.name}:{sheet}"
        yield Source(table, path, name, sheet) if table else _stray(name, sheet)


def _taken_in(folder: Path) -> Iterator[Source | Stray]:
    """Of ``ID``, ``ID.2``, ``ID.3`` only the highest counts: a correction stands beside what it corrects."""
    newest: dict[str, tuple[int, Path]] = {}
    for path in _visible(folder / TAKEN_IN) if (folder / TAKEN_IN).is_dir() else []:
        identity, number = re.fullmatch(r"(.*?)(?:\.([1-9]\d*))?", path.name, re.DOTALL).groups()  # type: ignore[union-attr]
        if path.is_dir() and int(number or 1) >= newest.get(identity, (0, path))[0]:
            newest[identity] = (int(number or 1), path)
    for _, path in newest.values():
        for inner in _visible(path):
            if inner.suffix.lower() == ".csv":
                table = _BY_PLAIN_NAME.get(plain(inner.stem), "")
                yield _file(inner, table, f"{TAKEN_IN}/{path.name}/{inner.name}")


def _file(path: Path, table: str, name: str) -> Source | Stray:
    if not table:
        return _stray(name, path.stem)
    if path.suffix.lower() not in READABLE:
        return Stray(name, table, "save it as .csv or .xlsx; this kind of file is not read")
    return Source(table, path, name)


def _stray(name: str, stem: str) -> Stray:
    near = nearest_table(stem)
    return Stray(name, near, f"rename it to {near} if that is what it is" if near else "nothing, if it is no table")
