"""Whole curves of cultures: each pooled from its refeeds, two against each other, each with its band.

The refeeds are the replicates, and those of one day share that day. So curves are averaged over the refeeds of a
culture, and what scatters is told day by day: each day contributes one curve of deviations, from both cultures where
both were fed on it. Their spread is the cluster-robust variance of Bell & McCaffrey 2002 (Survey Methodology
28:169-181, from memory): where no day is shared it is that of Welch's test, where all are it is that of pairs. The band
is as many standard errors wide as the largest deviation along the curve exceeds in one case of twenty (a sup-t band,
see `curves.band`), by a bootstrap from normal refeeds that is studentised hour by hour.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import pandas as pd

from ..columns import RESULTS
from ..curves.read_off import levels_at
from ..curves.signals import signals
from ..records.collection import Collection
from ..temperature import Cardinal
from ..vigour.warmth import Warmth

#: Hours between the points of a pooled curve, and the last of them (common practice, no source).
_EVERY_H, _LONGEST_H = 0.25, 24.0
#: Over so many hours the warmth of a dough sets its pace [h]: most of a rise is over then (common practice, no source).
_PACED_H = 8.0
#: A pooled curve goes as far as this share of its refeeds was read (common practice, no source).
_READ_AS_FAR = 0.8
#: Draws behind the width of a band: with so many, another seed moves it by some 2 %.
_DRAWS = 2_000
#: A way in which curves scatter less than this, against that in which they scatter most, is none; nor is an error.
_FAINT, _STILL = 1e-3, 1e-9
#: What days share of the scatter is shrunk as if so many pairs of a day had shared nothing: few pairs tell little.
_PAIRS_OF_NONE = 10.0
#: With fewer days than this nothing says how refeeds scatter.
_FEWEST_DAYS = 3
_PER_REFEED = ["refeed", "culture", "day", "elapsed_h", "value"]
_POOLED, _DIFFERENCE = RESULTS["pooled_curve"], RESULTS["curve_difference"]


def culture_curves(collection: Collection, step: int, signal: str = "rise") -> pd.DataFrame:
    """Return the fitted curve of every refeed of a round at one step, over hours at the reference temperature.

    Parameters
    ----------
    collection : Collection
        The records.
    step : int
        The step of the round: like is compared with like.
    signal : str
        rise or acid.

    Returns
    -------
    pandas.DataFrame
        refeed, culture, day, elapsed_h (hours at the reference temperature [h]), value (rise over the start [%], or
        pH). A refeed has rows as far as it was read; one without a curve has none.
    """
    fed = collection["refeeds"]
    fed = fed[(fed["purpose"] == "round") & (fed["step"] == step)]
    read = collection["readings"]
    read = signals(read[read["refeed"].isin(fed["refeed"])], fed, collection["vessels"])
    read = read[read["signal"] == signal]
    hours = np.arange(0.0, _LONGEST_H + _EVERY_H, _EVERY_H)
    levels = levels_at(read, hours, _clock_hours(collection, fed["refeed"], signal))
    of = fed[["refeed", "culture"]].assign(day=fed["fed_at"].dt.strftime("%Y-%m-%d"))
    told = levels.merge(of, on="refeed")
    told["value"] = 100.0 * (told["level"] - 1.0) if signal == "rise" else told["level"]
    return told[_PER_REFEED].astype({"elapsed_h": float, "value": float})


def _clock_hours(collection: Collection, refeeds: pd.Series, signal: str) -> pd.Series:
    """Return the hours by the clock that stand for one at the reference temperature, by refeed and signal.

    One number for a refeed: its mean warmth over the first hours sets the pace of its whole curve.
    """
    settings, warmth = collection.settings, Warmth.of(collection)
    organism = Cardinal(*(settings.yeast_cardinal_degC if signal == "rise" else settings.lactic_cardinal_degC))
    number = warmth.refeeds.get_indexer(refeeds)
    first = np.full(len(number), _PACED_H)
    pace = first / warmth.reference_hours(number, first, organism)
    return pd.Series(pace, index=pd.MultiIndex.from_product([refeeds, [signal]]))


def pooled_curve(curves: pd.DataFrame, culture: str, level: float = 0.95, seed: int = 0) -> pd.DataFrame:
    """Return the mean curve of a culture with its simultaneous band.

    Parameters
    ----------
    curves : pandas.DataFrame
        As from `culture_curves`.
    culture : str
        Which.
    level : float
        How often such a band holds the whole curve, between 0 and 1.
    seed : int
        Seed of the draws behind the band's width.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["pooled_curve"]``, one row per hour, as far as four of five refeeds were read; those
        read shorter are left out. Low and high are missing where fewer than three days say how refeeds scatter.

    Examples
    --------
    >>> hours = np.arange(0.0, 3.0)
    >>> one = pd.DataFrame({"culture": "A", "elapsed_h": hours})
    >>> parts = [one.assign(refeed=f"r{pace}", day=f"d{pace}", value=hours * pace) for pace in (8, 9, 10, 11)]
    >>> pooled_curve(pd.concat(parts), "A")[["elapsed_h", "value", "low", "high", "refeeds"]].round(1)
       elapsed_h  value   low  high  refeeds
    0        0.0    0.0   0.0   0.0        4
    1        1.0    9.5   7.4  11.6        4
    2        2.0   19.0  14.8  23.2        4
    """
    of = _curves_of(curves, culture)
    contrast = _contrast(of.values, of.days, np.full(len(of.days), 1.0 / max(len(of.days), 1)), level, seed)
    table = pd.DataFrame({"elapsed_h": of.hours, "value": contrast.value})
    table["low"], table["high"] = contrast.value - contrast.half, contrast.value + contrast.half
    table = table.assign(culture=culture, level_pct=100.0 * level, refeeds=len(of.days), days=len(set(of.days)))
    return table[_POOLED.names].astype(_POOLED.dtypes())


def curve_difference(
    curves: pd.DataFrame, culture: str, other: str, level: float = 0.95, seed: int = 0
) -> pd.DataFrame:
    """Return how far the curve of one culture lies above that of another, hour by hour, with its simultaneous band.

    Parameters
    ----------
    curves : pandas.DataFrame
        As from `culture_curves`.
    culture, other : str
        Which two.
    level : float
        How often such a band holds the whole difference, between 0 and 1.
    seed : int
        Seed of the draws behind the band's width.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["curve_difference"]``, one row per hour as far as both were read; `differs` where
        the band leaves out zero. Low and high are missing where either was fed on fewer than three days.

    Notes
    -----
    How often the 95 % band holds the true difference at all hours is stored beside
    ``tests/benchmarks/compare_curves.py``: 93 to 96 times in 100 from six refeeds a culture on. Of five refeeds whose
    scatter is skewed, as that of extents and rates is, it holds some 92. Rise counts from the
    height that the fitted curve has at 0 h.
    """
    ours, theirs = _curves_of(curves, culture), _curves_of(curves, other)
    hours = min(len(ours.hours), len(theirs.hours))
    values = np.vstack((ours.values[:, :hours], theirs.values[:, :hours]))
    days, count = [*ours.days, *theirs.days], (len(ours.days), len(theirs.days))
    weights = np.repeat([1.0 / max(count[0], 1), -1.0 / max(count[1], 1)], count)
    contrast = _contrast(values, days, weights, level, seed)
    table = pd.DataFrame({"elapsed_h": ours.hours[:hours], "difference": contrast.value})
    table["low"], table["high"] = contrast.value - contrast.half, contrast.value + contrast.half
    table["differs"] = (table["low"] > 0.0) | (table["high"] < 0.0)
    table.loc[table["low"].isna(), "differs"] = False
    table = table.assign(
        culture=culture, other=other, level_pct=100.0 * level, refeeds=count[0], other_refeeds=count[1]
    )
    table["days_shared"] = len(set(ours.days) & set(theirs.days))
    return table[_DIFFERENCE.names].astype(_DIFFERENCE.dtypes())


def hours_of_difference(difference: pd.DataFrame) -> list[tuple[float, float]]:
    """Return the stretches in which two curves differ, each from its first hour to its last [h].

    Examples
    --------
    >>> hours_of_difference(pd.DataFrame({"elapsed_h": [0.0, 1, 2, 3, 4], "differs": [False, True, True, False, True]}))
    [(1.0, 2.0), (4.0, 4.0)]
    """
    apart = difference[difference["differs"].astype(bool)]
    run = (difference["differs"] != difference["differs"].shift()).cumsum().loc[apart.index]
    ends = apart.groupby(run)["elapsed_h"].agg(["min", "max"])
    return list(ends.itertuples(index=False, name=None))


class _Curves(NamedTuple):
    """The curves of a culture's refeeds, shape (refeeds, hours), over the hours to which they were read."""

    values: np.ndarray
    hours: np.ndarray
    days: list[str]


