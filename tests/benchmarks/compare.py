"""Measure comparisons of cultures against the truth of invented ones, and race them against curve_fit.

    python tests/benchmarks/compare.py [--quick] [--seconds S] [--only NAME ...]

Prints one table, each figure with its target, what we reached, and whether that is enough. A full run adds replicates
to those counted in `compare.json` beside this file, for at most S seconds a case (150), until there are enough: it may
be stopped and begun again. What is invented, see `compare_shelves.py`. Shares stand with their 95 % interval (Wilson).
The race: means and all pairs of all traits of 150 cultures x 60 refeeds, from records and a curves table on, against a
loop over `scipy.optimize.curve_fit` over as many curves (rise and acid), timed on some of them. Everything runs on one
thread.
"""

from __future__ import annotations

import argparse
import json
import os

os.environ |= dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")

import platform
import time
from collections.abc import Iterator
from functools import partial
from importlib.metadata import version
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from compare_race import race
from compare_shelves import Plan, ignoring_repeats, invented
from fitting import keep, printed
from fitting_speed import Line
from statsmodels.stats.proportion import proportion_confint

from leavenbench.compare.adjustment import adjusted
from leavenbench.compare.differences import CHANCE, pairs
from leavenbench.compare.mixed import compared

SEED = 20261126
STORED = Path(__file__).with_suffix(".json")
MARGIN_PCT = 15.0


class Case(NamedTuple):
    """What is drawn again and again, how often, and whether one culture is shifted to the margin."""

    plan: Plan
    wanted: int
    by: str = "culture"
    at_margin: bool = False
    judged: bool = True


CASES = {
    "5 cultures": Case(Plan(5), 2000),
    "15 cultures": Case(Plan(15), 2000),
    "50 cultures": Case(Plan(50), 1000),
    "5 wandering": Case(Plan(5, wandering=True), 2000),
    "15 wandering": Case(Plan(15, wandering=True), 2000),
    "50 wandering": Case(Plan(50, wandering=True), 1000),
    "4 flours, 5 cultures each": Case(Plan(20, flours=4), 1000, by="flour"),
    "margin": Case(Plan(5, least_rounds=6, rounds=14), 2000, at_margin=True),
    "margin, wandering": Case(Plan(5, least_rounds=6, rounds=14, wandering=True), 2000, at_margin=True),
}
_COUNTED = ("replicates", "families", "alone", "covered", "pairs", "naive_families", "naive_alone", "same")


