"""The cardinal temperature model fitted to steepest slopes, with the intervals of its profiles.

The model (`leavenbench.temperature`) is fitted to the square roots of the slopes (Ratkowsky, Olley, McMeekin & Ball
1982, J Bacteriol 149:1-5, from memory), where a jar in which nothing moved is a plain zero, with weights that suit
slopes which scatter in proportion to themselves. Intervals are those of the profile of the residual sum (Bates & Watts
1988, Nonlinear Regression Analysis, section 6.1, from memory).
"""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np
from scipy import optimize, stats

from ..temperature import Cardinal, relative_rate

#: Within these limits a cardinal temperature is looked for [degC]: no dough works beyond them.
_COLDEST_DEGC, _HOTTEST_DEGC = -20.0, 60.0
#: An organism works over a wide range: its optimum lies at least so far above where it stops in the cold, and below
#: where it stops in the heat [degC] (common practice, no source). Else one lucky refeed passes for a narrow optimum.
_APART_DEGC = (10.0, 2.0)
#: Up to so many times the steepest slope found is looked for.
_STEEPEST = 30.0
#: Slopes scatter in proportion to themselves, down to about this share of the best (common practice, no source).
_FLOOR = 0.05
#: How far apart a profile is asked, and how near an end of an interval is found: [degC], and in logarithms of a slope.
_EVERY_DEGC, _STEP_LOG = 2.0, 0.2
#: Steps to all sides of a place in the model, and the finest step taken [degC].
_AROUND, _FINEST_DEGC = np.stack([of.ravel() for of in np.meshgrid(*[[0.0, -1.0, 1.0]] * 3)]), 0.01
_NEAR_DEGC, _NEAR_LOG = 0.02, 0.002
_NAMES = ("lowest_degC", "optimum_degC", "highest_degC", "optimal_rate")


class Interval(NamedTuple):
    """An estimate and the ends of its interval; NaN where they are open."""

    value: float
    low: float
    high: float


def intervals(temperature_degC: np.ndarray, rate: np.ndarray, level: float = 0.95) -> dict[str, Interval]:
    """Return the best cardinal temperatures [degC] and slope at the optimum, each with its profile interval.

    Parameters
    ----------
    temperature_degC, rate : numpy.ndarray, shape (n,)
        What was measured: temperatures [degC] and steepest slopes.
    level : float
        Level of the intervals, between 0 and 1.

    Returns
    -------
    dict of str to Interval
        lowest_degC, optimum_degC, highest_degC and optimal_rate; an end is NaN where the profile never rises so far.
    """
    root = np.sqrt(rate)
    plain = _Fit(temperature_degC, root, np.ones(len(rate)))
    first = plain.optimum(plain.on_net().at)
    fit = _Fit(temperature_degC, root, 1.0 / (relative_rate(temperature_degC, Cardinal(*first.at[:3])) + _FLOOR))
    best = fit.optimum(fit.on_net().at)
    spare = len(rate) - len(_NAMES)
    most = best.rss * (1.0 + stats.f.ppf(level, 1, spare) / spare)
    found = {}
    for place, name in enumerate(_NAMES):
        low, high = (_end(fit, best, place, side, most) for side in (-1.0, 1.0))
        shown = np.exp(best.at[place]) if name == "optimal_rate" else best.at[place]
        found[name] = Interval(float(shown), *((np.exp(low), np.exp(high)) if name == "optimal_rate" else (low, high)))
    return found


class _Point(NamedTuple):
    """A place in the model: three temperatures and the logarithm of the slope at the optimum, and its residual sum."""

    at: np.ndarray
    rss: float


