"""Who is under suspicion: everything that the sluggish culture met in its last rounds, and the culture itself."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from ...vigour.circumstances import FACTORS
from ...vigour.shared import FEWEST_CULTURES
from .ground import Ground

BOTH, RISE_ALONE, ACID_ALONE = (1.0, 1.0), (1.0, 0.0), (0.0, 1.0)
#: What is left of a late round's harm, or of a small seed's, at steps 1, 2 and from 3 on (common practice, no source).
_LEFT_AT_STEP = (1.0, 0.5, 0.25)
#: A round late by this share of the usual time, or a seed share smaller by this, is worth a suspicion (common
#: practice, no source).
LATE, SMALLER = 0.4, 0.2
#: Lots, and lateness, of so many last rounds are suspected.
_LATELY = 4


class Suspect(NamedTuple):
    """One explanation.

    Attributes
    ----------
    factor, level : str
        What kind of thing, and which.
    begins : float
        From when on it is held to have acted [d]; missing (NaN) for what comes and goes.
    met : numpy.ndarray, shape (n,)
        How much of it each refeed of the shelf met: 1 is all of it.
    loading : tuple of float
        How much it acts on rise, and on acid.
    shared : bool
        Whether others may have met it: then they speak.
    told_by : numpy.ndarray of bool, shape (n,), optional
        For what nobody is spared: the refeeds that tell of it.
    """

    factor: str
    level: str
    begins: float
    met: np.ndarray
    loading: tuple[float, float] = BOTH
    shared: bool = True
    told_by: np.ndarray | None = None

    @property
    def words(self) -> str:
        """What it is called; a decline of its own is one, whatever its course."""
        if not self.shared:
            return self.factor
        return "the whole shelf" if self.factor == "whole shelf" else f"{self.factor} {self.level}"


def suspected(ground: Ground) -> Iterator[Suspect]:
    """Return everything that is suspected; what may have begun with several rounds stands once for each.

    Parameters
    ----------
    ground : Ground
        The shelf's refeeds.

    Yields
    ------
    Suspect
    """
    yield from _itself(ground)
    yield from _lots(ground)
    for factor in FACTORS:
        yield from _days(ground) if factor == "day" else _levels(ground, factor)
    yield from _whole_shelf(ground)
    yield from _late(ground)
    yield from _small_seed(ground)


def _itself(ground: Ground) -> Iterator[Suspect]:
    """Suspect a decline of its own, by a step or ever more, in both signals or in one."""
    mine = np.zeros(len(ground.values))
    mine[ground.own] = 1.0
    for factor, loading in (("its own decline", BOTH), ("its rise alone", RISE_ALONE), ("its acid alone", ACID_ALONE)):
        for onset in ground.onsets:
            since = mine * (ground.days >= onset)
            yield Suspect(factor, "at once", onset, since, loading, shared=False)
            rounds = since * ((ground.days - onset) / ground.round_days + 1.0)
            if onset < ground.onsets[0]:
                yield Suspect(factor, "ever more", onset, rounds / rounds.max(), loading, shared=False)


def _lots(ground: Ground) -> Iterator[Suspect]:
    lately = ground.values.loc[ground.own, "of_round"].isin(ground.own_rounds["of_round"].tail(_LATELY))
    mine = ground.values.loc[ground.own[lately.to_numpy()], "refeed"]
    place = ground.values.reset_index().set_index("refeed")["index"]
    for lot in ground.lots.loc[ground.lots["refeed"].isin(mine), "lot"].unique():
        fed = ground.lots[ground.lots["lot"] == lot]
        rows, met = place.loc[fed["refeed"]].to_numpy(), np.zeros(len(ground.values))
        met[rows] = fed["share"].to_numpy(float)
        yield Suspect("lot", str(lot), float(ground.days[rows].min()), met)


def _levels(ground: Ground, factor: str) -> Iterator[Suspect]:
    """Suspect what the culture met in its last round, since each round from which on it may have been poor."""
    column = ground.values[factor]
    last = ground.values["of_round"] == ground.own_rounds["of_round"].iloc[-1]
    loading = ACID_ALONE if factor == "probe" else BOTH
    for level in column[last].dropna().unique():
        has = (column == level).to_numpy(bool)
        if factor == "vessel kind" and not _new_jar(ground, has & last.to_numpy()):
            continue
        for onset in ground.onsets:
            yield Suspect(factor, str(level), onset, (has & (ground.days >= onset)).astype(float), loading)


def _new_jar(ground: Ground, rows: np.ndarray) -> bool:
    """Tell whether the culture stood in another kind of jar before at one of these steps."""
    now = ground.values[rows]
    own = ground.values.loc[ground.own]
    before = own[own["step"].isin(now["step"]) & (own["fed_at"] < now["fed_at"].min())]["vessel kind"].dropna()
    return bool((before != now["vessel kind"].iloc[0]).any())


def _days(ground: Ground) -> Iterator[Suspect]:
    last = ground.values["of_round"] == ground.own_rounds["of_round"].iloc[-1]
    for day in ground.values.loc[last, "day"].dropna().unique():
        met = (ground.values["day"] == day).to_numpy(float)
        yield Suspect("day", str(day), float(ground.days[met > 0.0].min()), met)


def _whole_shelf(ground: Ground) -> Iterator[Suspect]:
    """Suspect what all cultures share; it is told by those that share neither room nor lot with this one."""
    values, last = ground.values, _of_last(ground, 1)
    lots = ground.lots[ground.lots["refeed"].isin(values.loc[last, "refeed"])]["lot"]
    shares = values["refeed"].isin(ground.lots.loc[ground.lots["lot"].isin(lots), "refeed"])
    shares |= values["room"].isin(values.loc[last, "room"].dropna())
    elsewhere = ~shares.to_numpy(bool)
    for onset in ground.onsets:
        since = ground.days >= onset
        enough = values.loc[since & elsewhere, "culture"].nunique() >= FEWEST_CULTURES
        told_by = elsewhere if enough else np.ones(len(values), bool)
        yield Suspect("whole shelf", "all cultures", onset, since.astype(float), told_by=told_by)


def _late(ground: Ground) -> Iterator[Suspect]:
    """Suspect days in the cold beyond the usual; a late round is late at every step, ever less."""
    values, lately = ground.values, _of_last(ground, 2)
    late = values.groupby("of_round")["cold_d"].transform("max").to_numpy(float)
    met = np.where(late >= LATE * ground.round_days, late / ground.round_days, 0.0) * _at_step(ground)
    if (met[lately] > 0.0).any():
        yield Suspect("late round", f"{late[lately].max():.0f} d beyond the usual", float("nan"), met)


def _small_seed(ground: Ground) -> Iterator[Suspect]:
    less = np.maximum(-ground.values["log_seed"].to_numpy(float), 0.0)
    met = np.where(less >= -np.log1p(-SMALLER), less, 0.0)
    lately = met[_of_last(ground, 1)]
    if (lately > 0.0).any():
        yield Suspect("feed ratio", f"{-100.0 * np.expm1(-lately.max()):.0f} % less seed", float("nan"), met)


def _at_step(ground: Ground) -> np.ndarray:
    step = ground.values["step"].to_numpy(int)
    return np.array(_LEFT_AT_STEP)[np.clip(step, 1, len(_LEFT_AT_STEP)) - 1]


def _of_last(ground: Ground, rounds: int) -> np.ndarray:
    """Return the rows of the culture's last rounds."""
    own = ground.values.loc[ground.own, "of_round"]
    return ground.own[own.isin(ground.own_rounds["of_round"].tail(rounds)).to_numpy()]
