"""Each reading in its time: hours since feeding, within its refeed, once."""

from __future__ import annotations

import pandas as pd

from .cells import Finding
from .draft import Draft

#: Clock time and hours given for one reading may differ by so much [h].
_AGREE_H = 0.25
#: What a reading may hold at a moment, by inside and by bare names; the smear line is read without a time.
_VALUES = ["height_mm", "volume_mL", "rise_pct", "ph", "temperature_degC", "titration_mL"]
_MARK = "high_mark_mm"
_VALUES_TYPED = ["height", "volume", "rise", "ph", "temperature", "titration", "high_mark"]
_HOUR = pd.Timedelta(hours=1)


def time_readings(readings: Draft, refeeds: pd.DataFrame) -> None:
    """Give every reading its hours since feeding and its clock time, in place.

    Parameters
    ----------
    readings : Draft
        The readings in the making, each with its refeed.
    refeeds : pandas.DataFrame
        The refeeds that are kept, with ``ends_at``, the moment until which each runs.
    """
    begun = refeeds.set_index("refeed")[["fed_at", "ends_at"]]
    own = begun.reindex(readings.rows["refeed"]).set_axis(readings.rows.index)
    fed_at, ends_at = own["fed_at"], own["ends_at"]
    _find_elapsed(readings, fed_at)
    _check_within(readings, fed_at, ends_at)


def _find_elapsed(readings: Draft, fed_at: pd.Series) -> None:
    rows = readings.rows
    by_clock = (rows["read_at"] - fed_at) / _HOUR
    elapsed = rows["elapsed_h"]
    differ = readings.kept & ((elapsed - by_clock).abs() > _AGREE_H)
    message = "and read_at disagree; elapsed is used"
    readings.note(Finding(differ, "one time", message, "correct one of them", "warning"), "elapsed")
    rows["elapsed_h"] = elapsed.fillna(by_clock.round(6))
    rows["read_at"] = (fed_at + (rows["elapsed_h"] * _HOUR).dt.round("s")).fillna(rows["read_at"])
    timeless = readings.kept & rows["elapsed_h"].isna() & rows[_VALUES].notna().any(axis=1)
    message = "the row has neither hours since feeding nor a clock time"
    untyped = timeless & readings.untyped(["elapsed", "read_at"])
    readings.note(Finding(untyped, "missing", message, "add elapsed or read_at"))
    readings.kept &= ~timeless


def _check_within(readings: Draft, fed_at: pd.Series, ends_at: pd.Series) -> None:
    """Leave out readings before their feed or after the next one; the smear line may be later."""
    rows = readings.rows
    remedy = "correct the time or the refeed"
    early = readings.kept & (rows["elapsed_h"] < 0)
    _drop(readings, early, "is before its refeed was fed", remedy)
    late = readings.kept & (rows["read_at"] > ends_at)
    marked = rows[_MARK].notna()
    _drop(readings, late & ~marked, "is after the next feeding", remedy)
    measured = late & marked & rows[_VALUES].notna().any(axis=1)
    message = "is after the next feeding; only the smear line is kept"
    readings.note(Finding(measured, "within the refeed", message, remedy), "read_at")
    rows.loc[measured, _VALUES] = None


def _drop(readings: Draft, cells: pd.Series, message: str, remedy: str) -> None:
    """Leave out rows for their time, naming the column in which it was typed."""
    by_clock = readings.untyped(["elapsed"])
    for column, typed in (("read_at", by_clock), ("elapsed", ~by_clock)):
        readings.drop_row(Finding(cells & typed, "within the refeed", message, remedy), column)


def drop_empty(readings: Draft) -> None:
    """Leave out readings with no value left; those whose only value was impossible are already listed."""
    empty = readings.kept & ~readings.rows[[*_VALUES, _MARK]].notna().any(axis=1)
    message = "the row holds no reading"
    untyped = empty & readings.untyped(_VALUES_TYPED)
    readings.note(Finding(untyped, "missing", message, "add height, pH or another value"))
    readings.kept &= ~empty


def drop_repeats(readings: Draft) -> None:
    """Leave out rows identical in every field to an earlier one; mark other values of the same moment."""
    rows = readings.rows[readings.kept]
    moment = ["refeed", "elapsed_h"]
    again = rows[rows.duplicated(moment, keep=False)]
    fields = [name for name in again.columns if name not in ("file", "row")]
    same = again.index[again.duplicated(fields)]
    message = "the row is identical to an earlier one"
    remedy = "nothing, if logger files overlap; else delete one of the two"
    readings.drop_row(Finding(_at(readings, same), "row once", message, remedy))
    others = again.drop(same)
    # Two loggers may share a moment without a contradiction: one reads the height, the other the pH.
    filled = others[[*_VALUES, _MARK]].notna()
    times_read = filled.groupby([others[name] for name in moment], dropna=False).cumsum()
    other = _at(readings, others.index[(filled & (times_read > 1)).any(axis=1)])
    message = "the row is another reading of the same refeed and time, with other values; both are kept"
    readings.note(Finding(other, "one reading", message, "check which one is right", "warning"))


def _at(readings: Draft, index: pd.Index) -> pd.Series:
    return pd.Series(readings.rows.index.isin(index), index=readings.rows.index)
