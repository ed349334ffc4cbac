"""One shape for all refeeds of a culture: every refeed keeps its own start and extent, and shares the rest."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from .blocks import Block, Observed, beside
from .choice import MODELS, criterion
from .composed import LEVELS, WITH_COLLAPSE
from .engine import Fits, judged, optimum
from .engine.normal import column_sums
from .fall import Falls, visible_falls
from .models import Array, Model
from .noise import INSTRUMENTS
from .quantities import parameter
from .search import bounds, search
from .traces import TIMES_NEEDED, Traces, nothing_yet, write_fitted, write_idle
from .tried import Choice

#: In a pool a collapse is fitted where at least this share of the refeeds were seen to fall.
_MOST_FELL = 0.5
#: A refeed read at fewer times has nothing to say about a shape.
_TIMES_IN_POOL = 3
#: A refeed of a pool is active when its extent is so many standard errors from zero.
_SURELY = 3.0
_NO_SHAPE = "no refeed of the pool was read often enough to tell their shape"
_CUT_IN_POOL = "it fell again, but most of the pool was not read to fall: fitted up to the peak"
#: Steps after which the search ends: many parameters take longer than few.
_MOST_STEPS = 200


def trace_pooled(observed: Observed, models: Sequence[str] = MODELS) -> Traces:
    """Fit one shape to the refeeds of a culture, and read off the traits of each.

    Parameters
    ----------
    observed : Observed
        The readings of refeeds of one culture at one step, one or more of each; each kind of reading is pooled by
        itself.
    models : sequence of str
        Growth curves to choose among, names in `models.GROWTH`.

    Returns
    -------
    Traces
        Whatever the readings are.
    """
    found = nothing_yet(len(observed.first))
    found.readings[:] = observed.readings
    falls = visible_falls(observed)
    with np.errstate(all="ignore"):
        for kind in INSTRUMENTS:
            signals = np.flatnonzero(observed.kind == kind)
            if len(signals):
                _pool_kind(found, observed, falls, signals, kind, models)
    return found


def _pool_kind(
    found: Traces, observed: Observed, falls: Falls, signals: Array, kind: str, models: Sequence[str]
) -> None:
    """Pool the signals of one kind."""
    fitted = falls.seen & (falls.fallen >= 2)
    collapsing = bool(fitted[signals].mean() >= _MOST_FELL)
    cut = falls.seen & (not collapsing)
    readings = np.where(cut, falls.first_fallen, observed.readings)
    found.reason[signals[cut[signals]]] = _CUT_IN_POOL
    times = observed.times_within(readings)[signals]
    few, pooled = signals[times < _TIMES_IN_POOL], signals[times >= _TIMES_IN_POOL]
    found.status[few], found.reason[few] = "too few readings", f"read at fewer than {_TIMES_IN_POOL} times"
    if not len(pooled):
        return
    found.readings[pooled] = readings[pooled]
    block = beside(observed, pooled, readings[pooled], int(readings[pooled].max()))
    choice = pool(block, kind, models, falls.peak[pooled] if collapsing else None)
    if choice is None and times.max() < TIMES_NEEDED:
        found.status[pooled], found.reason[pooled] = "too few readings", _NO_SHAPE
        return
    moved = np.zeros(len(pooled), bool)
    if choice is not None:
        moved = _moved(choice, block, INSTRUMENTS[kind].noise)
        active = choice.of(np.flatnonzero(moved))
        write_fitted(found, block.of(active.columns), kind, active, cut[pooled[moved]], keep_curves=False)
    idle = np.flatnonzero(~moved)
    if len(idle):
        write_idle(found, block.of(idle), kind)


def _moved(choice: Choice, block: Block, noise: float) -> Array:
    """Whether each refeed rose: surely by its own extent, or, where that has no standard error, beyond the noise."""
    rise = parameter(choice, "extent")
    se = np.where(choice.fits.settled, choice.fits.standard_error(rise.gradient), np.nan)
    by_noise = (rise.value > 0.0) & (np.ptp(choice.fits.value(block.t), axis=0) > _SURELY * noise)
    return np.where(np.isnan(se), by_noise, rise.value > _SURELY * se)


def pooled_model(name: str, refeed: Array, refeeds: int) -> Model:
    """Let the readings of many refeeds follow one shape.

    Parameters
    ----------
    name : str
        A name in `composed.LEVELS`.
    refeed : numpy.ndarray of int, shape (n,)
        Which refeed each reading belongs to, from 0.
    refeeds : int
        How many refeeds there are, k.

    Returns
    -------
    Model
        Of readings in one column, shape (n, 1). Parameters: k starts, k extents, then the shared shape: ``pace``
        (steepest rate as a share of the extent, [1/h]), and what comes after ``max_rate`` in the curve's own.

    Examples
    --------
    >>> both = pooled_model("logistic", np.array([0, 0, 1]), 2)
    >>> both.parameters
    ('start 0', 'start 1', 'extent 0', 'extent 1', 'pace', 'lag_h')
    >>> p = np.array([[40.0], [50], [10], [20], [0.2], [3]])
    >>> both.value(np.array([[0.0], [5.5], [5.5]]), p)[:, 0].round(2).tolist()
    [40.12, 45.0, 60.0]
    """
    level = LEVELS[name]
    shape = ("pace", *level.parameters[3:])
    own = range(refeeds)
    parameters = (*(f"start {number}" for number in own), *(f"extent {number}" for number in own), *shape)
    positive = tuple(it for it in shape if it in ("pace", *level.positive))
    readings = np.arange(len(refeed))

    def of_each(p: Array) -> Array:
        start, extent, pace = p[refeed], p[refeeds + refeed], p[2 * refeeds]
        return np.stack((start, extent, pace * extent, *(0.0 * extent + it for it in p[2 * refeeds + 1 :])))

    def value(t: Array, p: Array) -> Array:
        return level.value(t, of_each(p))

    def derive(t: Array, p: Array, into: Array) -> Array:
        each = of_each(p)
        by_each = np.empty((len(level.parameters), *t.shape))
        levels = level.derive(t, each, by_each)
        into[: 2 * refeeds] = 0.0
        into[refeed, readings] = by_each[0]
        into[refeeds + refeed, readings] = by_each[1] + p[2 * refeeds] * by_each[2]
        into[2 * refeeds] = by_each[2] * each[1]
        into[2 * refeeds + 1 :] = by_each[3:]
        return levels

    return Model(parameters, value, derive, positive)


class _Pool(NamedTuple):
    """A pooled fit: which model, its fit as one curve of all readings, and its criterion."""

    name: str
    fits: Fits
    criterion: float


def pool(block: Block, kind: str, models: Sequence[str], peak: Array | None = None) -> Choice | None:
    """Fit one shape to the refeeds of a block, and say of each what it is.

    Parameters
    ----------
    block : Block
        Refeeds of one culture, of one kind.
    kind : str
        Kind of the readings, a name in `noise.INSTRUMENTS`.
    models : sequence of str
        Names in `models.GROWTH`.
    peak : numpy.ndarray of int, shape (m,), optional
        Which reading is the peak, where a collapse after it is to be fitted.

    Returns
    -------
    Choice or None
        Every refeed's own curve, with the errors of the pooled fit; None where no shape can be found.
    """
    up = INSTRUMENTS[kind].sign * block.y
    tried = [_pooled(growth, block, up, kind, peak) for growth in models]
    found = [it for it in tried if it is not None]
    if not found:
        return None
    best = min(found, key=lambda it: (not it.fits.settled[0], it.criterion))
    return Choice(best.name, np.arange(len(block.signals)), _apart(best, block, up))


def _pooled(growth: str, block: Block, up: Array, kind: str, peak: Array | None) -> _Pool | None:
    """Fit one model to all readings."""
    name = growth if peak is None else growth + WITH_COLLAPSE
    there = np.ones(up.shape, bool) if block.weight is None else block.weight > 0.0
    refeed = np.nonzero(there.T)[0]
    t, y = block.t.T[there.T][:, None], up.T[there.T][:, None]
    refeeds = up.shape[1]
    model = pooled_model(name, refeed, refeeds)
    shape = _typical_shape(growth, block, up, peak)
    if shape is None or len(y) <= len(model.parameters):
        return None
    start = _start(name, shape, block, up)
    low, high = _bounds(name, block.t, up)
    found = optimum(model, t, y, start, None, low, high, most=_MOST_STEPS)
    if not np.isfinite(found.rss[0]):
        return None
    fits = judged(model, t, found, np.array([len(y)]), None, INSTRUMENTS[kind].resolution)
    _, value = criterion(found.rss, np.array([len(y)]), len(model.parameters) + 1, INSTRUMENTS[kind].resolution)
    return _Pool(name, fits, float(value[0]))


def _bounds(name: str, t: Array, up: Array) -> tuple[Array, Array]:
    """Return the widest bounds that any of the refeeds sets to the shared shape; starts and extents have none."""
    of_each = bounds(LEVELS[name], t, up)
    own = np.full(2 * t.shape[1], np.inf)
    pace = of_each[1][2] / np.ptp(up, axis=0)
    low = np.concatenate((-own, [-np.inf], of_each[0][3:].min(axis=1)))
    high = np.concatenate((own, [pace.max()], of_each[1][3:].max(axis=1)))
    return low[:, None], high[:, None]


def _typical_shape(growth: str, block: Block, up: Array, peak: Array | None) -> Array | None:
    """Return pace and further shape parameters as the median over the refeeds that can be fitted alone."""
    model = LEVELS[growth if peak is None else growth + WITH_COLLAPSE]
    able = np.flatnonzero(block.times >= len(model.parameters))
    some = block.of(able)
    found = search(growth, some.t, up.take(able, axis=1), some.weight, None if peak is None else peak[able])
    p = found.parameters[:, np.isfinite(found.rss)]
    return np.median(np.concatenate((p[2:3] / p[1:2], p[3:])), axis=1) if p.shape[1] else None


def _start(name: str, shape: Array, block: Block, up: Array) -> Array:
    """Begin with the typical shape, and every refeed's start and extent at their best for it."""
    there = np.ones_like(up) if block.weight is None else block.weight
    total = column_sums(there)
    of_one = np.concatenate(([0.0, 1.0], shape))[:, None]
    rise = LEVELS[name].value(block.t, of_one)
    mean, height = column_sums(there * up) / total, column_sums(there * rise) / total
    size = column_sums(there * (rise - height) ** 2)
    extent = column_sums(there * (rise - height) * up) / np.where(size > 0.0, size, 1.0)
    extent = np.maximum(extent, 1e-3 * np.ptp(up, axis=0).max())
    return np.concatenate((mean - extent * height, extent, shape))[:, None]


