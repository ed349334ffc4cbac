"""Measure the fitting engine against what a user would write, and against its own promises.

    python tests/benchmarks/fitting.py [--quick] [--only engine|sparse]

Prints one table, each figure with its target, what we reached, and whether that is enough; a full run writes what it
measured into `fitting.json` beside this file. `engine` is what follows, then the NIST problems; `sparse` is what a past
is good for, see `fitting_sparse.py`. Everything runs on one thread. Speeds are ratios within one run:
medians over alternating rounds (ours, theirs, ours, theirs ...). Curves are invented, see `fitting_curves.py`.

What is timed: ours from a block of readings to the optima (`search`; without a start level `starts` and `optimum`),
start search always counted. Theirs a loop over `scipy.optimize.curve_fit` with its own defaults (the better of with
and without Jacobian), from a start found by the same search written for one curve, counted unless said otherwise. p0 is
thus the same on both sides. `curve_fit` sets no bounds (they would make it slower); ours keeps its own. It also
estimates a covariance: what the ratio is when ours does so too (`judged`) stands beside it.
"""

from __future__ import annotations

import argparse
import json
import os

os.environ |= dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")

import platform
import runpy
import tracemalloc
import warnings
from collections.abc import Callable, Iterator
from functools import partial
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
from fitting_curves import SD_MM, Block, collapsing, full
from fitting_exact import fitted, shares_of_best, standard_errors
from fitting_sparse import with_a_past
from fitting_speed import CURVES, FORMS, SEED, Line, against_curve_fit, against_lmfit, alone, alternating, judge

from leavenbench.curves.engine import optimum, polished

ROUNDS = 7
STORED = Path(__file__).with_suffix(".json")
#: Curves of the multistart by their readings, of a growing shelf, and of a large one with its readings.
MULTISTART = {6: 3_000, 12: 3_000, 40: 1_500, 200: 500}
GROWING, LARGE = (6_500, 26_000, 100_000, 400_000), (26_000, 200)
#: An order in which a NIST problem's parameters give the same curve: the two exponentials may change places.
_ALSO = {"MGH17": [0, 2, 1, 4, 3]}


