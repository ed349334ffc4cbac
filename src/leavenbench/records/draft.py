"""One table while it is being read: its rows, what was typed, what is still kept."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..declaration import Column, Table
from .cells import Finding
from .problems import problems


class Draft:
    """A table in the making.

    Attributes
    ----------
    table : Table
        Its declaration.
    rows : pandas.DataFrame
        ``file``, ``row`` and all declared columns under their inside names.
    typed : pandas.DataFrame
        The same cells as typed, under their bare names, for the problems table.
    kept : pandas.Series of bool
        False for rows that are left out.
    lost : pandas.Series of int
        Cells of each row that went with a column that is left out.
    problems : list of pandas.DataFrame
        What was found.
    """

    def __init__(self, table: Table, rows: pd.DataFrame, typed: pd.DataFrame) -> None:
        self.table = table
        self.rows = rows
        self.typed = typed
        self.kept = pd.Series(True, index=rows.index)
        self.lost = pd.Series(0, index=rows.index)
        self.problems: list[pd.DataFrame] = []

    def copy(self) -> Draft:
        """Return a draft that can go its own way."""
        other = Draft(self.table, self.rows.copy(deep=False), self.typed)
        other.kept, other.lost, other.problems = self.kept.copy(), self.lost.copy(), self.problems.copy()
        return other

    def note(self, finding: Finding, column: str = "") -> None:
        """Add a finding to the problems, without consequence for the rows."""
        if not finding.cells.any():
            return
        cells = finding.cells.fillna(False).astype(bool)
        where = self.rows.loc[cells, ["file", "row"]]
        said, remedy = (
            part[cells] if isinstance(part, pd.Series) else part for part in (finding.message, finding.remedy)
        )
        value = pd.Series("", index=where.index, dtype="str")
        if column in self.typed:
            value = self.typed.loc[cells, column].astype("str").fillna("")
        if column:
            said = (column + " " + value.str.slice(0, 60)).str.strip() + " " + said
        self.problems.append(
            problems(
                self.table.name,
                where["file"],
                where["row"],
                column=column,
                value=value,
                rule=finding.rule,
                severity=finding.severity,
                message=said,
                remedy=remedy,
            )
        )

    def drop_value(self, finding: Finding, column: Column) -> None:
        """Leave a value out; the whole row where it cannot be used without it."""
        self.note(finding, column.name)
        if finding.severity == "error" and finding.cells.any():
            cells = finding.cells.fillna(False).astype(bool)
            self.rows.loc[cells, column.inside] = None
            if column.needed:
                self.kept &= ~cells

    def drop_row(self, finding: Finding, column: str = "") -> None:
        """Leave rows out."""
        self.note(finding, column)
        if finding.cells.any():
            self.kept &= ~finding.cells.fillna(False).astype(bool)

    def forget(self, later: pd.Series) -> None:
        """Take rows out as if they had never been written, with all that was said of them."""
        if self.problems:
            gone = pd.MultiIndex.from_frame(self.rows.loc[later, ["file", "row"]])
            places = [pd.MultiIndex.from_frame(found[["file", "row"]]) for found in self.problems]
            self.problems = [found[~place.isin(gone)] for found, place in zip(self.problems, places, strict=True)]
        self.rows, self.typed = self.rows[~later], self.typed[~later]
        self.kept, self.lost = self.kept[~later], self.lost[~later]

    def untyped(self, columns: list[str], among: pd.Series) -> pd.Series:
        """Tell in which of some rows nothing was typed in any of these columns."""
        untyped = among.copy()
        if not among.any():
            return untyped
        cells = self.typed.loc[among, [name for name in columns if name in self.typed]]
        untyped[among] = (cells.astype("str").fillna("") == "").all(axis=1)
        return untyped

    def at(self, index: pd.Index) -> pd.Series:
        """Tell of every row whether it is one of these."""
        told = np.zeros(len(self.rows), bool)
        told[self.rows.index.get_indexer(index)] = True
        return pd.Series(told, index=self.rows.index)

    def values_left_out(self) -> int:
        """Return how many single values were left out of the rows that are kept."""
        errors = [found.loc[found["severity"] == "error", ["file", "row"]] for found in self.problems]
        with_columns = int(self.lost[self.kept].sum())
        if not any(map(len, errors)):
            return with_columns
        kept = pd.MultiIndex.from_frame(self.rows.loc[self.kept, ["file", "row"]])
        return with_columns + int(pd.MultiIndex.from_frame(pd.concat(errors)).isin(kept).sum())

    def finished(self) -> pd.DataFrame:
        """Return the rows that are kept."""
        rows = self.rows if self.kept.all() else self.rows[self.kept]
        if rows.empty:  # made anew: pandas merges no text column of which nothing at all is left in memory
            return pd.DataFrame({name: pd.Series(dtype=dtype) for name, dtype in rows.dtypes.items()})
        return rows.reset_index(drop=True)
