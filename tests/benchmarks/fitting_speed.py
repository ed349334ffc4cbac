"""Race the engine against loops over one curve after another: ratios of medians over alternating rounds."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any, NamedTuple

import numpy as np
from fitting_curves import Block, collapsing, full, mixed
from fitting_exact import SAME, fitted
from fitting_loop import columns, fit_loop, lmfit_loops, same_starts, starts_of

from leavenbench.curves.engine import judged
from leavenbench.curves.starts import starts

SEED = 20260401
FORMS = ("logistic", "gompertz")
#: Curves in our blocks by their readings, curves in a loop, and curves fitted one at a time.
CURVES = {6: 26_000, 8: 26_000, 12: 26_000, 40: 10_000, 200: 4_000}
LOOP, LMFIT_LOOP, ALONE = 300, 40, 100
#: The least ratio asked for, by readings.
FULL, COLLAPSE, HANDED, MIX, LMFIT = {6: 80, 8: 80, 12: 80, 40: 40, 200: 18}, {12: 60, 40: 35, 200: 11}, 35, 65, 250


class Line(NamedTuple):
    """One line of the table."""

    figure: str
    case: str
    target: str
    ours: str
    met: bool | None
    note: str = ""


def against_curve_fit(smaller: int, rounds: int) -> Iterator[Line]:
    """Compare with a loop over `curve_fit`, the start search counted on both sides, or on ours only."""
    figure, handed = "against curve_fit with the same start search, ", []
    for growth in FORMS:
        for start, free in ((False, "3 parameters"), (True, "4 parameters")):
            for n, least in FULL.items():
                race = Race(full(growth, n, CURVES[n] // smaller, SEED, start=start), rounds)
                case = f"{growth}, {free}, {n} readings"
                yield race.line(f"{figure}full", case, least)
                if n == 12:
                    handed.append((case, race))
    for growth in FORMS:
        for n, least in COLLAPSE.items():
            race = Race(collapsing(growth, n, CURVES[n] // smaller, SEED), rounds)
            yield race.line(f"{figure}with collapse", f"{growth}, {n} readings", least)
    for growth in FORMS:
        race = Race(mixed(growth, 40, CURVES[40] // smaller, SEED), rounds)
        yield race.line(f"{figure}10 % cut off, 10 % dead", f"{growth}, 40 readings", MIX)
    for case, race in handed:
        yield ratio("against curve_fit handed a good start for nothing", case, HANDED, race.theirs, race.ours)


class Race:
    """Seconds per curve, one entry per round, of our block against the loop.

    Raises
    ------
    SystemExit
        The two start searches no longer do the same.
    """

    def __init__(self, block: Block, rounds: int) -> None:
        some = columns(block, LOOP)
        self.block, begin = block, starts_of(block, some)
        _must_begin_alike(block, begin)
        self.searched, plain, derived, self.ours, self.ours_judged = alternating(
            rounds,
            (partial(starts_of, block, some), LOOP),
            (partial(fit_loop, block, some, begin, derive=False), LOOP),
            (partial(fit_loop, block, some, begin, derive=True), LOOP),
            (partial(fitted, block), block.t.shape[1]),
            (partial(judge, block), block.t.shape[1]),
        )
        self.derive = bool(np.median(derived) < np.median(plain))
        self.theirs = derived if self.derive else plain
        self.optima = fit_loop(block, some, begin, derive=self.derive)

    def line(self, figure: str, case: str, least: float) -> Line:
        """Compare with the start search counted on both sides; say what else there is to know."""
        theirs = self.theirs + self.searched
        judged_too = np.median(theirs) / np.median(self.ours_judged)
        higher, lower = self._company()
        note = (
            f"{judged_too:.0f}x with standard errors; {'with' if self.derive else 'without'} Jacobian; "
            f"our residual sum higher {higher:.1%}, lower {lower:.1%}"
        )
        return ratio(figure, case, least, theirs, self.ours, note)

    def _company(self) -> tuple[float, float]:
        """Return how often our residual sum is the higher one, and how often the lower, where nothing is held."""
        block = self.block.first(len(self.optima))
        found = fitted(block)
        p = np.array([np.full(len(found.held), np.nan) if one is None else one for one in self.optima]).T
        theirs = ((block.y - block.model.value(block.t, p)) ** 2).sum(axis=0)
        ours, free = np.nan_to_num(found.rss, nan=np.inf), ~found.held.any(axis=0)
        theirs = np.nan_to_num(theirs, nan=np.inf)
        return float(np.mean(free & (ours > theirs * (1 + SAME)))), float(np.mean(free & (theirs > ours * (1 + SAME))))


def _must_begin_alike(block: Block, theirs: list[np.ndarray | None]) -> None:
    some = block.first(len(theirs))
    ours = starts(some.growth, some.t, some.y, None, some.peak)[0 if some.has_start else 1 :]
    share = same_starts(ours, theirs)
    if share < 0.99:
        raise SystemExit(f"The two start searches begin alike in only {share:.1%}: bring fitting_loop.py up to date.")


def judge(block: Block, start: np.ndarray | None = None) -> None:
    """Fit a block, from a start if there is one, and estimate the covariances."""
    found = fitted(block, None if start is None else start[:, None])
    judged(block.model, block.t, found, np.full(block.t.shape[1], len(block.t)))


def against_lmfit(smaller: int, rounds: int) -> Iterator[Line]:
    """Compare with the faster of two loops over lmfit, which is handed the start for nothing."""
    for n in (12, 40):
        block = full("logistic", n, CURVES[n] // smaller, SEED)
        some = columns(block, LMFIT_LOOP)
        loops = lmfit_loops(block)
        tasks = [(partial(loop, some, starts_of(block, some)), LMFIT_LOOP) for loop in loops.values()]
        *theirs, ours = alternating(rounds, *tasks, (partial(fitted, block), block.t.shape[1]))
        name, best = min(zip(loops, theirs, strict=True), key=lambda it: float(np.median(it[1])))
        case = f"logistic, 4 parameters, {n} readings"
        yield ratio("against lmfit handed a good start for nothing", case, LMFIT, best, ours, name)


def alone(smaller: int, rounds: int) -> Iterator[Line]:
    """Compare one curve at a time, as in a notebook, standard errors on both sides."""
    curves = ALONE // smaller
    for growth in FORMS:
        block = full(growth, 12, curves, SEED)
        some, single = columns(block, curves), [_one(block, curve) for curve in range(curves)]
        begin = starts_of(block, some)
        searched, plain, derived, ours, ours_handed = alternating(
            rounds,
            (partial(starts_of, block, some), curves),
            (partial(fit_loop, block, some, begin, derive=False), curves),
            (partial(fit_loop, block, some, begin, derive=True), curves),
            (partial(_judge_each, single, [None] * curves), curves),
            (partial(_judge_each, single, begin), curves),
        )
        theirs = derived if np.median(derived) < np.median(plain) else plain
        case = f"{growth}, 12 readings"
        yield ratio("one single curve", case, 1, theirs + searched, ours, "start search on both sides")
        yield ratio("one single curve", case, None, theirs, ours_handed, "start search on neither side, information")


def _one(block: Block, curve: int) -> Block:
    t, y, truth = (it[:, curve : curve + 1].copy() for it in (block.t, block.y, block.truth))
    return block._replace(t=t, y=y, truth=truth)


def _judge_each(blocks: list[Block], begin: list[np.ndarray | None]) -> None:
    for block, start in zip(blocks, begin, strict=True):
        judge(block, start)


def alternating(rounds: int, *tasks: tuple[Callable[[], Any], int]) -> list[np.ndarray]:
    """Time tasks in turn, round after round: seconds per curve, shape (rounds,) for each."""
    for task, _ in tasks:
        task()
    taken = np.empty((len(tasks), rounds))
    for which in range(rounds):
        for place, (task, curves) in enumerate(tasks):
            begin = time.perf_counter()
            task()
            taken[place, which] = (time.perf_counter() - begin) / curves
    return list(taken)


def ratio(figure: str, case: str, least: float | None, theirs: np.ndarray, ours: np.ndarray, note: str = "") -> Line:
    """Set medians against each other; the note gives the range over the rounds and what a curve took."""
    times = float(np.median(theirs) / np.median(ours))
    each = theirs / ours
    detail = (
        f"rounds {each.min():.3g} to {each.max():.3g}; theirs {np.median(theirs) * 1e6:.0f} us, "
        f"ours {np.median(ours) * 1e6:.3g} us a curve"
    )
    target = "" if least is None else f">= {least:g}x"
    met = None if least is None else times >= least
    return Line(figure, case, target, f"{times:.3g}x", met, "; ".join(filter(None, (detail, note))))
