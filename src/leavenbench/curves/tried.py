"""One kind of curve fitted to the readings of a block, as far as they can carry it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .blocks import Block
from .composed import CURVES, LEVELS, WITH_COLLAPSE
from .engine import Belief, Fits, Optimum, judged, sharpened
from .engine.normal import columns, columns_or_none, damped_step, inverse_root, products
from .engine.problem import SINGULAR
from .expected import Expected, strength
from .landmarks import peak_hour
from .models import Array, Model
from .search import OWN_SHAPE, bounds, search
from .starts import starts

#: Readings to spare from which a shape of its own is tried beside the simpler curves: with fewer the criterion asks
#: for a residual sum so much smaller that readings with any noise never give it.
_SPARE_FOR_A_SHAPE = 5
#: The Richards shapes from which its search begins: that of the logistic, and the nearest to the Gompertz curve.
_SHAPE_OF = {"logistic": 1.0, "gompertz": OWN_SHAPE[0]}
#: A search ends so near: which curve suits is clear from there, and steps of sharpening take the chosen one on. For the
#: hour of a peak it need not come so far.
_NEAR, _ABOUT = 1e-7, 1e-4


class Helped(NamedTuple):
    """How an expectation counted in fits.

    Attributes
    ----------
    alone : Fits
        The same fits with the errors that the readings alone leave.
    apart : numpy.ndarray, shape (p, k)
        The step to where the readings alone would have them, on a straight model.
    penalty : numpy.ndarray, shape (k,)
        What the expectation adds to the residual sum.
    if_weaker : numpy.ndarray, shape (k,)
        What the sum would lose were a culture stronger or weaker than expected, by whatever it takes.
    """

    alone: Fits
    apart: Array
    penalty: Array
    if_weaker: Array

    def of(self, some: Array) -> Helped:
        """Return some of them."""
        return Helped(self.alone.of(some), *(columns(it, some) for it in self[1:]))


class Choice(NamedTuple):
    """The curves of a block for which one model was chosen.

    Attributes
    ----------
    name : str
        The model, a name in `composed.CURVES`.
    columns : numpy.ndarray of int, shape (k,)
        Which curves of the block they are.
    fits : Fits
        Their fits, every parameter on its start, in readings turned so that activity raises them.
    helped : Helped, optional
        Where something was expected: how it counted.
    """

    name: str
    columns: Array
    fits: Fits
    helped: Helped | None = None

    @property
    def curve(self) -> Model:
        """The curve from 0 upwards, without its start."""
        return CURVES[self.name]

    @property
    def shape(self) -> Array:
        """Its parameters, shape (p, k)."""
        return self.fits.parameters[1:]

    def held(self, parameter: str) -> Array:
        """Whether a parameter stands at a bound, shape (k,)."""
        return self.fits.held[self.fits.model.place(parameter)]

    @property
    def collapses(self) -> bool:
        """Whether it falls again after its peak."""
        return self.name.endswith(WITH_COLLAPSE)

    def of(self, some: Array) -> Choice:
        """Return some of them."""
        helped = None if self.helped is None else self.helped.of(some)
        return Choice(self.name, self.columns[some], self.fits.of(some), helped)


class Task(NamedTuple):
    """What the curves are chosen for."""

    block: Block
    sign: float
    finest: float
    peak: Array | None
    usual_sd: float | None
    expected: Expected | None

    def of(self, curves: Array) -> Task:
        """Return some of the curves."""
        expected = None if self.expected is None else self.expected.of(curves)
        return self._replace(block=self.block.of(curves), peak=columns_or_none(self.peak, curves), expected=expected)

    def belief(self, model: Model) -> Belief | None:
        """Return what is expected of the parameters of a model."""
        if self.expected is None or self.usual_sd is None:
            return None
        return self.expected.belief(model, self.sign, self.usual_sd)


class Tried(NamedTuple):
    """One model fitted to the curves of a block that can carry it; the others have not settled anywhere.

    `fitted_to` is the block with the mark as one more reading, where there is one.
    """

    name: str
    optimum: Optimum
    fitted_to: Block

    @property
    def model(self) -> Model:
        """The curve, on its start."""
        return LEVELS[self.name]

    @property
    def fitted(self) -> Array:
        """Whether there is a curve at all."""
        return np.isfinite(self.optimum.rss)

    @property
    def is_a_limit(self) -> Array:
        """Whether it is another curve's limit rather than a curve of its own."""
        if "nu" not in self.model.parameters:
            return np.zeros(len(self.fitted), bool)
        nu = self.optimum.parameters[self.model.place("nu")]
        return ~((nu > OWN_SHAPE[0]) & (nu < OWN_SHAPE[1]))

    def judged(self, task: Task, chosen: Array) -> Choice:
        """Return some of them, sharpened, with what their readings say of each parameter."""
        some, belief = self.fitted_to.of(chosen), task.of(chosen).belief(self.model)
        t, up, weight = some.t, task.sign * some.y, some.weight
        ends = bounds(self.model, t, up, believed=belief is not None)
        best = sharpened(self.model, t, up, self.optimum.of(chosen), weight, *ends, belief)
        known = some.readings, weight, task.finest, task.usual_sd
        fits = judged(self.model, t, best, *known, belief)
        if belief is None:
            return Choice(self.name, chosen, fits)
        with np.errstate(all="ignore"):
            unhelped = best._replace(sums=products(self.model, t, up, weight, best.parameters))
            apart, _ = damped_step(unhelped.sums, best.held, np.full(len(chosen), SINGULAR))
            root, _ = inverse_root(best.sums, best.held)
            if_weaker = belief.gain_if_moved(best.parameters, root, strength(self.model))
        alone = judged(self.model, t, unhelped, *known)
        return Choice(self.name, chosen, fits, Helped(alone, apart, belief.penalty(best.parameters), if_weaker))


