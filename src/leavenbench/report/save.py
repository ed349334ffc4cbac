"""Files written whole or not at all: full tables, and whatever else goes to a file."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from pathlib import Path

import pandas as pd

from ..errors import CannotRead, Refused
from .workbook_bytes import append_table, write_book

#: What a table's file may end in.
TABLES = (".csv", ".xlsx", ".parquet")


def check_target(target: Path, folder: Path, endings: tuple[str, ...] = TABLES) -> None:
    """Refuse a file that cannot be written, before any work is done.

    Parameters
    ----------
    target : pathlib.Path
        Where the work is to go.
    folder : pathlib.Path
        The collection's folder, in which nothing is written.
    endings : tuple of str
        What the file may end in.

    Raises
    ------
    Refused
        It lies inside the collection's folder.
    CannotRead
        Its ending is unknown, or its folder is not there.
    """
    check_ending(target, endings)
    if target.resolve().is_relative_to(folder.resolve()):
        raise Refused(f"'{target}' lies inside the collection's folder, where nothing is written. Give another place.")
    if target.is_dir() or not target.resolve().parent.is_dir():
        raise CannotRead(f"'{target}' cannot be written: there is no folder '{target.resolve().parent}'.")


def check_ending(target: Path, endings: tuple[str, ...]) -> str:
    """Return how a file's name ends, in small letters; raise `CannotRead` where that is none of `endings`."""
    ending = target.suffix.lower()
    if ending not in endings:
        raise CannotRead(f"'{target.name}' must end in {', '.join(endings)}.")
    return ending


def save_table(table: pd.DataFrame, target: Path, sheet: str) -> None:
    """Save a table, replacing the file whole or not at all.

    Parameters
    ----------
    table : pandas.DataFrame
        Any table of the package.
    target : pathlib.Path
        By its ending a .csv, .xlsx or .parquet file; times are ISO 8601 with offset.
    sheet : str
        Name of the sheet in a workbook.
    """
    write = {".csv": _write_csv, ".xlsx": lambda made, path: _write_xlsx(made, path, sheet), ".parquet": _write_parquet}
    write_whole(target, lambda path: write[target.suffix.lower()](table, path), replacing=True)


def write_whole(target: Path, write: Callable[[Path], None], *, replacing: bool) -> None:
    """Write a file aside and put it in place whole; when that fails, nothing has changed and nothing is left behind.

    Parameters
    ----------
    target : pathlib.Path
        Where the file is to stand.
    write : callable
        Writes it to the path that it is given.
    replacing : bool
        Whether a file that stands there is replaced.

    Raises
    ------
    Refused
        Something stands there and is not to be replaced, even if it came to stand there meanwhile.
    CannotRead
        It cannot be written there.
    """
    if not replacing:
        refuse_existing(target)
    aside = None
    try:
        handle, name = tempfile.mkstemp(dir=target.resolve().parent, prefix=f".{target.name}.", suffix=target.suffix)
        os.close(handle)
        aside = Path(name)
        write(aside)
        with aside.open("rb+") as written:
            os.fsync(written.fileno())
        aside.chmod(0o666 & ~_umask())
        if replacing:
            aside.replace(target)
        else:
            _put_new(aside, target)
    except OSError as error:
        raise CannotRead(f"'{target}' cannot be written ({error.strerror}).") from error
    finally:
        if aside is not None:
            aside.unlink(missing_ok=True)


def _put_new(aside: Path, target: Path) -> None:
    """Put a file where none stands, whoever else may be writing there."""
    try:
        target.hardlink_to(aside)
    except FileExistsError as error:
        raise _there_already(target) from error
    except OSError:  # some file systems know no links: take the name first
        try:
            target.open("x").close()
        except FileExistsError as error:
            raise _there_already(target) from error
        try:
            aside.replace(target)
        except OSError:
            target.unlink()
            raise


def refuse_existing(target: Path) -> None:
    """Raise `Refused` where anything has that name, be it a link to nowhere."""
    if os.path.lexists(target):
        raise _there_already(target)


def _there_already(target: Path) -> Refused:
    return Refused(f"'{target}' exists and is not overwritten. Give another name, or move it away.")


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def as_written(table: pd.DataFrame) -> pd.DataFrame:
    """Return a table with times as ISO 8601 text with offset, days as dates, and yes and no.

    Examples
    --------
    >>> made = pd.DataFrame({"day": pd.to_datetime(["2025-03-01"]), "passed": pd.array([True], "boolean")})
    >>> as_written(made).iloc[0].tolist()
    ['2025-03-01', 'yes']
    """
    written = table.copy()
    for name in table.columns:
        column = table[name]
        if isinstance(column.dtype, pd.DatetimeTZDtype):
            written[name] = column.map(lambda moment: moment.isoformat(), na_action="ignore").astype("str")
        elif pd.api.types.is_datetime64_any_dtype(column):
            written[name] = column.dt.strftime("%Y-%m-%d").astype("str")
        elif pd.api.types.is_bool_dtype(column):
            written[name] = column.map({True: "yes", False: "no"}).astype("str")
    return written


def _write_csv(table: pd.DataFrame, path: Path) -> None:
    as_written(table).to_csv(path, index=False, lineterminator="\n")


def _write_parquet(table: pd.DataFrame, path: Path) -> None:
    table.to_parquet(path, index=False)


def _write_xlsx(table: pd.DataFrame, path: Path, sheet: str) -> None:
    import openpyxl

    book = openpyxl.Workbook(write_only=True)
    page = book.create_sheet(sheet)
    page.freeze_panes = "A2"
    append_table(page, as_written(table))
    write_book(book, path)
