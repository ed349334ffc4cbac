"""The watch list of every past month, and what became of those on it: the shelf's own record of warnings."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

import numpy as np
import pandas as pd

from ..columns import RESULTS
from ..records.collection import Collection
from ..vigour.split_feeding import split_feedings
from .stood import Shelf, stood_on
from .watch_list import judge, outlook_of

_HISTORY, _RECORD = RESULTS["watch_history"], RESULTS["warnings"]
_STOOD = ["as_of", "culture", "standing", "vigour_pct", "vigour_low_pct", "vigour_high_pct"]
_ALERTS = ("urgent", "slipping")
#: A culture that was lost or rescued within so many months of an alert was warned of; one that was lost without any
#: alert in the months before was missed.
_MONTHS_AFTER, _MONTHS_BEFORE = 18, 12
#: What the records call the end of a culture that weakened.
_WENT_WRONG = ("lost", "rescued")


def watch_history(
    collection: Collection,
    curves: pd.DataFrame,
    vigour: pd.DataFrame,
    as_of: dt.date,
    progress: Callable[[int, int], object] | None = None,
) -> pd.DataFrame:
    """Return how every culture stood at the end of each past month.

    Curves, vigour, what the shelf shared and the threshold are those of today's records; standings look back only.

    Parameters
    ----------
    collection, curves, vigour : Collection, pandas.DataFrame, pandas.DataFrame
        The records, read up to the end of that day, and their tables.
    as_of : datetime.date
        The day; the last month counts up to it.
    progress : callable, optional
        Called with how many months are done, and how many there are.

    Returns
    -------
    pandas.DataFrame
        One row per month and culture that lived at its end.
    """
    shelf, split = Shelf.of(collection, curves, outlook_of(collection, vigour)), split_feedings(collection)
    days = _month_ends(collection, as_of)
    told = []
    for number, day in enumerate(days, start=1):
        told.append(judge(shelf, vigour, day, split if day == as_of else {}))
        if progress is not None:
            progress(number, len(days))
    table = pd.concat(told, ignore_index=True) if told else pd.DataFrame(columns=_HISTORY.names)
    return table[_HISTORY.names].astype(_HISTORY.dtypes(collection.settings.timezone))


def standing_history(
    collection: Collection, curves: pd.DataFrame, vigour: pd.DataFrame, as_of: dt.date
) -> pd.DataFrame:
    """Return how every culture stood at the end of each past month, in the few columns that a record of warnings needs.

    Parameters
    ----------
    collection, curves, vigour, as_of
        As for `watch_history`.

    Returns
    -------
    pandas.DataFrame
        The same rows, of the same columns those of the standing and the level: a fraction of the work.
    """
    shelf = Shelf.of(collection, curves, outlook_of(collection, vigour))
    told = [stood_on(shelf, day)[_STOOD] for day in _month_ends(collection, as_of)]
    table = pd.concat(told, ignore_index=True) if told else pd.DataFrame(columns=_STOOD)
    dtypes = _HISTORY.dtypes(collection.settings.timezone)
    return table.astype({name: dtypes[name] for name in _STOOD})


def _month_ends(collection: Collection, as_of: dt.date) -> list[dt.date]:
    """Return the last day of every month of the records; of the last one the day asked for."""
    fed = collection["refeeds"]["fed_at"]
    if fed.empty:
        return []
    first = fed.min().tz_localize(None).to_period("M")
    months = pd.period_range(first, pd.Timestamp(as_of).to_period("M"), freq="M")
    return [min(month.end_time.date(), as_of) for month in months]


def warnings_of(history: pd.DataFrame, collection: Collection) -> pd.DataFrame:
    """Return the record of warnings: each alert, and each culture lost without one.

    Parameters
    ----------
    history : pandas.DataFrame
        As from `watch_history`.
    collection : Collection
        The records, for what happened and for half strength.

    Returns
    -------
    pandas.DataFrame
        One row per warning or miss: culture, warned_on, over_on, standing (the gravest), lowest_pct, outcome, ended_on.
        The outcome is 'caught' (lost or rescued within 18 months, or it came under half strength), 'open' (still on
        the list), 'passed over' (it left the list without harm: a false alert, or a dip that healed) or 'missed' (lost
        as far as the records tell, without an alert in the twelve months before).
    """
    events, half_pct = collection["events"], collection.settings.half_strength_pct
    went = events[events["kind"].isin(_WENT_WRONG) & events["culture"].notna()]
    now, rows = history["as_of"].max(), []
    for culture, own in history.groupby("culture"):
        ends = np.sort(went.loc[went["culture"] == culture, "happened_on"].to_numpy("datetime64[D]"))
        warned = _warnings(own.sort_values("as_of", kind="stable"), ends, half_pct, now)
        rows += [{"culture": culture, **row} for row in [*warned, *_missed(own, warned, went, culture)]]
    table = pd.DataFrame(rows, columns=_RECORD.names)
    return table.astype(_RECORD.dtypes()).sort_values(["warned_on", "culture"], kind="stable", ignore_index=True)


def _warnings(own: pd.DataFrame, ends: np.ndarray, half_pct: float, now: pd.Timestamp) -> list[dict[str, object]]:
    """Return the alerts of one culture."""
    on = own["standing"].isin(_ALERTS)
    found: list[dict[str, object]] = []
    month = own["as_of"].dt.year * 12 + own["as_of"].dt.month
    begins = (on != on.shift()) | (month.diff() != 1)  # a culture that was away comes back as another
    for _, months in own[on].groupby(begins.cumsum()[on]):
        warned, last = months["as_of"].iloc[0], months["as_of"].iloc[-1]
        open_still = last == now
        until = np.datetime64(warned + pd.DateOffset(months=_MONTHS_AFTER), "D")
        ended = ends[(ends >= np.datetime64(warned, "D")) & (ends <= until)]
        caught = bool(len(ended)) or bool((months["vigour_pct"] < half_pct).any())
        found.append(
            {
                "warned_on": warned,
                "over_on": pd.NaT if open_still else last,
                "standing": "urgent" if (months["standing"] == "urgent").any() else "slipping",
                "lowest_pct": months["vigour_pct"].min(),
                "outcome": "caught" if caught else "open" if open_still else "passed over",
                "ended_on": ended[0] if len(ended) else pd.NaT,
            }
        )
    return found


def _missed(
    own: pd.DataFrame, warned: list[dict[str, object]], went: pd.DataFrame, culture: object
) -> list[dict[str, object]]:
    """Return the losses of one culture that no alert had come before."""
    lost = went[(went["culture"] == culture) & (went["kind"] == "lost")]["happened_on"]
    found: list[dict[str, object]] = []
    for day in lost:
        before = own[own["as_of"] <= day]
        lately = before[before["as_of"] > day - pd.DateOffset(months=_MONTHS_BEFORE)]
        if len(before) and not lately["standing"].isin(_ALERTS).any():
            pct = lately["vigour_pct"].min()
            found.append({"standing": "", "lowest_pct": pct, "outcome": "missed", "ended_on": day})
    return found