def _apart(best: _Pool, block: Block, up: Array) -> Fits:
    """Take the pooled fit apart into the curves of its refeeds, each with its share of the common errors."""
    whole, refeeds = best.fits, up.shape[1]
    level, own, p = LEVELS[best.name], np.arange(refeeds), best.fits.parameters[:, 0]
    extent, pace, more = p[refeeds : 2 * refeeds], p[2 * refeeds], p[2 * refeeds + 1 :]
    parameters = np.stack((p[:refeeds], extent, pace * extent, *(np.full(refeeds, it) for it in more)))
    by_whole = np.zeros((len(level.parameters), len(p), refeeds))
    by_whole[0, own, own] = 1.0
    by_whole[1, refeeds + own, own] = 1.0
    by_whole[2, refeeds + own, own] = pace
    by_whole[2, 2 * refeeds] = extent
    for number in range(len(more)):
        by_whole[3 + number, 2 * refeeds + 1 + number] = 1.0
    there = 1.0 if block.weight is None else block.weight
    held = np.zeros(parameters.shape, bool)
    held[3:] = whole.held[2 * refeeds + 1 :]
    return Fits(
        level,
        parameters,
        column_sums((there * (up - level.value(block.t, parameters))) ** 2),
        np.full(refeeds, whole.spare[0]),
        np.full(refeeds, whole.settled[0] and not whole.unseen.any()),
        held,
        np.einsum("rw,pwm->rpm", whole.spread[..., 0], by_whole),
        np.zeros((len(parameters), *parameters.shape)),
        np.ones_like(parameters),
    )
