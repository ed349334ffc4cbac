"""Sluggish cultures with one true cause, on shelves of vigour values.

Shelves of `simulate_values`: 60 cultures, one in ten of which declines, on four flours, in two rooms, for three years;
days with sd 5 %, lots with 4 %, rounds with 5 to 12 %, refeeds with 5 to 8 %. Rise and acid are the true activities,
each read with sd 6 %. Two keepers take turns by the week, each with a probe. One case of each kind on every shelf; the
culture asked about has no story of its own, and what is later than the question is not known.

- lot: everything fed on it loses a quarter; asked after the culture's first or second round on it.
- room: everything fed there in one month loses a quarter; asked at the month's end.
- late round: on this shelf a round missed costs a quarter at step 1 of the next, and at the later steps in the
  simulator's own proportion (13 and 6 %); asked after a round that came at least 45 days late.
- probe: falls of pH read with it are a quarter too small from a day on; asked after one or two rounds.
- its own decline: a quarter at once, asked after one or two rounds; or 10 % a round, asked after the third.
- nothing: a culture in which nothing happened, asked at any time; or, harder, the one whose last round lies furthest
  under its six rounds before, of all on the shelf.
"""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

import numpy as np
import pandas as pd
from vigour_values import values_of

from leavenbench.care.rescue.ground import Ground, wander_of
from leavenbench.records.settings import Settings
from leavenbench.simulate import simulate_values
from leavenbench.vigour.baseline import BASELINE_ROUNDS
from leavenbench.vigour.index import Weighed
from leavenbench.vigour.shared import scatter_within
from leavenbench.watch.levels import round_levels
from leavenbench.watch.outlook import outlook

CULTURES, YEARS = 60, 3.0
READ_SD, LOST = 0.06, float(np.log(0.75))
#: What the simulator loses per day in the cold at step 1, and so by what a missed round costs a quarter.
_COLD_A_DAY, _ROUND_D = 0.0015, 60.0
_LATE_D = 45.0
#: Rounds that a culture must have had before it is asked about.
_BEFORE = 7
SETTINGS = Settings(title="study", round_days=_ROUND_D, steps_per_round=3.0)


class Shelf(NamedTuple):
    """A shelf: its values, the lots fed, what the cold did, and who has no story."""

    values: pd.DataFrame
    lots: pd.DataFrame
    log_cold: np.ndarray
    steady: list[str]


class Question(NamedTuple):
    """A culture, the day on which one asks, what is to be found (any level where it is empty), and what sort it is."""

    values: pd.DataFrame
    culture: str
    on: dt.date
    factor: str
    level: str = ""
    sort: str = ""


def shelf_of(seed: int) -> Shelf:
    """Simulate a shelf, and read rise and acid apart."""
    simulated = simulate_values(seed, CULTURES, YEARS)
    laid, draw = values_of(simulated), np.random.default_rng([seed, 1])
    values, true = laid.values, laid.true
    for name, of in (("rise", "log_activity"), ("acid", "log_activity_acid")):
        values = values.assign(**{name: true[of] + draw.normal(0.0, READ_SD, len(values)), f"{name}_se": READ_SD})
    person = np.where(values["fed_at"].dt.isocalendar().week % 2 == 0, "Ada", "Bo")
    values = values.assign(person=person, probe=np.where(person == "Ada", "one", "two"))
    cultures = simulated.truth["cultures"]
    return Shelf(
        values, laid.lots, true["log_cold"].to_numpy(), cultures.loc[cultures["story"] == "steady", "culture"].tolist()
    )


def questions(shelf: Shelf, rng: np.random.Generator) -> list[Question]:
    """Ask one question of each kind; one that the shelf does not allow is left out."""
    asked = (_lot, _room, _late_round, _probe, _declined, _nothing, _lowest)
    return [found for found in (ask(shelf, rng) for ask in asked) if found is not None]


def ground_of(question: Question, shelf: Shelf) -> Ground:
    """Lay out what is known at the question, as a case does it."""
    until = pd.Timestamp(question.on) + pd.Timedelta(days=1)
    known = question.values[question.values["fed_at"] < until]
    known = known.assign(log_vigour=known[["rise", "acid"]].mean(axis=1), log_vigour_se=READ_SD / np.sqrt(2.0))
    known = known.reset_index(drop=True)
    seen = outlook(round_levels(_as_vigour(known), known["history"]), SETTINGS)
    scatter = scatter_within(
        known["log_vigour"].to_numpy(),
        known["log_vigour_se"].to_numpy(),
        known.groupby(["culture", "round"]).ngroup().to_numpy(),
    )
    localised = known.assign(fed_at=known["fed_at"].dt.tz_localize("UTC"))
    wander = wander_of(seen, question.culture, scatter)
    return Ground(Weighed(localised, shelf.lots, None), question.culture, question.on, wander, _ROUND_D, "UTC")


def _as_vigour(values: pd.DataFrame) -> pd.DataFrame:
    """Write values as a vigour table, against the middle of the culture's first rounds at that step."""
    nth = values.groupby("culture")["round"].transform(lambda rounds: pd.factorize(rounds)[0])
    first = values[nth < BASELINE_ROUNDS].groupby(["culture", "step"])["log_vigour"].median()
    normal = first.reindex(pd.MultiIndex.from_frame(values[["culture", "step"]])).fillna(0.0).to_numpy()
    own = 100.0 * np.exp(values["log_vigour"] - normal)
    return values.assign(vigour_pct_own=own, vigour_pct_own_se=own * values["log_vigour_se"], extra_steps=pd.NA)