def fit_model(growth: str, task: Task, tried: list[Tried], wanted: Array | None = None) -> Tried:
    """Fit one model to the curves that can carry it, as far as it may come under a wanted residual sum."""
    name = growth if task.peak is None else growth + WITH_COLLAPSE
    model, curves = LEVELS[name], task.block.y.shape[1]
    shaped = "nu" in model.parameters and bool(tried)
    carried = task.block.times + task.block.marked
    needed = len(model.parameters) + (_SPARE_FOR_A_SHAPE if shaped else 0)
    able = np.flatnonzero((carried >= needed) | (task.expected is not None and not shaped))
    some, wanted = (task, wanted) if len(able) == curves else (task.of(able), columns_or_none(wanted, able))
    if shaped:
        start = _from_simpler(model, tried, able)
    else:
        alike = next((it.optimum.of(able) for it in tried if it.model.parameters == model.parameters), None)
        start = _begin(growth, some, alike)
    found, fitted_to = _search(growth, name, some, start, wanted)
    if len(able) == curves:
        return Tried(name, found, fitted_to)
    size = len(model.parameters)
    whole = Optimum(
        np.full((size, curves), np.nan),
        np.full((size + 1, size + 1, curves), np.nan),
        np.zeros(curves, bool),
        np.zeros((size, curves), bool),
    )
    for all_of_it, those in zip(whole, found, strict=True):
        all_of_it[..., able] = those
    return Tried(name, whole, _all_with_marks(task.block, fitted_to, able))


def _begin(growth: str, task: Task, alike: Optimum | None) -> Array:
    """Return where searches begin: as expected, where those of a curve much alike came to rest, or read off."""
    block = task.block
    if task.expected is not None and task.peak is None:
        return task.expected.start(growth, block, task.sign)
    if alike is not None and alike.settled.all():
        return alike.parameters
    begin = starts(growth, block.t, task.sign * block.y, block.weight, task.peak)
    return begin if alike is None else np.where(alike.settled, alike.parameters, begin)


def _search(growth: str, name: str, task: Task, start: Array, wanted: Array | None) -> tuple[Optimum, Block]:
    """Fit one model to curves, and return as well what it was fitted to: readings and mark."""
    block, belief = task.block, task.belief(LEVELS[name])

    def fit(to: Block, begin: Array, near: float) -> Optimum:
        turned = task.sign * to.y
        return search(growth, to.t, turned, to.weight, task.peak, begin, near, task.finest, belief, wanted)

    if not block.marked.any():
        return fit(block, start, _NEAR), block
    hour = None
    if task.peak is not None:
        about, hour = fit(block, start, _ABOUT), block.t[-1].copy()
        start = about.parameters
        hopeful = np.flatnonzero(~(about.rss > (np.inf if wanted is None else wanted)))
        hour[hopeful] = _hour_of_peak(name, start[1:, hopeful], hour[hopeful])
    marked = block.with_mark(hour)
    return fit(marked, start, _NEAR), marked


def _hour_of_peak(name: str, shape: Array, last: Array) -> Array:
    """Return when collapsing curves stand highest; where they do not turn down, the last hour read."""
    lag = shape[CURVES[name].place("lag_h")]
    with np.errstate(all="ignore"):
        hour = peak_hour(name, shape, np.minimum(lag, last), last)
    return np.where(np.isfinite(hour), hour, last)


def _all_with_marks(block: Block, fitted: Block, able: Array) -> Block:
    """Return all curves in a block as long as the one that some were fitted in."""
    if len(fitted.t) == len(block.t):
        return block
    whole = block.with_mark()
    whole.t[:, able] = fitted.t
    return whole


def _from_simpler(model: Model, tried: list[Tried], able: Array) -> Array:
    """Let a curve with a shape of its own begin where the simpler ones, which it contains, have ended."""
    rss = np.array([np.where(it.fitted, it.optimum.rss, np.inf)[able] for it in tried])
    place, best = model.place("nu"), rss.argmin(axis=0)
    start = np.empty((len(model.parameters), len(able)))
    for number, it in enumerate(tried):
        begin = np.insert(it.optimum.parameters[:, able], place, _SHAPE_OF[it.name.removesuffix(WITH_COLLAPSE)], axis=0)
        np.copyto(start, begin, where=best == number)
    return start
