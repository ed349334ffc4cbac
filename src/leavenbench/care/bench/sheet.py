"""One bench sheet: one step of a round, jar by jar, with its own identity."""

from __future__ import annotations

import datetime as dt
import hashlib
import re
from dataclasses import dataclass

import pandas as pd

#: What of each jar is printed and hashed: who tampers with it makes another sheet.
PRINTED = ("position", "culture", "seed_g", "flour_g", "water_g", "lot", "vessel")


@dataclass(frozen=True)
class BenchSheet:
    """One step of a round on the bench.

    Attributes
    ----------
    identity : str
        DATE-GROUP-sSTEP-HASH.
    title : str
        The collection's.
    day : datetime.date
        When it is to be fed.
    group : str
        The group, or 'all' or 'extra'.
    step : int
        Step of the round.
    rows : pandas.DataFrame
        The columns of ``RESULTS["bench_sheet"]``, in the order of work.
    hours : tuple of float
        Usual reading hours since feeding [h].
    bands : pandas.DataFrame
        The columns of ``RESULTS["expected_band"]``, heights in mm where the height at the start can be told.
    flour : pandas.DataFrame
        What to bring from the store: lot, mass_g, jars, so_far_g (the running total of the round's steps).
    room_degC : float
        How warm the rooms usually are at this time of the year [degC]; the bands hold there.
    cautions : tuple of str
        What is due to be said.
    """

    identity: str
    title: str
    day: dt.date
    group: str
    step: int
    rows: pd.DataFrame
    hours: tuple[float, ...]
    bands: pd.DataFrame
    flour: pd.DataFrame
    room_degC: float
    cautions: tuple[str, ...]

    def _repr_html_(self) -> str:
        return f"<b>{self.identity}</b>{self.rows.to_html(index=False)}"


def identity_of(title: str, day: dt.date, group: str, step: int, rows: pd.DataFrame) -> str:
    """Return the identity of a sheet: its date, group and step, and a hash of the title and of the rows.

    Parameters
    ----------
    title : str
        The collection's.
    day : datetime.date
        When it is to be fed.
    group : str
        The group.
    step : int
        Step of the round.
    rows : pandas.DataFrame
        With the columns in `PRINTED`, numbers or texts.

    Returns
    -------
    str

    Examples
    --------
    >>> masses = {"seed_g": 20.0, "flour_g": "40", "water_g": 40}
    >>> row = {"position": 1, "culture": "Alba", **masses, "lot": "", "vessel": "a"}
    >>> identity_of("Our shelf", dt.date(2025, 3, 1), "B 2", 1, pd.DataFrame([row]))
    '2025-03-01-B2-s1-8c4f9d3c'
    """
    lines = [title, f"{day:%Y-%m-%d}", group, str(step)]
    lines += ["\x1f".join(_plain(cell) for cell in row) for row in rows[list(PRINTED)].itertuples(index=False)]
    told = hashlib.sha256("\x1e".join(lines).encode()).hexdigest()[:8]
    return f"{day:%Y-%m-%d}-{plain_group(group)}-s{step}-{told}"


def plain_group(group: str) -> str:
    """Return a group's name as it can stand in the name of a folder."""
    return re.sub(r"[\W_]+", "", group) or "all"


def _plain(cell: object) -> str:
    """Write a cell in the one way in which it can be written, whatever a spreadsheet did to it."""
    if cell is None or pd.isna(cell):
        return ""
    try:
        return f"{float(cell):.10g}"  # type: ignore[arg-type]
    except (TypeError, ValueError):
        return str(cell).strip()
