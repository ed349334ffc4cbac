"""Which cultures live, and which of their histories a refeed belongs to."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from .arrival import BEGINS, ENDS, received_by_events
from .collection import Collection


def cultures_known(collection: Collection) -> pd.Index:
    """Return the cultures of the collection; with no ``cultures`` table, those in ``refeeds``."""
    table = "cultures" if "cultures" in collection.present else "refeeds"
    return pd.Index(collection[table]["culture"].dropna().unique(), name="culture")


def living_cultures(collection: Collection, as_of: dt.date) -> pd.Index:
    """Return the cultures that live at the end of a day.

    Parameters
    ----------
    collection : Collection
        Read up to that day, or a later one.
    as_of : datetime.date
        The day.

    Returns
    -------
    pandas.Index of str
        Those received by then, by their row or else by their first event, and not lost or withdrawn without having been
        restored.
    """
    known = cultures_known(collection)
    events = collection["events"]
    received = collection["cultures"].set_index("culture")["received"].reindex(known)
    if received.isna().any():
        received = received.fillna(received_by_events(events).reindex(known))
    there = ~(received > pd.Timestamp(as_of)).to_numpy()
    telling = events[events["kind"].isin(ENDS + BEGINS) & (events["happened_on"] <= pd.Timestamp(as_of))]
    last = telling.sort_values("happened_on", kind="stable").groupby("culture")["kind"].last()
    gone = last.reindex(known).isin(ENDS).to_numpy()
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
