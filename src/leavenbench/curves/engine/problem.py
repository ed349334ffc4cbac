"""What is asked of the fitting engine, what it answers, and the rules by which a search takes its steps."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..models import Array, Model
from .belief import Belief
from .normal import columns, columns_or_none, damped_step, products

#: The damping at the start, what a good step divides it by, and what a bad one multiplies it by. Small factors cost a
#: few steps on an easy way, and save many along a curved valley.
DAMPING, EASE, TIGHTEN = 1e-2, 3.0, 2.0
#: A good step gains more than this share of what it would on a straight model.
GOOD = 0.9
#: As good as no damping, but it leaves a singular system solvable: along what it does not see it takes no step.
SINGULAR = 1e-12
#: How many times what a straight model promises a search may still gain, in the few cases of a hundred that bend most.
HOPE = 2.0
#: How far [natural logarithm] a positive parameter may move in one step.
FURTHEST = 2.0


class Optimum(NamedTuple):
    """Where searches ended, each array with one column per curve.

    Attributes
    ----------
    parameters : numpy.ndarray, shape (p, m)
    sums : numpy.ndarray, shape (p + 1, p + 1, m)
        What `normal.products` says there.
    settled : numpy.ndarray of bool, shape (m,)
        Whether the search came to rest.
    held : numpy.ndarray of bool, shape (p, m)
        Parameters that stand at a bound and would go beyond it.
    """

    parameters: Array
    sums: Array
    settled: Array
    held: Array

    @property
    def rss(self) -> Array:
        """Weighted residual sum of squares, with what a belief adds to it, shape (m,)."""
        return self.sums[-1, -1]

    def of(self, curves: Array) -> Optimum:
        """Return some of the curves."""
        return Optimum(*(columns(it, curves) for it in self))


class Problem(NamedTuple):
    """What stays as it is during a search."""

    model: Model
    t: Array
    y: Array
    weight: Array | None
    belief: Belief | None
    low: Array
    high: Array
    least: Array
    positive: Array
    bounded: Array
    bent: Array | None
    tolerance: float
    wanted: Array | None

    def of(self, curves: Array) -> Problem:
        """Return some of the curves."""
        return self._replace(
            t=columns(self.t, curves),
            y=columns(self.y, curves),
            weight=columns_or_none(self.weight, curves),
            belief=None if self.belief is None else self.belief.of(curves),
            low=columns(self.low, curves),
            high=columns(self.high, curves),
            least=columns(self.least, curves),
            wanted=columns_or_none(self.wanted, curves),
        )

    def enough(self, rss: Array) -> Array:
        """Return the gain for which a search does not go on: hardly any, or too little to get where it is wanted."""
        little = self.tolerance * rss + self.least
        return little if self.wanted is None else np.maximum(little, (rss - self.wanted) / HOPE)

    def sums(self, p: Array) -> Array:
        """Return the products at some parameters."""
        return products(self.model, self.t, self.y, self.weight, p, self.belief)

    def pressed(self, p: Array, sums: Array) -> Array:
        """Say which of the bounded parameters stand at a bound and would go beyond."""
        at, uphill = p[self.bounded], sums[self.bounded, -1]
        return ((at <= self.low) & (uphill <= 0.0)) | ((at >= self.high) & (uphill >= 0.0))

    def held(self, p: Array, sums: Array) -> Array | None:
        """Say which parameters do not move in a step from here; None where all do."""
        pressed = self.pressed(p, sums)
        if not pressed.any():
            return None
        held = np.zeros(p.shape, bool)
        held[self.bounded] = pressed
        return held

    def projected(self, p: Array) -> tuple[Array, Array]:
        """Return the sums at some parameters, if so wished with the linear ones at their best."""
        sums = self.sums(p)
        if self.bent is None:
            return p, sums
        held = self.held(p, sums)
        others = self.bent | (np.zeros(p.shape, bool) if held is None else held)
        p = p + damped_step(sums, others, np.zeros(p.shape[1]))[0]
        return p, self.sums(p)
