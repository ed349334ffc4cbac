"""The work of a year: rounds, refeeds, readings and flour, month by month, and where the records have gaps."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ...columns import RESULTS
from ...records.as_of import days_of
from ...records.collection import Collection
from ..flour import flour_used
from .captioned import captioned, count_of, sentence
from .period import Period
from .punctual import rounds_kept

#: How rounds kept to the calendar, as columns of the months.
_KEPT = {word: word.replace(" ", "_") for word in RESULTS["year_rounds"].by_name["kept"].choices}
_BEFORE, _BETWEEN, _AFTER = RESULTS["year_gaps"].by_name["why"].choices


def tell_work(
    collection: Collection, curves: pd.DataFrame, lived: pd.DataFrame, period: Period
) -> tuple[dict[str, pd.DataFrame], str]:
    """Return the tables of the work, and what is missing.

    Parameters
    ----------
    collection, curves : Collection, pandas.DataFrame
        The records, read up to the year's end, and their curves.
    lived : pandas.DataFrame
        As from `lives.lives`.
    period : Period
        The year.

    Returns
    -------
    tables : dict of str to pandas.DataFrame
        months, rounds, flour, gaps, curves.
    said : str
    """
    rounds = rounds_kept(collection, lived, period)
    used = flour_used(collection, period.last.date())
    used = used[period.holds(used["used_on"])]
    fed_on = days_of(collection["refeeds"]["fed_at"])
    fed = collection["refeeds"].assign(fed_on=fed_on)[period.holds(fed_on)]
    gaps = _gaps(fed_on, period)
    tables = {
        "months": _months(collection, fed, rounds, used, period),
        "rounds": rounds,
        "flour": _flour(used, period),
        "gaps": gaps,
        "curves": _curves(curves, period),
    }
    return tables, _said(fed, used, gaps, period)


def _months_of(period: Period) -> pd.Index:
    return pd.Index(pd.period_range(period.first, period.last, freq="M").astype("str"), name="month")


def _month(days: pd.Series) -> pd.Series:
    return days.dt.strftime("%Y-%m")


def _months(
    collection: Collection, fed: pd.DataFrame, rounds: pd.DataFrame, used: pd.DataFrame, period: Period
) -> pd.DataFrame:
    month = _month(fed["fed_on"])
    read = collection["readings"]["refeed"].map(dict(zip(fed["refeed"], month, strict=True)))
    held = rounds["begun_on"].notna()
    when = _month(rounds["begun_on"].fillna(rounds["due_on"]))
    unweighed = ~fed["refeed"].isin(used["refeed"])
    told = {
        "rounds": when[held].value_counts(),
        "refeeds": month.value_counts(),
        "readings": read.value_counts(),
        "flour_g": used.groupby(_month(used["used_on"]))["mass_g"].sum(),
        "unweighed": month[unweighed].value_counts(),
        **{column: when[rounds["kept"] == word].value_counts() for word, column in _KEPT.items()},
    }
    months = _months_of(period)
    rows = pd.DataFrame({name: counts.reindex(months).fillna(0) for name, counts in told.items()}).reset_index()
    caption = (
        f"{count_of(len(fed), 'refeed')} and {count_of(int(rows['readings'].sum()), 'reading')} in {period.year}; "
        f"rounds by the month in which they began, on time within a tenth of {collection.settings.round_days:g} days"
    )
    return captioned("year_months", rows, caption)


def _flour(used: pd.DataFrame, period: Period) -> pd.DataFrame:
    used = used.assign(flour=used["flour"].fillna("not noted"))
    of_each = used.groupby("flour")
    rows = of_each.agg(mass_g=("mass_g", "sum"), refeeds=("refeed", "nunique"), cultures=("culture", "nunique"))
    rows = rows.reset_index().sort_values(["mass_g", "flour"], ascending=[False, True], kind="stable")
    caption = (
        f"{used['mass_g'].sum() / 1000.0:,.1f} kg fed in {count_of(used['refeed'].nunique(), 'refeed')} of "
        f"{period.year}, as weighed; by lot, else the flour that the culture is kept on"
    )
    return captioned("year_flour", rows, caption)


def _gaps(fed_on: pd.Series, period: Period) -> pd.DataFrame:
    """Return the stretches of months without a refeed, and where in the records they lie."""
    months = _months_of(period)
    empty = ~months.isin(_month(fed_on))
    stretch = np.cumsum(np.append(True, empty[1:] != empty[:-1]))
    first, last = (_month(fed_on).min(), _month(fed_on).max()) if len(fed_on) else ("", "")
    rows = []
    for _, of_it in pd.Series(months)[empty].groupby(stretch[empty]):
        start, end = of_it.iloc[0], of_it.iloc[-1]
        why = _AFTER if first and start > last else _BEFORE if not first or end < first else _BETWEEN
        rows.append({"from_month": start, "until_month": end, "months": len(of_it), "why": why})
    caption = f"{int(empty.sum())} of 12 months of {period.year} without a refeed, by the calendar"
    return captioned("year_gaps", rows, caption)


def _curves(curves: pd.DataFrame, period: Period) -> pd.DataFrame:
    of_year = curves[period.holds(days_of(curves["fed_at"]))]
    counts = of_year.groupby(["signal", "status"]).size().rename("refeeds").reset_index()
    caption = (
        f"{count_of(of_year['refeed'].nunique(), 'refeed')} of {period.year}: what their readings allowed, by signal"
    )
    return captioned("year_curves", counts, caption)


def _said(fed: pd.DataFrame, used: pd.DataFrame, gaps: pd.DataFrame, period: Period) -> str:
    if fed.empty:
        return f"No refeed was written down in {period.year}."
    told = []
    if len(gaps):
        told.append(f"months without a refeed: {', '.join(_stretch(row) for row in gaps.to_dict('records'))}")
    if period.records_until < period.last:
        told.append(f"the last record of the year is of {period.records_until:%d %B}")
    if used.empty:
        told.append("no flour was weighed")
    return sentence(told)


def _stretch(row: dict) -> str:
    one = row["from_month"] == row["until_month"]
    return row["from_month"] if one else f"{row['from_month']} to {row['until_month']}"
