"""Clock times as people write them, and the day on which each of them was."""

from __future__ import annotations

import datetime as dt
import re

_COLON = re.compile(r"(\d{1,2})\s*[:.,hH]\s*(\d{2})(?:[:.](\d{2})(?:\.\d+)?)?\s*([aApP])?\.?(?:[mM]\.?)?(?:\s*h)?")
_FOUR = re.compile(r"(\d{2})(\d{2})\s*h?")
_SHARE_OF_DAY = re.compile(r"0?[.,]\d{2,}")


def clock_time(text: str) -> dt.time | None:
    """Read a time of day.

    Parameters
    ----------
    text : str
        As 8:15, 08.15, 8h15, 0815, 8:15 pm, or the share of a day that a spreadsheet makes of it.

    Returns
    -------
    datetime.time or None
        None where it is no time of day.

    Examples
    --------
    >>> clock_time("8h15"), clock_time("0815"), clock_time("8.15 pm"), clock_time("0.34375"), clock_time("25:00")
    (datetime.time(8, 15), datetime.time(8, 15), datetime.time(20, 15), datetime.time(8, 15), None)
    """
    text = text.strip()
    if _SHARE_OF_DAY.fullmatch(text) and len(text) > 4:
        minutes = round(float(text.replace(",", ".")) * 24 * 60)
        return dt.time(minutes // 60 % 24, minutes % 60)
    found = _COLON.fullmatch(text) or _FOUR.fullmatch(text)
    if not found:
        return None
    hour, minute, second, half = (*found.groups(default=""), "", "")[:4]
    try:
        clock = dt.time(int(hour), int(minute), int(second or 0))
    except ValueError:
        return None
    if half and not 1 <= clock.hour <= 12:
        return None
    return clock.replace(hour=clock.hour % 12 + (12 if half.casefold() == "p" else 0)) if half else clock


def moment_after(text: str, before: dt.datetime) -> dt.datetime | None:
    """Read a clock time as the first moment from another on at which the clock shows it; or a day and time as such.

    Parameters
    ----------
    text : str
        A time of day, or a day and a time as 2025-03-01 08:15.
    before : datetime.datetime
        The moment from which on it is looked for.

    Returns
    -------
    datetime.datetime or None
        None where it is no time.

    Examples
    --------
    >>> fed = dt.datetime(2025, 3, 1, 9, 0)
    >>> str(moment_after("8:30", fed)), str(moment_after("17:00", fed)), str(moment_after("2025-03-02 07:00", fed))
    ('2025-03-02 08:30:00', '2025-03-01 17:00:00', '2025-03-02 07:00:00')
    """
    try:
        return dt.datetime.fromisoformat(text.strip()).replace(tzinfo=None)
    except ValueError:
        pass
    clock = clock_time(text)
    if clock is None:
        return None
    same_day = dt.datetime.combine(before.date(), clock)
    return same_day if same_day >= before.replace(second=0, microsecond=0) else same_day + dt.timedelta(days=1)