class _Fit:
    """The residual sum of one culture, and its least value with or without one of the four numbers held.

    Of any three temperatures the residual sum is a parabola of the root of the slope, told by two sums: that of the
    shares of the optimum that they give times what was measured, and that of the shares squared.
    """

    def __init__(self, degC: np.ndarray, root: np.ndarray, weight: np.ndarray) -> None:
        self.degC, self.root, self.weight = degC, root, weight
        self.still = float(weight @ root**2)
        self.net = _net()
        self.with_root, self.squared = self._sums(self.net)

    def _sums(self, cardinal: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return the two sums of many cardinal temperatures, shape (3, m)."""
        share = np.maximum(relative_rate(self.degC[:, None], Cardinal(*cardinal)), 0.0)
        return (self.weight * self.root) @ np.sqrt(share), self.weight @ share

    def rss(self, with_root: np.ndarray, squared: np.ndarray, factor: np.ndarray | float | None) -> np.ndarray:
        """Return the residual sum, at the best root of the slope when none is given."""
        with np.errstate(divide="ignore", invalid="ignore"):
            best = np.nan_to_num(with_root / squared) if factor is None else factor
        return self.still - 2.0 * best * with_root + best**2 * squared

    def on_net(self, place: int = -1, value: float = np.nan) -> _Point:
        """Return the best place of the net near a held value; its residual sum is never below the least one."""
        within = np.flatnonzero(self.net[place] == value) if 0 <= place < 3 else np.arange(self.net.shape[1])
        if not within.size:
            return _Point(np.full(4, np.nan), np.inf)
        factor = np.exp(0.5 * value) if place == 3 else None
        rss = self.rss(self.with_root[within], self.squared[within], factor)
        best = int(np.argmin(rss))
        return _Point(np.append(self.net[:, within[best]], np.nan), float(rss[best]))

    def optimum(self, begin: np.ndarray, place: int = -1, value: float = np.nan) -> _Point:
        """Return the best place near another, with one of the four numbers held if so wished."""
        at = begin[:3].copy()
        if 0 <= place < 3:
            at[place] = value
        factor = np.exp(0.5 * value) if place == 3 else None
        around = _AROUND[:, _AROUND[place] == 0] if 0 <= place < 3 else _AROUND
        apart, rss = _EVERY_DEGC, np.inf
        while apart > _FINEST_DEGC:  # the best of a small net around, which closes in when its middle is best
            net = at[:, None] + apart * around
            net = net[:, _sound(net)]
            if not net.size:
                return _Point(at, np.inf)
            of_net = self.rss(*self._sums(net), factor)
            best = int(np.argmin(of_net))
            if of_net[best] < rss:
                at, rss = net[:, best], float(of_net[best])
            else:
                apart *= 0.5
        with_root, squared = (float(of[0]) for of in self._sums(at[:, None]))
        return _Point(np.append(at, value if place == 3 else _log_slope(with_root, squared)), rss)


def _log_slope(with_root: float, squared: float) -> float:
    return 2.0 * float(np.log(max(with_root / squared, 1e-9))) if squared > 0.0 else float(np.nan)


@cache
def _net() -> np.ndarray:
    """Return the cardinal temperatures from which the best ones are sought, shape (3, m)."""
    low, best, high = np.meshgrid(
        np.arange(_COLDEST_DEGC, _HOTTEST_DEGC, _EVERY_DEGC),
        np.arange(_COLDEST_DEGC, _HOTTEST_DEGC, _EVERY_DEGC),
        np.arange(_COLDEST_DEGC, _HOTTEST_DEGC + _EVERY_DEGC, _EVERY_DEGC),
        indexing="ij",
    )
    net = np.stack((low.ravel(), best.ravel(), high.ravel()))
    return net[:, _sound(net)]


def _sound(cardinal: np.ndarray) -> np.ndarray:
    """Whether cardinal temperatures make a model: the optimum lies in the upper half of the range."""
    low, best, high = cardinal
    within = (low >= _COLDEST_DEGC) & (high <= _HOTTEST_DEGC)
    return within & (best - low >= _APART_DEGC[0]) & (high - best >= _APART_DEGC[1]) & (2.0 * best > low + high)


def _end(fit: _Fit, best: _Point, place: int, side: float, most: float) -> float:
    """Return where the profile of one number passes a residual sum; NaN where it does not before the limit.

    The net is never below the profile, so that what lies under `most` on it is inside; only then is the profile asked.
    """
    steps = _steps(best, place, side)
    inside, near = best.at[place], best
    for value in steps:
        there = fit.on_net(place, value)
        if there.rss > most:
            begin = (there, near) if np.isfinite(there.rss) else (near,)
            there = _lowest(fit, begin, place, value)
            if there.rss > most:
                return _crossing(fit, (there, near), place, (inside, value), most)
        inside, near = value, there
    return np.nan


def _lowest(fit: _Fit, begin: tuple[_Point, ...], place: int, value: float) -> _Point:
    """Return the best place with one of the four numbers held, sought from several."""
    return min((fit.optimum(of.at, place, value) for of in begin), key=lambda of: of.rss)


def _steps(best: _Point, place: int, side: float) -> np.ndarray:
    """Return the values at which a profile is asked, away from the estimate to the limit."""
    if place == 3:
        return best.at[3] + side * np.arange(_STEP_LOG, np.log(_STEEPEST), _STEP_LOG)
    values = np.unique(_net()[place])
    return values[values > best.at[place]] if side > 0.0 else values[values < best.at[place]][::-1]


def _crossing(fit: _Fit, begin: tuple[_Point, ...], place: int, between: tuple[float, float], most: float) -> float:
    """Return where the profile passes a residual sum, between a value inside and one outside."""

    def over(value: float) -> float:
        return min(_lowest(fit, begin, place, value).rss, fit.still) - most

    if over(between[0]) >= 0.0:  # the search came no lower here than the limit
        return float(between[0])
    return float(optimize.brentq(over, *between, xtol=_NEAR_LOG if place == 3 else _NEAR_DEGC))
