"""Hold plans of measurements against what they stand for: real analyses, fits, and watched shelves.

    python tests/benchmarks/planning.py [--quick] [--only PART ...]

Prints one table and keeps it in `planning.json` beside this file. Parts:

- `bulk`: the analysis in bulk against `compared` on the same invented refeeds;
- `power`: the chance to see a difference against the power of the t test (statsmodels), where nothing is shared;
- `unequal`: the same against real analyses of refeeds with unequal errors, as real ones have;
- `information`: predicted errors of traits over those of simulated fits by the package's own fitting;
- `hours`: what the best hours are worth in such fits;
- `declines`: rounds until a decline is named against the study of the early warning.
"""

from __future__ import annotations

import argparse
import os

os.environ |= dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")

import platform
from collections.abc import Iterator, Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from fitting import keep, printed
from fitting_speed import Line
from statsmodels.stats.power import TTestIndPower
from warning_shelves import PACES, SETTINGS, study_shelf

from leavenbench.compare.differences import CHANCE, pairs
from leavenbench.compare.mixed import compared
from leavenbench.compare.planning.balanced import differences
from leavenbench.compare.planning.chance import chance_to_see, invented
from leavenbench.compare.planning.information import best_hours, errors_at, working_hours
from leavenbench.compare.planning.noise import Spread
from leavenbench.compare.planning.strata import Design
from leavenbench.compare.planning.usual_curves import UsualCurves
from leavenbench.curves.choice import MODELS
from leavenbench.curves.composed import LEVELS
from leavenbench.curves.shelf import trace_shelf
from leavenbench.watch import named_after
from leavenbench.watch.outlook import outlook

SEED = 20261127
STORED = Path(__file__).with_suffix(".json")
#: A shelf's noise, near that of the demo.
PLAIN = {"reading": 0.05, "refeed": 0.08, "round": 0.10, "day": 0.05, "carry_over": 0.4, "as_stated": True}
DESIGNS = [
    Design(2, 4, 2), Design(2, 8, 3), Design(2, 16, 3), Design(2, 12, 1), Design(2, 8, 3, shared_days=False),
    Design(8, 6, 2), Design(8, 12, 3, shared_days=False),
]  # fmt: skip
#: Mean delays [rounds] that whole shelves of vigour values have by the package's own thresholds, dial at 1, in
#: early_warning.json.
STUDY = dict(zip(PACES, (9.14, 5.98, 4.31, 3.28), strict=True))


def main() -> None:
    """Measure, print, and keep."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="small sizes, nothing is stored")
    parser.add_argument("--only", nargs="+", choices=list(PARTS), help="what is stored of the others stays")
    asked = parser.parse_args()
    found = {name: printed(PARTS[name], asked.quick) for name in asked.only or PARTS}
    if not asked.quick:
        keep(STORED, found, conditions())


def conditions() -> dict[str, Any]:
    """Return what the figures hold for."""
    names = ("numpy", "scipy", "pandas", "statsmodels")
    return {
        "seed": SEED,
        "threads": 1,
        "versions": {name: version(name) for name in names} | {"python": platform.python_version()},
    }


def spread(**more: Any) -> Spread:
    """Return a shelf's noise."""
    return Spread("rise max_rate", "%/h", "log", **(PLAIN | more), table=pd.DataFrame())


def observed(values: np.ndarray, design: Design, se: np.ndarray | float) -> pd.DataFrame:
    """Lay the refeeds of one invented shelf out as observations."""
    culture, number, step = (place.ravel() for place in np.indices(values.shape))
    day = number * design.refeeds + step + (0 if design.shared_days else 10_000 * culture)
    table = pd.DataFrame({"culture": [f"C{of:02}" for of in culture], "round": number, "step": step + 1, "day": day})
    same = {"vessel": None, "trait": "rise max_rate", "unit": "%/h", "scale": "log"}
    return table.assign(refeed=np.arange(len(table)), value=values.ravel(), se=se, **same)


