"""The year that is told of: which days lie in it, and how far the records reach into it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import pandas as pd

from ...records.as_of import days_of
from ...records.collection import Collection
from ...records.reach import last_sound_day


@dataclass(frozen=True)
class Period:
    """A year, and the stretch of time in which refeeds were written down.

    Attributes
    ----------
    year : int
        The year.
    records_from, records_until : pandas.Timestamp
        Day of the first refeed, and of the last record of any kind up to the year's end; missing (NaT) without one.
    """

    year: int
    records_from: pd.Timestamp
    records_until: pd.Timestamp

    @classmethod
    def of(cls, collection: Collection, year: int) -> Period:
        """Return the period of a collection read up to the end of a year."""
        fed_on = days_of(collection["refeeds"]["fed_at"])
        until = pd.Timestamp(last_sound_day(collection, dt.date(year, 12, 31)))
        return cls(year, fed_on.min(), until if len(fed_on) else pd.NaT)

    @property
    def first(self) -> pd.Timestamp:
        """The year's first day."""
        return pd.Timestamp(self.year, 1, 1)

    @property
    def last(self) -> pd.Timestamp:
        """The year's last day."""
        return pd.Timestamp(self.year, 12, 31)

    @property
    def eve(self) -> pd.Timestamp:
        """The last day of the year before."""
        return self.first - pd.Timedelta(days=1)

    def holds(self, days: pd.Series) -> pd.Series:
        """Tell which days, without a time zone, lie in the year; a missing one does not."""
        return (days >= self.first) & (days < self.first + pd.DateOffset(years=1))
