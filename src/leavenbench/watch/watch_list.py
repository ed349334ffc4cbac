"""The watch list: one row per living culture, most urgent first."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from ..columns import RESULTS
from ..records.collection import Collection
from ..records.living import history_numbers, living_cultures
from ..records.rounds import STEPPING
from ..records.settings import Settings
from ..vigour.causes import Causes, causes_of
from ..vigour.split_feeding import split_feedings
from .alert import threshold
from .levels import round_levels
from .standing import Yardstick, stand
from .trend import shelf_noise

_LIST = RESULTS["watch_list"]
_URGENCY = ("urgent", "slipping", "low", "unknown", "steady")


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
        The watch list's columns; most urgent first.
    """
    causes = causes_of(collection, curves) if causes is None else causes
    history = history_numbers(collection)
    levels = round_levels(vigour, history)
    yardstick = shelf_yardstick(collection.settings, levels)
    present = history.groupby(collection["refeeds"]["culture"]).max()
    lifeless = _lifeless(curves, collection["refeeds"].assign(history=history))
    rows = []
    for culture in living_cultures(collection, as_of):
        own = levels[(levels["culture"] == culture) & (levels["history"] == present.get(culture, 0))]
        found = stand(own, yardstick, as_of=pd.Timestamp(as_of), lifeless=lifeless.get(culture, ""))
        told = {**found.numbers, "standing": found.standing, "evidence": found.evidence}
        last_read = own["fed_at"].dt.tz_localize(None).max()
        rows.append({"culture": culture, "as_of": pd.Timestamp(as_of), "last_read": last_read, **told})
    table = pd.DataFrame(rows, columns=["last_read", *(name for name in _LIST.names if name != "rank")])
    table = table.astype({"last_read": "datetime64[us]"})
    table = _add_care(table, collection, vigour, as_of, yardstick)
    met = _met_last(vigour, causes)
    table["shared_cause"] = pd.Series([met.get(culture, "") for culture in table["culture"]], table.index, "str")
    return _ranked(table, collection.settings.timezone)


def shelf_yardstick(settings: Settings, levels: pd.DataFrame) -> Yardstick:
    """Return what the shelf's cultures are judged by, from its settings and the noise of its rounds."""
    series = [one["level"].to_numpy() for _, one in levels.groupby(["culture", "history"])]
    return Yardstick(
        noise=shelf_noise(series),
        threshold=threshold(settings.false_alerts),
        round_days=settings.round_days,
        half_pct=settings.half_strength_pct,
    )


def _lifeless(curves: pd.DataFrame, refeeds: pd.DataFrame) -> dict[str, str]:
    """Return the cultures in which nothing moved at the last two steps read, and in words what did not.

    Only steps of the present history count. A jar that never rose is not called dead by its rise alone: its pH must
    have been read.
    """
    steps = refeeds[refeeds["purpose"].isin(STEPPING)]
    present = steps[steps["history"] == refeeds.groupby("culture")["history"].transform("max").reindex(steps.index)]
    read = curves[~curves["status"].isin(["no readings", "too few readings"])]
    read = read.assign(still=read["status"] == "no activity")
    ever_rose = read.loc[(read["signal"] == "rise") & ~read["still"], "culture"].unique()
    telling = read[(read["signal"] == "acid") | read["culture"].isin(ever_rose)]
    telling = telling[telling["refeed"].isin(present["refeed"])].sort_values("fed_at", kind="stable")
    found = {}
    for culture, own in telling.groupby("culture"):
        last_two = own["refeed"].drop_duplicates().tail(2)
        own = own[own["refeed"].isin(last_two)]
        if len(last_two) == 2 and own["still"].all():
            found[culture] = _STILL[tuple(sorted(own["signal"].unique()))]
    return found


_STILL = {("acid",): "no souring", ("rise",): "no rise (pH was not read)", ("acid", "rise"): "neither rise nor souring"}


def _add_care(
    table: pd.DataFrame, collection: Collection, vigour: pd.DataFrame, as_of: dt.date, yardstick: Yardstick
) -> pd.DataFrame:
    """Add what stands beside the trend: calendar, floor, extra steps, identity."""
    stepping = collection["refeeds"]["purpose"].isin(STEPPING).to_numpy()
    order = vigour[stepping].sort_values("fed_at", kind="stable")
    last = order.groupby("culture").tail(1).set_index("culture").reindex(table["culture"])
    table["last_fed_at"] = last["fed_at"].array
    table["floor"] = last["floor"].fillna("not measured").array
    table["extra_steps"] = last["extra_steps"].array
    table["identity_doubt"] = _in_last_round(order, "too_good").reindex(table["culture"]).fillna(False).array
    # Half a round late is late; a whole round missed counts once.
    table["rounds_missed"] = _rounds_since(table["last_fed_at"], as_of, yardstick).astype("Int64")
    table["rounds_unread"] = _rounds_since(table["last_read"], as_of, yardstick)
    table["act_by"] = _act_by(table, as_of, yardstick)
    table["identity_proven_on"] = _identity_proven(collection["identity_checks"]).reindex(table["culture"]).array
    passing = collection["refeeds"].groupby("culture")["passed"].agg(lambda passed: passed.notna().any())
    split = split_feedings(collection)
    table["split_feeding"] = [split.get(culture, "") for culture in table["culture"]]
    table["passing_noted"] = passing.reindex(table["culture"]).fillna(False).array
    spoken = [_care_evidence(row) for row in table.to_dict("records")]
    told = [both[0] + both[1] for both in zip(table["evidence"], spoken, strict=True)]
    return table.assign(evidence=["; ".join(parts) for parts in told])


