"""Mistakes as people type them, planted where it is known."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
import pandas as pd

_Tables = Mapping[str, pd.DataFrame]


def _of_year(rows: pd.DataFrame, moment: str, year: int) -> pd.DataFrame:
    return rows.loc[rows[moment].dt.year == year]


def _lost_point(tables: _Tables, year: int, rng: np.random.Generator) -> tuple[str, int, str, object]:
    """Leave out the decimal point of a pH that was typed with one decimal: 41 for 4.1."""
    readings = _of_year(tables["readings"], "read_at", year)
    tenths = 10.0 * readings["ph"]
    one_decimal = readings.loc[np.isclose(tenths, tenths.round())]
    at = int(rng.choice(one_decimal.index))
    return "readings", at, "ph", round(10.0 * tables["readings"].at[at, "ph"])


def _centimetres(tables: _Tables, year: int, rng: np.random.Generator) -> tuple[str, int, str, object]:
    """Type a height in centimetres into a column of millimetres."""
    readings = _of_year(tables["readings"], "read_at", year)
    by_hand = readings.loc[readings["refeed"].notna() & readings["height"].notna()]
    at = int(rng.choice(by_hand.index))
    return "readings", at, "height", tables["readings"].at[at, "height"] / 10.0


def _wrong_month(tables: _Tables, year: int, rng: np.random.Generator) -> tuple[str, int, str, object]:
    """Write last month's number into the time of a reading."""
    readings = _of_year(tables["readings"], "read_at", year)
    by_hand = readings.loc[readings["refeed"].notna() & (readings["read_at"].dt.month > 1)]
    at = int(rng.choice(by_hand.index))
    return "readings", at, "read_at", tables["readings"].at[at, "read_at"] - pd.DateOffset(months=1)


def _misspelt(tables: _Tables, year: int, rng: np.random.Generator) -> tuple[str, int, str, object]:
    """Leave out the middle letter of a culture's name."""
    at = int(rng.choice(_of_year(tables["refeeds"], "fed_at", year).index))
    name = tables["refeeds"].at[at, "culture"]
    return "refeeds", at, "culture", name[: len(name) // 2] + name[len(name) // 2 + 1 :]


def _number_twice(tables: _Tables, year: int, rng: np.random.Generator) -> tuple[str, int, str, object]:
    """Give a refeed the number of the one before it."""
    at = int(rng.choice(_of_year(tables["refeeds"], "fed_at", year).index[1:]))
    return "refeeds", at, "refeed", tables["refeeds"].at[at - 1, "refeed"]


#: The mistakes known: each chooses a row of a year and says what is typed there: table, row, column, value.
FAULTS: dict[str, Callable[[_Tables, int, np.random.Generator], tuple[str, int, str, object]]] = {
    "decimal point left out": _lost_point,
    "centimetres among millimetres": _centimetres,
    "month before": _wrong_month,
    "name misspelt": _misspelt,
    "refeed number used twice": _number_twice,
}


def plant_faults(
    tables: _Tables, faults: Sequence[tuple[str, int]], rng: np.random.Generator
) -> tuple[dict[str, pd.DataFrame], pd.DataFrame]:
    """Return tables with typing mistakes in them, and the list of what was done.

    Parameters
    ----------
    tables : mapping of str to pandas.DataFrame
        Tables as simulated; not changed. Rows are looked for by their position.
    faults : sequence of (str, int)
        A key of `FAULTS` and the year in which it happens. All are chosen in the tables as they were.
    rng : numpy.random.Generator
        Where chance comes from.

    Returns
    -------
    tables : dict of str to pandas.DataFrame
        With the mistakes.
    planted : pandas.DataFrame
        fault, table, row (position in the table), refeed (as it should be), column, right and typed.
    """
    typed = {name: table.copy() for name, table in tables.items()}
    planted = []
    for fault, year in faults:
        table, at, column, value = FAULTS[fault](tables, year, rng)
        right = tables[table].at[at, column]
        typed[table].at[at, column] = value
        planted.append(
            {
                "fault": fault,
                "table": table,
                "row": at,
                "refeed": tables[table].at[at, "refeed"],
                "column": column,
                "right": right,
                "typed": value,
            }
        )
    return typed, pd.DataFrame(planted, dtype=object)
