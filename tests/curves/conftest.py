"""Blocks of invented rises with a known truth, and a fit of a single curve, for the tests of the engine."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pytest

from leavenbench.curves.composed import LEVELS, WITH_COLLAPSE
from leavenbench.curves.engine import Fits, judged, optimum, polished
from leavenbench.curves.models import Model


class Rises(NamedTuple):
    """Invented rises: one column per curve; what is not there repeats the last reading and weighs nothing."""

    model: Model
    t: np.ndarray
    y: np.ndarray
    weight: np.ndarray
    readings: np.ndarray
    truth: np.ndarray
    peak: np.ndarray | None

    def of(self, curves: np.ndarray) -> Rises:
        """Return some of the curves, in a block no longer than the longest of them."""
        readings = self.readings[curves]
        t, y, weight = (np.ascontiguousarray(it[: readings.max(), curves]) for it in (self.t, self.y, self.weight))
        peak = None if self.peak is None else self.peak[curves]
        return Rises(self.model, t, y, weight, readings, self.truth[:, curves], peak)


@pytest.fixture
def rises():
    """Return a function that invents rises [mm] over hours, read with a ruler (sd 1.5 mm).

    With a collapse the share still held is logistic in time: its middle and width are drawn.
    """

    def invent(growth: str, readings: int | np.ndarray, curves: int, seed: int, collapse: bool = False) -> Rises:
        rng = np.random.default_rng(seed)
        extent, rate, lag = rng.uniform(30, 70, curves), rng.uniform(5, 20, curves), rng.uniform(0.5, 4, curves)
        until = lag + extent / rate * rng.uniform(1.3, 2.5, curves)
        truth = [np.full(curves, 40.0), extent, rate, lag]
        if growth == "richards":
            truth.append(rng.uniform(0.3, 3, curves))
        if collapse:
            middle, width = until - lag + rng.uniform(0.5, 2, curves), rng.uniform(0.5, 1.5, curves)
            truth += [width * np.logaddexp(np.log(2.0), middle / width), middle / width]
            until = until * 1.6 + 2.0
        model = LEVELS[growth + WITH_COLLAPSE * collapse]
        many = np.broadcast_to(readings, curves)
        place = np.arange(many.max())[:, None]
        noise = rng.normal(0, 1.5, (many.max(), curves))
        t = np.minimum(place / (many - 1), 1.0) * until
        y = model.value(t, np.array(truth)) + np.take_along_axis(noise, np.minimum(place, many - 1), axis=0)
        weight = (place < many).astype(float)
        return Rises(model, t, y, weight, many, np.array(truth), y.argmax(axis=0) if collapse else None)

    return invent


@pytest.fixture
def fit_one():
    """Return a function that fits one curve to the last digits."""

    def fit(model: Model, x: np.ndarray, y: np.ndarray, start: list[float]) -> tuple[np.ndarray, Fits]:
        t, y = np.asarray(x, float)[:, None], np.asarray(y, float)[:, None]
        found = optimum(model, t, y, np.array(start, float)[:, None])
        assert found.settled.all()
        fits = judged(model, t, polished(model, t, y, found), np.array([len(t)]))
        return fits.parameters[:, 0], fits

    return fit
