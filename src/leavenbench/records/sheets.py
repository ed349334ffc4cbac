"""One sheet as people keep it, as raw cells: comma, semicolon or tab; workbook; Parquet."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from ..errors import CannotRead
from .grids import as_text
from .source import Source
from .text_files import text_grid
from .texts import distinct
from .workbooks import workbook_grid


@dataclass(frozen=True)
class Sheet:
    """The cells of one sheet, as they stand.

    Attributes
    ----------
    source : Source
        Where it was read.
    header : list of str
        The headers, as typed.
    header_row : int
        The row in which they stand.
    cells : pandas.DataFrame
        One column per header, by position; distinct texts, or the file's own numbers and times.
    rows : numpy.ndarray
        The row number that a spreadsheet shows for each row of `cells`.
    too_long : pandas.Series of bool
        Rows with more cells than there are headers.
    remarks : list of str
        What had to be assumed to read it.
    """

    source: Source
    header: list[str]
    header_row: int
    cells: pd.DataFrame
    rows: np.ndarray
    too_long: pd.Series
    remarks: list[str] = field(default_factory=list)


def read_sheet(source: Source, known: set[str]) -> Sheet:
    """Read one file or sheet.

    Parameters
    ----------
    source : Source
        Where it stands.
    known : set of str
        Headers to expect, without case and spaces; they settle which separator a text file uses.

    Returns
    -------
    Sheet
        Blank rows are left out; row numbers are those that a spreadsheet shows.

    Raises
    ------
    CannotRead
        The file is damaged, locked, or not what its ending says.
    """
    try:
        match source.path.suffix.lower():
            case ".csv":
                return _from_grid(source, *text_grid(source.path, known), may_slip=True)
            case ".xlsx":
                return _from_grid(source, workbook_grid(source), [], may_slip=False)
            case _:
                return _from_parquet(source)
    except CannotRead:
        raise
    except MemoryError:
        raise
    except Exception as error:  # each file library fails in its own ways on a damaged file
        raise CannotRead(f"{source.name} cannot be read ({error}). Open it, save it again, and retry.") from error


def _from_grid(source: Source, grid: pd.DataFrame, remarks: list[str], *, may_slip: bool) -> Sheet:
    """Take the first row that is not blank as the header.

    In text, cells beyond the last header mean that a separator too many has made the others slip.
    """
    rows = enumerate(grid.itertuples(index=False, name=None))  # no more of a long grid is looked at than is needed
    top = next((number for number, row in rows if any(cell.strip() for cell in row)), None)
    if top is None:
        return Sheet(source, [], 1, pd.DataFrame(dtype="str"), np.array([], int), pd.Series(dtype=bool), remarks)
    header = [str(cell).strip() for cell in grid.iloc[top]]
    width = max(place + 1 for place, name in enumerate(header) if name) if may_slip else len(header)
    body = pd.DataFrame({place: distinct(column) for place, column in grid.iloc[top + 1 :].items()})
    keep = (body != "").any(axis=1).to_numpy()
    body = body if keep.all() else body[keep]
    rows = np.arange(top + 2, top + 2 + len(keep))[keep]
    beyond = (body.iloc[:, width:] != "").any(axis=1)
    cells = body.iloc[:, :width].reset_index(drop=True)
    return Sheet(source, header[:width], top + 1, cells, rows, beyond.reset_index(drop=True), remarks)


def _from_parquet(source: Source) -> Sheet:
    cells = pd.read_parquet(source.path)
    if any(name is not None for name in cells.index.names):
        cells = cells.reset_index()
    header = [str(name) for name in cells.columns]
    cells.columns = pd.RangeIndex(cells.shape[1])
    cells = cells.reset_index(drop=True)
    for place in cells.columns:
        if not _is_typed(cells[place]):
            cells[place] = distinct(cells[place].map(as_text).where(cells[place].notna(), "").astype("str"))
    filled = (cells.notna() & (cells != "")).any(axis=1)
    rows = np.arange(2, 2 + len(cells))[filled.to_numpy()]
    cells = cells[filled].reset_index(drop=True)
    return Sheet(source, header, 1, cells, rows, pd.Series(False, index=cells.index))


def _is_typed(cells: pd.Series) -> bool:
    """Tell whether a Parquet file holds numbers or moments that need no reading."""
    numbers = pd.api.types.is_numeric_dtype(cells) and not pd.api.types.is_bool_dtype(cells)
    return numbers or pd.api.types.is_datetime64_any_dtype(cells)
