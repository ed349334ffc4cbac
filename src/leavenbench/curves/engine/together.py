"""The fitting engine: nonlinear least squares for many curves at once.

Nothing here knows of dough. Curves come as a block, readings along the first axis and curves along the second, with
a `Model` that gives values and derivatives; out come their optima. Every curve takes its own Levenberg-Marquardt
steps (Marquardt 1963, J Soc Indust Appl Math 11:431-441, doi 10.1137/0111030), and no sum crosses from one curve to
another: each ends at the same bits in whatever company it is fitted.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..models import Array, Model
from .alone import descend_alone
from .belief import Belief
from .normal import columns, columns_or_none, damped_step, parts, square_sums
from .problem import DAMPING, EASE, FURTHEST, GOOD, SINGULAR, TIGHTEN, Optimum, Problem

#: A search is at rest when a step without damping would take less than this share off the residual sum.
AT_REST = 3e-9
#: Steps after which a search ends wherever it is; along a ridge it could go on for ever.
MOST_STEPS = 50
#: Readings that are worked on together, few enough for a processor's cache, and the fewest and most curves: enough to
#: be worth each call, and few enough for the cache again, since every curve brings a matrix of sums.
_TOGETHER, _FEWEST, _MOST = 32_768, 640, 4_096
#: Steps after which the curves that are still on their way are pooled, again and again.
_A_WHILE = 8
#: Residuals of this share of the readings are what computing leaves behind.
_ROUNDING = 1e-15


def optimum(
    model: Model,
    t: Array,
    y: Array,
    start: Array,
    weight: Array | None = None,
    low: Array | None = None,
    high: Array | None = None,
    tolerance: float = AT_REST,
    most: int = MOST_STEPS,
    finest: float = 0.0,
    separable: bool = False,
    wanted: Array | None = None,
    belief: Belief | None = None,
) -> Optimum:
    """Find the least-squares optimum of every curve, from one start each.

    Parameters
    ----------
    model : Model
        The curve and its derivatives.
    t, y : numpy.ndarray, shape (n, m)
        Times and readings of m curves, n each.
    start : numpy.ndarray, shape (p, m)
        Where the searches begin; above zero for the parameters in ``model.positive``. A curve without a start (NaN)
        stays without an optimum.
    weight : numpy.ndarray, shape (n, m), optional
        Weight of each residual (one over the reading's sd, up to a factor); 0 for a reading that is not there.
    low, high : numpy.ndarray, shape (p, m), optional
        Bounds of the parameters, to which a start is brought; a parameter that a step would press against its bound
        is held there for that step. One whose bounds are equal stays where it is.
    tolerance : float
        A search is at rest when g' N^-1 g (g the gradient, N the normal matrix) is at most this share of the
        residual sum: what a step without damping would gain.
    most : int
        Steps after which it ends in any case.
    finest : float
        Finest step of the readings, in their unit: residuals smaller than that are no worse than none.
    separable : bool
        Bring the parameters in ``model.linear`` to their optimum after every step (variable projection in the form
        of Kaufman 1975, BIT 15:49-57, doi 10.1007/BF01932995): slower, but it finds its way from a worse start.
    wanted : numpy.ndarray, shape (m,), optional
        Residual sum above which an optimum is of no use: a search that has no hope of coming under it is given up, and
        one that ends above it has not settled.
    belief : Belief, optional
        What is known of the parameters before; the optimum is that of readings and belief together.

    Returns
    -------
    Optimum
        Never raises on numbers: a search that does not come to rest has ``settled`` False.

    Examples
    --------
    >>> from leavenbench.curves.models import GROWTH
    >>> hours = np.array([[0.0, 2, 4, 5, 6, 8, 12]]).T
    >>> curve = GROWTH["logistic"]
    >>> found = optimum(curve, hours, curve.value(hours, np.array([80, 25, 3])), np.array([[60.0], [30], [2]]))
    >>> found.parameters[:, 0].round(6).tolist()
    [80.0, 25.0, 3.0]
    """
    readings, curves = t.shape
    with np.errstate(all="ignore"):
        least = _ROUNDING**2 * square_sums(y, weight)
        if finest > 0.0:
            least += tolerance * finest**2 * (readings if weight is None else np.count_nonzero(weight, axis=0))
    p = np.array(start, dtype=float)
    low = np.full(p.shape, -np.inf) if low is None else low
    high = np.full(p.shape, np.inf) if high is None else high
    np.minimum(np.maximum(p, low, out=p), high, out=p)
    positive = np.array([place for place, name in enumerate(model.parameters) if name in model.positive], int)
    bounded = np.flatnonzero(((low > -np.inf) | (high < np.inf)).any(axis=1))
    bent = np.array([[name not in model.linear] for name in model.parameters]) if separable else None
    problem = Problem(
        model, t, y, weight, belief, low[bounded], high[bounded], least, positive, bounded, bent, tolerance, wanted
    )
    size = len(p) + 1
    found = Optimum(p, np.full((size, size, curves), np.inf), np.zeros(curves, bool), np.zeros(p.shape, bool))
    if curves == 1 and not separable:
        descend_alone(problem, found, most)
        return _of_use(found, wanted)
    damping, waiting = np.full(curves, DAMPING), np.flatnonzero(np.isfinite(p).all(axis=0))
    with np.errstate(all="ignore"):
        for taken in range(0, max(most, 1), _A_WHILE):
            together = parts(len(waiting), readings, max(min(_TOGETHER, _MOST * readings), _FEWEST * readings))
            steps = min(_A_WHILE, most - taken)
            waiting = np.concatenate(
                [_descend(problem, waiting[part], found, damping, steps, begun=taken > 0) for part in together]
            )
    found.held[bounded] = problem.pressed(p, found.sums)
    return _of_use(found, wanted)


def _of_use(found: Optimum, wanted: Array | None) -> Optimum:
    """Return optima; those that are none because the search was given up have not settled."""
    return found if wanted is None else found._replace(settled=found.settled & ~(found.rss > wanted))


class _State(NamedTuple):
    """Where searches stand: parameters, damping, and the sums there."""

    p: Array
    damping: Array
    sums: Array

    def of(self, curves: Array) -> _State:
        """Return some of the curves."""
        return _State(*(columns(it, curves) for it in self))


def _descend(everything: Problem, curves: Array, found: Optimum, damping: Array, steps: int, *, begun: bool) -> Array:
    """Take steps, write down where each search got to, and return the curves that are still on their way."""
    if not len(curves):
        return curves
    problem = everything.of(curves)
    p = columns(found.parameters, curves)
    p, sums = (p, columns(found.sums, curves)) if begun else problem.projected(p)
    at = _State(p, damping.take(curves), sums)
    for left in reversed(range(steps + 1)):
        step, gain, at_rest = _step(problem, at)
        if at_rest.any():
            _write(at.of(np.flatnonzero(at_rest)), curves[at_rest], found, damping)
            found.settled[curves[at_rest]] = True
            moving = np.flatnonzero(~at_rest)
            curves = curves[moving]
            if not len(curves):
                return curves
            problem, at, step, gain = problem.of(moving), at.of(moving), columns(step, moving), gain[moving]
        if left:
            at = _advance(problem, at, step, gain)
    _write(at, curves, found, damping)
    return curves


def _write(at: _State, curves: Array, found: Optimum, damping: Array) -> None:
    found.parameters[:, curves], found.sums[..., curves], damping[curves] = at.p, at.sums, at.damping


def _step(problem: Problem, at: _State) -> tuple[Array, Array, Array]:
    """Return the next step of each search, what it would gain on a straight model, and which are at rest."""
    held, enough = problem.held(at.p, at.sums), problem.enough(at.sums[-1, -1])
    step, gain = damped_step(at.sums, held, at.damping)
    at_rest = gain <= enough
    if at_rest.any():
        small = np.flatnonzero(at_rest)  # that a step is small counts only without damping
        singular = np.full(len(small), SINGULAR)
        _, undamped = damped_step(columns(at.sums, small), columns_or_none(held, small), singular)
        at_rest[small] = undamped <= enough[small]
    return step, gain, at_rest


def _advance(problem: Problem, at: _State, step: Array, gain: Array) -> _State:
    """Take a step each, or more damping where it leads uphill."""
    p, sums = problem.projected(_moved(problem, at.p, step))
    gained = at.sums[-1, -1] - sums[-1, -1]
    damping = np.where(gained > GOOD * gain, at.damping / EASE, at.damping)
    worse = ~(gained > 0.0)
    if worse.any():
        p[:, worse], sums[..., worse] = at.p[:, worse], at.sums[..., worse]
        damping[worse] = TIGHTEN * np.maximum(at.damping[worse], DAMPING)
    return _State(p, damping, sums)


def _moved(problem: Problem, p: Array, step: Array) -> Array:
    """Return the parameters after a step; what must stay positive moves by its logarithm."""
    positive, bounded = problem.positive, problem.bounded
    new = p + step
    if len(positive):
        positive_p = p.take(positive, axis=0)
        relative = step.take(positive, axis=0) / positive_p
        shorter = FURTHEST / np.maximum(np.abs(relative).max(axis=0), FURTHEST)
        new = p + shorter * step
        new[positive] = positive_p * np.exp(shorter * relative)
    if len(bounded):
        new[bounded] = np.minimum(np.maximum(new[bounded], problem.low), problem.high)
    return new