def main() -> None:
    """Measure everything, print the table, and keep it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="a few replicates, nothing is stored")
    parser.add_argument("--seconds", type=float, default=150.0, help="at most so long a case")
    parser.add_argument("--only", nargs="+", choices=[*CASES, "race"], help="what is stored of the others stays")
    asked = parser.parse_args()
    tallies = {} if asked.quick else _stored()
    for name, case in CASES.items():
        if asked.only is None or name in asked.only:
            tallies[name] = added(case, tallies.get(name, {}), 2.0 if asked.quick else asked.seconds)
    parts = {"simulated": partial(lines, tallies)}
    if asked.only is None or "race" in asked.only:
        parts["race"] = race
    found = {part: printed(measure, asked.quick) for part, measure in parts.items()}
    if not asked.quick:
        keep(STORED, found, conditions())
        STORED.write_text(
            json.dumps(json.loads(STORED.read_text("utf-8")) | {"tallies": tallies}, indent=1) + "\n", "utf-8"
        )


def _stored() -> dict[str, dict[str, int]]:
    return json.loads(STORED.read_text(encoding="utf-8")).get("tallies", {}) if STORED.exists() else {}


def conditions() -> dict[str, Any]:
    """Return what the figures hold for."""
    return {
        "seed": SEED,
        "threads": 1,
        "versions": {name: version(name) for name in ("numpy", "scipy", "pandas")}
        | {"python": platform.python_version()},
    }


def added(case: Case, so_far: dict[str, int], seconds: float) -> dict[str, int]:
    """Add replicates until there are enough or the time is out."""
    tally = dict.fromkeys(_COUNTED, 0) | so_far
    begun = time.perf_counter()
    while tally["replicates"] < case.wanted and time.perf_counter() - begun < seconds:
        for name, count in replicate(case, tally["replicates"]).items():
            tally[name] += count
    return tally


def replicate(case: Case, number: int) -> dict[str, int]:
    """Draw a shelf on which nothing differs, or one culture by the margin, and count what is found."""
    rng = np.random.default_rng([SEED, *case.plan, number])
    observed = invented(case.plan, rng)
    true = 0.0
    if case.at_margin:
        true = float(np.log1p(MARGIN_PCT / 100.0) * rng.choice([-1.0, 1.0]))
        observed["value"] += true * (observed["culture"] == "culture 000")
    adjust = "holm" if case.at_margin else None  # sameness is not adjusted: nothing need be drawn for it
    table = pairs(compared(observed, case.by), MARGIN_PCT, adjust, seed=number)
    shifted = (table["first"] == "culture 000").astype(float) - (table["second"] == "culture 000")
    truth = 100.0 * np.expm1(true * shifted)
    p = ignoring_repeats(observed, case.by)
    return {
        "replicates": 1,
        "families": int(table["p_adjusted"].min() < CHANCE),
        "alone": int((table["p"] < CHANCE).sum()),
        "covered": int(((table["low"] <= truth) & (truth <= table["high"])).sum()),
        "pairs": len(table),
        "naive_families": int(adjusted(p, "holm").min() < CHANCE),
        "naive_alone": int((p < CHANCE).sum()),
        "same": int((table["p_equivalent"][shifted != 0.0].iloc[:1] < CHANCE).sum()) if case.at_margin else 0,
    }


def lines(tallies: dict[str, dict[str, int]], smaller: int, rounds: int) -> Iterator[Line]:
    """Set what was counted against the targets."""
    plain = {name: tally for name, tally in tallies.items() if not CASES[name].at_margin}
    figure = "family-wise error at nominal 5 %"
    for name, tally in plain.items():
        yield _line(figure, name, tally["families"], tally["replicates"], (0.03, 0.065))
    figure = "coverage of 95 % intervals of differences"
    for name, tally in tallies.items():
        share = tally["covered"] / tally["pairs"]
        note = f"{tally['pairs']:,} differences of {tally['replicates']:,} shelves"
        yield Line(figure, name, "93 to 97 %", f"{share:.2%}", bool(0.93 <= share <= 0.97), note)
    figure = f"equivalence within {MARGIN_PCT:g} % declared where the difference is {MARGIN_PCT:g} %"
    for name, tally in tallies.items():
        if CASES[name].at_margin:
            yield _line(figure, name, tally["same"], tally["replicates"], (0.0, 0.06))
    figure = "Welch's test, each refeed a witness of its own: false findings of a single pair, nominal 5 %"
    for name, tally in plain.items():
        ours = f"ours {tally['alone'] / tally['pairs']:.1%}"
        yield Line(figure, name, "", f"{tally['naive_alone'] / tally['pairs']:.1%}", None, ours)
    figure = "the same, all pairs by Holm: family-wise error"
    for name, tally in plain.items():
        yield _line(figure, name, tally["naive_families"], tally["replicates"], None)


def _line(figure: str, case: str, count: int, of: int, within: tuple[float, float] | None) -> Line:
    low, high = proportion_confint(count, of, method="wilson")
    share, met, target = count / of, None, ""
    if within is not None:
        met, target = bool(within[0] <= share <= within[1]), f"{within[0]:.1%} to {within[1]:.1%}"
    return Line(figure, case, target, f"{share:.2%}", met, f"{low:.1%} to {high:.1%}; {of:,} shelves")


if __name__ == "__main__":
    main()
