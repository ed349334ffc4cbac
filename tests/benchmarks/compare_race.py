"""Race comparing all traits of a large shelf against a loop of curve_fit over as many curves.

Ours begins with records and a curves table in memory. The loop is handed its readings curve by curve, cut out of their
table for nothing. Each trait is invented for curves of its own signal alone: a rise's extent was once overwritten by an
acid's, so that it hardly varied, which no measured trait does.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pandas as pd
from fitting_curves import Block, collapsing, full
from fitting_loop import columns, fit_loop, starts_of
from fitting_speed import LOOP, SEED, Line

from leavenbench.columns import RESULTS, TABLES
from leavenbench.compare.differences import means, pairs
from leavenbench.compare.mixed import compared
from leavenbench.compare.observations import COMPARED, every_trait
from leavenbench.records.collection import Collection
from leavenbench.records.problems import no_problems
from leavenbench.records.settings import Settings

CULTURES, ROUNDS, STEPS = 150, 20, 3
_USUAL = {"max_rate": (25.0, 0.35), "extent": (120.0, 1.6), "lag_h": (1.5, 1.0), "ph_start": (np.nan, 5.8)}
_USUAL |= {"ph_end": (np.nan, 4.0)}


def race(smaller: int, rounds: int) -> Iterator[Line]:
    """Time both, ours once per trait, theirs on some curves."""
    cultures = CULTURES // smaller
    shelf, curves, vigour = _invented(cultures)
    begun = time.process_time()
    for observed in every_trait(shelf, curves, vigour).values():
        found = compared(observed)
        means(found), pairs(found, 15.0 if found.scale == "log" else 0.2)
    ours = time.process_time() - begun
    plain, falling = (_loop(block) for block in (full, collapsing))
    figure = (
        f"speed against a loop of curve_fit: {cultures} cultures x {ROUNDS * STEPS} refeeds, {len(COMPARED)} traits"
    )
    for case, each in (("all curves plain", plain), ("rises with collapse", 0.5 * (plain + falling))):
        theirs = each * len(curves)
        note = f"ours {ours:.1f} s; theirs {theirs:.1f} s for {len(curves):,} curves of 12 readings, timed on {LOOP}"
        yield Line(figure, case, ">= 1x", f"{theirs / ours:.2f}x", bool(theirs >= ours), note)


def _loop(block_of: Callable[[str, int, int, int], Block]) -> float:
    """Return seconds per curve of the better loop, with and without a Jacobian, its start search counted."""
    block = block_of("logistic", 12, LOOP, SEED)
    some = columns(block, LOOP)
    begun = time.process_time()
    begin = starts_of(block, some)
    searched = time.process_time() - begun
    taken = []
    for derive in (False, True):
        begun = time.process_time()
        fit_loop(block, some, begin, derive=derive)
        taken.append(time.process_time() - begun)
    return (searched + min(taken)) / LOOP


def _invented(cultures: int) -> tuple[Collection, pd.DataFrame, pd.DataFrame]:
    """Return records, curves and vigour of a shelf fed in three groups, each on days of its own."""
    rng = np.random.default_rng(SEED)
    culture, number, step = (of.ravel() for of in np.indices((cultures, ROUNDS, STEPS)))
    day = 60 * number + 20 * (culture % 3) + step
    refeeds = {
        "refeed": [f"{c}-{n}-{s}" for c, n, s in zip(culture, number, step, strict=True)],
        "culture": [f"culture {of:03}" for of in culture],
        "fed_at": pd.Timestamp("2022-01-03 08:00", tz="UTC") + pd.to_timedelta(day, unit="D"),
        "purpose": "round",
        "round": number + 1,
        "step": step + 1,
        "room_temperature_degC": rng.normal(23.0, 1.5, len(culture)).round(1),
    }
    tables = {name: _table(name, refeeds if name == "refeeds" else {}) for name in TABLES}
    settings = Settings(title="race", round_days=60.0, steps_per_round=float(STEPS))
    shelf = Collection(Path("nowhere"), settings, tables, ("refeeds",), no_problems(), pd.DataFrame())
    log = rng.normal(0.0, 0.1, (cultures, 1, 1)) + rng.normal(0.0, 0.08, (cultures, ROUNDS, 1))
    log = (log + rng.normal(0.0, 0.08, (cultures, ROUNDS, STEPS))).ravel()
    curves = pd.concat([_curves(refeeds, place, log, rng) for place in (0, 1)], ignore_index=True)
    vigour = pd.DataFrame({"refeed": refeeds["refeed"], "too_good": False})
    return shelf, curves, vigour


def _table(name: str, given: dict[str, object]) -> pd.DataFrame:
    kinds = {column.inside: column.dtype() for column in TABLES[name].columns}
    return pd.DataFrame(given, columns=list(kinds)).astype(kinds)


def _curves(refeeds: dict[str, object], place: int, log: np.ndarray, rng: np.random.Generator) -> pd.DataFrame:
    given = {name: refeeds[name] for name in ("refeed", "culture", "fed_at", "round", "step")}
    given |= {"signal": ("rise", "acid")[place], "status": "fitted"}
    for trait in COMPARED.values():
        if trait.signal != given["signal"]:
            continue
        usual = _USUAL.get(trait.column, (8.0, 8.0))[place]
        sign = 1.0 if trait.column in ("max_rate", "extent") else -1.0
        noise = log + rng.normal(0.0, 0.05, len(log))
        given[trait.column] = usual + 0.3 * noise if trait.unit == "pH" else usual * np.exp(sign * noise)
        given[f"{trait.column}_se"] = 0.05 if trait.scale == "linear" else 0.05 * usual
    made = RESULTS["curves"]
    return pd.DataFrame(given).reindex(columns=made.names).astype(made.dtypes())
