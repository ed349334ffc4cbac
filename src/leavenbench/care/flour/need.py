"""What the shelf needs of each flour: per round and per year, culture by culture."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from ...columns import RESULTS
from ...records.collection import Collection
from ...records.living import living_cultures
from ...records.rounds import STEPPING
from .stock import flour_used

#: Rounds that tell what a round takes, the last ones: the usual one, and how it scatters.
_REMEMBERED, SCATTER = 8, 20
YEAR_D = 365.25

_NEED = RESULTS["flour_need"]


def round_uses(collection: Collection, on: dt.date, remembered: int = _REMEMBERED) -> pd.DataFrame:
    """Return what each culture's rounds took of each flour, extra steps and rescues with them.

    Returns
    -------
    pandas.DataFrame
        One row per culture, round, flour and day of the round (from 0): culture, round, flour, day, mass_g; the
        culture's last rounds up to the day.
    """
    used = flour_used(collection, on)
    used = used[used["purpose"].isin(STEPPING)]
    used = used.merge(collection["refeeds"][["refeed", "round"]], on="refeed").dropna(subset=["round", "flour"])
    used["day"] = (used["used_on"] - used.groupby(["culture", "round"])["used_on"].transform("min")).dt.days
    rounds = used.groupby(["culture", "round", "flour", "day"], as_index=False)["mass_g"].sum()
    last = rounds.groupby("culture")["round"].transform("max")
    return rounds[rounds["round"] > last - remembered].reset_index(drop=True)


def flour_need(collection: Collection, on: dt.date) -> pd.DataFrame:
    """Return what each living culture needs of its flours.

    Parameters
    ----------
    collection : Collection
        The records.
    on : datetime.date
        The day.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["flour_need"]``: the median over its last rounds, its spread over them (10 % and
        90 %), and what comes to a year at the usual time between rounds. A culture that has changed its flour needs
        that of its last round.
    """
    rounds = round_uses(collection, on)
    rounds = rounds[rounds["culture"].isin(living_cultures(collection, on))]
    last = rounds["round"] == rounds.groupby("culture")["round"].transform("max")
    now = rounds.loc[last, ["culture", "flour"]].drop_duplicates()
    rounds = rounds.merge(now, on=["culture", "flour"])
    per = rounds.groupby(["culture", "flour", "round"])["mass_g"].sum().groupby(["culture", "flour"])
    table = per.agg(rounds="size", per_round_g="median").reset_index()
    table["per_round_low_g"], table["per_round_high_g"] = (per.quantile(share).to_numpy() for share in (0.1, 0.9))
    table["per_year_g"] = table["per_round_g"] * YEAR_D / collection.settings.round_days
    table = table.sort_values(["flour", "culture"], kind="stable", ignore_index=True)
    return table[_NEED.names].astype(_NEED.dtypes())
