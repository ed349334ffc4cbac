"""Which curve the readings speak for: the corrected Akaike criterion among those that they can carry.

Source of the criterion: Hurvich & Tsai 1989, Biometrika 76:297-307, doi 10.1093/biomet/76.2.297.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from .blocks import Block
from .composed import CURVES, LEVELS, WITH_COLLAPSE
from .engine import Fits, Optimum, judged, sharpened
from .engine.normal import columns
from .models import GROWTH, Array, Model
from .noise import INSTRUMENTS
from .search import bounds, search

#: The growth curves tried, the simplest first.
MODELS: tuple[str, ...] = tuple(GROWTH)
#: Readings to spare from which a shape of its own is tried beside the simpler curves: with fewer the criterion asks
#: for a residual sum so much smaller that readings with any noise never give it.
_SPARE_FOR_A_SHAPE = 5
#: A Richards shape outside this is the Gompertz, or a straight line with a corner: no curve of its own.
_OWN_SHAPE = (0.02, 10.0)
#: The Richards shapes near the logistic and the Gompertz curve from which its search begins.
_NEARLY = {"logistic": 0.9, "gompertz": 0.1}
#: Residuals of this share of the finest step that readings show are no worse than none.
_NO_RESIDUAL = 0.1


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
    """

    name: str
    columns: Array
    fits: Fits

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
        return Choice(self.name, self.columns[some], self.fits.of(some))


def choose(block: Block, kind: str, models: Sequence[str] = MODELS, peak: Array | None = None) -> list[Choice]:
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
    up, finest = INSTRUMENTS[kind].sign * block.y, INSTRUMENTS[kind].resolution
    tried: list[_Tried] = []
    for growth in models:
        tried.append(_try(growth, block, up, finest, peak, tried))
    best = _best(tried, block.readings, finest)
    found = []
    for number, it in enumerate(tried):
        chosen = np.flatnonzero((best == number) & it.fitted)
        if len(chosen):
            found.append(it.judged(block, up, chosen, finest))
    return found


class _Tried(NamedTuple):
    """One model fitted to the curves of a block that can carry it; the others have not settled anywhere."""

    name: str
    optimum: Optimum

    @property
    def model(self) -> Model:
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
        return ~((nu > _OWN_SHAPE[0]) & (nu < _OWN_SHAPE[1]))

    def judged(self, block: Block, up: Array, chosen: Array, resolution: float) -> Choice:
        """Return some of them, sharpened, with what their readings say of each parameter."""
        some, risen = block.of(chosen), columns(up, chosen)
        ends = bounds(self.model, some.t, risen)
        optimum = sharpened(self.model, some.t, risen, self.optimum.of(chosen), some.weight, *ends)
        return Choice(self.name, chosen, judged(self.model, some.t, optimum, some.readings, some.weight, resolution))


def _try(growth: str, block: Block, up: Array, finest: float, peak: Array | None, tried: list[_Tried]) -> _Tried:
    """Fit one model to the curves that can carry it."""
    name = growth if peak is None else growth + WITH_COLLAPSE
    model, curves = LEVELS[name], up.shape[1]
    own_shape = "nu" in model.parameters
    able = np.flatnonzero(block.times >= len(model.parameters) + (_SPARE_FOR_A_SHAPE if own_shape and tried else 0))
    start = _from_simpler(model, tried, able) if own_shape and tried else None
    readable = block.of(able)
    top = None if peak is None else peak[able]
    found = search(growth, readable.t, columns(up, able), readable.weight, top, start, finest=finest)
    if len(able) == curves:
        return _Tried(name, found)
    size = len(model.parameters)
    whole = Optimum(
        np.full((size, curves), np.nan),
        np.full((size + 1, size + 1, curves), np.nan),
        np.zeros(curves, bool),
        np.zeros((size, curves), bool),
    )
    for all_of_it, those in zip(whole, found, strict=True):
        all_of_it[..., able] = those
    return _Tried(name, whole)


def _from_simpler(model: Model, tried: list[_Tried], able: Array) -> Array:
    """Let a curve with a shape of its own begin where the simpler ones, which it contains, have ended."""
    rss = np.array([np.where(it.fitted, it.optimum.rss, np.inf)[able] for it in tried])
    place, best = model.place("nu"), rss.argmin(axis=0)
    start = np.empty((len(model.parameters), len(able)))
    for number, it in enumerate(tried):
        begin = np.insert(it.optimum.parameters[:, able], place, _NEARLY[it.name.removesuffix(WITH_COLLAPSE)], axis=0)
        np.copyto(start, begin, where=best == number)
    return start


def _best(tried: list[_Tried], readings: Array, finest: float) -> Array:
    """Return which model is the best of each curve: those that settled first, by the criterion."""
    limit, missing = (np.array(of) for of in zip(*((it.is_a_limit, ~it.fitted) for it in tried), strict=True))
    unsettled = np.array([~it.optimum.settled for it in tried])
    numbers = [len(it.model.parameters) + 1 for it in tried]  # the residual variance counts
    ranks = [criterion(it.optimum.rss, readings, k, finest) for it, k in zip(tried, numbers, strict=True)]
    undefined, value = (np.array(of) for of in zip(*ranks, strict=True))
    return np.lexsort((value, undefined, limit, unsettled, missing), axis=0)[0]


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
    n, k = readings, numbers
    fit_term = n * np.log(np.fmax(rss / n, (_NO_RESIDUAL * finest) ** 2))
    spare = n - k - 1
    defined = spare > 0
    more = 2.0 * k + 2.0 * k * (k + 1) / np.maximum(spare, 1)
    return ~defined, fit_term + np.where(defined, more, 0.0)