def _curves_of(curves: pd.DataFrame, culture: str) -> _Curves:
    own = curves[curves["culture"] == culture]
    table = own.pivot(index=["day", "refeed"], columns="elapsed_h", values="value")
    if table.empty:
        return _Curves(np.zeros((0, 0)), np.zeros(0), [])
    table = table.loc[:, table.notna().mean() >= _READ_AS_FAR].dropna()
    return _Curves(table.to_numpy(), table.columns.to_numpy(dtype=float), list(table.index.get_level_values("day")))


class _Contrast(NamedTuple):
    """A weighted sum of curves, and half the width of its band; NaN where that cannot be told."""

    value: np.ndarray
    half: np.ndarray


def _contrast(values: np.ndarray, days: Sequence[str], weights: np.ndarray, level: float, seed: int) -> _Contrast:
    """Sum curves, positive weights being one culture's and negative ones the other's."""
    value = weights @ values
    sides = [np.flatnonzero(side) for side in (weights > 0.0, weights < 0.0) if side.any()]
    day = np.unique(days, return_inverse=True)[1]
    fed_on = [len(np.unique(day[side])) for side in sides]
    if not values.size or min(fed_on) < _FEWEST_DAYS:
        return _Contrast(value, np.full(len(value), np.nan))
    maker = _by_day(day, weights, sides)
    se = np.sqrt(((maker @ values) ** 2).sum(axis=0))
    half, told = np.zeros(len(value)), se > _STILL * se.max()
    if told.any():
        half[told] = se[told] * _largest_deviation(values[:, told], day, maker, weights, sides, level, seed)
    return _Contrast(value, half)


