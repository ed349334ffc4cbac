"""After a rescue: whether it worked, against the culture's own baseline, after how many rounds, and was it itself."""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

import numpy as np
import pandas as pd

from ...columns import RESULTS
from ...records.as_of import days_of
from ...records.collection import Collection
from ...vigour.index import vigour_table, weigh
from ...watch.alert import Z80
from ...watch.beside import identity_proven_on
from ...watch.levels import round_levels
from ...watch.scatter import USUAL_SD
from ...watch.settled import LOW_PCT
from .case import NEW_STORY

#: The last rounds that are told together, and the fewest that tell.
_TOGETHER, _FEWEST = 3, 2
_VERDICTS = {
    "yes": "it worked",
    "partly": "it came part of the way",
    "no": "it did not work",
    "not sure": "not sure yet",
}

_OUTCOME = RESULTS["rescue_outcome"]


def after_rescues(
    collection: Collection, curves: pd.DataFrame, vigour: pd.DataFrame, culture: str, on: dt.date
) -> pd.DataFrame:
    """Tell what became of every rescue and restoration of a culture.

    Parameters
    ----------
    collection : Collection
        The records, read up to that day.
    curves, vigour : pandas.DataFrame
        Its curves and vigour tables.
    culture : str
        Which culture.
    on : datetime.date
        The day.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["rescue_outcome"]``, in order of time. A rescue is an event of that kind, or a
        refeed of purpose rescue within no round of one. A restored culture is held against the baseline that it had
        before it was lost.
    """
    rescues = _rescues(collection, culture, on)
    if rescues.empty:
        return pd.DataFrame(columns=_OUTCOME.names).astype(_OUTCOME.dtypes())
    told = vigour
    if (rescues["kind"] == "restored").any():
        whole = _as_one_story(collection, culture)
        told = vigour_table(whole, curves, weigh(whole, curves))
    levels = round_levels(told, pd.Series(0, index=told.index))
    levels = levels[levels["culture"] == culture]
    levels = levels.assign(day=levels["fed_at"].dt.tz_localize(None))
    own = vigour[vigour["culture"] == culture].assign(day=lambda of: of["fed_at"].dt.tz_localize(None))
    until = pd.Timestamp(on) + pd.Timedelta(days=1)
    ends = [*rescues["happened_on"].iloc[1:], until]
    rows = [
        _outcome(one, levels, end, own, _checks(collection, culture, one["happened_on"], until))
        for one, end in zip(rescues.to_dict("records"), ends, strict=True)
    ]
    return pd.DataFrame(rows, columns=_OUTCOME.names).assign(culture=culture).astype(_OUTCOME.dtypes())


def _rescues(collection: Collection, culture: str, on: dt.date) -> pd.DataFrame:
    """Return happened_on and kind of every rescue, by events and by the purpose of refeeds."""
    events, refeeds = collection["events"], collection["refeeds"]
    noted = events.loc[(events["culture"] == culture) & events["kind"].isin(NEW_STORY), ["happened_on", "kind"]]
    fed = refeeds[(refeeds["culture"] == culture) & (refeeds["purpose"] == "rescue")]
    days = days_of(fed["fed_at"]).sort_values()
    round_d = pd.Timedelta(days=collection.settings.round_days)
    begun = days[~(days.diff() <= round_d)]
    unnoted = [day for day in begun if not ((noted["happened_on"] - day).abs() <= round_d).any()]
    found = pd.concat([noted, pd.DataFrame({"happened_on": unnoted, "kind": "rescued"})])
    found["happened_on"] = pd.to_datetime(found["happened_on"])
    return found[found["happened_on"] <= pd.Timestamp(on)].sort_values("happened_on", kind="stable")


def _as_one_story(collection: Collection, culture: str) -> Collection:
    """Return the records as if the culture had never been gone, so that one baseline holds before and after."""
    events = collection["events"]
    gone = (events["culture"] == culture) & (events["kind"] == "restored")
    return dataclasses.replace(collection, tables={**collection.tables, "events": events[~gone]})


def _checks(collection: Collection, culture: str, since: pd.Timestamp, until: pd.Timestamp) -> pd.DataFrame:
    checks = collection["identity_checks"]
    return checks[(checks["culture"] == culture) & (checks["checked_on"] > since) & (checks["checked_on"] < until)]


def _outcome(
    rescue: dict[str, Any], levels: pd.DataFrame, end: pd.Timestamp, own: pd.DataFrame, checks: pd.DataFrame
) -> dict[str, Any]:
    day = rescue["happened_on"]
    before, after = levels[levels["day"] < day], levels[(levels["day"] >= day) & (levels["day"] < end)]
    too_good = own.loc[(own["day"] >= day) & (own["day"] < end), "too_good"]
    proven = identity_proven_on(checks)
    row: dict[str, Any] = {
        "rescued_on": day,
        "kind": rescue["kind"],
        "before_pct": 100.0 * np.exp(before["level"].iloc[-1]) if len(before) else float("nan"),
        "rounds_after": len(after),
        "worked": "too few rounds",
        "too_good": bool(too_good.fillna(False).any()),
        "identity_proven_on": proven.iloc[0] if len(proven) else pd.NaT,
    }
    if len(after) >= _FEWEST:
        row |= _level(after.tail(_TOGETHER), row["before_pct"])
        row["well_after"] = _well_after(after["level"].to_numpy())
    return row | {"words": _words(row)}


def _level(last: pd.DataFrame, before_pct: float) -> dict[str, Any]:
    """Return the level of the last rounds together, and whether it is the culture's own again, or part of it."""
    error = np.hypot(last["level_se"], USUAL_SD).to_numpy()
    middle, se = float(last["level"].mean()), float(np.sqrt((error**2).sum())) / len(last)
    low, mean, high = (100.0 * np.exp(middle + side * Z80 * se) for side in (-1.0, 0.0, 1.0))
    fallen_short = "partly" if low > before_pct else "no"
    worked = fallen_short if high < LOW_PCT else "yes" if low >= LOW_PCT else "not sure"
    return {"level_pct": mean, "level_low_pct": low, "level_high_pct": high, "worked": worked}


def _well_after(level: np.ndarray) -> int | None:
    """Return the first round from which it was well for two in a row; None where it never was."""
    well = 100.0 * np.exp(level) >= LOW_PCT
    there = np.flatnonzero(well[:-1] & well[1:])
    return int(there[0]) + 1 if len(there) else None


def _words(row: dict[str, Any]) -> str:
    """Say in one sentence what became of it."""
    if row["worked"] == "too few rounds":
        told = f"{row['rounds_after']} rounds since: too few to say"
    else:
        interval = f"{row['level_low_pct']:.0f} to {row['level_high_pct']:.0f} %"
        verdict = _VERDICTS[row["worked"]]
        told = f"{verdict}: from {row['before_pct']:.0f} % to {row['level_pct']:.0f} % ({interval})"
        told += f", well from the {row['well_after']}. round on" if row["worked"] == "yes" and row["well_after"] else ""
    if row["too_good"]:
        told += "; too good to be sure that it is itself"
    if pd.isna(row["identity_proven_on"]):
        return told + "; its identity was not proven since"
    return told + f"; proven to be itself on {row['identity_proven_on']:%Y-%m-%d}"
