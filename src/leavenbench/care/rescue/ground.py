"""What suspects are judged on: the refeeds of the whole shelf up to a day, and how far the sluggish one wanders anyway.

Log vigour here is against the culture's own baseline, step by step, at the reference temperature and with what probes
lost put back; days in the cold, feed ratio and what the shelf shares are still in it, for they are under suspicion.
"""

from __future__ import annotations

import datetime as dt
from functools import cached_property
from typing import NamedTuple

import numpy as np
import pandas as pd

from ...errors import CannotRead
from ...records.as_of import end_of
from ...vigour.index import Weighed
from ...watch.outlook import Outlook
from ...watch.scatter import USUAL_CARRY_OVER, USUAL_SD

#: Rounds back from the last one in which the trouble may have begun.
ONSETS = 8
#: Rounds that tell what was normal before.
BEFORE = 6
#: What days do to the jars handled on them by chance alone, and single lots, rooms and so on [log]: an effect is not
#: known better than that (common practice, no source; the sizes of `vigour.shared`).
BY_CHANCE = 0.05


class Wander(NamedTuple):
    """How far a culture wanders when nothing is wrong [log].

    Attributes
    ----------
    round_sd : float
        Sd of its level from round to round.
    carry_over : float
        What of a deviation is left in the next round.
    refeed_sd : float
        Sd of a single refeed about its round, beyond its own error.
    """

    round_sd: float = USUAL_SD
    carry_over: float = USUAL_CARRY_OVER
    refeed_sd: float = 0.06


class Ground:
    """The refeeds of a shelf on which suspects are judged.

    Parameters
    ----------
    weighed : Weighed
        From `vigour.index.weigh`.
    culture : str
        The sluggish one.
    on : datetime.date
        The day; what is later is passed over.
    wander : Wander
        How far it wanders when nothing is wrong.
    round_days : float
        Days between rounds [d].
    timezone : str
        Of the collection.
    story : pandas.Series of int, optional
        By refeed, the history that it belongs to, a rescue beginning a new one; as in `weighed` when not given.

    Attributes
    ----------
    values : pandas.DataFrame
        The refeeds, in order of time; rounds are numbered through in `of_round`.
    own : numpy.ndarray of int
        The rows of the culture's present story.

    Raises
    ------
    CannotRead
        The culture has no refeed with a vigour up to that day.
    """

    def __init__(
        self,
        weighed: Weighed,
        culture: str,
        on: dt.date,
        wander: Wander,
        round_days: float,
        timezone: str,
        story: pd.Series | None = None,
    ) -> None:
        values = weighed.values
        if story is not None:
            values = values.assign(history=values["refeed"].map(story).astype(int))
        known = values["fed_at"].le(end_of(on, timezone)) & values["round"].notna() & values["step"].notna()
        values = values[known].sort_values("fed_at", kind="stable", ignore_index=True)
        self.values = values.assign(of_round=values.groupby(["culture", "history", "round"], sort=False).ngroup())
        own = self.values[self.values["culture"] == culture]
        if own.empty:
            raise CannotRead(f"{culture} has no refeed with sound readings up to {on}; choose another, or a later day.")
        self.culture, self.wander, self.round_days = culture, wander, round_days
        self.own = own.index[own["history"] == own["history"].max()].to_numpy()
        self.lots = weighed.lots[weighed.lots["refeed"].isin(self.values["refeed"])]

    @cached_property
    def days(self) -> np.ndarray:
        """When each refeed was fed [d]."""
        return self.values["fed_at"].dt.tz_localize(None).to_numpy("datetime64[s]").astype(float) / 86400.0

    @cached_property
    def own_rounds(self) -> pd.DataFrame:
        """The culture's rounds in order: of_round, begun [d], refeeds."""
        own = self.values.loc[self.own, ["of_round"]].assign(day=self.days[self.own])
        return own.groupby("of_round", sort=False).agg(begun=("day", "min"), refeeds=("day", "size")).reset_index()

    @cached_property
    def onsets(self) -> np.ndarray:
        """The days on which those rounds began with which the trouble may have, the last one first [d]."""
        begun = self.own_rounds["begun"].to_numpy()
        return begun[max(len(begun) - ONSETS, 1) :][::-1]

    @cached_property
    def rounds(self) -> pd.DataFrame:
        """The rounds of the others: culture, day, of_round, level, and acid_over_rise [log], culture by culture."""
        values = self.values.assign(day=self.days, apart=self.values["acid"] - self.values["rise"])
        values["apart"] = values["apart"].fillna(values["acid"])
        others = values[values["culture"] != self.culture].groupby("of_round")
        table = others.agg(
            culture=("culture", "first"),
            history=("history", "first"),
            day=("day", "min"),
            level=("log_vigour", "mean"),
            acid_over_rise=("apart", "mean"),
        ).reset_index()
        return table.sort_values(["culture", "history", "day"], kind="stable", ignore_index=True)


def wander_of(seen: Outlook, culture: str, refeed_sd: float) -> Wander:
    """Return how far a culture wanders, as known before the rounds in which its trouble may have begun.

    Parameters
    ----------
    seen : Outlook
        What the rounds of the shelf say.
    culture : str
        Which.
    refeed_sd : float
        Sd of a single refeed, of the shelf.

    Returns
    -------
    Wander
    """
    rows = np.flatnonzero((seen.levels["culture"] == culture).to_numpy())
    if not len(rows):
        return Wander(refeed_sd=refeed_sd)
    at = rows[max(len(rows) - ONSETS, 0)]
    return Wander(float(seen.scatter.sd[at]), float(seen.scatter.carry_over[at]), refeed_sd)
