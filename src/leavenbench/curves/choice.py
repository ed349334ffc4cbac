"""Which curve the readings speak for: the corrected Akaike criterion among those that they can carry.

Source of the criterion: Hurvich & Tsai 1989, Biometrika 76:297-307, doi 10.1093/biomet/76.2.297.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from .blocks import Block
from .composed import WITH_COLLAPSE
from .expected import Expected
from .models import GROWTH, Array
from .noise import INSTRUMENTS
from .tried import Choice, Task, Tried, fit_model

#: The growth curves tried, the simplest first.
MODELS: tuple[str, ...] = tuple(GROWTH)
#: Residuals of this share of the finest step that readings show are no worse than none.
_NO_RESIDUAL = 0.1


def choose(
    block: Block,
    kind: str,
    models: Sequence[str] = MODELS,
    peak: Array | None = None,
    usual_sd: float | None = None,
    expected: Expected | None = None,
) -> list[Choice]:
    """Fit what the readings of each signal can carry, and choose among it.

    Parameters
    ----------
    block : Block
        Signals of one kind.
    kind : str
        Kind of the readings, a name in `noise.INSTRUMENTS`.
    models : sequence of str
        Names in `models.GROWTH`.
    peak : numpy.ndarray of int, shape (m,), optional
        Which reading is the peak, where a collapse after it is to be fitted.
    usual_sd : float, optional
        Noise of such readings, in their unit; see `engine.judged`.
    expected : Expected, optional
        What is expected of the curves before they are read; needs `usual_sd`, against which it is weighed. Any
        number of readings can carry a curve then.

    Returns
    -------
    list of Choice
        One for each model that was chosen for any signal; a signal that no curve moves with is in none of them.

    Examples
    --------
    >>> hours = np.array([[0.0, 1, 2, 3, 4, 5, 6, 8]]).T
    >>> heights = np.array([[40.0, 40, 41, 46, 62, 75, 79, 80]]).T
    >>> [choice.name for choice in choose(Block(np.array([0]), hours, heights, None, np.array([8])), "height_mm")]
    ['logistic']
    """
    it = INSTRUMENTS[kind]
    task = Task(block, it.sign, it.resolution, peak, usual_sd, expected)
    tried: list[Tried] = []
    for growth in models:
        tried.append(fit_model(growth, task, tried, _wanted(growth, task, tried)))
    value, best = _best(tried, task)
    found = []
    for number, one in enumerate(tried):
        chosen = np.flatnonzero((best == number) & one.fitted)
        if len(chosen):
            found.append(_beside_rival(one.judged(task, chosen), tried, number, value))
    return found


def _wanted(growth: str, task: Task, tried: list[Tried]) -> Array | None:
    """Return the residual sum under which a curve with a shape of its own would be chosen; None where all are fitted.

    Infinite where none of the simpler curves came to rest.
    """
    if not tried or "nu" not in GROWTH[growth].parameters or task.expected is not None:
        return None
    value, best = _best(tried, task)
    curves = np.arange(len(best))
    settled = np.array([it.optimum.settled for it in tried])[best, curves]
    n, k = task.block.readings + task.block.marked, len(tried[0].model.parameters) + 2
    with np.errstate(all="ignore"):
        square = np.exp((value[best, curves] - _price(n, k)) / n)
    possible = square > (_NO_RESIDUAL * task.finest) ** 2
    return np.where(settled, np.where(possible, n * square, -np.inf), np.inf)


def _beside_rival(choice: Choice, tried: list[Tried], number: int, value: Array) -> Choice:
    """Let the errors count that the other simple form, whose parameters mean the same, may be the right one."""
    same = len(tried[number].model.parameters)
    others = [n for n, it in enumerate(tried) if n != number and len(it.model.parameters) == same]
    if not others:
        return choice
    other, curves = others[0], choice.columns
    beside = tried[other].optimum.parameters[:, curves] - choice.fits.parameters
    with np.errstate(all="ignore"):
        odds = np.exp(0.5 * (value[number, curves] - value[other, curves]))
    known = tried[other].optimum.settled[curves] & np.isfinite(beside).all(axis=0) & np.isfinite(odds)
    rival = np.where(known, beside * np.sqrt(odds / (1.0 + odds)), 0.0)
    helped = choice.helped
    if helped is not None:
        helped = helped._replace(alone=replace(helped.alone, rival=rival))
    return choice._replace(fits=replace(choice.fits, rival=rival), helped=helped)


def _best(tried: list[Tried], task: Task) -> tuple[Array, Array]:
    """Return the criterion of each model and which is the best of each curve, those that settled first."""
    limit, missing = (np.array(of) for of in zip(*((it.is_a_limit, ~it.fitted) for it in tried), strict=True))
    unsettled = np.array([~it.optimum.settled for it in tried])
    numbers = [len(it.model.parameters) + 1 for it in tried]  # the residual variance counts
    readings = task.block.readings + task.block.marked
    if task.expected is None or task.usual_sd is None:
        ranks = [criterion(it.optimum.rss, readings, k, task.finest) for it, k in zip(tried, numbers, strict=True)]
        undefined, value = (np.array(of) for of in zip(*ranks, strict=True))
    else:  # with a known noise what was lost is counted in it, and an expectation may stand for readings
        lost = [
            it.optimum.rss / task.usual_sd**2 + 2.0 * k + task.expected.odds(it.name.removesuffix(WITH_COLLAPSE))
            for it, k in zip(tried, numbers, strict=True)
        ]
        undefined, value = np.zeros((len(tried), len(readings)), bool), np.array(lost)
    return value, np.lexsort((value, undefined, limit, unsettled, missing), axis=0)[0]


def criterion(rss: Array, readings: Array, numbers: int, finest: float) -> tuple[Array, Array]:
    """Return the corrected Akaike criterion of fits.

    Parameters
    ----------
    rss : numpy.ndarray, shape (m,)
        Residual sums of squares.
    readings : numpy.ndarray of int, shape (m,)
        Number of readings.
    numbers : int
        How many numbers were fitted, the residual variance among them.
    finest : float
        Finest step of the readings, in their unit: a tenth of it is no worse than no residual.

    Returns
    -------
    undefined : numpy.ndarray of bool, shape (m,)
        Where there are too few readings for the criterion: what is left of it still tells equals apart.
    value : numpy.ndarray, shape (m,)
    """
    fit_term = readings * np.log(np.fmax(rss / readings, (_NO_RESIDUAL * finest) ** 2))
    defined = readings > numbers + 1
    return ~defined, fit_term + np.where(defined, _price(readings, numbers), 0.0)


def _price(n: Array, k: int) -> Array:
    """Return what the criterion asks for so many numbers."""
    return 2.0 * k + 2.0 * k * (k + 1) / np.maximum(n - k - 1, 1)
