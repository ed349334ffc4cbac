"""A collection at the end of a year, as it may be shown, with everything that is computed from it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from ...curves import trace_collection
from ...errors import Refused
from ...records.as_of import end_of, forget_later
from ...records.collection import Collection, collected
from ...records.drafts import read_drafts
from ...records.reach import days_noted
from ...vigour.causes import Causes, vigour_and_causes


@dataclass(frozen=True)
class Reckoned:
    """A collection at the end of a year.

    Attributes
    ----------
    collection : Collection
        Read up to the end of the year.
    curves, vigour : pandas.DataFrame
        Its curves and vigour tables.
    causes : Causes
        What the shelf shared.
    year : int
        The year.
    """

    collection: Collection
    curves: pd.DataFrame
    vigour: pd.DataFrame
    causes: Causes
    year: int

    @property
    def on(self) -> dt.date:
        """The last day of the year."""
        return dt.date(self.year, 12, 31)


def read_year(folder: str | Path, year: int) -> Collection:
    r"""Read a collection up to the end of a year.

    Parameters
    ----------
    folder : str or pathlib.Path
        The collection's folder.
    year : int
        A year between the first and the last day that the records name.

    Returns
    -------
    Collection

    Raises
    ------
    Refused
        The records do not touch the year.
    CannotRead
        A needed table or column is missing, or a file is damaged.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> folder = pathlib.Path(tempfile.mkdtemp())
    >>> _ = (folder / "refeeds.csv").write_text("refeed,culture,fed_at\n1,Alba,2024-03-01 08:00\n")
    >>> _ = (folder / "readings.csv").write_text("refeed,elapsed,height\n1,0,45\n")
    >>> read_year(folder, 2019)
    Traceback (most recent call last):
    leavenbench.errors.Refused: The records do not touch 2019: they reach from 2024 to 2024.
    """
    drafts = read_drafts(folder)
    known = days_noted({name: draft.rows for name, draft in drafts.tables.items()}).dt.year
    if known.empty:
        raise Refused("The records name no day, so there is no year to report on.")
    first, last = int(known.min()), int(known.max())
    if not first <= year <= last:
        raise Refused(f"The records do not touch {year}: they reach from {first} to {last}.", known)
    forget_later(drafts.tables, end_of(dt.date(year, 12, 31), drafts.settings.timezone))
    return collected(drafts)


def reckon(collection: Collection, year: int, progress: Callable[[int, int], None] | None = None) -> Reckoned:
    """Compute curves, vigour and shared causes of a collection that was read up to the end of a year.

    Parameters
    ----------
    collection : Collection
        As from `read_year`, and then `leavenbench.report.privacy.withheld`.
    year : int
        The year.
    progress : callable, optional
        Called with how many curves are done, and how many there are.

    Returns
    -------
    Reckoned
    """
    curves = trace_collection(collection, progress=progress)
    vigour, causes = vigour_and_causes(collection, curves)
    return Reckoned(collection, curves, vigour, causes, year)
