"""Which refeed a reading belongs to, and how long each refeed runs."""

from __future__ import annotations

from typing import Literal

import pandas as pd

from .cells import Finding
from .draft import Draft

#: Refeeds that end the one before; tests and dispatches run beside.
_ENDING = ("round", "rescue")


def runs_until(refeeds: pd.DataFrame) -> pd.Series:
    """Return the moment until which each refeed runs.

    Parameters
    ----------
    refeeds : pandas.DataFrame
        With refeed, culture, vessel, purpose and fed_at.

    Returns
    -------
    pandas.Series of datetime
        The next refeed in the same vessel; where no vessel is noted, the culture's next refeed of a round or
        rescue; missing for the last one.
    """
    ending = refeeds[refeeds["purpose"].isin(_ENDING)]
    by_vessel = _next_after(refeeds, ending, "vessel")
    by_culture = _next_after(refeeds, ending, "culture")
    return by_culture.where(refeeds["vessel"].isna(), by_vessel)


def _next_after(refeeds: pd.DataFrame, ending: pd.DataFrame, place: str) -> pd.Series:
    ends = ending.assign(ends=ending["fed_at"])
    return _nearest(refeeds, "fed_at", ends, [place], "ends", direction="forward", allow_exact_matches=False)


def _nearest(
    rows: pd.DataFrame,
    moment: str,
    refeeds: pd.DataFrame,
    by: list[str],
    wanted: str,
    *,
    direction: Literal["backward", "forward"] = "backward",
    allow_exact_matches: bool = True,
) -> pd.Series:
    """Return what is wanted of the last refeed fed before each row's moment, or of the first after it."""
    left = rows.dropna(subset=by)[[*by, moment]].sort_values(moment, kind="stable").reset_index()
    right = refeeds.dropna(subset=by)[[*by, "fed_at", wanted]].sort_values("fed_at", kind="stable")
    if left.empty or right.empty:
        return pd.Series(index=rows.index, dtype=refeeds[wanted].dtype)
    found = pd.merge_asof(
        left.rename(columns={moment: "moment"}),
        right.rename(columns={"fed_at": "moment"}),
        on="moment",
        by=by,
        direction=direction,
        allow_exact_matches=allow_exact_matches,
    )
    return found.set_index("index")[wanted].reindex(rows.index)


def place_readings(readings: Draft, refeeds: pd.DataFrame, left_out: pd.Index, round_gap_h: float) -> None:
    """Give every reading its refeed, in place; leave out those that have none.

    Parameters
    ----------
    readings : Draft
        The readings in the making.
    refeeds : pandas.DataFrame
        The refeeds that are kept, with ``ends_at`` from `runs_until`.
    left_out : pandas.Index
        Names of refeeds that were left out.
    round_gap_h : float
        Refeeds of a culture further apart than this [h] belong to different rounds.
    """
    _drop_orphans(readings, left_out)
    _find_running(readings, refeeds, pd.Timedelta(hours=round_gap_h))
    _doubt_contradictions(readings, refeeds)


def _drop_orphans(readings: Draft, left_out: pd.Index) -> None:
    """Leave out the readings of refeeds that were left out; each such refeed is listed once."""
    names = readings.rows["refeed"]
    orphans = names.notna() & names.isin(left_out)
    if not orphans.any():
        return
    first = orphans & ~names.where(orphans).duplicated()
    counts = names[orphans].value_counts()
    message = names[first].map(lambda name: f"was left out, and so are its readings: {counts[name]}")
    remedy = "mend the refeed first"
    readings.note(Finding(first, "refeed left out", message.reindex(names.index), remedy), "refeed")
    readings.kept &= ~orphans


