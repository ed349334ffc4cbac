"""When cultures came, as far as the events alone tell it."""

from __future__ import annotations

import pandas as pd

#: Events that end a culture's time in the collection, and those that begin it, for the first time or again.
ENDS, BEGINS = ("lost", "withdrawn"), ("received", "restored")


def received_by_events(events: pd.DataFrame) -> pd.Series:
    """Return the day on which each culture was received, where that is the first thing that its events tell.

    One that was lost or restored before had been there already.

    Examples
    --------
    >>> told = {"culture": ["A", "B", "B"], "kind": ["received", "lost", "received"]}
    >>> days = pd.to_datetime(["2024-03-01", "2024-01-01", "2024-02-01"])
    >>> received_by_events(pd.DataFrame(told | {"happened_on": days})).to_dict()
    {'A': Timestamp('2024-03-01 00:00:00')}
    """
    telling = events[events["kind"].isin(ENDS + BEGINS)].dropna(subset=["culture", "happened_on"])
    first = telling.sort_values("happened_on", kind="stable").drop_duplicates("culture")
    return first[first["kind"] == "received"].set_index("culture")["happened_on"]
