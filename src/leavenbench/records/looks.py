"""Each reading in its time: hours since feeding, within its refeed, once."""

from __future__ import annotations

import numpy as np
import pandas as pd

from .cells import Finding
from .draft import Draft
from .texts import at_places

#: Clock time and hours given for one reading may differ by so much [h].
_AGREE_H = 0.25
#: What a reading may hold at a moment, by inside and by bare names; the smear line is read without a time.
_VALUES = ["height_mm", "volume_mL", "rise_pct", "ph", "temperature_degC", "titration_mL"]
_MARK = "high_mark_mm"
_VALUES_TYPED = ["height", "volume", "rise", "ph", "temperature", "titration", "high_mark"]
_HOUR = pd.Timedelta(hours=1)


def time_readings(readings: Draft, refeeds: pd.DataFrame, fed: pd.Series) -> None:
    """Give every reading its hours since feeding and its clock time, in place.

    Parameters
    ----------
    readings : Draft
        The readings in the making, each with its refeed.
    refeeds : pandas.DataFrame
        The refeeds that are kept, with ``ends_at``, the moment until which each runs.
    fed : pandas.Series of int
        The place of each reading's refeed among them; -1 where it has none.
    """
    own = at_places(refeeds[["fed_at", "ends_at"]], fed)
    _find_elapsed(readings, own["fed_at"])
    _check_within(readings, own["ends_at"])


def _find_elapsed(readings: Draft, fed_at: pd.Series) -> None:
    rows = readings.rows
    by_clock = (rows["read_at"] - fed_at) / _HOUR
    elapsed = rows["elapsed_h"]
    differ = readings.kept & ((elapsed - by_clock).abs() > _AGREE_H)
    message = "and read_at disagree; elapsed is used"
    readings.note(Finding(differ, "one time", message, "correct one of them", "warning"), "elapsed")
    rows["elapsed_h"] = elapsed.fillna(by_clock.round(6))
    rows["read_at"] = (fed_at + (rows["elapsed_h"] * _HOUR).dt.round("s")).fillna(rows["read_at"])
    timeless = _that_hold(_VALUES, rows, readings.kept & rows["elapsed_h"].isna())
    message = "the row has neither hours since feeding nor a clock time"
    untyped = readings.untyped(["elapsed", "read_at"], timeless)
    readings.note(Finding(untyped, "missing", message, "add elapsed or read_at"))
    readings.kept &= ~timeless


def _check_within(readings: Draft, ends_at: pd.Series) -> None:
    """Leave out readings before their feed or after the next one; the smear line may be later."""
    rows = readings.rows
    remedy = "correct the time or the refeed"
    early = readings.kept & (rows["elapsed_h"] < 0)
    _drop(readings, early, "is before its refeed was fed", remedy)
    late = readings.kept & (rows["read_at"] > ends_at)
    marked = rows[_MARK].notna()
    _drop(readings, late & ~marked, "is after the next feeding", remedy)
    measured = _that_hold(_VALUES, rows, late & marked)
    if measured.any():
        message = "is after the next feeding; only the smear line is kept"
        readings.note(Finding(measured, "within the refeed", message, remedy), "read_at")
        rows.loc[measured, _VALUES] = None


def _that_hold(values: list[str], rows: pd.DataFrame, among: pd.Series) -> pd.Series:
    """Tell which of some rows hold any of these values."""
    holding = among.copy()
    if among.any():
        holding[among] = rows.loc[among, values].notna().any(axis=1)
    return holding


def _drop(readings: Draft, cells: pd.Series, message: str, remedy: str) -> None:
    """Leave out rows for their time, naming the column in which it was typed."""
    by_clock = readings.untyped(["elapsed"], cells)
    for column, typed in (("read_at", by_clock), ("elapsed", cells & ~by_clock)):
        readings.drop_row(Finding(typed, "within the refeed", message, remedy), column)


def drop_empty(readings: Draft) -> None:
    """Leave out readings with no value left; those whose only value was impossible are already listed."""
    empty = readings.kept & ~readings.rows[[*_VALUES, _MARK]].notna().any(axis=1)
    message = "the row holds no reading"
    untyped = readings.untyped(_VALUES_TYPED, empty)
    readings.note(Finding(untyped, "missing", message, "add height, pH or another value"))
    readings.kept &= ~empty


def in_order(number: np.ndarray, hours: np.ndarray) -> np.ndarray:
    """Return the places of rows ordered by refeed (by its number) and hour, without an hour last.

    Most records stand in the order of their hours, refeed by refeed, and need no full sort.
    """
    hour = np.where(np.isnan(hours), np.inf, hours)
    order = np.argsort(number, kind="stable")
    in_turn, then = number[order], hour[order]
    backwards = (in_turn[1:] == in_turn[:-1]) & (then[1:] < then[:-1])
    return np.lexsort((hour, number)) if backwards.any() else order


def _same_moment(fed: pd.Series, hours: pd.Series) -> pd.Series:
    """Tell which rows share their refeed and hour with another row."""
    number, hour = fed.to_numpy(), hours.fillna(np.inf).to_numpy(dtype=float)
    order = in_order(number, hour)
    number, hour = number[order], hour[order]
    as_next = np.append((number[1:] == number[:-1]) & (hour[1:] == hour[:-1]), False)[: len(order)]
    shared = np.zeros(len(order), bool)
    shared[order] = as_next | np.append(False, as_next)[:-1]
    return pd.Series(shared, index=fed.index)


def drop_repeats(readings: Draft, fed: pd.Series) -> None:
    """Leave out rows identical in every field to an earlier one; mark other values of the same moment."""
    again = readings.rows[readings.kept & _same_moment(fed.where(readings.kept, -1), readings.rows["elapsed_h"])]
    fields = [name for name in again.columns if name not in ("file", "row")]
    same = again.index[again.duplicated(fields)]
    message = "the row is identical to an earlier one"
    remedy = "nothing, if logger files overlap; else delete one of the two"
    readings.drop_row(Finding(readings.at(same), "row once", message, remedy))
    others = again.drop(same)
    # Two loggers may share a moment without a contradiction: one reads the height, the other the pH.
    filled = others[[*_VALUES, _MARK]].notna()
    times_read = filled.groupby([others[name] for name in ("refeed", "elapsed_h")], dropna=False).cumsum()
    other = readings.at(others.index[(filled & (times_read > 1)).any(axis=1)])
    message = "the row is another reading of the same refeed and time, with other values; both are kept"
    readings.note(Finding(other, "one reading", message, "check which one is right", "warning"))
