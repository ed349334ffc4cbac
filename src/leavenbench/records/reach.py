"""The day up to which the records of a collection reach."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from ..columns import TABLES
from .as_of import days_of, end_of, forget_later
from .collection import Collection, collected
from .drafts import read_drafts


def last_sound_day(collection: Collection, today: dt.date) -> dt.date:
    """Return the day of the last record that is sound: one not after today.

    Parameters
    ----------
    collection : Collection
        The records.
    today : datetime.date
        A date after it is a slip of the pen.

    Returns
    -------
    datetime.date
        The day of the last record in any table; today where there is none.
    """
    days = days_noted(collection.tables)
    sound = days[days <= pd.Timestamp(today)]
    return sound.max().date() if len(sound) else today


def read_up_to_last_day(folder: str | Path, today: dt.date) -> tuple[Collection, dt.date]:
    """Read a collection up to its last sound day.

    Parameters
    ----------
    folder : str or pathlib.Path
        The collection's folder.
    today : datetime.date
        A date after it is a slip of the pen.

    Returns
    -------
    collection : Collection
        As `read_collection` gives it for that day.
    day : datetime.date
        The day.
    """
    drafts = read_drafts(folder)
    as_they_stand = drafts.copy()
    collection = collected(drafts)
    day = last_sound_day(collection, today)
    if forget_later(as_they_stand.tables, end_of(day, collection.settings.timezone)):
        collection = collected(as_they_stand)
    return collection, day


def days_noted(tables: Mapping[str, pd.DataFrame]) -> pd.Series:
    """Return the days on which anything was written down, in the collection's time zone; tables by name."""
    moments = [tables[name][table.moment].dropna() for name, table in TABLES.items() if table.moment]
    days = [days_of(moment) for moment in moments if len(moment)]
    return pd.concat(days, ignore_index=True) if days else pd.Series(dtype="datetime64[us]")
