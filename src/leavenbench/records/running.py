"""Which refeed a reading belongs to, and how long each refeed runs."""

from __future__ import annotations

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
    left = refeeds.loc[refeeds[place].notna(), [place, "fed_at"]].sort_values("fed_at", kind="stable")
    right = ending.loc[ending[place].notna(), [place, "fed_at"]].sort_values("fed_at", kind="stable")
    found = pd.merge_asof(
        left.reset_index(),
        right.assign(ends=right["fed_at"]),
        on="fed_at",
        by=place,
        direction="forward",
        allow_exact_matches=False,
    )
    return found.set_index("index")["ends"].reindex(refeeds.index)


def place_readings(readings: Draft, refeeds: pd.DataFrame, left_out: pd.Index) -> None:
    """Give every reading its refeed, in place; leave out those that have none.

    Parameters
    ----------
    readings : Draft
        The readings in the making.
    refeeds : pandas.DataFrame
        The refeeds that are kept, with ``ends_at`` from `runs_until`.
    left_out : pandas.Index
        Names of refeeds that were left out.
    """
    _drop_orphans(readings, left_out)
    _find_running(readings, refeeds)


def _drop_orphans(readings: Draft, left_out: pd.Index) -> None:
    """Leave out the readings of refeeds that were left out; each such refeed is listed once."""
    names = readings.rows["refeed"]
    orphans = names.notna() & names.isin(left_out)
    if not orphans.any():
        return
    first = orphans & ~names.where(orphans).duplicated()
    counts = names[orphans].value_counts()
    message = names[first].map(lambda name: f"was left out, and so are its {counts[name]} readings")
    remedy = "mend the refeed first"
    readings.note(Finding(first, "refeed left out", message.reindex(names.index), remedy), "refeed")
    readings.kept &= ~orphans


def _find_running(readings: Draft, refeeds: pd.DataFrame) -> None:
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
    beside = _beside(rows[searched], refeeds) & rows["vessel"].isna()
    message = "may be of the round or of a test or dispatch that ran beside it"
    ambiguous = searched & beside.reindex(rows.index, fill_value=False)
    readings.drop_row(Finding(ambiguous, "one refeed", message, "add the refeed or the vessel"), "culture")
    lost = searched & ~ambiguous & found.reindex(rows.index).isna()
    message = "no refeed was running there at that time"
    readings.drop_row(Finding(lost, "known place", message, "check culture, vessel and time"), "read_at")
    readings.rows.loc[searched, "refeed"] = found


def _running(readings: pd.DataFrame, refeeds: pd.DataFrame) -> pd.Series:
    """Return the latest refeed begun in the named place, by vessel where one is named."""
    rounds = refeeds[refeeds["purpose"].isin(_ENDING)]
    has_vessel, has_culture = readings["vessel"].notna(), readings["culture"].notna()
    found = [
        _latest_before(readings[has_vessel & has_culture], refeeds, ["vessel", "culture"]),
        _latest_before(readings[has_vessel & ~has_culture], refeeds, ["vessel"]),
        _latest_before(readings[~has_vessel], rounds, ["culture"]),
    ]
    return pd.concat(found).reindex(readings.index)


def _latest_before(readings: pd.DataFrame, refeeds: pd.DataFrame, by: list[str]) -> pd.Series:
    left = readings[[*by, "read_at"]].sort_values("read_at", kind="stable").reset_index()
    right = refeeds.dropna(subset=by)[[*by, "fed_at", "refeed"]].sort_values("fed_at", kind="stable")
    found = pd.merge_asof(left, right, left_on="read_at", right_on="fed_at", by=by)
    return found.set_index("index")["refeed"]


def _beside(readings: pd.DataFrame, refeeds: pd.DataFrame) -> pd.Series:
    """Tell which readings fall while a test or dispatch of their culture runs."""
    aside = refeeds.loc[~refeeds["purpose"].isin(_ENDING), ["culture", "fed_at", "ends_at"]]
    pairs = readings[["culture", "read_at"]].reset_index().merge(aside, on="culture")
    during = (pairs["read_at"] >= pairs["fed_at"]) & ~(pairs["read_at"] > pairs["ends_at"])
    return pd.Series(readings.index.isin(pairs.loc[during, "index"]), index=readings.index)