def _by_day(day: np.ndarray, weights: np.ndarray, sides: Sequence[np.ndarray]) -> np.ndarray:
    """Return how refeeds are summed to what each day contributes to the error of a contrast, shape (days, refeeds).

    The squares of the contributions add up to the bias-reduced cluster-robust variance.
    """
    apart = np.eye(len(day))
    for side in sides:
        apart[np.ix_(side, side)] -= 1.0 / len(side)
    makers = []
    for one in np.unique(day):
        own = np.flatnonzero(day == one)
        size, ways = np.linalg.eigh(apart[np.ix_(own, own)])
        turned = np.where(size > _STILL, 1.0 / np.sqrt(np.maximum(size, _STILL)), 0.0)
        makers.append((weights[own] @ (ways * turned) @ ways.T) @ apart[own])
    return np.array(makers)


def _largest_deviation(
    values: np.ndarray,
    day: np.ndarray,
    maker: np.ndarray,
    weights: np.ndarray,
    sides: Sequence[np.ndarray],
    level: float,
    seed: int,
) -> float:
    """Return how many of its standard errors a contrast strays, at its worst hour, in all but the odd case.

    Refeeds are drawn that scatter normally about no difference; each draw's contrast is divided by the standard error
    that the same draw gives. So the errors of the standard errors are in it, which with few days differ from hour to
    hour. Each culture scatters by a measure of its own; in what way curves scatter, and how much of that they share
    with others of their day, is told by both together.
    """
    scatter = np.zeros_like(values)
    for side in sides:
        scatter[side] = (values[side] - values[side].mean(axis=0)) * np.sqrt(len(side) / (len(side) - 1.0))
    usual = np.sqrt((scatter**2).mean(axis=0))
    measure = np.ones(len(values))
    for side in sides:
        measure[side] = np.sqrt(((scatter[side] / usual) ** 2).mean())
    _, strength, ways = np.linalg.svd(scatter / measure[:, None], full_matrices=False)
    kept = strength > _FAINT * strength.max()
    shape = strength[kept, None] * ways[kept]
    random, share = np.random.default_rng(seed), _share_of_days(scatter / measure[:, None] / usual, day)
    own, of_day = (random.standard_normal((_DRAWS, count, len(shape))) for count in (len(values), len(maker)))
    errors = np.sqrt(1.0 - share) * own + np.sqrt(share) * of_day[:, day]
    of_days = (maker * measure) @ errors
    square = np.einsum("kt,dkl,lt->dt", shape, of_days.transpose(0, 2, 1) @ of_days, shape, optimize=True)
    off = np.abs(((weights * measure) @ errors) @ shape) / np.sqrt(square)
    return float(np.quantile(off.max(axis=1), level))


def _share_of_days(scatter: np.ndarray, day: np.ndarray) -> float:
    """Return which share of the variance of curves is common to those of a day, by the products of their pairs."""
    together = np.array([scatter[day == one].sum(axis=0) for one in np.unique(day)])
    pairs = 0.5 * float((np.bincount(day) ** 2).sum() - len(day))
    size = float((scatter**2).sum())
    alike = 0.5 * float((together**2).sum() - size)
    return float(np.clip(alike * len(day) / size / (pairs + _PAIRS_OF_NONE), 0.0, 1.0))
