"""Tables as people keep them: some in a text file, some in a spreadsheet, some as a logger writes them."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

import pandas as pd

from ...columns import TABLES
from ...declaration import Column
from ...errors import Refused
from ...units import to_canonical

_AS_WRITTEN = {"time": "%Y-%m-%d %H:%M", "date": "%Y-%m-%d"}


@dataclass(frozen=True)
class Sheet:
    """One file of a collection, and how its writer keeps it.

    Attributes
    ----------
    file : str
        Path within the folder; its first part names the table, its ending (.csv, .xlsx, .parquet) the format.
    rows : callable, optional
        ``rows(table)``: which rows stand in this file, as a boolean Series; without it all do.
    columns : tuple of str
        Bare names of the columns kept; without any, all of the table.
    units : mapping of str to str
        Units in which columns are kept, by bare name; these stand in the header in square brackets.
    separator, decimal : str
        Of a .csv.
    byte_order_mark : bool
        Whether a .csv begins with one, as spreadsheets write it.
    of : str
        The table, where the file's name does not say it: one sheet of a workbook that holds several.
    """

    file: str
    rows: Callable[[pd.DataFrame], pd.Series] | None = None
    columns: tuple[str, ...] = ()
    units: Mapping[str, str] = field(default_factory=dict)
    separator: str = ","
    decimal: str = "."
    byte_order_mark: bool = False
    of: str = ""

    @property
    def table(self) -> str:
        """The table that the file belongs to."""
        return self.of or PurePosixPath(self.file).parts[0].split(".")[0]


def write_collection(
    tables: Mapping[str, pd.DataFrame],
    folder: Path | str,
    sheets: Sequence[Sheet] | None = None,
    settings: Mapping[str, str | float] | None = None,
) -> list[Path]:
    """Write a collection's folder.

    Parameters
    ----------
    tables : mapping of str to pandas.DataFrame
        Tables under their bare column names, in canonical units, times local and without a zone.
    folder : path
        Where to write; made if it is not there.
    sheets : sequence of Sheet, optional
        The files; without any, each table is one .csv.
    settings : mapping of str to str or float, optional
        What stands in ``collection.toml``.

    Returns
    -------
    list of pathlib.Path
        The files written.

    Raises
    ------
    Refused
        The folder holds something already.
    ValueError
        A row would be written twice or nowhere.

    Examples
    --------
    >>> import tempfile
    >>> fed = pd.DataFrame({"refeed": ["R1"], "culture": ["Ash"], "flour": [40.0]})
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     (file,) = write_collection({"refeeds": fed}, folder)
    ...     file.name, file.read_text(encoding="utf-8").splitlines()
    ('refeeds.csv', ['refeed,culture,flour', 'R1,Ash,40'])
    """
    folder = Path(folder)
    if folder.exists() and any(folder.iterdir()):
        raise Refused(f"{folder} is not empty; name a new folder, so that nothing is overwritten")
    if sheets is None:
        sheets = [Sheet(f"{name}.csv") for name in tables]
    _check_each_row_once(tables, sheets)
    folder.mkdir(parents=True, exist_ok=True)
    files = []
    if settings:
        files.append(folder / "collection.toml")
        lines = [f"{key} = {json.dumps(value, ensure_ascii=False)}\n" for key, value in settings.items()]
        _write_text(files[-1], "".join(lines))
    for name in dict.fromkeys(sheet.file for sheet in sheets):
        files.append(folder / name)
        files[-1].parent.mkdir(parents=True, exist_ok=True)
        _write([sheet for sheet in sheets if sheet.file == name], tables, files[-1])
    return files


def _check_each_row_once(tables: Mapping[str, pd.DataFrame], sheets: Sequence[Sheet]) -> None:
    for name, table in tables.items():
        times = pd.Series(0, index=table.index)
        for sheet in sheets:
            if sheet.table == name:
                times += _chosen(table, sheet)
        wrong = int((times != 1).sum())
        if wrong:
            raise ValueError(f"{wrong} rows of {name} would stand in no file, or in more than one")


def _chosen(table: pd.DataFrame, sheet: Sheet) -> pd.Series:
    return pd.Series(True, index=table.index) if sheet.rows is None else sheet.rows(table)


def _kept(table: pd.DataFrame, sheet: Sheet) -> pd.DataFrame:
    """Return the rows and columns of a file, in the units of its writer, under its headers."""
    kept = table.loc[_chosen(table, sheet), list(sheet.columns or table.columns)].reset_index(drop=True)
    for name, unit in sheet.units.items():
        canonical = TABLES[sheet.table].by_name[name].unit
        kept[name] = to_canonical(kept[name].to_numpy(), canonical, unit).round(6)
    return kept


def _write(sheets: Sequence[Sheet], tables: Mapping[str, pd.DataFrame], file: Path) -> None:
    if file.suffix == ".xlsx":
        with pd.ExcelWriter(file) as book:
            for sheet in sheets:
                _headed(_kept(tables[sheet.table], sheet), sheet).to_excel(book, sheet_name=sheet.table, index=False)
        return
    (sheet,) = sheets
    kept = _kept(tables[sheet.table], sheet)
    if file.suffix == ".parquet":
        _headed(kept, sheet).to_parquet(file, index=False)
    else:
        declared = TABLES[sheet.table].by_name
        typed = pd.DataFrame({name: _typed(kept[name], declared[name], sheet.decimal) for name in kept})
        text = _headed(typed, sheet).to_csv(index=False, sep=sheet.separator, lineterminator="\n")
        _write_text(file, text, byte_order_mark=sheet.byte_order_mark)


def _headed(kept: pd.DataFrame, sheet: Sheet) -> pd.DataFrame:
    return kept.rename(columns={name: f"{name} [{unit}]" for name, unit in sheet.units.items()})


def _typed(values: pd.Series, column: Column, decimal: str) -> pd.Series:
    """Return values as text, with no more decimals than they have."""
    if column.kind in _AS_WRITTEN:
        return values.dt.strftime(_AS_WRITTEN[column.kind])
    if column.kind in ("number", "whole"):
        return values.map(lambda value: f"{value:.10g}".replace(".", decimal), na_action="ignore")
    return values


def _write_text(file: Path, text: str, *, byte_order_mark: bool = False) -> None:
    file.write_bytes(text.encode("utf-8-sig" if byte_order_mark else "utf-8"))
