"""The traits of a culture, followed from refeed to refeed: where they stand, and how far refeeds scatter about that.

A local level with a discount (West & Harrison 1997, Bayesian Forecasting and Dynamic Models, section 6.3, from
memory), the scatter shrunk to what is usual on the shelf.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from .models import Array

#: What is known of a culture's level is worth this share of it at the next refeed: some seven refeeds are remembered.
_KEPT = 0.85
#: How far refeeds usually scatter (log extent, log slope, lag [h]), the least that is believed, and how many refeeds
#: the usual one is worth; common practice, no source.
_USUAL, _LEAST, _WORTH = np.array([0.10, 0.12, 0.40]), np.array([0.03, 0.04, 0.08]), 10.0
#: How far the cultures of a shelf differ where there are too few to tell; common practice, no source.
_APART, _CULTURES_NEEDED = np.array([0.5, 0.6, 2.0]), 5
#: A refeed further off than so many standard errors is believed no more than one that is so far off.
_ODD = 3.0
#: Of refeeds read ten times or so, as many more show the right form as the wrong one; the wrong one bends all traits.
_RIGHT_FORM = 2.0


class Read(NamedTuple):
    """What each refeed's own readings say.

    Values and variances have the shape (3, n), NaN where nothing is said; the form, -1 for logistic and 1 for
    Gompertz, the shape (n,).
    """

    value: Array
    variance: Array
    form: Array

    def of(self, rows: Array) -> Read:
        """Return what some of them say."""
        return Read(*(it[..., rows] for it in self))


class Usual(NamedTuple):
    """What is usual at each place of a shelf, shape (3, places): level, how far cultures and refeeds differ."""

    level: Array
    apart: Array
    scatter: Array

    def of_rows(self, place: Array) -> Usual:
        """Return what is usual for each row."""
        return Usual(*(it[:, place] for it in self))

    @classmethod
    def of(cls, read: Read, series: Array, place: Array) -> Usual:
        """Measure it by medians, which a few odd refeeds or cultures do not move."""
        shape = (3, place.max() + 1)
        level, apart, scatter = (np.empty(shape) for _ in range(3))
        of_series = pd.Series(place).groupby(series).first()
        for trait in range(3):
            value, variance = pd.Series(read.value[trait]), pd.Series(read.variance[trait])
            known = value.notna()
            step = value[known].groupby(series[known]).diff().dropna()
            at = place[step.index]
            lengths = step.abs().groupby(at)
            whole = (1.4826 * lengths.median()) ** 2 / 2.0 - variance[known].groupby(place[known]).median()
            own = np.maximum(whole, 0.0).reindex(range(shape[1])).fillna(0.0)
            number = lengths.size().reindex(range(shape[1])).fillna(0)
            of_shelf = (number * own + _WORTH * _USUAL[trait] ** 2) / (number + _WORTH)
            scatter[trait] = np.maximum(of_shelf, _LEAST[trait] ** 2)
            middle = value.groupby(series).median().dropna()
            by_place = middle.groupby(of_series[middle.index])
            level[trait] = by_place.median().reindex(range(shape[1]))
            away = (middle - by_place.transform("median")).abs().groupby(of_series[middle.index])
            wide = ((1.4826 * away.median()) ** 2).where(by_place.size() >= _CULTURES_NEEDED)
            wide = wide.reindex(range(shape[1])).fillna(_APART[trait] ** 2)
            apart[trait] = np.maximum(wide, _LEAST[trait] ** 2)
        return cls(level, apart, scatter)


def follow(read: Read, series: Array, usual: Usual) -> tuple[Array, Array, Array, Array]:
    """Follow each series of refeeds; return how many came before each, and what they let expect: mean, sd, form."""
    size, nth = series.max() + 1, pd.Series(series).groupby(series).cumcount().to_numpy()
    first = np.flatnonzero(nth == 0)
    order = first[np.argsort(series[first])]
    at = _Level(usual.level[:, order], usual.apart[:, order], np.zeros((3, size)), np.zeros((3, size)), np.zeros(size))
    refeeds, form = np.zeros(len(series), int), np.zeros(len(series))
    mean, sd = (np.full(read.value.shape, np.nan) for _ in range(2))
    for rows in _in_turn(nth):
        own = series[rows]
        now = _Level(*(it[..., own] for it in at))
        scatter = usual.scatter[:, rows] * now.scale
        known = now.variance + scatter
        refeeds[rows], form[rows] = now.seen.max(axis=0), now.gompertz
        mean[:, rows], sd[:, rows] = now.level, np.sqrt(known)
        for of_all, new in zip(at, now.after(read.of(rows), scatter), strict=True):
            of_all[..., own] = new
    return refeeds, mean, sd, form


def _in_turn(nth: Array) -> list[Array]:
    """Return the rows that come first in their series, then those that come second, and so on."""
    order = np.argsort(nth, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(nth[order])) + 1)


class _Level(NamedTuple):
    """Where the traits of many series of refeeds stand.

    Level, its variance, the sum of squares of how far the refeeds lay off what was expected of them, in its variance,
    and how many there were have the shape (3, k); how many more of them were Gompertz than logistic, the shape (k,).
    """

    level: Array
    variance: Array
    squares: Array
    seen: Array
    lean: Array

    @property
    def gompertz(self) -> Array:
        """Probability of the Gompertz form against the logistic one."""
        return 1.0 / (1.0 + _RIGHT_FORM**-self.lean)

    @property
    def scale(self) -> Array:
        """How much wider than on the rest of the shelf refeeds scatter."""
        return (_WORTH + self.squares) / (_WORTH + self.seen)

    def after(self, read: Read, scatter: Array) -> _Level:
        """Return where they stand after one more refeed; where it says nothing, they are only less sure."""
        told = ~np.isnan(read.value)
        off = np.where(told, read.value - self.level, 0.0)
        around = scatter + np.where(told, read.variance, 0.0)
        squares = off**2 / (self.variance + around)
        lean = self.lean + read.form
        right = 1.0 / (1.0 + _RIGHT_FORM ** np.minimum(-lean * read.form, 6.0))
        around = np.maximum(around / right, off**2 / _ODD**2 - self.variance)
        gain = np.where(told, self.variance / (self.variance + around), 0.0)
        return _Level(
            self.level + gain * off,
            np.minimum((1.0 - gain) * self.variance / _KEPT, np.maximum(self.variance, 1.0)),
            self.squares + np.minimum(squares, _ODD**2) * told,
            self.seen + told,
            lean,
        )
