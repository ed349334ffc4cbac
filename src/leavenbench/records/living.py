"""Which cultures live, and which of their histories a refeed belongs to."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from .collection import Collection

#: Events that end a culture's time in the collection, and those that begin it again.
_ENDS, _BEGINS = ("lost", "withdrawn"), ("received", "restored")


def cultures_known(collection: Collection) -> pd.Index:
    """Return the cultures of the collection; with no ``cultures`` table, those in ``refeeds``."""
    table = "cultures" if "cultures" in collection.present else "refeeds"
    return pd.Index(collection[table]["culture"].dropna().unique(), name="culture")


def living_cultures(collection: Collection, as_of: dt.date) -> pd.Index:
    """Return the cultures that live at the end of a day.

    Parameters
    ----------
    collection : Collection
        Read up to that day.
    as_of : datetime.date
        The day.

    Returns
    -------
    pandas.Index of str
        Those received by then, and not lost or withdrawn without having been restored.
    """
    known = cultures_known(collection)
    received = collection["cultures"].set_index("culture")["received"].reindex(known)
    there = ~(received > pd.Timestamp(as_of)).to_numpy()
    events = collection["events"]
    telling = events[events["kind"].isin(_ENDS + _BEGINS) & (events["happened_on"] <= pd.Timestamp(as_of))]
    last = telling.sort_values("happened_on", kind="stable").groupby("culture")["kind"].last()
    gone = last.reindex(known).isin(_ENDS).to_numpy()
    return known[there & ~gone]


def history_numbers(collection: Collection, begun_by: tuple[str, ...] = ("restored",)) -> pd.Series:
    """Return the number of the history that each refeed belongs to: lost, then restored, begins a new one.

    Parameters
    ----------
    collection : Collection
        Its refeeds and events.
    begun_by : tuple of str
        The kinds of event that begin a new history.

    Returns
    -------
    pandas.Series of int
        Aligned with the refeeds; 0 for the first history.
    """
    refeeds, events = collection["refeeds"], collection["events"]
    restored = events[events["kind"].isin(begun_by)].dropna(subset="culture")
    numbers = pd.Series(0, index=refeeds.index)
    for culture, days in restored.groupby("culture")["happened_on"]:
        own = refeeds["culture"] == culture
        fed_on = refeeds.loc[own, "fed_at"].dt.tz_localize(None)
        numbers[own] = np.searchsorted(np.sort(days.to_numpy()), fed_on.to_numpy(), side="right")
    return numbers
