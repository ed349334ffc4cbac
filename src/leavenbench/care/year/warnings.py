"""What the warning was worth in a year: the watch list at each quarter, what became of those on it, and the score."""

from __future__ import annotations

import pandas as pd

from ...columns import RESULTS, STANDINGS
from ...records.collection import Collection
from ...watch.watch_history import warnings_of
from .captioned import captioned, count_of
from .period import Period

_ALERTS = RESULTS["year_watched"].by_name["standing"].choices
_STILL, _OFF = "still on the list", "off the list"
#: The ends of four quarters, and of the one before.
_ENDS_TOLD = 5
_ENDS = ("lost", "rescued", "withdrawn")
_UNWARNED, _MONTHS_BEFORE = "rescued unwarned", 12
#: What each outcome means, in words.
_MEANS = {
    "caught": "an alert came before the culture was lost or rescued, or came under half strength",
    "missed": "the culture was lost without an alert in the twelve months before",
    _UNWARNED: "its keeper saw it and fed it back to strength, without an alert in the twelve months before",
    "passed over": "it left the list without harm: called wrongly, or a dip that healed",
    "open": "still on the list, its outcome not known",
}


def tell_warnings(collection: Collection, history: pd.DataFrame, period: Period) -> tuple[dict[str, pd.DataFrame], str]:
    """Return the tables of warnings, and what is missing.

    Parameters
    ----------
    collection : Collection
        The records, read up to the year's end.
    history : pandas.DataFrame
        As from `watch_history` up to the year's end.
    period : Period
        The year.

    Returns
    -------
    tables : dict of str to pandas.DataFrame
        standings, watched, warnings, score. The first quarter told is the last of the year before, from which the
        year took over its list.
    said : str
    """
    quarters = _quarters(history, period)
    active = _active(warnings_of(history, collection), period)
    tables = {
        "standings": _standings(quarters, period),
        "watched": _watched(quarters, history, collection, period),
        "warnings": active,
        "score": _score(active, _rescued_unwarned(history, collection, period), period),
    }
    return tables, _said(quarters["quarter"].nunique(), period)


def _said(told: int, period: Period) -> str:
    if not told:
        return f"No watch list can be told: no refeed was written down up to the end of {period.year}."
    return "" if told == _ENDS_TOLD else f"There was no watch list yet at {_ENDS_TOLD - told} of five quarters' ends."


def _quarters(history: pd.DataFrame, period: Period) -> pd.DataFrame:
    """Return how cultures stood at the ends of the year's quarters and of the one before."""
    ends = pd.date_range(period.eve, period.last, freq="QE")
    at = history[history["as_of"].isin(ends)]
    return at.assign(quarter=at["as_of"].dt.year.astype("str") + "-Q" + at["as_of"].dt.quarter.astype("str"))


def _standings(quarters: pd.DataFrame, period: Period) -> pd.DataFrame:
    counts = quarters.groupby(["quarter", "standing"]).size()
    every = pd.MultiIndex.from_product([sorted(quarters["quarter"].unique()), STANDINGS.split(", ")])
    rows = counts.reindex(every).fillna(0).rename_axis(["quarter", "standing"]).rename("cultures").reset_index()
    caption = (
        f"{count_of(quarters['culture'].nunique(), 'culture')} at the quarters' ends up to {period.last:%d %B %Y}: "
        "standing as judged from what was known at each, with the threshold of the year's end"
    )
    return captioned("year_standings", rows, caption)


def _watched(quarters: pd.DataFrame, history: pd.DataFrame, collection: Collection, period: Period) -> pd.DataFrame:
    on = quarters[quarters["standing"].isin(_ALERTS)].sort_values(["as_of", "culture"], kind="stable")
    events = collection["events"]
    ends = events[events["kind"].isin(_ENDS)].sort_values("happened_on", kind="stable")
    became = [_became(culture, day, ends, history) for culture, day in zip(on["culture"], on["as_of"], strict=True)]
    rows = on.assign(became=[what for what, _ in became], became_on=[when for _, when in became])
    caption = (
        f"{count_of(rows['culture'].nunique(), 'culture')} urgent or slipping at a quarter's end, and what came of "
        f"each first, up to {period.last:%d %B %Y}"
    )
    return captioned("year_watched", rows, caption)


def _became(culture: str, day: pd.Timestamp, ends: pd.DataFrame, history: pd.DataFrame) -> tuple[str, object]:
    """Return what came first: an end, or a month in which the culture was in alert no more."""
    its = ends[(ends["culture"] == culture) & (ends["happened_on"] > day)]
    later = history[(history["culture"] == culture) & (history["as_of"] > day) & ~history["standing"].isin(_ALERTS)]
    off = later["as_of"].min()
    if len(its) and not off < its["happened_on"].iloc[0]:
        return its["kind"].iloc[0], its["happened_on"].iloc[0]
    return (_STILL, pd.NaT) if pd.isna(off) else (_OFF, off)


def _active(record: pd.DataFrame, period: Period) -> pd.DataFrame:
    """Return the alerts that stood, or found their outcome, in the year, and its misses."""
    stood = record["warned_on"].notna() & ~(record["over_on"] < period.first)
    rows = record[stood | period.holds(record["ended_on"])]
    caption = (
        f"{count_of(len(rows), 'alert or miss', 'alerts and misses')} of {period.year}, with what became of them as "
        "far as the records up to its end tell; lost or rescued within 18 months counts as caught"
    )
    return captioned("warnings", rows, caption)


def _rescued_unwarned(history: pd.DataFrame, collection: Collection, period: Period) -> list[str]:
    """Return the cultures rescued in the year that no alert had named: a decline that the list did not see."""
    events = collection["events"]
    rescued = events[(events["kind"] == "rescued") & period.holds(events["happened_on"])].dropna(subset="culture")
    found = []
    for culture, day in rescued[["culture", "happened_on"]].itertuples(index=False):
        own = history[(history["culture"] == culture) & (history["as_of"] <= day)]
        lately = own[own["as_of"] > day - pd.DateOffset(months=_MONTHS_BEFORE)]
        if len(lately) and not lately["standing"].isin(_ALERTS).any():
            found.append(culture)
    return found


def _score(active: pd.DataFrame, unwarned: list[str], period: Period) -> pd.DataFrame:
    lead = (active["ended_on"] - active["warned_on"]) / pd.Timedelta(days=1)
    rows = []
    for outcome, means in _MEANS.items():
        of_it = active["outcome"] == outcome
        names = unwarned if outcome == _UNWARNED else list(active.loc[of_it, "culture"])
        told = {"outcome": outcome, "warnings": len(names), "names": ", ".join(dict.fromkeys(names))}
        rows.append(told | {"lead_d": lead[of_it].median(), "words": means})
    caption = (
        f"{count_of(len(active), 'alert or miss', 'alerts and misses')} that stood, or found their outcome, in "
        f"{period.year}, and {count_of(len(unwarned), 'rescue')} without an alert; a later year may still change what "
        "an alert came to"
    )
    return captioned("year_score", rows, caption)
