"""Which curve the readings speak for: the corrected Akaike criterion among those that they can carry.

Source of the criterion: Hurvich & Tsai 1989, Biometrika 76:297-307, doi 10.1093/biomet/76.2.297.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import NamedTuple

import numpy as np

from .composed import CURVES, WITH_COLLAPSE, hold, level_curve
from .engine import ROUGH, Fit, fit, search
from .models import GROWTH, Array, Model
from .starts import starts

#: The growth curves tried, the simplest first.
MODELS: tuple[str, ...] = tuple(GROWTH)
#: Readings to spare from which a shape of its own is tried beside the simpler curves: with fewer the criterion asks
#: for a residual sum so much smaller that readings with any noise never give it.
_SPARE_FOR_A_SHAPE = 5
#: A Richards shape outside this is the Gompertz, or a straight line with a corner: no curve of its own.
_OWN_SHAPE = (0.02, 10.0)
_NU_PLACE = level_curve("richards", 1.0).place("nu")


@dataclass(frozen=True)
class Choice:
    """The curve chosen, and how it was come by.

    Attributes
    ----------
    name : str
        A name in `composed.CURVES`.
    fit : Fit
        The fit, with every parameter of the curve on its start.
    sign : float
        1 for a rise, -1 for the fall of a pH.
    at_once : bool
        The lag would have been below zero, so it is held at zero.
    """

    name: str
    fit: Fit
    sign: float
    at_once: bool

    @property
    def curve(self) -> Model:
        """The curve from 0 upwards, without its start."""
        return CURVES[self.name]

    @property
    def collapses(self) -> bool:
        """Whether it falls again after its peak."""
        return self.name.endswith(WITH_COLLAPSE)


def choose(
    t: Array,
    y: Array,
    sign: float,
    models: Sequence[str] = MODELS,
    peak: int | None = None,
    resolution: float = 0.0,
) -> Choice | None:
    """Fit what the readings can carry and choose among it.

    Parameters
    ----------
    t : numpy.ndarray, shape (n,)
        Times of the readings [h], ascending.
    y : numpy.ndarray, shape (n,)
        The readings.
    sign : float
        1 for a rise, -1 for the fall of a pH.
    models : sequence of str
        Names in `models.GROWTH`.
    peak : int, optional
        Which reading is the peak, where a collapse after it is to be fitted.
    resolution : float
        Finest step that the readings show, in their unit: the least that they are taken to scatter.

    Returns
    -------
    Choice or None
        None when no curve moves the way of the signal.

    Examples
    --------
    >>> hours = np.array([0.0, 1, 2, 3, 4, 5, 6, 8])
    >>> heights = np.array([40.0, 40, 41, 46, 62, 75, 79, 80])
    >>> choose(hours, heights, 1.0).name
    'logistic'
    """
    times = len(np.unique(t))
    tried: list[_Tried] = []
    for growth in models:
        parameters = len(GROWTH[growth].parameters) + (1 if peak is None else 3)
        if times < parameters + (_SPARE_FOR_A_SHAPE if tried and "nu" in GROWTH[growth].parameters else 0):
            continue
        begin = _starts(growth, t, y, sign, peak, tried)
        if len(begin):
            tried.append(_try(growth if peak is None else growth + WITH_COLLAPSE, t, y, sign, begin[0]))
    span = float(np.ptp(y))
    tried.sort(key=lambda it: (it.is_a_limit, _rank(it, len(t), span)))
    first = None
    for it in tried:
        choice = _exact(it, t, y, sign, resolution)
        if choice.fit.settled:
            return choice
        first = first or choice
    return first


class _Tried(NamedTuple):
    """A curve fitted well enough to be compared."""

    name: str
    parameters: Array
    rss: float
    at_once: bool

    @property
    def is_a_limit(self) -> bool:
        """Whether it is another curve's limit rather than a curve of its own."""
        of = dict(zip(("start", *CURVES[self.name].parameters), self.parameters, strict=True))
        return not _OWN_SHAPE[0] < of.get("nu", 1.0) < _OWN_SHAPE[1]


def _starts(growth: str, t: Array, y: Array, sign: float, peak: int | None, tried: list[_Tried]) -> Array:
    """Return starts for a curve; Richards' begins where the simpler ones, which it contains, have ended."""
    simpler = [it for it in tried if "nu" not in CURVES[it.name].parameters]
    if "nu" not in GROWTH[growth].parameters or not simpler:
        return starts(growth, t, y, sign, peak)[:1]
    best = min(simpler, key=lambda it: it.rss)
    return np.insert(best.parameters, _NU_PLACE, 0.9 if best.name.startswith("logistic") else 0.1)[None]


def _try(name: str, t: Array, y: Array, sign: float, begin: Array) -> _Tried:
    """Fit roughly; a jar cannot begin before it was fed, so a lag that would be below zero is held at zero."""
    curve = level_curve(name, sign)
    lag = curve.place("lag_h")
    p, rss = search(curve, t, y, begin, ROUGH)
    if p[lag] >= 0.0:
        return _Tried(name, p, rss, at_once=False)
    p, rss = search(_without_lag(name, sign), t, y, np.delete(begin, lag), ROUGH)
    return _Tried(name, np.insert(p, lag, 0.0), rss, at_once=True)


def _exact(tried: _Tried, t: Array, y: Array, sign: float, resolution: float) -> Choice:
    """Bring a curve to the last digits."""
    curve = level_curve(tried.name, sign)
    lag = curve.place("lag_h")
    if not tried.at_once:
        free = fit(curve, t, y, tried.parameters, resolution)
        if free.parameters[lag] >= 0.0:
            return Choice(tried.name, free, sign, at_once=False)
    held = fit(_without_lag(tried.name, sign), t, y, np.delete(tried.parameters, lag), resolution)
    whole = replace(
        held,
        model=curve,
        parameters=np.insert(held.parameters, lag, 0.0),
        spread=np.insert(held.spread, lag, 0.0, axis=1),
        unseen=np.insert(held.unseen, lag, 0.0, axis=1),
        influence=np.insert(held.influence, lag, 1.0),
    )
    return Choice(tried.name, whole, sign, at_once=True)


@cache
def _without_lag(name: str, sign: float) -> Model:
    return hold(level_curve(name, sign), "lag_h", 0.0)


def _rank(tried: _Tried, n: int, span: float) -> tuple[bool, float]:
    """AICc, after which come those for which it is not defined, by their residual sum."""
    k = len(tried.parameters) + 1  # the residual variance counts
    rss = max(tried.rss, n * (1e-9 * span) ** 2, np.finfo(float).tiny)
    fit_term = n * float(np.log(rss / n))
    if n - k - 1 > 0:
        return False, fit_term + 2.0 * k + 2.0 * k * (k + 1) / (n - k - 1)
    return True, fit_term
