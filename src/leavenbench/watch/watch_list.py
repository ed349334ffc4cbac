"""The watch list: one row per living culture, most urgent first; and the checks behind it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

import numpy as np
import pandas as pd

from ..columns import RESULTS, STANDINGS
from ..records.as_of import days_of
from ..records.collection import Collection
from ..records.living import history_numbers
from ..records.settings import Settings
from ..vigour.causes import Causes, causes_of
from ..vigour.split_feeding import split_feedings
from .beside import beside_the_trend
from .checks import Check, checks_of
from .forecast import two_years
from .levels import round_levels
from .outlook import Outlook, outlook
from .stood import NEW_STORY, Shelf, stood_on

_LIST, _CHECKS = RESULTS["watch_list"], RESULTS["watch_checks"]


def watch_list(
    collection: Collection,
    curves: pd.DataFrame,
    vigour: pd.DataFrame,
    as_of: dt.date,
    causes: Causes | None = None,
) -> pd.DataFrame:
    """Return how every living culture stands.

    Parameters
    ----------
    collection : Collection
        The records, read up to the end of that day.
    curves, vigour : pandas.DataFrame
        Its curves and vigour tables.
    as_of : datetime.date
        The day.
    causes : Causes, optional
        The causes that the shelf shared; found anew if not given.

    Returns
    -------
    pandas.DataFrame
        The watch list's columns; most urgent first. Its attribute `attrs["calibrated"]` tells in words where the
        threshold of an alert comes from.
    """
    causes = causes_of(collection, curves) if causes is None else causes
    shelf = Shelf.of(collection, curves, outlook_of(collection, vigour))
    table = judge(shelf, vigour, as_of, split_feedings(collection))
    met = _met_last(vigour, causes)
    table["shared_cause"] = pd.Series([met.get(culture, "") for culture in table["culture"]], table.index, "str")
    listed = ranked(table, collection.settings.timezone)
    listed.attrs["calibrated"] = shelf.seen.calibrated.source
    return listed


def watch_checks(collection: Collection, curves: pd.DataFrame, vigour: pd.DataFrame, as_of: dt.date) -> pd.DataFrame:
    """Return every check behind the watch list, also those that did not speak.

    Parameters
    ----------
    collection, curves, vigour, as_of
        As for `watch_list`.

    Returns
    -------
    pandas.DataFrame
        One row per culture and check: culture, check, statistic, unit, threshold, spoke, words, source.
    """
    shelf = Shelf.of(collection, curves, outlook_of(collection, vigour))
    table = judge(shelf, vigour, as_of, split_feedings(collection))
    rows = [
        {"culture": culture, **check._asdict()}
        for culture, made in zip(table["culture"], table["checks"], strict=True)
        for check in made
    ]
    return pd.DataFrame(rows, columns=_CHECKS.names).astype(_CHECKS.dtypes())


def outlook_of(collection: Collection, vigour: pd.DataFrame) -> Outlook:
    """Return what the rounds of a collection say."""
    levels = round_levels(vigour, history_numbers(collection, NEW_STORY))
    judged = collection["refeeds"].loc[collection["refeeds"]["passed"].notna(), ["culture", "fed_at"]]
    since = judged.groupby("culture")["fed_at"].min().reindex(levels["culture"])
    return outlook(levels, collection.settings, np.asarray(levels["fed_at"].array >= since.array, bool))


def judge(shelf: Shelf, vigour: pd.DataFrame, as_of: dt.date, split: Mapping[str, str]) -> pd.DataFrame:
    """Judge every culture that lives on a day, from what was known then.

    Parameters
    ----------
    shelf : Shelf
        What is known of the shelf; what is later than the day is passed over.
    vigour, as_of
        As for `watch_list`.
    split : mapping of str to str
        By culture, the split feeding that would tell its flour from itself.

    Returns
    -------
    pandas.DataFrame
        One row per living culture: the columns of the watch list but rank and shared_cause, the statistics behind
        them, and checks.
    """
    settings, calibrated = shelf.collection.settings, shelf.seen.calibrated.source
    table = beside_the_trend(stood_on(shelf, as_of), shelf.collection, vigour, as_of, split)
    table["act_by"] = _act_by(table, settings)
    for name in ("alert", "half_now", "settled_low", "stepped", "recovered"):
        table[name] = table[name].astype("boolean").fillna(False).astype(bool)
    told = table.assign(half_pct=settings.half_strength_pct, calibrated=calibrated).to_dict("records")
    table["checks"] = [checks_of(row) for row in told]
    table["evidence"] = [_spoken(made) for made in table["checks"]]
    return table


def _spoken(made: list[Check]) -> str:
    return "; ".join(check.words for check in made if check.spoke)


def _met_last(vigour: pd.DataFrame, causes: Causes) -> dict[str, str]:
    """Return the shared causes that each culture met in its last round."""
    rounds = vigour.dropna(subset="round").sort_values("fed_at", kind="stable")
    last = rounds[rounds["round"] == rounds.groupby("culture")["round"].transform("last")]
    met = causes.met.merge(last[["refeed", "culture"]], on="refeed").drop_duplicates(["culture", "cause"])
    return {str(culture): "; ".join(of_it) for culture, of_it in met.groupby("culture")["cause"]}


def _act_by(table: pd.DataFrame, settings: Settings) -> pd.Series:
    """Return the last due date before the rounds left run out; missing when they do not within two years."""
    today, round_days = table["as_of"], settings.round_days
    soonest, fed_on = table["rounds_left_low"].astype(float), days_of(table["last_fed_at"])
    since_fed = (today - fed_on) / pd.Timedelta(days=1) / round_days
    due_rounds = np.floor(soonest + since_fed)  # due dates are counted from the last feeding, rounds left from today
    due = fed_on + pd.to_timedelta((due_rounds * round_days).round(), unit="D")
    due = due.mask(soonest >= two_years(round_days))
    return due.fillna(today).where(due.notna() | (table["standing"] == "urgent")).clip(lower=today)


def ranked(table: pd.DataFrame, timezone: str) -> pd.DataFrame:
    """Return the watch list, most urgent first."""
    urgency = table["standing"].map({name: place for place, name in enumerate(STANDINGS.split(", "))})
    ordered = table.assign(urgency=urgency, sour=table["floor"] != "missed").sort_values(
        ["urgency", "sour", "rounds_left_low", "vigour_pct", "culture"], kind="stable", ignore_index=True
    )
    ordered["rank"] = ordered.index + 1
    return ordered[_LIST.names].astype(_LIST.dtypes(timezone))
