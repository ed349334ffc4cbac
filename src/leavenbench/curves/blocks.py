"""The readings of many signals, one after another, and side by side in blocks for the fitting engine."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from .engine.normal import columns, columns_or_none
from .models import Array
from .noise import INSTRUMENTS

#: Readings in a block at most: what stands between the readings and their results takes a multiple of it.
_LARGEST = 400_000
#: Hours and readings beyond this are none, whatever they are.
_IMPOSSIBLE = 1e9
#: An hour at which every rise is over.
_FOR_EVER = 1e6


class Observed(NamedTuple):
    """Readings of many signals, ascending in time within each.

    Attributes
    ----------
    t, y : numpy.ndarray, shape (n,)
        Hours since feeding [h], and readings, signal after signal.
    first : numpy.ndarray of int, shape (m,)
        Where the readings of each signal begin.
    kind : numpy.ndarray of str, shape (m,)
        Kind of its readings, a name in `noise.INSTRUMENTS`.
    source : numpy.ndarray of int, shape (n,), optional
        Where each reading stood in the table that they came from.
    weight : numpy.ndarray, shape (n,), optional
        Usual noise of the kind over the noise of each reading; 1 if not given.
    mark : numpy.ndarray, shape (m,), optional
        Highest level, whenever it was reached: the smear line; NaN where it was not read.
    mark_h : numpy.ndarray, shape (m,), optional
        Hour until which the mark speaks [h]; infinite where unknown.
    """

    t: Array
    y: Array
    first: Array
    kind: Array
    source: Array = np.zeros(0, int)
    weight: Array | None = None
    mark: Array | None = None
    mark_h: Array | None = None

    @property
    def readings(self) -> Array:
        """Number of readings of each signal, shape (m,)."""
        return np.diff(np.append(self.first, len(self.t)))

    @property
    def marked(self) -> Array:
        """Whether the mark of each signal was read, shape (m,)."""
        return np.zeros(len(self.first), bool) if self.mark is None else ~np.isnan(self.mark)

    def of(self, signals: Array, left_out: Array | None = None) -> Observed:
        """Return copies of some of the signals, each without one of its readings where one is named (-1: none)."""
        size = self.readings[signals]
        place = np.arange(size.sum()) - np.repeat(np.cumsum(size) - size, size)
        taken = np.repeat(self.first[signals], size) + place
        if left_out is not None:
            taken, size = taken[taken != np.repeat(left_out, size)], size - (left_out >= 0)
        return Observed(
            self.t[taken],
            self.y[taken],
            np.cumsum(size) - size,
            self.kind[signals],
            self.source[taken] if len(self.source) else self.source,
            None if self.weight is None else self.weight[taken],
            columns_or_none(self.mark, signals),
            columns_or_none(self.mark_h, signals),
        )

    def times_within(self, readings: Array) -> Array:
        """Return at how many different times the first `readings` of each signal were read, shape (m,)."""
        new = np.diff(self.t, prepend=-1.0) != 0.0
        so_far = np.cumsum(new)
        return so_far[self.first + np.maximum(readings, 1) - 1] - so_far[self.first] + 1


def observe(
    signal: Array, t: Array, y: Array, kind: Array, sd: Array | None = None, mark: Array | None = None
) -> tuple[Observed, Array]:
    """Put the readings of many signals in order, without those that are no readings.

    Parameters
    ----------
    signal : numpy.ndarray of int, shape (n,)
        Number of the signal of each reading.
    t, y : numpy.ndarray, shape (n,)
        Hours since feeding [h], and readings, in any order.
    kind : numpy.ndarray of str, shape (m,)
        Kind of the readings of each signal.
    sd : numpy.ndarray, shape (n,), optional
        Noise of each reading, in its unit; that usual for its kind where it is none.
    mark : numpy.ndarray of bool, shape (n,), optional
        Which are no readings of their hour, but the highest level until then.

    Returns
    -------
    observed : Observed
        Signals that have a reading; readings at the same time stand by value, whatever the order given.
    known : numpy.ndarray of int, shape (k,)
        Their numbers, ascending.

    Examples
    --------
    >>> signal, hours, heights = np.array([1, 0, 1]), np.array([2.0, 1, 0]), np.array([50.0, np.nan, 40])
    >>> observe(signal, hours, heights, np.array(["height_mm", "height_mm"]))[0].t.tolist()
    [0.0, 2.0]
    """
    usable = np.isfinite(t) & (np.abs(y) < _IMPOSSIBLE) & (t >= 0.0) & (t < _IMPOSSIBLE)
    reading = np.flatnonzero(usable if mark is None else usable & ~mark)
    order = reading[_in_order(signal[reading], t[reading], y[reading])]
    known, first = np.unique(signal[order], return_index=True)
    observed = Observed(t[order], y[order], first, kind[known], order, _weights(signal[order], kind, sd, order))
    if mark is None or not mark.any():
        return observed, known
    highest, until = np.full(len(kind), np.nan), np.full(len(kind), np.inf)
    for place in np.flatnonzero(mark & (np.abs(y) < _IMPOSSIBLE) & ~(t < 0.0)):
        if not y[place] <= highest[signal[place]]:
            highest[signal[place]], until[signal[place]] = y[place], t[place]
    return observed._replace(mark=highest[known], mark_h=np.where(np.isnan(until), np.inf, until)[known]), known


def _in_order(signal: Array, t: Array, y: Array) -> Array:
    """Return the order of readings by signal, hour and value; only what is out of order has to be sorted."""
    alike = signal[1:] == signal[:-1]
    tied = alike & (t[1:] == t[:-1])
    order = np.arange(len(t))
    if ((signal[1:] > signal[:-1]) | (alike & (t[1:] >= t[:-1]))).all():
        loose = np.flatnonzero(np.append(tied, False) | np.append(False, tied)) if len(t) else order
    else:
        loose = order.copy()
    order[loose] = loose[np.lexsort((y[loose], t[loose], signal[loose]))]
    return order


def _weights(signal: Array, kind: Array, sd: Array | None, reading: Array) -> Array | None:
    """Return the weight of each reading by its noise; None where all are as usual."""
    if sd is None or np.isnan(sd[reading]).all():
        return None
    usual, own = np.array([INSTRUMENTS[of].noise for of in kind])[signal], sd[reading]
    told = (own > 1.0 / _IMPOSSIBLE) & (own < _IMPOSSIBLE)
    return np.where(told, usual / np.where(told, own, 1.0), 1.0)


class Block(NamedTuple):
    """Signals of one kind and of similar length, side by side.

    Attributes
    ----------
    signals : numpy.ndarray of int, shape (m,)
        Which signals of the `Observed` they are.
    t, y : numpy.ndarray, shape (n, m)
        Hours [h] and readings; a signal with fewer readings repeats its last.
    weight : numpy.ndarray, shape (n, m), or None
        0 for a repeated reading, 1 for one of the usual noise; None where all are 1.
    readings : numpy.ndarray of int, shape (m,)
        Number of readings of each.
    mark, mark_h : numpy.ndarray, shape (m,), or None
        As in `Observed`; None where no mark was read.
    """

    signals: Array
    t: Array
    y: Array
    weight: Array | None
    readings: Array
    mark: Array | None = None
    mark_h: Array | None = None

    @property
    def times(self) -> Array:
        """Number of different times at which each signal was read, shape (m,)."""
        return 1 + np.count_nonzero(np.diff(self.t, axis=0), axis=0)

    @property
    def marked(self) -> Array:
        """Whether the mark of each signal was read, shape (m,)."""
        return np.zeros(len(self.signals), bool) if self.mark is None else ~np.isnan(self.mark)

    @property
    def highest(self) -> Array:
        """The highest level seen of each signal, by a reading or by the mark, shape (m,)."""
        highest = self.y.max(axis=0)
        return highest if self.mark is None else np.fmax(highest, self.mark)

    @property
    def squared_weight(self) -> Array:
        """What each reading counts in a sum of squares, shape (n, m)."""
        return np.ones_like(self.y) if self.weight is None else self.weight**2

    def of(self, curves: Array) -> Block:
        """Return some of the signals."""
        signals, t, y, readings = (columns(it, curves) for it in (self.signals, self.t, self.y, self.readings))
        more = (columns_or_none(it, curves) for it in (self.weight, self.mark, self.mark_h))
        return Block(signals, t, y, next(more), readings, *more)

    def with_mark(self, hour: Array | None = None) -> Block:
        """Return it with the mark as one more reading: at an hour of each, or at the last at which it speaks."""
        if self.mark is None or self.mark_h is None:
            return self
        until = self.mark_h if hour is None else hour
        seen = self.marked & np.isfinite(np.where(until == np.inf, 0.0, until))
        t = np.where(seen, np.minimum(until, _FOR_EVER), self.t[-1])
        y = np.where(seen, self.mark, self.y[-1])
        weight = np.ones_like(self.y) if self.weight is None else self.weight
        return self._replace(
            t=np.vstack((self.t, t)),
            y=np.vstack((self.y, y)),
            weight=np.vstack((weight, seen)),
            readings=self.readings + seen,
        )


def padded_length(readings: Array) -> Array:
    """Return the length of the block that a signal goes into: its own, rounded up to a few binary digits, and to fours.

    It depends on nothing but the signal, so that its sums are the same in whatever company.
    """
    step = 2 ** np.maximum(np.floor(np.log2(readings)) - 3, 2)
    return (np.ceil(readings / step) * step).astype(int)


def blocks(observed: Observed, signals: Array, readings: Array) -> Iterator[Block]:
    """Set signals side by side.

    Parameters
    ----------
    observed : Observed
        All readings.
    signals : numpy.ndarray of int, shape (k,)
        Which signals are wanted.
    readings : numpy.ndarray of int, shape (k,)
        How many of the first readings of each, at least one.

    Yields
    ------
    Block
        Every signal once.

    Examples
    --------
    >>> hours, heights = np.array([0.0, 2, 4, 0, 3]), np.array([40.0, 50, 60, 40, 70])
    >>> both = Observed(hours, heights, np.array([0, 3]), np.array(["height_mm", "height_mm"]))
    >>> [block.t.T.tolist() for block in blocks(both, np.array([0, 1]), np.array([3, 2]))]
    [[[0.0, 2.0, 4.0, 4.0], [0.0, 3.0, 3.0, 3.0]]]
    """
    length, marked = padded_length(readings), observed.marked[signals]
    for rows, with_mark in np.unique(np.stack((length, marked)), axis=1).T:
        # a mark is one more row in its block, which a curve without one must not notice
        alike = np.flatnonzero((length == rows) & (marked == with_mark))
        for part in np.array_split(alike, min(len(alike), -(-len(alike) * rows // _LARGEST))):
            yield beside(observed, signals[part], readings[part], int(rows))


def beside(observed: Observed, signals: Array, readings: Array, rows: int) -> Block:
    """Set the first readings of some signals side by side in a block of so many rows."""
    place = np.arange(rows)[:, None]
    taken = observed.first[signals] + np.minimum(place, readings - 1)
    weight = None if (readings == rows).all() else (place < readings).astype(float)
    if observed.weight is not None and (observed.weight[taken] != 1.0).any():
        weight = observed.weight[taken] if weight is None else observed.weight[taken] * weight
    if observed.mark is None or observed.mark_h is None or not observed.marked[signals].any():
        return Block(signals, observed.t[taken], observed.y[taken], weight, readings)
    of_each = observed.mark[signals], observed.mark_h[signals]
    return Block(signals, observed.t[taken], observed.y[taken], weight, readings, *of_each)
