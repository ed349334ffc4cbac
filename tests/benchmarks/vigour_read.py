"""Vigour of shelves that are simulated, written down, read and fitted, against what is true of them.

Everything goes the whole way: `simulate_cast`, a folder, `read_collection`, `trace_collection`, then vigour. Cardinal
temperatures of the cultures lie up to 1.5 degC off those assumed, thermometers scatter by .5 degC, and activity acts
on live cells, so that no trait is simply the truth with noise.

- The truth of `vigour_pct` is the log activity of the leading signal, less what days in the cold and the seed do; that
  of `vigour_pct_own` is what is the culture's own: its vigour and the refeed's chance. Both are held against their
  median over the culture's first six rounds at that step, and under 2 % is not told apart from 2 %, as vigour is.
- An error is log vigour less that truth, from the seventh round on. Cultures that were taken over have no one truth.
- What temperature swings cause is the variance of the errors where every thermometer reading is taken out of the
  records, less that on the same shelf in a room without seasons; what is left over is the same with the readings in.
  These are variances by medians: a few jars that are taken for dead would drown what temperature does.
"""

from __future__ import annotations

import dataclasses
import tempfile
from collections.abc import Iterator, Sequence
from datetime import date
from functools import partial
from pathlib import Path
from typing import NamedTuple
from unittest import mock

import numpy as np
import pandas as pd
from fitting_speed import Line, alternating

import leavenbench
from leavenbench.records.collection import Collection
from leavenbench.simulate import Cast, Noise, simulate_cast
from leavenbench.simulate.bakehouse.calendar import ROUNDS_A_YEAR
from leavenbench.simulate.bakehouse.rooms import Room
from leavenbench.simulate.cast import nameless_cast
from leavenbench.simulate.house.folder import write_collection
from leavenbench.simulate.noise import streams
from leavenbench.vigour.baseline import BASELINE_ROUNDS
from leavenbench.vigour.causes import shared_causes, vigour_and_causes
from leavenbench.vigour.index import vigour_table, weigh
from leavenbench.vigour.together import LEAST

SEED = 20260501
NOISE = Noise(cardinal_off_degC=1.5, thermometer_sd_degC=0.5)
BEGIN = date(2022, 1, 3)
#: Cultures and years of the large shelves, of those under a ruler and a logger, and of those whose room swings.
LARGE, SHELVES, BESIDE, SWINGING = (150, 4.0), 2, (30, 3.0), (40, 4.0)
RULER_READINGS = (7, 9)
SWING_DEGC = 4.0
TIMED_ROUNDS = 3
SPANS = ((0.1, 0.7), (0.7, 1.2), (1.2, 2.0))


class Shelf(NamedTuple):
    """A shelf as it was read and fitted, and the truth."""

    collection: Collection
    curves: pd.DataFrame
    truth: dict[str, pd.DataFrame]


def cast_of(cultures: int, years: float, seed: int, *, stories: bool = True, room: Room | None = None) -> Cast:
    """Return a nameless cast, if so wished with no stories, or all in one room."""
    cast = nameless_cast(cultures, round(years * ROUNDS_A_YEAR), streams(seed).stories)
    cast = cast if stories else dataclasses.replace(cast, stories={})
    return cast if room is None else dataclasses.replace(cast, rooms=(room,), room_of={})


def kept(cast: Cast, years: float, seed: int, *, logger: bool = False) -> Shelf:
    """Simulate a shelf and read what its keepers wrote; with a logger on every jar, if so wished."""
    under = mock.patch("leavenbench.simulate.shelf.under_logger", lambda steps, *_: steps[steps["written"]])
    if logger:
        with under:  # the simulator's one logger stands on one jar a day
            simulated = simulate_cast(seed, cast, years, BEGIN, noise=NOISE)
    else:
        simulated = simulate_cast(seed, cast, years, BEGIN, noise=NOISE)
    with tempfile.TemporaryDirectory() as folder:
        write_collection(simulated.tables, Path(folder) / "shelf")
        collection = leavenbench.read_collection(Path(folder) / "shelf")
    return Shelf(collection, leavenbench.trace_collection(collection), dict(simulated.truth))


