"""Shared causes on shelves of vigour values alone: named rightly, named falsely, and the drift of the healthy.

The values are those of `simulate_values`: 150 cultures, one in ten of which declines, on four flours and in two rooms;
days with sd 5 %, flour lots with 4 %, refeeds with 5 to 8 %, rounds with 5 to 12 %, readings with 4 %.

- On each shelf a day, a lot, a room for a month, and a whole month lose a quarter, each in a month of its own; a lot
  in all months in which it was fed. A day is one on which six cultures were fed at least, a lot one that eight ate.
- Rightly named: the table has a row with that factor and level in one of those months. Beside it stands how often it
  is either named or among the candidates.
- Falsely named: every row whose level was not planted, nor any of its candidates. Some of those did lose something by
  chance, for days and lots have effects of their own: how many of them truly moved by 7 % or more stands beside.
- Drift: log vigour with shared causes out, less the truth, of cultures without a story, in the last two years less
  years two to four (the first make the baseline).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import pandas as pd
from fitting_speed import Line

from leavenbench.simulate import Simulated, simulate_values
from leavenbench.vigour.causes import shared_causes
from leavenbench.vigour.circumstances import FACTORS
from leavenbench.vigour.index import Weighed, _first_rounds_mean
from leavenbench.vigour.shared import what_is_shared

SEED = 20260601
CULTURES, YEARS, SHELVES = 150, 3.0, 160
LOST = np.log(0.75)
#: The least share named rightly that is asked for.
NAMED = {"day": 0.85, "lot": 0.90, "room": 0.95, "month": 0.98}
#: Cultures that must have met a day or a lot, and the months of which one is struck, counted from the first.
_MET, _STRUCK = {"day": 6, "lot": 8, "room": 1}, slice(14, 34)
#: What a level must truly have done to be worth a name [log].
_WORTH_A_NAME = 0.07
LONG_YEARS, LONG_SHELVES = 10.0, 4
_USUAL_COLD_D, _VALUE_SD = 60.0, 0.04


class Values(NamedTuple):
    """Values as `what_is_shared` takes them, the lots fed, and what is true of each refeed (aligned)."""

    values: pd.DataFrame
    lots: pd.DataFrame
    true: pd.DataFrame


def values_of(simulated: Simulated) -> Values:
    """Lay out simulated values with what each refeed met."""
    told = simulated.tables["values"].dropna(subset="round").reset_index(drop=True)
    fed_at = pd.to_datetime(told["fed_at"])
    values = told[["refeed", "culture", "round", "step", "purpose"]].assign(
        history=0,
        fed_at=fed_at,
        log_vigour=told["log_value"],
        log_vigour_se=_VALUE_SD,
        cold_d=np.where(told["step"] == 1, told["days_cold"] - _USUAL_COLD_D, 0.0),
        rest_h=0.0,
        log_seed=0.0,
        month=fed_at.dt.strftime("%Y-%m"),
        **{factor: pd.Series([None] * len(told), dtype="str") for factor in FACTORS},
    )
    values = values.assign(day=fed_at.dt.strftime("%Y-%m-%d"), room=told["room"])
    true = simulated.truth["refeeds"].set_index("refeed").reindex(told["refeed"]).reset_index()
    story = simulated.truth["cultures"].set_index("culture")["story"].reindex(told["culture"]).to_numpy()
    return Values(values, told[["refeed", "lot"]].dropna().assign(share=1.0), true.assign(story=story))


class Planted(NamedTuple):
    """What was planted: the months in which it shows, and its level, by factor."""

    months: list[str]
    level: str


def planted(shelf: Values, rng: np.random.Generator) -> tuple[Values, dict[str, Planted]]:
    """Strike a day, a lot, a room and a month of a shelf, each in a month of its own."""
    values, lot = shelf.values, shelf.lots.set_index("refeed")["lot"].reindex(shelf.values["refeed"]).to_numpy()
    levels = values[["day", "room", "month"]].assign(lot=lot)
    months = rng.choice(sorted(values["month"].unique())[_STRUCK], len(NAMED), replace=False)
    off, done = np.zeros(len(values)), {}
    for factor, month in zip(NAMED, months, strict=True):
        inside = values["month"] == month
        if factor == "month":
            level, struck = month, inside
        else:
            met = values[inside].groupby(levels.loc[inside, factor])["culture"].nunique()
            level = rng.choice(met.index[met >= _MET[factor]])
            struck = (levels[factor] == level) & (inside | (factor == "lot"))
        off += LOST * struck
        done[factor] = Planted(sorted(values.loc[struck, "month"].unique()), str(level))
    return shelf._replace(values=values.assign(log_vigour=values["log_vigour"] + off)), done


def causes_named(smaller: int, rounds: int) -> Iterator[Line]:
    """Plant causes on many shelves, and count what is named."""
    named, either = ({factor: [] for factor in NAMED} for _ in range(2))
    false, moved, years = 0, 0, 0.0
    for number in range(SHELVES // smaller):
        simulated = simulate_values(SEED + number, CULTURES, YEARS)
        shelf, done = planted(values_of(simulated), np.random.default_rng([SEED, number]))
        shared = what_is_shared(shelf.values, shelf.lots)
        table = shared_causes(Weighed(shelf.values, shelf.lots, shared)).table
        right = np.zeros(len(table), bool)
        for factor, one in done.items():
            there = table["month"].isin(one.months)
            by_name = there & (table["factor"] == factor) & (table["level"] == one.level)
            beside = there & table["candidates"].str.split(", ").map(lambda of, it=f"{factor} {one.level}": it in of)
            named[factor].append(by_name.any())
            either[factor].append((by_name | beside).any())
            right |= (by_name | beside).to_numpy(bool)
        false += int((~right).sum())
        moved += sum(_truly_moved(row, shelf, simulated) for row in table[~right].itertuples())
        years += YEARS
    figure = "a quarter lost, named rightly"
    for factor, least in NAMED.items():
        share = float(np.mean(named[factor]))
        note = f"{len(named[factor])} shelves; named or among the candidates {np.mean(either[factor]):.0%}"
        yield Line(figure, factor, f">= {least:.0%}", f"{share:.1%}", share >= least, note)
    rate = false / years
    note = f"{false} in {years:.0f} years, of which {moved} had truly moved by 7 % or more"
    yield Line(
        "false namings a year on a shelf of 150",
        "values, beside what was planted",
        "<= .3",
        f"{rate:.2f}",
        rate <= 0.3,
        note,
    )


def _truly_moved(row: NamedTuple, shelf: Values, simulated: Simulated) -> bool:
    """Whether a level that was not planted had an effect of its own, in the way that it was said to have."""
    if row.factor not in ("day", "lot"):
        return False
    truth = simulated.truth[f"{row.factor}s"]
    names = truth["lot"] if row.factor == "lot" else pd.to_datetime(truth["day"]).dt.strftime("%Y-%m-%d")
    effect = float(truth.loc[names == row.level, f"log_{row.factor}"].sum())
    return abs(effect) >= _WORTH_A_NAME and np.sign(effect) == np.sign(row.effect_pct)


def drift(smaller: int, rounds: int) -> Iterator[Line]:
    """Follow healthy cultures for ten years beside others that decline."""
    figure = "ten years, one in ten declining: drift of the healthy ones' vigour"
    each = []
    for number in range(max(LONG_SHELVES // smaller, 1)):
        shelf = values_of(simulate_values(SEED + 1000 + number, CULTURES, LONG_YEARS))
        shared = what_is_shared(shelf.values, shelf.lots)
        own = shelf.values["log_vigour"] - shared.covariates - shared.shared
        true = shelf.true["log_vigour"] + shelf.true["log_refeed"]
        error = own - _first_rounds_mean(shelf.values, own) - (true - _first_rounds_mean(shelf.values, true))
        healthy = shelf.true["story"] == "steady"
        year = (shelf.values["fed_at"] - shelf.values["fed_at"].min()).dt.days / 365.25
        late, early = (error[healthy & year.between(*of)].mean() for of in ((8.0, 10.0), (1.0, 4.0)))
        each.append(100.0 * np.expm1(late - early))
    worst = float(np.max(np.abs(each)))
    note = "; ".join(f"{of:+.2f} %" for of in each)
    yield Line(figure, f"{len(each)} shelves, the worst", "< 2 %", f"{worst:.2f} %", worst < 2.0, note)