def bulk(smaller: int, rounds: int) -> Iterator[Line]:
    """Analyse the same invented refeeds in bulk and one by one."""
    figure = "in bulk against `compared`: share of shelves with the same errors and freedom to 0.1 %"
    for design in DESIGNS:
        values = invented(spread(), design, 100 // smaller, np.random.default_rng([SEED, *map(int, design)]))
        found = differences(design, values, PLAIN["reading"])
        alike, verdicts, pairs_told = 0, 0, 0
        for shelf, own in enumerate(values):
            told = compared(observed(own, design, PLAIN["reading"])).fitted.differences(*design.pairs)
            off = np.maximum(np.abs(told.se / found.se[shelf] - 1), np.abs(told.freedom / found.freedom[shelf] - 1))
            alike += int(off.max() < 1e-3)
            verdicts += int((_seen(told) == _seen([of[shelf] for of in found])).sum())
            pairs_told += len(off)
        share = alike / len(values)
        note = f"verdicts on single pairs alike: {verdicts / pairs_told:.2%} of {pairs_told}"
        yield Line(figure, _named(design), ">= 95 %", f"{share:.0%}", share >= 0.95, note)


def _seen(told: Any) -> np.ndarray:
    from scipy import stats

    estimate, se, freedom = told
    return np.abs(estimate) / se > stats.t.isf(CHANCE / 2.0, freedom)


def _named(design: Design) -> str:
    days = "shared" if design.shared_days else "own"
    return f"{design.cultures} cultures, {design.rounds} x {design.refeeds}, {days} days"


def power(smaller: int, rounds: int) -> Iterator[Line]:
    """Compare with the power of the two-sample t test."""
    figure = "chance to see 15 % at sd 10 %, nothing shared, exact readings, against TTestIndPower"
    alone = spread(reading=0.0, refeed=0.1, round=0.0, day=0.0, carry_over=0.0)
    shelves = 20_000 // smaller
    plans = {"rounds": (3, 5, 8, 12, 20), "refeeds": (1,), "days": ("separate",), "successive": False}
    for row in chance_to_see(alone, 15.0, **plans, shelves=shelves, seed=SEED).itertuples():
        known = 100.0 * TTestIndPower().power(np.log(1.15) / 0.1, row.rounds, 0.05)
        most = 4.0 * 100.0 * np.sqrt(known * (100.0 - known) / 1e4 / shelves)
        met = bool(abs(row.seen_pct - known) < most)
        yield Line(figure, f"{row.rounds} each", f"{known:.1f} +- {most:.1f}", f"{row.seen_pct:.1f}", met)


def unequal(smaller: int, rounds: int) -> Iterator[Line]:
    """Compare with real analyses, all pairs adjusted, of refeeds whose errors differ as real ones do."""
    figure = "chance to see 25 %, in % (planned with equal errors), against `pairs` of unequal ones"
    for design in (Design(2, 8, 3), Design(5, 8, 2)):
        shelves = 800 // smaller
        plan = chance_to_see(
            spread(), 25.0, cultures=design.cultures, rounds=(design.rounds,), refeeds=(design.refeeds,),
            days=("shared",), shelves=10 * shelves, seed=1,
        )  # fmt: skip
        rng = np.random.default_rng([SEED, *map(int, design)])
        exact = spread(reading=0.0)
        seen = 0
        for own in invented(exact, design, shelves, rng):
            se = PLAIN["reading"] * np.exp(rng.normal(0.0, 0.4, own.shape))
            own = own + se * rng.normal(size=own.shape)
            own[0] += np.log(1.25)
            table = pairs(compared(observed(own, design, se.ravel())), seed=0)
            asked = (table["first"] == "C01") & (table["second"] == "C00")
            seen += int(table.loc[asked, "verdict"].iloc[0] == "differ")
        share, planned = 100.0 * seen / shelves, float(plan["seen_pct"].iloc[0])
        most = 3.0 * 100.0 * np.sqrt(max(share, 5.0) * max(100.0 - share, 5.0) / 1e4 / shelves)
        met = bool(abs(share - planned) < most)
        yield Line(figure, _named(design), f"{planned:.1f} +- {most:.1f}", f"{share:.1f}", met, f"{shelves} analyses")


def invented_curves(signal: str, growth: str, rng: np.random.Generator, curves: int = 12) -> UsualCurves:
    """Return curves of an invented culture: lag, slope and extent vary by 10 %."""
    vary = np.exp(0.1 * rng.normal(size=(4, curves)))
    if signal == "rise":
        middle, kind, unit, sd = (42.0, 50.0, 14.0, 2.0), "height_mm", "mm", 1.5
    else:
        middle, kind, unit, sd = (5.9, 2.1, 0.35, 1.5), "ph_direct", "pH", 0.04
    parameters = np.array(middle)[:, None] * (vary if signal == "rise" else np.vstack((np.ones(curves), vary[1:])))
    until = np.full(curves, np.inf)
    return UsualCurves(
        "Ida", signal, kind, unit, np.full(curves, growth), parameters, until, sd, np.array([0, 1.5, 3, 6, 9, 12.0])
    )


def seen_errors(
    curves: UsualCurves,
    hours: np.ndarray,
    times: int,
    rng: np.random.Generator,
    models: Sequence[str] = MODELS,
) -> tuple[np.ndarray, float]:
    """Return how far fits of the package lie off the truth in log rate, lag and log extent, and the share told."""
    sign = 1.0 if curves.rises else -1.0
    many = len(curves.growth) * times
    parameters = np.repeat(curves.parameters, times, axis=1)
    parameters = np.vstack((sign * parameters[:1], parameters[1:]))
    level = sign * LEVELS[str(curves.growth[0])].value(hours[:, None], parameters)
    read = level + curves.sd * rng.normal(size=level.shape)
    names = [f"F{of:06}" for of in range(many)]
    table = pd.DataFrame(
        {"refeed": np.repeat(names, len(hours)), "elapsed_h": np.tile(hours, many), "value": read.T.ravel()}
    ).assign(signal=curves.signal, kind=curves.kind)
    found = trace_shelf(table, noise={curves.kind: curves.sd}, models=models).set_index("refeed").reindex(names)
    told = found["status"].isin(["fitted", "peak not reached"]).to_numpy()
    share = 100.0 / parameters[0] if curves.rises else 1.0
    extent, rate = found["extent"].to_numpy() / share, found["max_rate"].to_numpy() / share
    with np.errstate(all="ignore"):
        off = np.array(
            [np.log(rate / parameters[2]), found["lag_h"].to_numpy() - parameters[3], np.log(extent / parameters[1])]
        )
    # of a heavy tail the middle counts: the sd of a normal law from its quartiles
    return np.array([np.subtract(*np.nanpercentile(of[told], [75, 25])) / 1.34898 for of in off]), float(told.mean())


def information(smaller: int, rounds: int) -> Iterator[Line]:
    """Compare predicted errors with those seen in simulated fits, the true form given and all forms tried."""
    rng = np.random.default_rng(SEED)
    for forms, low, high in (("true form given", 0.85, 1.15), ("all forms tried", 0.7, 1.3)):
        for signal, growth in (("rise", "logistic"), ("rise", "gompertz"), ("acid", "logistic"), ("acid", "gompertz")):
            curves = invented_curves(signal, growth, rng)
            for number in (5, 6, 7, 8, 10, 14, 24):
                at = np.linspace(0.0, 12.0, number)
                models = (growth,) if forms.startswith("true") else MODELS
                predicted = np.sqrt((errors_at(curves, at) ** 2).mean(axis=1))
                seen, share = seen_errors(curves, at, 120 // smaller, rng, models)
                ratio = predicted / seen
                figure = f"predicted over seen errors of slope, lag, extent, {forms}: {signal}, {growth}"
                ours, note = " ".join(f"{of:.2f}" for of in ratio), f"{share:.0%} of the refeeds gave a curve"
                met = bool(((ratio > low) & (ratio < high)).all()) if number >= 7 else None
                target = f"{low:g} to {high:g}" if number >= 7 else ""
                yield Line(figure, f"{number} readings, evenly over 12 h", target, ours, met, note)


def hours(smaller: int, rounds: int) -> Iterator[Line]:
    """Compare the errors that are seen at the best hours with those at as many evenly spaced ones."""
    rng = np.random.default_rng([SEED, 2])
    figure = "seen errors of slope, lag, extent at the best hours over those at evenly spaced ones"
    for signal, growth in (("rise", "logistic"), ("rise", "gompertz"), ("acid", "gompertz")):
        curves = invented_curves(signal, growth, rng)
        for number in (6, 8, 10):
            plan = best_hours(curves, working_hours(), [number])["hours"].iloc[-1]
            best = np.array([float(hour) for hour in plan.split(", ")])
            even = np.linspace(0.0, 12.0, number)
            ours, theirs = (seen_errors(curves, of, 120 // smaller, rng)[0] for of in (best, even))
            ratio = ours / theirs
            together = float(np.exp(np.log(ratio).mean()))
            told = " ".join(f"{of:.2f}" for of in ratio)
            yield Line(
                figure,
                f"{signal}, {growth}, {number}",
                "< 1 together",
                told,
                together < 1.0,
                f"{together:.2f} together",
            )


def declines(smaller: int, rounds: int) -> Iterator[Line]:
    """Compare rounds until a decline is named with the study on whole shelves, at those shelves' noise."""
    seen = outlook(study_shelf(0), SETTINGS)
    shelf = named_after._Shelf.of(seen)
    variance = named_after._single(seen) / 3.0
    rng, paces = np.random.default_rng(SEED), np.log1p(-np.array(PACES) / 100.0)
    found = [
        named_after._named_after(shelf._replace(before=of), variance, paces, 240 // smaller, SETTINGS, rng)
        for of in (4 + 4, 12, 16, 20, 24)  # the study's declines begin anywhere from the fourth round on
    ]
    figure = "mean rounds until a decline is named, dial at 1, against whole shelves (early_warning.json)"
    for place, pace in enumerate(PACES):
        delays = np.concatenate([of[place] for of in found])
        mean, lost = float(delays[np.isfinite(delays)].mean()), float(np.isinf(delays).mean())
        met = bool(abs(mean / STUDY[pace] - 1.0) < 0.15)
        note = f"{lost:.1%} not named; {len(delays)} declines"
        yield Line(figure, f"{pace:g} % a round", f"{STUDY[pace]:.2f} +- 15 %", f"{mean:.2f}", met, note)


PARTS = {
    "bulk": bulk,
    "power": power,
    "unequal": unequal,
    "information": information,
    "hours": hours,
    "declines": declines,
}

if __name__ == "__main__":
    main()