def errors(shelf: Shelf) -> pd.DataFrame:
    """Return one row per refeed that has a truth: true and told log vigour, its error, and the same of its own."""
    vigour, _ = vigour_and_causes(shelf.collection, shelf.curves)
    true = shelf.truth["refeeds"].set_index("refeed").reindex(vigour["refeed"]).reset_index()
    leading = shelf.collection["cultures"].set_index("culture")["leading_signal"].reindex(vigour["culture"])
    activity = true["log_activity"].where(leading.to_numpy() != "acid", true["log_activity_acid"])
    parts = {
        "vigour_pct": activity - true["log_cold"] - true["log_seed"],
        "vigour_pct_own": true["log_vigour"] + true["log_refeed"],
    }
    nth = vigour.groupby("culture")["round"].transform(lambda rounds: pd.factorize(rounds)[0])
    found = vigour[["refeed", "culture", "step"]].assign(nth=nth)
    for name, truth in parts.items():
        place = [vigour["culture"], vigour["step"]]
        normal = truth[nth < BASELINE_ROUNDS].groupby([of[nth < BASELINE_ROUNDS] for of in place]).median()
        truth = truth - normal.reindex(pd.MultiIndex.from_arrays(place)).to_numpy()
        found[f"{name}_true"] = truth.clip(lower=np.log(LEAST))
        found[f"{name}_error"] = np.log(vigour[name] / 100.0) - found[f"{name}_true"]
        found[f"{name}_se"] = vigour[f"{name}_se"] / vigour[name]
    stories = shelf.truth["cultures"].set_index("culture")["story"].reindex(vigour["culture"])
    told = (nth >= BASELINE_ROUNDS) & (stories.to_numpy() != "takeover")
    return found[told].dropna(subset=["vigour_pct_error", "vigour_pct_own_error"])