def _lot(shelf: Shelf, rng: np.random.Generator) -> Question | None:
    fed = shelf.lots.merge(_askable(shelf), on="refeed")
    eaters = fed.groupby("lot")["culture"].nunique()
    lot = str(rng.choice(eaters.index[eaters >= 4]))
    culture = str(rng.choice(fed.loc[fed["lot"] == lot, "culture"].unique()))
    own = fed[(fed["lot"] == lot) & (fed["culture"] == culture)].groupby("round")["fed_at"].max().sort_values()
    struck = shelf.values["refeed"].isin(shelf.lots.loc[shelf.lots["lot"] == lot, "refeed"])
    return Question(_slower(shelf.values, struck), culture, own.iloc[: rng.integers(1, 3)].iloc[-1].date(), "lot", lot)


def _room(shelf: Shelf, rng: np.random.Generator) -> Question | None:
    one = _askable(shelf).sample(1, random_state=rng).iloc[0]
    struck = (shelf.values["room"] == one["room"]) & (shelf.values["month"] == one["month"])
    month_end = (one["fed_at"] + pd.offsets.MonthEnd(0)).date()
    return Question(_slower(shelf.values, struck), str(one["culture"]), month_end, "room", str(one["room"]))


def _late_round(shelf: Shelf, rng: np.random.Generator) -> Question | None:
    late = _askable(shelf)
    late = late[late["cold_d"] >= _LATE_D]
    if late.empty:
        return None
    one = late.sample(1, random_state=rng).iloc[0]
    harm = (-LOST / (_COLD_A_DAY * _ROUND_D) - 1.0) * shelf.log_cold
    values = shelf.values.assign(rise=shelf.values["rise"] + harm, acid=shelf.values["acid"] + harm)
    return Question(values, str(one["culture"]), _end_of_round(shelf, one), "late round")


def _probe(shelf: Shelf, rng: np.random.Generator) -> Question | None:
    one = _askable(shelf).sample(1, random_state=rng).iloc[0]
    begins = one["fed_at"] - pd.Timedelta(days=float(rng.uniform(5.0, 60.0)))
    struck = (shelf.values["probe"] == one["probe"]) & (shelf.values["fed_at"] >= begins)
    values = shelf.values.assign(acid=shelf.values["acid"] + LOST * struck)
    return Question(values, str(one["culture"]), _end_of_round(shelf, one), "probe", str(one["probe"]))


def _declined(shelf: Shelf, rng: np.random.Generator) -> Question | None:
    one = _askable(shelf).sample(1, random_state=rng).iloc[0]
    own = shelf.values["culture"] == one["culture"]
    since = shelf.values["round"].astype(float) - float(one["round"]) + 1.0
    ramp = bool(rng.random() < 0.5)
    loss = np.log(0.9) * since if ramp else LOST
    values = _slower(shelf.values, own & (since > 0.0), loss)
    later = shelf.values[own & (since > 0.0)].groupby("round")["fed_at"].max().sort_values()
    rounds = 3 if ramp else int(rng.integers(1, 3))
    sort = "10 % a round, asked after 3" if ramp else f"a quarter at once, asked after {rounds}"
    return Question(values, str(one["culture"]), later.iloc[rounds - 1].date(), "its own decline", sort=sort)


def _nothing(shelf: Shelf, rng: np.random.Generator) -> Question | None:
    one = _askable(shelf).sample(1, random_state=rng).iloc[0]
    return Question(
        shelf.values, str(one["culture"]), _end_of_round(shelf, one), "nothing stands out", sort="any culture, any day"
    )


def _lowest(shelf: Shelf, rng: np.random.Generator) -> Question | None:
    """Ask about the culture that looks worst on some day."""
    on = _askable(shelf)["fed_at"].sample(1, random_state=rng).iloc[0]
    level = shelf.values[["rise", "acid"]].mean(axis=1)
    known = shelf.values.assign(level=level)[shelf.values["fed_at"] <= on]
    rounds = known[known["culture"].isin(shelf.steady)].groupby(["culture", "round"])["level"].mean()
    last = rounds.groupby("culture").last() - rounds.groupby("culture").apply(lambda of: of.iloc[-7:-1].median())
    return Question(shelf.values, str(last.idxmin()), on.date(), "nothing stands out", sort="the lowest of the shelf")


def _askable(shelf: Shelf) -> pd.DataFrame:
    """Return the first steps of rounds of cultures without a story that had enough rounds before, and a few after."""
    nth = shelf.values.groupby("culture")["round"].transform(lambda rounds: pd.factorize(rounds)[0])
    many = nth.groupby(shelf.values["culture"]).transform("max")
    there = (
        shelf.values["culture"].isin(shelf.steady) & (nth >= _BEFORE) & (nth <= many - 3) & (shelf.values["step"] == 1)
    )
    return shelf.values[there]


def _end_of_round(shelf: Shelf, one: pd.Series) -> dt.date:
    own = (shelf.values["culture"] == one["culture"]) & (shelf.values["round"] == one["round"])
    return shelf.values.loc[own, "fed_at"].max().date()


def _slower(values: pd.DataFrame, struck: pd.Series, loss: float | pd.Series = LOST) -> pd.DataFrame:
    off = np.where(struck, loss, 0.0)
    return values.assign(rise=values["rise"] + off, acid=values["acid"] + off)