def _met_last(vigour: pd.DataFrame, causes: Causes) -> dict[str, str]:
    """Return the shared causes that each culture met in its last round."""
    rounds = vigour.dropna(subset="round").sort_values("fed_at", kind="stable")
    last = rounds[rounds["round"] == rounds.groupby("culture")["round"].transform("last")]
    met = causes.met.merge(last[["refeed", "culture"]], on="refeed").drop_duplicates(["culture", "cause"])
    return {str(culture): "; ".join(of_it) for culture, of_it in met.groupby("culture")["cause"]}


def _in_last_round(order: pd.DataFrame, mark: str) -> pd.Series:
    """Tell which cultures carry a mark on any step of their last round."""
    last_round = order.groupby("culture")["round"].transform("last")
    return order[order["round"] == last_round].groupby("culture")[mark].any()


def _rounds_since(moments: pd.Series, as_of: dt.date, yardstick: Yardstick) -> pd.Series:
    """Return the whole rounds that have passed since without another."""
    since = (pd.Timestamp(as_of) - _days(moments)) / pd.Timedelta(days=1)
    return np.floor(since / yardstick.round_days - 0.5).clip(lower=0)


#: What people write when a culture was found to be itself, and what takes it back.
_PROVEN = (
    r"\b(?:confirmed|itself|same|ok|okay|yes|pass|passed|match|matches|matched|identical|proven|unchanged|as before)\b"
)
_NOT_PROVEN = r"\b(?:not|no|non|never|fail|failed|foreign|doubt|doubtful|differs?|different|contaminated|lost|partly)\b"


def _identity_proven(checks: pd.DataFrame) -> pd.Series:
    """Return when each culture was last proven to be itself; a check that failed or says nothing proves nothing."""
    result = checks["result"].fillna("").str.casefold()
    proven = result.str.contains(_PROVEN).astype(bool) & ~result.str.contains(_NOT_PROVEN).astype(bool)
    return checks[(checks["kind"] == "identity") & proven].groupby("culture")["checked_on"].max()


def _days(moments: pd.Series) -> pd.Series:
    return moments.dt.tz_localize(None).dt.normalize()


def _act_by(table: pd.DataFrame, as_of: dt.date, yardstick: Yardstick) -> pd.Series:
    """Return the last due date before the rounds left run out; missing when they do not within two years."""
    today, round_days = pd.Timestamp(as_of), yardstick.round_days
    soonest = table["rounds_left_low"].astype(float)
    since_fed = (today - _days(table["last_fed_at"])) / pd.Timedelta(days=1) / round_days
    due_rounds = np.floor(soonest + since_fed)  # due dates are counted from the last feeding, rounds left from today
    due = _days(table["last_fed_at"]) + pd.to_timedelta((due_rounds * round_days).round(), unit="D")
    due = due.mask(soonest >= yardstick.most_rounds)
    return due.fillna(today).where(due.notna() | (table["standing"] == "urgent")).clip(lower=today)


def _care_evidence(row: dict) -> list[str]:
    spoken = []
    if row["floor"] == "missed":
        spoken.append("floor missed: did not sour far enough in time at its last step; do not pass it on or cool it")
    if row["passing_noted"] and not pd.isna(row["extra_steps"]) and row["extra_steps"] > 0:
        spoken.append(f"extra steps: {row['extra_steps']} more than it usually takes in its last round")
    if row["identity_doubt"]:
        spoken.append(
            "too good: stronger than ever, or rising as ever while its acid lags; check that it is still itself"
        )
    if row["split_feeding"] and row["standing"] in ("urgent", "slipping", "low"):
        spoken.append(row["split_feeding"])
    missed = 0 if pd.isna(row["rounds_missed"]) else int(row["rounds_missed"])
    unread = 0 if pd.isna(row["rounds_unread"]) else int(row["rounds_unread"])
    if missed:
        spoken.append(f"late: {missed} {'round' if missed == 1 else 'rounds'} without a feeding")
    if unread > missed:
        spoken.append(f"unread: no sound readings since {row['last_read']:%Y-%m-%d}; what is said here is of that day")
    if pd.isna(row["last_fed_at"]):
        spoken.append("never fed in these records")
    return spoken


def _ranked(table: pd.DataFrame, timezone: str) -> pd.DataFrame:
    urgency = table["standing"].map({name: place for place, name in enumerate(_URGENCY)})
    ordered = table.assign(urgency=urgency, sour=table["floor"] != "missed").sort_values(
        ["urgency", "sour", "rounds_left_low", "vigour_pct", "culture"], kind="stable", ignore_index=True
    )
    ordered["rank"] = ordered.index + 1
    return ordered[_LIST.names].astype(_LIST.dtypes(timezone))