def main() -> None:
    """Measure everything, print the table, and keep it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="small sizes, nothing is stored")
    parser.add_argument("--only", choices=PARTS, help="one part; what is stored of the other stays")
    asked = parser.parse_args()
    print(*conditions(asked.quick).items(), sep="\n", end="\n\n")
    found = {part: printed(PARTS[part], asked.quick) for part in PARTS if asked.only in (None, part)}
    lines = [line for part in found.values() for line in part]
    missed = [f"{line.figure}: {line.case}" for line in lines if line.met is False]
    print(f"\n{len(missed)} of {sum(line.met is not None for line in lines)} lines not met", *missed, sep="\n  ")
    if not asked.quick:
        keep(STORED, found, conditions(False))


def keep(target: Path, found: dict[str, list[Line]], held: dict[str, Any]) -> None:
    """Write down what was measured and what it holds for; of other parts what was written before stays."""
    stored = json.loads(target.read_text(encoding="utf-8")) if target.exists() else {}
    for part, measured in found.items():
        stored[part] = {"conditions": held, "lines": [line._asdict() for line in measured]}
    target.write_text(json.dumps(stored, indent=1) + "\n", encoding="utf-8")


def printed(part: Callable[[int, int], Iterator[Line]], quick: bool) -> list[Line]:
    """Measure a part on full or small blocks, print line after line, and return them."""
    lines = []
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")  # the loop's overflows and covariances that cannot be had
        figure = None
        for line in part(*((5, 3) if quick else (1, ROUNDS))):
            if line.figure != figure:
                figure = line.figure
                print(f"\n{figure}")
            verdict = {True: "met", False: "NOT MET", None: ""}[line.met]
            print(f"  {line.case:34} {line.target:>11} {line.ours:>11}  {verdict:8}{line.note}", flush=True)
            lines.append(line._replace(met=None if line.met is None else bool(line.met)))
    return lines


def conditions(quick: bool) -> dict[str, Any]:
    """Return what the figures hold for."""
    return {
        "sizes": "small" if quick else "full",
        "noise_sd_mm": SD_MM,
        "p0": "the scored start, the same on both sides",
        "seed": SEED,
        "threads": 1,
        "versions": {name: version(name) for name in ("numpy", "scipy", "lmfit")}
        | {"python": platform.python_version()},
    }


def engine(smaller: int, rounds: int) -> Iterator[Line]:
    """Measure the engine, figure after figure, on blocks that many times smaller."""
    yield from against_curve_fit(smaller, rounds)
    yield from against_lmfit(smaller, rounds)
    yield from alone(smaller, rounds)
    yield from near_the_best(smaller)
    yield from as_by_qr(smaller)
    yield from growing(smaller, rounds)
    yield memory(smaller)
    yield from nist()


def growing(smaller: int, rounds: int) -> Iterator[Line]:
    """Compare the time per curve as the number of curves grows."""
    sizes = [size for size in GROWING if size * smaller <= GROWING[-1]]
    largest = full("logistic", 12, sizes[-1], SEED)
    blocks = [largest.first(size) for size in sizes]
    taken = alternating(rounds, *((partial(fitted, block), block.t.shape[1]) for block in blocks))
    first = float(np.median(taken[0]))
    for size, seconds in zip(sizes[1:], taken[1:], strict=True):
        times = float(np.median(seconds)) / first
        last = size == sizes[-1]
        yield Line(
            f"growth: time per curve over that at {sizes[0]:,} curves",
            f"{size:,} curves of 12 readings",
            "<= 1.1" if last else "",
            f"{times:.3f}",
            times <= 1.1 if last else None,
            f"{np.median(seconds) * 1e6:.3g} us a curve",
        )


# Exactness


def near_the_best(smaller: int) -> Iterator[Line]:
    """Count the curves that end within 1e-8 of the best residual sum known of a multistart."""
    figure = "share within 1e-8 of the best residual sum known (multistart)"
    for growth in FORMS:
        for start, free in ((False, "3 parameters"), (True, "4 parameters")):
            for n, least in ((6, 0.99), (12, 0.999), (40, 0.999), (200, 0.999)):
                block = full(growth, n, MULTISTART[n] // min(smaller, 10), SEED + 1, start=start)
                yield _share(figure, f"{growth}, {free}, {n} readings", least, shares_of_best(block, SEED)[0], block)
    figure = "the same with collapse; admissible: half of the gas gone after the steepest hour"
    for growth in FORMS:
        for n in (12, 40):
            block = collapsing(growth, n, MULTISTART[n] // min(smaller, 10), SEED + 1)
            every, admissible = shares_of_best(block, SEED)
            yield _share(figure, f"{growth}, {n} readings, all optima", 0.97 if n == 12 else None, every, block)
            yield _share(figure, f"{growth}, {n} readings, admissible", 0.97 if n == 12 else None, admissible, block)


def _share(figure: str, case: str, least: float | None, share: float, block: Block) -> Line:
    met = None if least is None else share >= least
    return Line(
        figure, case, "" if least is None else f">= {least:.1%}", f"{share:.2%}", met, f"{block.t.shape[1]:,} curves"
    )


def as_by_qr(smaller: int) -> Iterator[Line]:
    """Compare the standard errors with those by QR of the Jacobian at the same optimum."""
    figure = "standard errors against QR at the same optimum"
    for growth in FORMS:
        for n in (12, 40, 200):
            block = full(growth, n, CURVES[n] // smaller // 4, SEED + 2)
            away, condition, untold = standard_errors(block)
            close = away <= 1e-12
            worst = float(np.max(away[~close] / condition[~close] ** 2, initial=0.0))
            case, note = f"{growth}, {n} readings", f"{len(away):,} curves, {untold} more held at a bound or not told"
            yield Line(
                figure, f"{case}, within 1e-12", ">= 99 %", f"{close.mean():.2%}", bool(close.mean() >= 0.99), note
            )
            note = f"largest difference {away.max():.1e}, condition numbers up to {condition.max():.3g}"
            yield Line(figure, f"{case}, the rest by cond^2", "<= 1e-13", f"{worst:.1e}", worst <= 1e-13, note)


# Memory


def memory(smaller: int) -> Line:
    """Trace the most memory that fitting and judging hold beside the data; NumPy reports its arrays to tracemalloc."""
    block = full("logistic", LARGE[1], LARGE[0] // smaller, SEED)
    judge(block.first(10))
    tracemalloc.start()
    before = tracemalloc.get_traced_memory()[0]
    judge(block)
    peak = tracemalloc.get_traced_memory()[1] - before
    tracemalloc.stop()
    share = peak / (block.t.nbytes + block.y.nbytes)
    case = f"{LARGE[0] // smaller:,} curves of {LARGE[1]} readings"
    return Line(
        "memory above the data", case, "<= 0.5", f"{share:.3f}", share <= 0.5, f"{peak / 2**20:.0f} MiB at its peak"
    )


# NIST


def nist() -> Iterator[Line]:
    """Count the digits shared with the certified parameters, from both starts, by both strategies."""
    problems = runpy.run_path(str(Path(__file__).parents[1] / "reference" / "nist_models.py"))["problems"]()
    figure = "NIST StRD, digits of the worst parameter after polishing (plain, separable)"
    for problem in problems.values():
        t, y = problem.x[:, None], problem.y[:, None]
        for number, start in enumerate(np.asarray(problem.starts), start=1):
            digits = []
            for separable in (False, True):
                found = optimum(problem.model, t, y, np.array(start)[:, None], most=200, separable=separable)
                p = polished(problem.model, t, y, found).parameters[:, 0]
                orders = [p, p[_ALSO[problem.name]]] if problem.name in _ALSO else [p]
                away = min(float(np.max(np.abs(order / problem.certified - 1.0))) for order in orders)
                digits.append(max(0.0, -float(np.log10(max(away, 1e-15)))) if found.settled[0] else 0.0)
            best = max(digits)
            note = f"plain {digits[0]:.1f}, separable {digits[1]:.1f}"
            yield Line(figure, f"{problem.name}, start {number}", ">= 10", f"{best:.1f}", best >= 10, note)


PARTS = {"engine": engine, "sparse": with_a_past}

if __name__ == "__main__":
    main()
