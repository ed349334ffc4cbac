"""Whether rounds were held when they were due: each culture by its own calendar."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ...records.as_of import days_of
from ...records.collection import Collection
from ...records.living import history_numbers
from ...records.rounds import STEPPING
from .captioned import captioned, count_of
from .lives import living_on
from .period import Period

#: A round within this share of the usual time about its due date is on time (common practice, no source).
TOLERANCE = 0.1


def rounds_kept(collection: Collection, lived: pd.DataFrame, period: Period) -> pd.DataFrame:
    """Return every round of a year, as held against the day on which it was due.

    A round is due when the usual time between rounds has passed since the last one began. A first round, and the
    first after a restoration, was never due.

    Parameters
    ----------
    collection : Collection
        The records, read up to the year's end.
    lived : pandas.DataFrame
        As from `lives.lives`: who is gone is due no more.
    period : Period
        The year; what is still to be held at its last record is not called missing before its time.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["year_rounds"]``: the rounds begun in the year, and those due in it that living
        cultures have not had.
    """
    usual = pd.Timedelta(days=round(collection.settings.round_days))
    slack = pd.Timedelta(days=collection.settings.round_days * TOLERANCE)
    begun = _begun(collection)
    begun["due_on"] = begun.groupby(["culture", "history"])["begun_on"].shift() + usual
    held = begun[period.holds(begun["begun_on"])].copy()
    off = held["begun_on"] - held["due_on"]
    held["kept"] = np.select([off.isna(), off > slack, off < -slack], ["first", "late", "early"], "on time")
    last = begun.drop_duplicates("culture", keep="last")
    living = lived.loc[living_on(lived, period.last), "culture"]
    open_still = last.loc[last["culture"].isin(living), ["culture", "begun_on"]]
    open_still = open_still.assign(due_on=open_still["begun_on"] + usual, begun_on=pd.NaT, kept="not held")
    overdue = period.holds(open_still["due_on"]) & (open_still["due_on"] + slack < period.records_until)
    rows = pd.concat([held, open_still[overdue].astype({"begun_on": held["begun_on"].dtype})])
    late = (rows["begun_on"].fillna(period.records_until) - rows["due_on"]).dt.days
    # half a round late is late; from then on another round would have fitted in
    rows["passed_over"] = np.floor(late / collection.settings.round_days + 0.5).clip(lower=0).fillna(0)
    rows["late_d"] = late.where(rows["begun_on"].notna())
    rows["group"] = rows["culture"].map(collection["cultures"].set_index("culture")["group"])
    rows["when"] = rows["begun_on"].fillna(rows["due_on"])
    caption = (
        f"{count_of(len(held), 'round')} begun in {period.year} and {int(overdue.sum())} due and not held; due "
        f"{usual.days} days after the last one began, on time within {slack / pd.Timedelta(days=1):.0f} days"
    )
    return captioned("year_rounds", rows.sort_values(["when", "culture"], kind="stable"), caption)


def _begun(collection: Collection) -> pd.DataFrame:
    """Return the day on which each round of each culture began, by culture and in time."""
    refeeds = collection["refeeds"]
    steps = refeeds[["culture", "round"]].assign(
        history=history_numbers(collection), begun_on=days_of(refeeds["fed_at"])
    )
    steps = steps[refeeds["purpose"].isin(STEPPING)].dropna(subset="round")
    rounds = steps.groupby(["culture", "history", "round"], as_index=False)["begun_on"].min()
    return rounds.sort_values(["culture", "begun_on"], kind="stable", ignore_index=True)
