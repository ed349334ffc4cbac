"""Who is due, and when: each culture by its own calendar, with its group, and earlier where there is a reason."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from ..columns import RESULTS
from ..errors import CannotRead
from ..records.as_of import days_of, end_of
from ..records.collection import Collection
from ..records.living import living_cultures
from ..records.rounds import STEPPING
from .habits import last_jars
from .stores import store_failures

#: Of the usual time between rounds, what a culture waits that stands so (common practice, no source).
SOONER = {"urgent": 0.25, "slipping": 0.5}
#: Who would be due within this share of the time between rounds goes along with its group.
ALONG = 0.1

_DUE = RESULTS["due"]


def due_list(collection: Collection, listed: pd.DataFrame, on: dt.date) -> pd.DataFrame:
    r"""Return when each living culture is due.

    Parameters
    ----------
    collection : Collection
        The records, read up to the end of that day.
    listed : pandas.DataFrame
        The watch list, or any table of culture and standing; a culture that it does not name counts as steady.
    on : datetime.date
        The day.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["due"]``, most overdue first; `state` is due, along (with its group), running (its
        round has begun and its jar has not passed) or waiting.

    Examples
    --------
    >>> import leavenbench, pathlib, tempfile
    >>> folder = pathlib.Path(tempfile.mkdtemp())
    >>> _ = (folder / "refeeds.csv").write_text("refeed,culture,fed_at\na,Alba,2025-01-02 08:00\n")
    >>> _ = (folder / "readings.csv").write_text("refeed,elapsed,height\na,0,40\n")
    >>> shelf = leavenbench.read_collection(folder)
    >>> due_list(shelf, pd.DataFrame(columns=["culture", "standing"]), dt.date(2025, 3, 10))[["due_on", "overdue_d"]]
          due_on  overdue_d
    0 2025-03-03          7
    """
    today = pd.Timestamp(on)
    table = pd.DataFrame({"culture": living_cultures(collection, on)}).astype({"culture": "str"})
    groups = collection["cultures"].set_index("culture")["group"]
    table["group"] = table["culture"].map(groups).astype("str").fillna("")
    jars = last_jars(collection).reindex(table["culture"]).reset_index()
    table["last_round_on"] = table["culture"].map(_last_begun(collection))
    table["due_on"], table["why"] = _due(table, jars, collection, listed, today)
    table["overdue_d"] = (today - table["due_on"]).dt.days
    table["state"] = np.where(table["overdue_d"] >= 0, "due", "waiting")
    running, along = _running(jars, collection, on), _along(table, collection.settings.round_days)
    table.loc[running, ["state", "why"]] = ["running", "its round has begun and its jar has not passed"]
    along &= ~running
    told = "taken along with its group; due " + table["due_on"].dt.strftime("%Y-%m-%d")
    table.loc[along, "why"] = told[along]
    table.loc[along, "state"] = "along"
    ordered = table.sort_values(["due_on", "group", "culture"], kind="stable", ignore_index=True)
    return ordered[_DUE.names].astype(_DUE.dtypes())


def fed_now(due: pd.DataFrame, group: str | None = None) -> pd.DataFrame:
    """Return who is fed now: due, or taken along with their group.

    Parameters
    ----------
    due : pandas.DataFrame
        As `due_list` makes it.
    group : str, optional
        Only these.

    Returns
    -------
    pandas.DataFrame
        Some of its rows.

    Raises
    ------
    CannotRead
        No culture is of that group.
    """
    if group is not None:
        known = sorted(set(due["group"]) - {""})
        if group not in known:
            told = f"the groups are {', '.join(known)}" if known else "no culture has one"
            raise CannotRead(f"There is no group '{group}' among the living cultures; {told}.")
        due = due[due["group"] == group]
    return due[due["state"].isin(("due", "along"))]


def _last_begun(collection: Collection) -> pd.Series:
    """Return the day on which each culture's last round began."""
    refeeds = collection["refeeds"]
    stepping = refeeds[refeeds["purpose"].isin(STEPPING)]
    begun = stepping.groupby(["culture", "round"])["fed_at"].min().groupby("culture").max()
    return days_of(begun)


def _due(
    table: pd.DataFrame, jars: pd.DataFrame, collection: Collection, listed: pd.DataFrame, today: pd.Timestamp
) -> tuple[pd.Series, pd.Series]:
    """Return the day on which each culture is due, the earliest for which there is a reason, and that reason."""
    days = collection.settings.round_days
    due = table["last_round_on"] + pd.Timedelta(days=round(days))
    why = pd.Series(f"a round every {days:.0f} days", index=table.index).mask(due.isna(), "never fed in the records")
    due = due.fillna(today)
    standing = table["culture"].map(dict(zip(listed["culture"], listed["standing"], strict=True)))
    fed_on = days_of(jars["fed_at"])
    for name, share in SOONER.items():
        sooner = fed_on + pd.Timedelta(days=round(days * share))
        due, why = _earlier(due, why, sooner.where(standing == name), f"{name}: fed sooner")
    failed = _failed_since(table["culture"], jars, fed_on, store_failures(collection))
    due, why = _earlier(due, why, failed["on"], failed["words"])
    unfinished = jars["passed"].eq(False).fillna(False).to_numpy(bool)  # missing is neither
    return _earlier(due, why, fed_on.where(unfinished), "its last round ended without passing")


def _earlier(due: pd.Series, why: pd.Series, day: pd.Series, reason: str | pd.Series) -> tuple[pd.Series, pd.Series]:
    earlier = day < due
    return due.mask(earlier, day), why.mask(earlier, reason)


def _failed_since(cultures: pd.Series, jars: pd.DataFrame, fed_on: pd.Series, failures: pd.DataFrame) -> pd.DataFrame:
    """Return the first failure of each jar's store since it was fed: on and words, missing where there is none."""
    stood = pd.DataFrame({"culture": cultures, "store": jars["cold_store"], "fed_on": fed_on})
    by_store = stood.merge(failures[failures["culture"].isna()].drop(columns="culture"), on="store")
    by_name = stood.drop(columns="store").merge(failures.dropna(subset="culture"), on="culture")
    hit = pd.concat([by_store, by_name])
    hit = hit[hit["on"] >= hit["fed_on"]].sort_values("on", kind="stable").drop_duplicates("culture")
    found = hit.set_index("culture")[["on", "words"]].reindex(cultures)
    return found.set_axis(cultures.index)


def _running(jars: pd.DataFrame, collection: Collection, on: dt.date) -> pd.Series:
    """Tell whose round has begun and is not over: fed so lately that the next feeding is a step of the same round."""
    ends = end_of(on, collection.settings.timezone)
    lately = ends - jars["fed_at"] < pd.Timedelta(hours=collection.settings.round_gap_h + 24.0)
    return lately & jars["passed"].ne(True).fillna(True).astype(bool) & jars["cooled_at"].isna()


def _along(table: pd.DataFrame, round_days: float) -> pd.Series:
    """Tell who is not due, but soon, while another of its group is by the calendar."""
    by_calendar = (table["state"] == "due") & table["why"].str.startswith("a round every")
    groups = set(table.loc[by_calendar & (table["group"] != ""), "group"])
    return table["group"].isin(groups) & (table["overdue_d"] < 0) & (table["overdue_d"] >= -ALONG * round_days)