def read_and_fitted(smaller: int, rounds: int) -> Iterator[Line]:
    """Measure everything that goes through readings and curves, on shelves that many times smaller."""
    yield from ruler_and_logger(smaller)
    cultures, years = LARGE
    casts = [cast_of(cultures // smaller, years, SEED + number) for number in range(SHELVES)]
    shelves = [kept(cast, years, SEED + number) for number, cast in enumerate(casts)]
    told = pd.concat([errors(shelf) for shelf in shelves], ignore_index=True)
    yield from slopes(told)
    yield from coverage(told)
    yield from swings(smaller)
    yield from names_for_nothing(shelves)
    yield time_taken(shelves[0], TIMED_ROUNDS if smaller == 1 else 1)


def ruler_and_logger(smaller: int) -> Iterator[Line]:
    """Read the same refeeds of a shelf without stories by ruler and by logger."""
    figure = "sd of vigour at fixed true vigour (error of log vigour)"
    cultures, years = BESIDE
    cast = cast_of(cultures // min(smaller, 3), years, SEED, stories=False)
    by = {logger: kept(cast, years, SEED, logger=logger) for logger in (False, True)}
    told = {logger: errors(shelf).set_index("refeed") for logger, shelf in by.items()}
    rise = by[False].curves
    few = rise.loc[(rise["signal"] == "rise") & rise["readings"].between(*RULER_READINGS), "refeed"]
    both = told[True].index.intersection(told[False].index).intersection(pd.Index(few))
    sd = {}
    for logger, case in ((True, "logger, every ten minutes"), (False, "ruler, 7 to 9 readings")):
        error = told[logger].loc[both, "vigour_pct_error"]
        sd[logger] = float(error.std())
        yield Line(figure, case, "", f"{sd[logger]:.3f}", None, f"{len(both)} refeeds; by medians {_mad(error):.3f}")
    yield Line(figure, "ruler over logger", "<= 2", f"{sd[False] / sd[True]:.2f}", sd[False] <= 2.0 * sd[True])


def slopes(told: pd.DataFrame) -> Iterator[Line]:
    """Regress log vigour on the truth between .3 and 1.2."""
    figure = "slope of log vigour on true log activity, .3 to 1.2"
    for name, least in (("vigour_pct", True), ("vigour_pct_own", False)):
        true = told[f"{name}_true"]
        within = true.between(np.log(0.3), np.log(1.2))
        slope = float(np.polyfit(true[within], (true + told[f"{name}_error"])[within], 1)[0])
        yield Line(
            figure,
            name,
            ".9 to 1.1" if least else "",
            f"{slope:.3f}",
            0.9 <= slope <= 1.1 if least else None,
            f"{within.sum()} refeeds",
        )


def coverage(told: pd.DataFrame) -> Iterator[Line]:
    """Count how often the truth lies within 1.96 standard errors."""
    figure = "coverage of vigour's 95 % interval"
    for name, asked in (("vigour_pct", True), ("vigour_pct_own", False)):
        yield _covered(figure, f"{name}, all refeeds", told, name, asked)
    for low, high in SPANS:
        within = told[told["vigour_pct_true"].between(np.log(low), np.log(high))]
        yield _covered(figure, f"vigour_pct, true {low:g} to {high:g}", within, "vigour_pct", False)


def _covered(figure: str, case: str, told: pd.DataFrame, name: str, asked: bool) -> Line:
    error, se = told[f"{name}_error"], told[f"{name}_se"]
    share = float((error.abs() <= 1.96 * se).mean())
    note = (
        f"{len(told)} refeeds; errors sd {error.std():.3f}, by medians {_mad(error):.3f}; median se {se.median():.3f}"
    )
    return Line(
        figure, case, "92 to 97 %" if asked else "", f"{share:.1%}", 0.92 <= share <= 0.97 if asked else None, note
    )


def swings(smaller: int) -> Iterator[Line]:
    """Compare the variance that a room's seasons leave with what they cause where nobody looked at a thermometer."""
    figure = "room 4 degC warmer in summer, colder in winter: variance left over what they cause"
    cultures, years = SWINGING
    for thermometer, case in ((True, "a thermometer in the dough"), (False, "the wall's, once at feeding")):
        variance = {}
        for season in (SWING_DEGC, 0.0):
            room = Room("bakehouse", season_degC=season, swing_degC=1.0, thermometer=thermometer)
            shelf = kept(cast_of(cultures // min(smaller, 4), years, SEED, stories=False, room=room), years, SEED)
            for noted in (True, False):
                told = errors(shelf if noted else without_thermometers(shelf))["vigour_pct_error"]
                variance[season, noted] = _mad(told) ** 2
        left, caused = (variance[SWING_DEGC, noted] - variance[0.0, noted] for noted in (True, False))
        note = f"left {left:.5f} of {caused:.4f}; beside {variance[0.0, True]:.5f} of all other errors"
        yield Line(figure, case, "<= .1", f"{left / caused:.3f}", left <= 0.1 * caused, note)


def without_thermometers(shelf: Shelf) -> Shelf:
    """Take every temperature out of the records; the curves, which are by the clock, stay as they are."""
    tables = dict(shelf.collection.tables)
    for table, name in (("readings", "temperature_degC"), ("refeeds", "room_temperature_degC")):
        tables[table] = tables[table].assign(**{name: tables[table][name] * np.nan})
    return shelf._replace(collection=dataclasses.replace(shelf.collection, tables=tables))


def names_for_nothing(shelves: Sequence[Shelf]) -> Iterator[Line]:
    """Count the causes named on shelves on which none was planted."""
    found = pd.concat([shared_causes(weigh(shelf.collection, shelf.curves)).table for shelf in shelves])
    years = sum(shelf.collection["refeeds"]["fed_at"].agg(np.ptp) / pd.Timedelta(days=365.25) for shelf in shelves)
    said = ", ".join(f"{row.factor} {row.effect_pct:+.0f} %" for row in found.itertuples()) or "none"
    rate = len(found) / years
    figure = "false namings a year on a shelf of 150"
    yield Line(
        figure, "read and fitted, nothing planted", "<= .3", f"{rate:.2f}", rate <= 0.3, f"{years:.1f} years: {said}"
    )


def time_taken(shelf: Shelf, rounds: int) -> Line:
    """Set the time for vigour and shared causes against that for fitting the curves, round after round."""
    many = len(shelf.collection["refeeds"])
    fit, rest = alternating(
        rounds,
        (partial(leavenbench.trace_collection, shelf.collection), 1),
        (partial(_vigour_and_causes, shelf), 1),
    )
    share = float(np.median(rest) / np.median(fit))
    note = f"{np.median(rest):.1f} s against {np.median(fit):.1f} s"
    return Line(
        "time for vigour and causes over that for the curves",
        f"{many:,} refeeds",
        "<= 1",
        f"{share:.2f}",
        share <= 1,
        note,
    )


def _vigour_and_causes(shelf: Shelf) -> None:
    weighed = weigh(shelf.collection, shelf.curves)
    vigour_table(shelf.collection, shelf.curves, weighed)
    shared_causes(weighed)


def _mad(of: pd.Series) -> float:
    return float(1.4826 * (of - of.median()).abs().median())
