"""Full tables to files: written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from pathlib import Path

import pandas as pd

from ..errors import CannotRead, Refused

_SUFFIXES = (".csv", ".xlsx", ".parquet")


def check_target(target: Path, folder: Path) -> None:
    """Refuse a file that a table cannot be saved to, before any work is done.

    Parameters
    ----------
    target : pathlib.Path
        Where the table is to go.
    folder : pathlib.Path
        The collection's folder, in which nothing is written.

    Raises
    ------
    Refused
        It lies inside the collection's folder.
    CannotRead
        Its ending is unknown, or its folder is not there.
    """
    if target.suffix.lower() not in _SUFFIXES:
        raise CannotRead(f"'{target.name}' must end in {', '.join(_SUFFIXES)}.")
    if target.resolve().is_relative_to(folder.resolve()):
        raise Refused(f"'{target}' lies inside the collection's folder, where nothing is written. Give another place.")
    if target.is_dir() or not target.resolve().parent.is_dir():
        raise CannotRead(f"'{target}' cannot be written: there is no folder '{target.resolve().parent}'.")


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
    _replace_whole(target, lambda path: write[target.suffix.lower()](table, path))


def _replace_whole(target: Path, write: Callable[[Path], None]) -> None:
    handle, name = tempfile.mkstemp(dir=target.resolve().parent, prefix=f".{target.name}.", suffix=target.suffix)
    os.close(handle)
    aside = Path(name)
    try:
        write(aside)
        with aside.open("rb+") as written:
            os.fsync(written.fileno())
        aside.chmod(0o666 & ~_umask())
        aside.replace(target)
    except OSError as error:
        raise CannotRead(f"'{target}' cannot be written ({error.strerror}).") from error
    finally:
        aside.unlink(missing_ok=True)


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
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    book = openpyxl.Workbook(write_only=True)
    page = book.create_sheet(sheet)
    page.freeze_panes = "A2"
    page.append(list(table.columns))
    rows = as_written(table).astype(object)
    for row in rows.where(rows.notna(), None).itertuples(index=False):
        cells = []
        for value in row:
            if isinstance(value, str):  # text that begins with = stays text
                cell = WriteOnlyCell(page, ILLEGAL_CHARACTERS_RE.sub("", value))
                cell.data_type = "s"
                cells.append(cell)
            else:
                cells.append(value)
        page.append(cells)
    book.save(path)
