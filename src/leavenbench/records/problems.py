"""Everything that is wrong or doubtful in the tables, gathered in one pass as one table."""

from __future__ import annotations

import pandas as pd

from ..columns import RESULTS

_PROBLEMS = RESULTS["problems"]
#: The table's name in problems that belong to no single table.
COLLECTION = "collection"


def no_problems() -> pd.DataFrame:
    """Return the problems table with nothing in it."""
    return pd.DataFrame(columns=_PROBLEMS.names).astype(_PROBLEMS.dtypes())


def problems(
    table: str,
    file: str | pd.Series,
    row: int | pd.Series,
    *,
    rule: str,
    message: str | pd.Series,
    remedy: str | pd.Series,
    severity: str,
    column: str = "",
    value: str | pd.Series = "",
) -> pd.DataFrame:
    """Return problems of one kind, one row for each place.

    Parameters
    ----------
    table, column : str
        Where, by bare names.
    file, row : Series, or str and int
        Which file, and the row that a spreadsheet shows.
    rule, message, remedy, value : str or Series
        What is broken, what is wrong, what to do, what stands there.
    severity : str
        error when something was left out, warning when all was kept.

    Returns
    -------
    pandas.DataFrame
        The columns of the problems table.
    """
    index = row.index if isinstance(row, pd.Series) else pd.RangeIndex(1)
    made = {
        "table": table, "file": file, "row": row, "column": column, "value": value,
        "rule": rule, "severity": severity, "message": message, "remedy": remedy,
    }  # fmt: skip
    return pd.DataFrame(made, index=index, columns=_PROBLEMS.names).astype(_PROBLEMS.dtypes())


def gathered(found: list[pd.DataFrame], order: list[str]) -> pd.DataFrame:
    """Put all problems into one table, in the order of tables, files and rows."""
    filled = [part for part in found if len(part)]
    if not filled:
        return no_problems()
    everything = pd.concat(filled, ignore_index=True)
    place = everything["table"].map({name: number for number, name in enumerate(order)}).fillna(-1)
    everything = everything.assign(place=place).sort_values(["place", "file", "row"], kind="stable")
    # An unknown column is named once, though a hundred logger files may have it.
    again = (everything["rule"] == "known column") & everything.duplicated(["table", "rule", "value"])
    return everything[~again].drop(columns="place").drop_duplicates(ignore_index=True)
