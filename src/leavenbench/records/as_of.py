"""What was known at the end of a day: later rows are as if they had never been written."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from .arrival import received_by_events
from .draft import Draft
from .texts import at_places, places_in

#: What is told together with a moment, and is not known before it.
_TOLD_WITH = {"cooled_at": ("cold_store", "passed"), "arrived_on": ("arrived_alive",)}
_HOUR, _DAY = pd.Timedelta(hours=1), pd.Timedelta(days=1)


def end_of(day: dt.date, timezone: str) -> pd.Timestamp:
    """Return the last moment of a day in a zone.

    Examples
    --------
    >>> print(end_of(dt.date(2025, 3, 1), "UTC"))
    2025-03-01 23:59:59.999999+00:00
    """
    midnight = pd.Timestamp(day) + _DAY
    # In some zones midnight itself is skipped in spring, or comes twice in autumn.
    return midnight.tz_localize(timezone, ambiguous=True, nonexistent="shift_forward") - pd.Timedelta(microseconds=1)


def days_of(moments: pd.Series) -> pd.Series:
    """Return the days of moments, as midnights without a zone, in the zone that the moments are told in."""
    return moments.dt.tz_localize(None).dt.normalize()


def lies_after(moments: pd.Series, end: pd.Timestamp) -> pd.Series:
    """Tell which days or moments come after the end of a day."""
    return moments > (end.tz_localize(None) if moments.dt.tz is None else end)


def forget_later(drafts: dict[str, Draft], end: pd.Timestamp) -> bool:
    """Take out, in place, what was written down after the end of a day.

    Parameters
    ----------
    drafts : dict of str to Draft
        All tables, their values checked.
    end : pandas.Timestamp
        The end of the day, in the collection's time zone.

    Returns
    -------
    bool
        Whether there was anything.
    """
    fed_at = _fed_at(drafts["refeeds"].rows, end)
    came = received_by_events(drafts["events"].rows)
    anything = False
    for draft in drafts.values():
        later = _written_after(draft, fed_at, end)
        if draft.table.name == "cultures":
            later |= _came_after(draft.rows, came, end)
        if later.any():
            draft.forget(later)
            anything = True
        anything |= _forget_later_cells(draft, end)
    return anything


def _fed_at(refeeds: pd.DataFrame, end: pd.Timestamp) -> pd.Series:
    """Return when each refeed was fed, by name; of a name used twice the first that is not later counts."""
    named = refeeds.dropna(subset="refeed")
    named = named.loc[lies_after(named["fed_at"], end).sort_values(kind="stable").index]
    return named.drop_duplicates("refeed").set_index("refeed")["fed_at"]


def _written_after(draft: Draft, fed_at: pd.Series, end: pd.Timestamp) -> pd.Series:
    rows, moment = draft.rows, draft.table.moment
    later = lies_after(rows[moment], end) if moment else pd.Series(False, index=rows.index)
    if "refeed" not in rows or draft.table.key:
        return later
    fed = at_places(fed_at, places_in(fed_at.index, rows["refeed"]))
    if draft.table.name == "readings":
        # The smear line, which has no time of its own, is read next morning.
        later = lies_after((fed + rows["elapsed_h"] * _HOUR).fillna(rows["read_at"]).fillna(fed + _DAY), end)
    return later | lies_after(fed, end)


def _came_after(cultures: pd.DataFrame, came: pd.Series, end: pd.Timestamp) -> pd.Series:
    """Tell which cultures came later by the events, where no day of receipt stands in their row."""
    by_events = pd.Series(came.reindex(cultures["culture"]).array, cultures.index)
    return cultures["received"].isna() & lies_after(by_events, end)


def _forget_later_cells(draft: Draft, end: pd.Timestamp) -> bool:
    """Empty the cells of rows that stay which were filled in later; tell whether there were any."""
    anything = False
    for column in draft.table.columns:
        if column.kind not in ("date", "time") or column.ahead:
            continue
        later = lies_after(draft.rows[column.inside], end)
        if later.any():
            cells = [column.inside, *_TOLD_WITH.get(column.name, ())]
            draft.rows = draft.rows.assign(**{name: draft.rows[name].mask(later) for name in cells})
            anything = True
    return anything
