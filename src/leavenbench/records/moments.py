"""Days and moments as people write them, in the collection's time zone."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace

import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from .cells import Finding, as_words, cast_all, is_nothing, read_once

_CLOCK = r"(\d{1,2})[:.h](\d{2})(?:[:.](\d{2})(?:[.,]\d+)?)?\s*([ap])?\.?(?:m\.?)?"
_NUMERIC = re.compile(rf"(\d{{1,4}})\s?[-/.]\s?(\d{{1,2}})\s?[-/.]\s?(\d{{1,4}})\.?(?:[T,\s]+{_CLOCK})?", re.I)
_DAY_NAMED = re.compile(rf"(\d{{1,2}})[\s.-]*([a-z]{{3,9}})[\s.,-]*(\d{{2,4}})(?:[T,\s]+{_CLOCK})?", re.I)
_NAMED_DAY = re.compile(rf"([a-z]{{3,9}})\.?\s+(\d{{1,2}})(?:st|nd|rd|th)?,?\s+(\d{{4}})(?:[T,\s]+{_CLOCK})?", re.I)
_SERIAL = re.compile(r"[2-7]\d{4}(?:\.\d+)?")
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_ISO = r"\d{4}-\d{2}-\d{2}(?:[T ]\d{2}:\d{2}(?::\d{2}(?:\.\d{1,9})?)?)?"
#: Bytes of a cell that is empty, or such a day or time without a fraction of a second.
_ISO_LENGTHS = (0, 10, 16, 19)
_OFFSET = _ISO + r" ?(?:[Zz]|[+-]\d{2}(?::?\d{2})?)"
_TIME_OF_DAY = r"\d[:h]\d\d|[T ]\d\d?[:.h]\d\d"
_EARLIEST, _LATEST = 1500, 2200

_MESSAGES = {
    "ambiguous date": ("may be day/month or month/day", 'write it as 2025-04-03, or set date_order = "dmy"'),
    "date": ("is not a date", "write it as 2025-04-03"),
    "date and time": ("is not a date and time", "write it as 2025-04-03 08:30"),
    "impossible date": ("is no day or time that exists", "look it up and write it as 2025-04-03 08:30"),
}


def read_days(raw: pd.Series, date_order: str) -> tuple[pd.Series, list[Finding]]:
    """Return days, as midnights without a zone.

    Parameters
    ----------
    raw : pandas.Series
        Cells, text or times.
    date_order : str
        ymd, dmy, mdy or empty.

    Returns
    -------
    days : pandas.Series of datetime64[us]
        Missing where nothing can be used.
    findings : list of Finding
        What could not be read.
    """
    if pd.api.types.is_datetime64_any_dtype(raw):
        local = raw.dt.tz_localize(None) if raw.dt.tz is not None else raw
        return local.dt.normalize().astype("datetime64[us]"), []
    read, findings = _read(raw, date_order, "date")
    as_written = pd.to_datetime(raw.where(read["aware"].notna()).astype("str").str.strip().str.slice(0, 10))
    return read["clock"].fillna(as_written.astype("datetime64[us]")).dt.normalize(), findings


def read_moments(
    raw: pd.Series, date_order: str, timezone: str, series: pd.Series | pd.DataFrame
) -> tuple[pd.Series, list[Finding]]:
    """Return moments in the collection's time zone.

    Parameters
    ----------
    raw : pandas.Series
        Cells, text or times; without an offset they are the zone's clock times.
    date_order : str
        ymd, dmy, mdy or empty.
    timezone : str
        The zone's IANA name.
    series : pandas.Series or pandas.DataFrame
        What the rows belong to; rows of one series that run backwards through the hour that autumn repeats
        tell which of the two hours they mean.

    Returns
    -------
    moments : pandas.Series of datetime64[us, timezone]
        Missing where nothing can be used.
    findings : list of Finding
        What could not be read, and what had to be assumed.
    """
    if pd.api.types.is_datetime64_any_dtype(raw):
        if raw.dt.tz is not None:
            return raw.astype("datetime64[us, UTC]").dt.tz_convert(timezone), []
        return _localised(raw.astype("datetime64[us]"), timezone, series)
    read, findings = read_once(raw, lambda texts: _read_timed(texts, date_order))
    moments, doubtful = _localised(read["clock"], timezone, series)
    return moments.fillna(read["aware"].dt.tz_convert(timezone)), findings + doubtful


def _read_timed(raw: pd.Series, date_order: str) -> tuple[pd.DataFrame, list[Finding]]:
    """Read text that should tell a time of day; say where it tells none."""
    read, findings = _read(raw, date_order, "date and time")
    midnight = read["clock"] == read["clock"].dt.normalize()
    if not midnight.any():
        return read, findings
    dated_only = midnight.copy()
    dated_only[midnight] = ~raw[midnight].astype("str").str.contains(_TIME_OF_DAY, na=False)
    assumed = "has no time of day; midnight is assumed", "add the time, as in 2025-04-03 08:30"
    return read, [*findings, Finding(dated_only, "time of day", *assumed, severity="warning")]


def _read(raw: pd.Series, date_order: str, rule: str) -> tuple[pd.DataFrame, list[Finding]]:
    """Read text into clock times (`clock`), and into moments where it carries an offset (`aware`)."""
    text, clock = raw, _read_plain(raw)
    if clock is None:
        text = as_words(raw)
        clock = _read_iso(text.where(text.str.fullmatch(_ISO)))
    read = pd.DataFrame({"clock": clock, "aware": pd.Series(pd.NaT, index=text.index, dtype="datetime64[us, UTC]")})
    findings: list[Finding] = []
    rest = text[clock.isna() & (text != "")]
    if len(rest):
        others, findings = _read_rest(rest, date_order, rule)
        read = read.fillna(others)
        findings = [replace(it, cells=it.cells.reindex(text.index, fill_value=False)) for it in findings]
    far = _is_far(read["clock"]) | _is_far(read["aware"])
    if not far.any():
        return read, findings
    return read.mask(far), [*findings, Finding(far, "impossible date", *_MESSAGES["impossible date"])]


def _read_plain(text: pd.Series) -> pd.Series | None:
    """Read text many times as fast, where every cell is a day or a clock time in ISO 8601, or empty."""
    if not pd.api.types.is_string_dtype(text):
        return None
    lengths = pc.binary_length(pa.array(text))
    return cast_all(text, pa.timestamp("us")) if pc.all(pc.is_in(lengths, pa.array(_ISO_LENGTHS))).as_py() else None


def _read_iso(text: pd.Series) -> pd.Series:
    """Read what is in ISO 8601; a day that does not exist comes back as missing."""
    try:  # several times as fast, where every day exists
        return text.astype("timestamp[us][pyarrow]").astype("datetime64[us]")
    except pa.ArrowInvalid:
        return pd.to_datetime(text, format="ISO8601", errors="coerce").astype("datetime64[us]")


def _read_rest(text: pd.Series, date_order: str, rule: str) -> tuple[pd.DataFrame, list[Finding]]:
    """Read what is no plain clock time in ISO 8601: with an offset, or as people write it."""
    offset = text.where(text.str.fullmatch(_OFFSET)).str.replace(" ?([Zz+-])", r"\1", regex=True)
    aware = pd.to_datetime(offset, format="ISO8601", errors="coerce", utc=True).astype("datetime64[us, UTC]")
    odd = text[aware.isna() & ~is_nothing(text)]
    cells = {cell: _read_one(cell, date_order, rule) for cell in odd.unique()}
    days = {cell: found for cell, found in cells.items() if isinstance(found, dt.datetime)}
    clock = odd.map(days).astype("datetime64[us]").reindex(text.index)
    broken = odd.map({cell: found for cell, found in cells.items() if isinstance(found, str)}).reindex(text.index)
    findings = [Finding(broken == rule, rule, *said) for rule, said in _MESSAGES.items()]
    serial = text.str.fullmatch(_SERIAL) & clock.notna() & ~_is_far(clock)
    assumed = "is a spreadsheet's number for a day, and is read as one", "format the cell as a date"
    findings.append(Finding(serial, "date", *assumed, severity="warning"))
    return pd.DataFrame({"clock": clock, "aware": aware}), findings


def _is_far(moments: pd.Series) -> pd.Series:
    first, last = (pd.Timestamp(year, 1, 1, tz=moments.dt.tz) for year in (_EARLIEST, _LATEST + 1))
    return (moments < first) | (moments >= last)


def _read_one(cell: str, date_order: str, rule: str) -> dt.datetime | str:
    """Read one cell that is not ISO 8601; what cannot be read comes back as the rule it breaks."""
    if _SERIAL.fullmatch(cell):
        moment = dt.datetime(1899, 12, 30) + dt.timedelta(days=float(cell))
        return (moment + dt.timedelta(milliseconds=500)).replace(microsecond=0)
    if found := _NUMERIC.fullmatch(cell):
        first, second, third, *clock = found.groups()
        day = _ordered(first, second, third, date_order)
    elif found := _DAY_NAMED.fullmatch(cell):
        number, month, year, *clock = found.groups()
        day = _named(year, month, number)
    elif found := _NAMED_DAY.fullmatch(cell):
        month, number, year, *clock = found.groups()
        day = _named(year, month, number)
    else:
        return rule
    if isinstance(day, str):
        return rule if day == "date" else day
    try:
        return dt.datetime(*day) + _time_of_day(*clock)
    except ValueError:
        return "impossible date"


def _ordered(first: str, second: str, third: str, date_order: str) -> tuple[int, int, int] | str:
    """Put the three numbers of a date in the order year, month, day."""
    if len(first) >= 3:
        return int(first), int(second), int(third)
    if len(third) == 3:
        return "impossible date"
    if date_order == "ymd" and len(third) <= 2:
        return _full_year(first), int(second), int(third)
    if date_order not in ("dmy", "mdy"):
        if len(third) <= 2 or (int(first) <= 12 and int(second) <= 12 and int(first) != int(second)):
            return "ambiguous date"
        date_order = "dmy" if int(second) <= 12 else "mdy"
    day, month = (first, second) if date_order == "dmy" else (second, first)
    return _full_year(third), int(month), int(day)


def _named(year: str, month: str, day: str) -> tuple[int, int, int] | str:
    short = month[:3].casefold()
    return (_full_year(year), _MONTHS.index(short) + 1, int(day)) if short in _MONTHS else "date"


def _full_year(year: str) -> int:
    return int(year) if len(year) > 2 else 2000 + int(year)


def _time_of_day(hour: str | None, minute: str | None, second: str | None, half: str | None) -> dt.timedelta:
    if hour is None or minute is None:
        return dt.timedelta(0)
    h = int(hour)
    if half:
        if not 1 <= h <= 12:
            raise ValueError("no such hour")
        h = h % 12 + (12 if half.casefold() == "p" else 0)
    clock = dt.time(h, int(minute), int(second or 0))
    return dt.timedelta(hours=clock.hour, minutes=clock.minute, seconds=clock.second)


def _localised(clock: pd.Series, timezone: str, series: pd.Series) -> tuple[pd.Series, list[Finding]]:
    """Place clock times in their zone, through the hour that spring skips and the one that autumn repeats."""
    strict = clock.dt.tz_localize(timezone, ambiguous="NaT", nonexistent="NaT")
    unsure = clock.notna() & strict.isna()
    if not unsure.any():
        return strict, []
    first = clock[unsure].dt.tz_localize(timezone, ambiguous=True, nonexistent="NaT")
    skipped = unsure.copy()
    skipped[unsure] = first.isna()
    twice = unsure & ~skipped
    # Within one series and night, the second hour begins where the clock jumps back; but a clock that jumps back
    # more than once tells only that the rows stand in another order.
    own = pd.DataFrame(series)[twice].astype("str").fillna("")
    night = [*(own[name] for name in own), clock[twice].dt.normalize()]
    jumped = clock[twice].groupby(night).diff() <= pd.Timedelta(0)
    resolved = jumped.groupby(night).transform("sum") == 1
    second = (jumped.groupby(night).cumsum() > 0) & resolved
    forward = clock[unsure].dt.tz_localize(
        timezone,
        ambiguous=(~second.reindex(clock.index[unsure], fill_value=False)).to_numpy(),
        nonexistent=pd.Timedelta(hours=1),
    )
    moments = strict.copy()
    moments[unsure] = forward
    untold = twice.copy()
    untold[twice] = ~resolved
    return moments, [
        Finding(
            untold,
            "repeated hour",
            "falls in the hour that the end of summer time repeats; the first is taken",
            "add the offset, as in 2025-10-26 02:30+02:00, if it was the second",
            severity="warning",
        ),
        Finding(
            skipped,
            "skipped hour",
            "falls in the hour that the start of summer time skips; an hour is added",
            "correct the time, or add the offset",
            severity="warning",
        ),
    ]
