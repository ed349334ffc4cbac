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
from .alert import threshold
from .levels import round_levels
from .standing import Yardstick, stand
from .trend import shelf_noise

_LIST = RESULTS["watch_list"]
_URGENCY = ("urgent", "slipping", "low", "unknown", "steady")


def watch_list(collection: Collection, curves: pd.DataFrame, vigour: pd.DataFrame, as_of: dt.date) -> pd.DataFrame:
    """Return how every living culture stands.

    Parameters
    ----------
    collection : Collection
        The records, read up to the end of that day.
    curves, vigour : pandas.DataFrame
        Its curves and vigour tables.
    as_of : datetime.date
        The day.

    Returns
    -------
    pandas.DataFrame
        The watch list's columns; most urgent first.
    """
    history = history_numbers(collection)
    levels = round_levels(vigour, history)
    yardstick = shelf_yardstick(collection.settings, levels)
    present = history.groupby(collection["refeeds"]["culture"]).max()
    lifeless = _lifeless(curves)
    rows = []
    for culture in living_cultures(collection, as_of):
        own = levels[(levels["culture"] == culture) & (levels["history"] == present.get(culture, 0))]
        found = stand(own, yardstick, lifeless=culture in lifeless)
        told = {**found.numbers, "standing": found.standing, "evidence": found.evidence}
        rows.append({"culture": culture, "as_of": pd.Timestamp(as_of), **told})
    table = pd.DataFrame(rows, columns=[name for name in _LIST.names if name != "rank"])
    table = _add_care(table, collection, vigour, as_of, yardstick)
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


def _lifeless(curves: pd.DataFrame) -> set[str]:
    """Return the cultures in which nothing rose or soured at the last two steps read.

    A jar that never rose is not called dead by its rise alone: its pH must have been read.
    """
    read = curves[~curves["status"].isin(["no readings", "too few readings"])]
    still = read["status"] == "no activity"
    ever_rose = read.loc[(read["signal"] == "rise") & ~still, "culture"].unique()
    telling = read[(read["signal"] == "acid") | read["culture"].isin(ever_rose)]
    steps = telling.assign(still=still).groupby(["culture", "refeed"], as_index=False)
    steps = steps.agg(still=("still", "all"), fed_at=("fed_at", "max")).sort_values("fed_at", kind="stable")
    last_two = steps.groupby("culture").tail(2).groupby("culture")["still"].agg(["all", "size"])
    return set(last_two.index[last_two["all"] & (last_two["size"] == 2)])


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
    table["identity_doubt"] = last["too_good"].fillna(False).array
    since = (pd.Timestamp(as_of) - _days(table["last_fed_at"])) / pd.Timedelta(days=1)
    # Half a round late is late; a whole round missed counts once.
    table["rounds_missed"] = np.floor(since / yardstick.round_days - 0.5).clip(lower=0).astype("Int64")
    table["act_by"] = _act_by(table, as_of, yardstick)
    checks = collection["identity_checks"]
    proven = checks[checks["kind"] == "identity"].groupby("culture")["checked_on"].max()
    table["identity_proven_on"] = proven.reindex(table["culture"]).array
    table["shared_cause"] = ""
    spoken = [_care_evidence(row) for row in table.to_dict("records")]
    told = [both[0] + both[1] for both in zip(table["evidence"], spoken, strict=True)]
    return table.assign(evidence=["; ".join(parts) for parts in told])


def _days(moments: pd.Series) -> pd.Series:
    return moments.dt.tz_localize(None).dt.normalize()


def _act_by(table: pd.DataFrame, as_of: dt.date, yardstick: Yardstick) -> pd.Series:
    """Return the last due date before the rounds left run out; missing when they do not within two years."""
    today = pd.Timestamp(as_of)
    whole_rounds = np.floor(table["rounds_left_low"].astype(float))
    due = _days(table["last_fed_at"]) + pd.to_timedelta((whole_rounds * yardstick.round_days).round(), unit="D")
    due = due.mask(table["rounds_left_low"] >= yardstick.most_rounds)
    return due.fillna(today).where(due.notna() | (table["standing"] == "urgent")).clip(lower=today)


def _care_evidence(row: dict) -> list[str]:
    spoken = []
    if row["floor"] == "missed":
        spoken.append("floor missed: did not sour far enough in time at its last step; do not pass it on or cool it")
    if not pd.isna(row["extra_steps"]) and row["extra_steps"] > 0:
        spoken.append(f"extra steps: {row['extra_steps']} more than it usually takes in its last round")
    if row["identity_doubt"]:
        spoken.append("too good: stronger than ever before; check that it is still itself")
    if not pd.isna(row["rounds_missed"]) and row["rounds_missed"] > 0:
        spoken.append(f"late: {row['rounds_missed']} rounds without a feeding")
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