def _find_running(readings: Draft, refeeds: pd.DataFrame, round_gap: pd.Timedelta) -> None:
    """Find the refeed that was running in the culture or vessel which a reading names."""
    rows = readings.rows
    nameless = rows["refeed"].isna() & rows["culture"].isna() & rows["vessel"].isna()
    message = "names no refeed, no culture and no vessel"
    readings.drop_row(Finding(nameless & readings.kept, "known place", message, "add one of the three"))
    searched = rows["refeed"].isna() & ~nameless & readings.kept
    timeless = searched & rows["read_at"].isna()
    message = "names no refeed and has no clock time, so its refeed cannot be found"
    readings.drop_row(Finding(timeless, "known place", message, "add the refeed, or read_at"))
    searched &= ~timeless
    if not searched.any():
        return
    found = _running(rows[searched], refeeds)
    beside = _beside(rows[searched], refeeds, round_gap) & rows["vessel"].isna()
    message = "may be of the round or of a test or dispatch that ran beside it"
    ambiguous = searched & beside.reindex(rows.index, fill_value=False)
    readings.drop_row(Finding(ambiguous, "one refeed", message, "add the refeed or the vessel"), "culture")
    lost = searched & ~ambiguous & found.reindex(rows.index).isna()
    message = "is a time at which no refeed was running there"
    readings.drop_row(Finding(lost, "known place", message, "check culture, vessel and time"), "read_at")
    readings.rows.loc[searched, "refeed"] = found


def _running(readings: pd.DataFrame, refeeds: pd.DataFrame) -> pd.Series:
    """Return the latest refeed begun in the named place, by vessel where one is named and was noted."""
    rounds = refeeds[refeeds["purpose"].isin(_ENDING)]
    has_vessel, has_culture = readings["vessel"].notna(), readings["culture"].notna()
    both = readings[has_vessel & has_culture]
    found = [
        _nearest(both, "read_at", refeeds, ["vessel", "culture"], "refeed").fillna(
            _nearest(both, "read_at", rounds[rounds["vessel"].isna()], ["culture"], "refeed")
        ),
        _nearest(readings[has_vessel & ~has_culture], "read_at", refeeds, ["vessel"], "refeed"),
        _nearest(readings[~has_vessel], "read_at", rounds, ["culture"], "refeed"),
    ]
    return pd.concat(found).reindex(readings.index)


def _beside(readings: pd.DataFrame, refeeds: pd.DataFrame, round_gap: pd.Timedelta) -> pd.Series:
    """Tell which readings fall while a test or dispatch of their culture runs.

    A jar set aside that nobody feeds again would run for ever; the culture's next round ends it too.
    """
    stepping = refeeds["purpose"].isin(_ENDING)
    aside = refeeds.loc[~stepping, ["culture", "fed_at", "ends_at"]].sort_values("fed_at")
    aside["later"] = aside["fed_at"] + round_gap
    next_round = _nearest(
        aside, "later", refeeds[stepping].assign(begun=refeeds["fed_at"]), ["culture"], "begun", direction="forward"
    )
    never = pd.Timestamp.max.floor("us").tz_localize(aside["ends_at"].dt.tz)
    until = aside["ends_at"].fillna(never).clip(upper=next_round.fillna(never))
    aside["until"] = until.groupby(aside["culture"]).cummax()
    return readings["read_at"] <= _nearest(readings, "read_at", aside, ["culture"], "until")


def _doubt_contradictions(readings: Draft, refeeds: pd.DataFrame) -> None:
    """Mark readings that name a refeed, and beside it a culture or vessel which is not that refeed's."""
    for column in ("culture", "vessel"):
        told = readings.kept & readings.rows[column].notna()
        if not told.any():
            continue
        named = readings.rows.loc[told, ["refeed", column]].dropna()
        own = refeeds.set_index("refeed")[column].reindex(named["refeed"]).set_axis(named.index)
        differ = (own.notna() & (own != named[column])).reindex(readings.rows.index, fill_value=False)
        message = "is not that of its refeed; the refeed is used"
        readings.note(Finding(differ, "one place", message, "correct one of the two", "warning"), column)
