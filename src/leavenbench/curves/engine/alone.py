"""The engine's steps for a single curve, in plain numbers.

Operations on whole blocks cost a curve that is alone more than its arithmetic. The steps here are those of the
block, operation by operation, so that they lead to the same bits; a test holds the two together.
"""

from __future__ import annotations

import math
from contextlib import suppress

import numpy as np

from ..models import Array
from .normal import eliminated
from .problem import DAMPING, EASE, FURTHEST, GOOD, SINGULAR, TIGHTEN, Optimum, Problem

_Bounds = list[tuple[int, float, float]]


def descend_alone(problem: Problem, found: Optimum, most: int) -> None:
    """Take a single curve to its optimum, and write down where it got to.

    Parameters
    ----------
    problem : Problem
        One curve.
    found : Optimum
        Where it begins; overwritten.
    most : int
        Steps after which the search ends in any case.
    """
    p = found.parameters[:, 0].tolist()
    if not all(map(math.isfinite, p)):
        return
    positive = problem.positive.tolist()
    ends = (problem.bounded, problem.low[:, 0], problem.high[:, 0])
    bounds: _Bounds = list(zip(*(it.tolist() for it in ends), strict=True))
    with np.errstate(all="ignore"):
        array = _sums(problem, p)
        damping, sums = DAMPING, array[..., 0].tolist()
        for left in reversed(range(most + 1)):
            rss, held = sums[-1][-1], _held(bounds, p, sums)
            step, gain = _step(sums, held, damping)
            enough = float(problem.enough(array[-1, -1])[0])
            # that a step is small counts only without damping
            if gain <= enough and _step(sums, held, SINGULAR)[1] <= enough:
                found.settled[0] = True
                break
            if not left:
                break
            new = _moved(positive, bounds, p, step)
            there = _sums(problem, new)
            gained = rss - there.item(-1)
            if gained > 0.0:
                p, array, sums = new, there, there[..., 0].tolist()
                damping = damping / EASE if gained > GOOD * gain else damping
            else:
                damping = TIGHTEN * max(damping, DAMPING)
        found.parameters[:, 0], found.sums[...] = p, array
        found.held[problem.bounded] = problem.pressed(found.parameters, array)


def _sums(problem: Problem, p: list[float]) -> Array:
    return problem.sums(np.array(p)[:, None])


def _held(bounds: _Bounds, p: list[float], sums: list[list[float]]) -> list[int]:
    """Return the places of parameters that stand at a bound and would go beyond."""
    return [
        place
        for place, low, high in bounds
        if (p[place] <= low and sums[place][-1] <= 0.0) or (p[place] >= high and sums[place][-1] >= 0.0)
    ]


def _step(sums: list[list[float]], held: list[int], damping: float) -> tuple[list[float], float]:
    """Solve the damped normal equations; a step that cannot be had is no number."""
    size = len(sums) - 1
    with suppress(ZeroDivisionError, OverflowError, ValueError):
        scale = [1.0 / math.sqrt(row[place]) if row[place] != 0.0 else 0.0 for place, row in enumerate(sums[:size])]
        for place in held:
            scale[place] = 0.0
        scale.append(1.0)
        system = [
            [number * of_row * of_column for number, of_column in zip(row, scale, strict=True)]
            for row, of_row in zip(sums[:size], scale, strict=False)
        ]
        gradient = [row[size] for row in system]
        inner = eliminated(system, 1.0 + damping)
        gain = inner[0] * gradient[0]
        for number, uphill in zip(inner[1:], gradient[1:], strict=True):
            gain += number * uphill
        return [number * of for number, of in zip(inner, scale, strict=False)], gain
    return [math.nan] * size, math.nan


def _moved(positive: list[int], bounds: _Bounds, p: list[float], step: list[float]) -> list[float]:
    """Return the parameters after a step; what must stay positive moves by its logarithm."""
    with suppress(ZeroDivisionError, OverflowError):
        relative = [step[place] / p[place] for place in positive]
        shorter = FURTHEST / max(FURTHEST, *map(abs, relative)) if positive else 1.0
        new = [number + shorter * moved for number, moved in zip(p, step, strict=True)]
        if positive:
            grown = np.exp([shorter * number for number in relative]).tolist()
            for place, factor in zip(positive, grown, strict=True):
                new[place] = p[place] * factor
        for place, low, high in bounds:
            new[place] = min(max(new[place], low), high)
        return new
    return [math.nan] * len(p)
