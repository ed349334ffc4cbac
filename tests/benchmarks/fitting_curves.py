"""Simulated blocks of curves for the benchmark of the fitting engine. Invented: speed and company, never a check value.

A jar at 40 mm rises by 30 to 70 mm at 5 to 20 mm/h after .5 to 4 h and is read evenly, with an sd of 1.5 mm, until 1.3
to 2.5 times the time that the rise takes. With a collapse, the share of the gas still held is logistic in time, its
middle .5 to 2 h later and its width .5 to 1.5 h, and the readings go on for 1.6 times as long and two hours more.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from leavenbench.curves.composed import LEVELS, WITH_COLLAPSE
from leavenbench.curves.models import GROWTH, Model

START_MM, SD_MM = 40.0, 1.5
#: When a rise stands at half its extent, in hours after the lag times rate over extent.
_HALF_WAY = {"logistic": 0.5, "gompertz": (1.0 - np.log(np.log(2.0))) / np.e}


class Block(NamedTuple):
    """Curves to fit: times and readings (n, m), the truth (p, m), the model, and the peaks where there is a collapse.

    Without a start level the readings are the rise over a start that is known.
    """

    growth: str
    model: Model
    t: np.ndarray
    y: np.ndarray
    truth: np.ndarray
    peak: np.ndarray | None

    @property
    def has_start(self) -> bool:
        return self.model.parameters[0] == "start"

    def first(self, curves: int) -> Block:
        """Return the first curves, in memory of their own."""
        t, y, truth = (np.ascontiguousarray(it[:, :curves]) for it in (self.t, self.y, self.truth))
        return self._replace(t=t, y=y, truth=truth, peak=None if self.peak is None else self.peak[:curves])


def full(growth: str, readings: int, curves: int, seed: int, *, start: bool = True) -> Block:
    """Simulate curves that are read until well after their rise."""
    rng = np.random.default_rng(seed)
    rise, until = _rise(rng, curves)
    t = _evenly(readings, until)
    y = GROWTH[growth].value(t, rise) + rng.normal(0.0, SD_MM, t.shape)
    if not start:
        return Block(growth, GROWTH[growth], t, y, rise, None)
    return Block(growth, LEVELS[growth], t, y + START_MM, np.vstack((np.full(curves, START_MM), rise)), None)


def collapsing(growth: str, readings: int, curves: int, seed: int) -> Block:
    """Simulate curves that fall again after their peak."""
    rng = np.random.default_rng(seed)
    rise, until = _rise(rng, curves)
    middle, width = until + rng.uniform(0.5, 2.0, curves) - rise[-1], rng.uniform(0.5, 1.5, curves)
    fall = np.stack((width * np.logaddexp(np.log(2.0), middle / width), middle / width))
    truth = np.vstack((np.full(curves, START_MM), rise, fall))
    t = _evenly(readings, 1.6 * until + 2.0)
    model = LEVELS[growth + WITH_COLLAPSE]
    y = model.value(t, truth) + rng.normal(0.0, SD_MM, t.shape)
    return Block(growth, model, t, y, truth, y.argmax(axis=0))


def mixed(growth: str, readings: int, curves: int, seed: int) -> Block:
    """Simulate full curves; every tenth is cut off at half its height and every tenth is dead, hence flat."""
    block = full(growth, readings, curves, seed)
    rng = np.random.default_rng(seed + 1)
    _, extent, rate, lag = block.truth
    cut, dead = np.arange(curves) % 10 == 3, np.arange(curves) % 10 == 7
    until = np.where(cut, lag + _HALF_WAY[growth] * extent / rate, block.t[-1])
    t = _evenly(readings, until)
    height = np.where(dead, START_MM, block.model.value(t, block.truth))
    return block._replace(t=t, y=height + rng.normal(0.0, SD_MM, t.shape))


def _rise(rng: np.random.Generator, curves: int) -> tuple[np.ndarray, np.ndarray]:
    extent, rate, lag = rng.uniform(30, 70, curves), rng.uniform(5, 20, curves), rng.uniform(0.5, 4, curves)
    return np.stack((extent, rate, lag)), lag + extent / rate * rng.uniform(1.3, 2.5, curves)


def _evenly(readings: int, until: np.ndarray) -> np.ndarray:
    return np.linspace(0.0, 1.0, readings)[:, None] * until
