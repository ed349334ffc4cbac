"""How a culture's pace depends on temperature: its own cardinal temperatures, as far as those tried can tell.

The cardinal temperature model (`leavenbench.temperature`) is fitted to the square roots of the steepest slopes
(Ratkowsky, Olley, McMeekin & Ball 1982, J Bacteriol 149:1-5, from memory), where a jar in which nothing moved is a
plain zero, with weights that suit slopes which scatter in proportion to themselves. Intervals are those of the profile
of the residual sum (Bates & Watts 1988, Nonlinear Regression Analysis, section 6.1, from memory): an end that no
temperature tried can close stays open, and then there is no estimate either, only a bound.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy import optimize, stats

from ..columns import RESULTS
from ..records.collection import Collection
from ..temperature import Cardinal, relative_rate
from ..vigour.warmth import Warmth

#: The model has four numbers; with fewer temperatures, or refeeds, than this it is not fitted.
_FEWEST_TEMPERATURES, _FEWEST_REFEEDS = 4, 7
#: Within these limits a cardinal temperature is looked for [degC]: no dough works beyond them.
_COLDEST_DEGC, _HOTTEST_DEGC = -20.0, 60.0
#: The optimum keeps so far from either limit [degC], so that the model stays one.
_APART_DEGC = 0.5
#: Up to so many times the steepest slope found is looked for.
_STEEPEST = 30.0
#: Slopes scatter in proportion to themselves, down to about this share of the best (common practice, no source).
_FLOOR = 0.05
#: First step away from an estimate, and how near an end of an interval is found: [degC], and in logarithms of a slope.
_STEP, _NEAR = {"degC": 1.0, "log": 0.1}, {"degC": 0.02, "log": 0.002}
#: A slope of which more than this came from earlier refeeds, of other temperatures, tells nothing of this one.
_BORROWED = 0.5
_NAMES = ("lowest_degC", "optimum_degC", "highest_degC", "optimal_rate")
_RESPONSE = RESULTS["temperature_response"]


def rates_by_temperature(
    collection: Collection,
    curves: pd.DataFrame,
    signal: str = "rise",
    purposes: tuple[str, ...] = ("round", "test"),
    step: int | None = None,
) -> pd.DataFrame:
    """Return the steepest slope of each refeed with the temperature of its dough meanwhile.

    Parameters
    ----------
    collection : Collection
        The records.
    curves : pandas.DataFrame
        Its curves table.
    signal : str
        rise or acid.
    purposes : tuple of str
        Refeeds of these purposes.
    step : int, optional
        Only this step of rounds: like is compared with like; refeeds of purpose test have no step and stay.

    Returns
    -------
    pandas.DataFrame
        refeed, culture, temperature_degC, rate [%/h or pH/h, by the clock; 0 where nothing moved]. Left out are
        refeeds without a sound curve or a noted temperature, and slopes mostly borrowed or known as 'at least' only.
    """
    of = collection["refeeds"].set_index("refeed")[["purpose", "step"]]
    own = curves[(curves["signal"] == signal) & curves["refeed"].isin(of.index)].join(of["purpose"], on="refeed")
    own = own[own["purpose"].isin(purposes)]
    if step is not None:
        own = own[(own["step"] == step) | (own["purpose"] == "test")]
    at_least = own["lower_bounds"].fillna("").str.split(", ").map(lambda names: "max_rate" in names).astype(bool)
    own = own[~at_least & ~(own["max_rate_prior_share"] > _BORROWED)]
    still = own["status"] == "no activity"
    own = own.assign(rate=own["max_rate"].mask(still, 0.0))
    own = own[own["status"].isin(("fitted", "peak not reached", "no activity")) & own["rate"].notna()]
    warmth = Warmth.of(collection)
    number = warmth.refeeds.get_indexer(own["refeed"])
    steep_at = own["lag_h"].clip(lower=0.0) + 0.5 * own["extent"] / own["max_rate"]
    degC = warmth.at(number, steep_at.where(own["rate"] > 0.0).fillna(0.0).clip(0.0, 24.0).to_numpy(dtype=float))
    told = own.assign(temperature_degC=degC)[["refeed", "culture", "temperature_degC", "rate"]]
    return told[warmth.noted[number]].reset_index(drop=True)


def temperature_response(rates: pd.DataFrame, signal: str = "rise", level: float = 0.95) -> pd.DataFrame:
    """Fit the cardinal temperature model to each culture.

    Parameters
    ----------
    rates : pandas.DataFrame
        As from `rates_by_temperature`: culture, temperature_degC, rate; one row per refeed.
    signal : str
        Which signal they are of.
    level : float
        Level of the intervals, between 0 and 1.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["temperature_response"]``, one row per culture in the order of their names. Of what
        is left open there is no estimate, and the end of the interval that is open is missing.

    Notes
    -----
    How often the intervals hold the truth in simulated trials is stored beside ``tests/benchmarks/compare_curves.py``.
    The model overstates the pace of sourdough's own organisms above their optimum (`leavenbench.temperature`).

    Examples
    --------
    >>> degC = np.repeat([10.0, 15.0, 20.0, 24.0, 27.0, 30.0, 33.0], 2)
    >>> rate = 40.0 * relative_rate(degC, Cardinal(5.0, 28.0, 36.0)) * np.tile([0.95, 1.05], 7)
    >>> found = temperature_response(pd.DataFrame({"culture": "A", "temperature_degC": degC, "rate": rate})).iloc[0]
    >>> found[["optimum_degC", "highest_degC"]].astype(float).round(1).tolist()
    [28.0, 36.0]
    """
    rows = [_row(str(culture), own, signal, level) for culture, own in rates.groupby("culture")]
    return pd.DataFrame(rows, columns=_RESPONSE.names).astype(_RESPONSE.dtypes())


def _row(culture: str, own: pd.DataFrame, signal: str, level: float) -> dict[str, object]:
    degC, rate = (own[name].to_numpy(dtype=float) for name in ("temperature_degC", "rate"))
    tried = len(np.unique(np.round(degC)))
    row: dict[str, object] = {"culture": culture, "signal": signal, "refeeds": len(own), "temperatures": tried}
    row |= {"coldest_degC": degC.min(), "warmest_degC": degC.max()}
    if tried < _FEWEST_TEMPERATURES or len(own) < _FEWEST_REFEEDS or not (rate > 0.0).any():
        needed = (
            f"at least {_FEWEST_REFEEDS} refeeds at {_FEWEST_TEMPERATURES} temperatures, some of which rise or sour"
        )
        return row | {"words": f"{len(own)} refeeds at {tried} temperatures cannot tell: it takes {needed}"}
    told = _as_far_as_tried(intervals(degC, rate, level), float(degC.min()), float(degC.max()))
    for name, interval in told.items():
        row |= {name: interval.value, f"{name}_low": interval.low, f"{name}_high": interval.high}
    return row | {"words": _words(told, float(degC.min()), float(degC.max()))}


class Interval(NamedTuple):
    """An estimate and the ends of its interval; NaN where they are open."""

    value: float
    low: float
    high: float


def _as_far_as_tried(told: dict[str, Interval], coldest: float, warmest: float) -> dict[str, Interval]:
    """Open what the temperatures tried cannot close, and leave out estimates whose interval is open.

    An optimum that may lie beyond them was not reached; then what follows beyond it was not seen either, and an end
    of its interval is the form of the model alone. Where an estimate stands within an open stretch is chance.
    """
    told = dict(told)
    if not told["optimum_degC"].high <= warmest:
        for name in ("optimum_degC", "highest_degC", "optimal_rate"):
            told[name] = told[name]._replace(high=np.nan)
    if not told["optimum_degC"].low >= coldest:
        for name in ("optimum_degC", "lowest_degC"):
            told[name] = told[name]._replace(low=np.nan)
    closed = {name: np.isfinite([of.low, of.high]).all() for name, of in told.items()}
    return {name: of if closed[name] else of._replace(value=np.nan) for name, of in told.items()}


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
    first = _Fit(temperature_degC, np.sqrt(rate), np.ones(len(rate))).optimum()
    fit = _Fit(
        temperature_degC, np.sqrt(rate), 1.0 / (relative_rate(temperature_degC, Cardinal(*first.at[:3])) + _FLOOR)
    )
    best = fit.optimum()
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
    """The residual sum of one culture, and its least value with or without one of the four numbers held."""

    def __init__(self, degC: np.ndarray, root: np.ndarray, weight: np.ndarray) -> None:
        self.degC, self.root, self.weight = degC, root, weight
        self.fine = 1e-6 * float(weight @ root**2)
        low, best, high = np.meshgrid(
            np.arange(_COLDEST_DEGC, 31.0, 5.0), np.arange(5.0, 51.0, 2.5), np.arange(10.0, 61.0, 2.5)
        )
        net = np.stack((low.ravel(), best.ravel(), high.ravel()))
        self.starts = net[:, _sound(net)]

    def log_slope(self, cardinal: np.ndarray) -> np.ndarray:
        """Return the log slope that goes best with cardinal temperatures, shape (3, m)."""
        share = np.sqrt(relative_rate(self.degC[:, None], Cardinal(*cardinal)))
        with np.errstate(divide="ignore", invalid="ignore"):
            factor = np.nan_to_num(((self.weight * self.root) @ share) / (self.weight @ share**2))
        return 2.0 * np.log(np.maximum(factor, 1e-9))

    def rss(self, cardinal: np.ndarray, log_slope: np.ndarray) -> np.ndarray:
        """Return the residual sum; infinite where the model is none."""
        sound = _sound(cardinal)
        held = Cardinal(*np.where(sound, cardinal, np.array([[0.0], [30.0], [40.0]])))
        off = self.root[:, None] - np.exp(0.5 * log_slope) * np.sqrt(relative_rate(self.degC[:, None], held))
        return np.where(sound, self.weight @ off**2, np.inf)

    def optimum(self, place: int = -1, value: float = np.nan, near: np.ndarray | None = None) -> _Point:
        """Return the best place, with one of the four numbers held if so wished; sought from a net and from nearby."""
        starts = self.starts if near is None else np.column_stack((near[:3], self.starts))
        if 0 <= place < 3:
            starts = starts.copy()
            starts[place] = value
        held_slope = place == 3
        free = [of for of in range(3) if of != place]

        def slope(cardinal: np.ndarray) -> np.ndarray:
            return np.full(cardinal.shape[1], value) if held_slope else self.log_slope(cardinal)

        def placed(moved: np.ndarray) -> np.ndarray:
            cardinal = np.full((3, 1), value)
            cardinal[free, 0] = moved
            return cardinal

        def cost(moved: np.ndarray) -> float:
            cardinal = placed(moved)
            return float(self.rss(cardinal, slope(cardinal))[0])

        with np.errstate(all="ignore"):
            of_starts = self.rss(starts, slope(starts))
            if not np.isfinite(of_starts).any():
                return _Point(np.full(4, np.nan), np.inf)
            begin = starts[free, int(np.argmin(of_starts))]
            around = np.vstack((begin, begin + 1.5 * np.eye(len(free))))
            options = {"xatol": 5e-3, "fatol": self.fine, "initial_simplex": around, "maxiter": 400}
            found = optimize.minimize(cost, begin, method="Nelder-Mead", options=options)
            cardinal = placed(found.x)
            return _Point(np.append(cardinal[:, 0], slope(cardinal)), float(found.fun))


def _sound(cardinal: np.ndarray) -> np.ndarray:
    """Whether cardinal temperatures make a model: the optimum lies in the upper half of the range."""
    low, best, high = cardinal
    within = (low >= _COLDEST_DEGC) & (high <= _HOTTEST_DEGC)
    return within & (best - low > _APART_DEGC) & (high - best > _APART_DEGC) & (2.0 * best > low + high)


def _end(fit: _Fit, best: _Point, place: int, side: float, most: float) -> float:
    """Return where the profile of one number passes a residual sum; NaN where it does not before the limit."""
    kind = "log" if place == 3 else "degC"
    step = _STEP[kind]
    limits = {"degC": (_COLDEST_DEGC, _HOTTEST_DEGC), "log": best.at[3] + np.log(_STEEPEST) * np.array([-1.0, 1.0])}
    limit = limits[kind][0 if side < 0.0 else 1]
    inside, near = best.at[place], best.at
    while True:
        outside = inside + side * step
        if side * (outside - limit) >= 0.0:
            return np.nan
        there = fit.optimum(place, outside, near)
        if there.rss > most:
            break
        inside, near, step = outside, there.at, 1.3 * step
    while abs(outside - inside) > _NEAR[kind]:
        middle = 0.5 * (inside + outside)
        there = fit.optimum(place, middle, near)
        if there.rss > most:
            outside = middle
        else:
            inside, near = middle, there.at
    return float(0.5 * (inside + outside))


def _words(told: dict[str, Interval], coldest: float, warmest: float) -> str:
    """Say what was found and what was left open."""
    tried = f"{coldest:.0f} to {warmest:.0f} degC were tried"
    parts = []
    for name, what in (("lowest_degC", "stops below"), ("optimum_degC", "optimum"), ("highest_degC", "stops above")):
        value, low, high = told[name]
        if np.isfinite(value):
            parts.append(f"{what} {value:.1f} degC ({low:.1f} to {high:.1f})")
        elif np.isfinite(low):
            parts.append(f"{what} at least {low:.1f} degC, left open upwards: {tried}")
        elif np.isfinite(high):
            parts.append(f"{what} at most {high:.1f} degC, left open downwards: {tried}")
        else:
            parts.append(f"{what}: cannot be told, {tried}")
    return "; ".join(parts)
