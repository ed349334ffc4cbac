"""What stands beside the trend: calendar, floor, extra steps, identity, flour."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

import numpy as np
import pandas as pd

from ..records.as_of import days_of, end_of
from ..records.collection import Collection
from ..records.rounds import STEPPING

#: What people write when a culture was found to be itself, and what takes it back.
_PROVEN = (
    r"\b(?:confirmed|itself|same|ok|okay|yes|pass|passed|match|matches|matched|identical|proven|unchanged|as before)\b"
)
_NOT_PROVEN = r"\b(?:not|no|non|never|fail|failed|foreign|doubt|doubtful|differs?|different|contaminated|lost|partly)\b"
_OF_REFEEDS = ["refeed", "culture", "purpose", "fed_at", "passed"]
_OF_VIGOUR = ["culture", "fed_at", "round", "floor", "extra_steps", "too_good"]


def beside_the_trend(
    table: pd.DataFrame,
    collection: Collection,
    vigour: pd.DataFrame,
    as_of: dt.date,
    split: Mapping[str, str],
) -> pd.DataFrame:
    """Add what else the records say of cultures up to a day.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per living culture: culture, and last_read, its last round with sound readings.
    collection, vigour
        The records and their table; what is later than the day is passed over.
    as_of : datetime.date
        The day.
    split : mapping of str to str
        By culture, the split feeding that would tell its flour from itself.

    Returns
    -------
    pandas.DataFrame
        With last_fed_at, floor, extra_steps, identity_doubt, identity_proven_on, rounds_missed,
        rounds_unread, passing_noted and split_feeding.
    """
    refeeds, end = collection["refeeds"][_OF_REFEEDS], end_of(as_of, collection.settings.timezone)
    known = (refeeds["fed_at"] <= end).to_numpy()
    stepping = known & refeeds["purpose"].isin(STEPPING).to_numpy()
    order = vigour.loc[stepping, _OF_VIGOUR].sort_values("fed_at", kind="stable")
    last = order.groupby("culture").tail(1).set_index("culture").reindex(table["culture"])
    checks = collection["identity_checks"]
    days = collection.settings.round_days
    noted = refeeds.loc[known, "passed"].notna().groupby(refeeds["culture"]).any()
    return table.assign(
        last_fed_at=last["fed_at"].array,
        floor=last["floor"].fillna("not measured").array,
        extra_steps=last["extra_steps"].array,
        identity_doubt=_in_last_round(order, "too_good").reindex(table["culture"]).fillna(False).array,
        identity_proven_on=identity_proven_on(checks[checks["checked_on"] <= pd.Timestamp(as_of)])
        .reindex(table["culture"])
        .array,
        # half a round late is late; a whole round missed counts once
        rounds_missed=_rounds_since(last["fed_at"], as_of, days).astype("Int64").array,
        rounds_unread=_rounds_since(table["last_read"], as_of, days).array,
        passing_noted=noted.reindex(table["culture"]).fillna(False).array,
        split_feeding=[split.get(culture, "") for culture in table["culture"]],
    )


def _in_last_round(order: pd.DataFrame, mark: str) -> pd.Series:
    """Tell which cultures carry a mark on any step of their last round."""
    last_round = order.groupby("culture")["round"].transform("last")
    return order[order["round"] == last_round].groupby("culture")[mark].any()


def _rounds_since(moments: pd.Series, as_of: dt.date, round_days: float) -> pd.Series:
    """Return the whole rounds that have passed since without another."""
    since = (pd.Timestamp(as_of) - days_of(moments)) / pd.Timedelta(days=1)
    return np.floor(since / round_days - 0.5).clip(lower=0)


def identity_proven_on(checks: pd.DataFrame) -> pd.Series:
    """Return when each culture was last proven to be itself; a check that failed or says nothing proves nothing."""
    result = checks["result"].fillna("").str.casefold()
    proven = result.str.contains(_PROVEN).astype(bool) & ~result.str.contains(_NOT_PROVEN).astype(bool)
    return checks[(checks["kind"] == "identity") & proven].groupby("culture")["checked_on"].max()
