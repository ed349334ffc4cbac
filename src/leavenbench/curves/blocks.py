"""The readings of many signals, one after another, and side by side in blocks for the fitting engine."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from .engine.normal import columns, columns_or_none
from .models import Array

#: Readings in a block at most: what stands between the readings and their results takes a multiple of it.
_LARGEST = 400_000
#: Hours and readings beyond this are none, whatever they are.
_IMPOSSIBLE = 1e9


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
    """

    t: Array
    y: Array
    first: Array
    kind: Array
    source: Array = np.zeros(0, int)

    @property
    def readings(self) -> Array:
        """Number of readings of each signal, shape (m,)."""
        return np.diff(np.append(self.first, len(self.t)))

    def times_within(self, readings: Array) -> Array:
        """Return at how many different times the first `readings` of each signal were read, shape (m,)."""
        new = np.diff(self.t, prepend=-1.0) != 0.0
        so_far = np.cumsum(new)
        return so_far[self.first + np.maximum(readings, 1) - 1] - so_far[self.first] + 1


def observe(signal: Array, t: Array, y: Array, kind: Array) -> tuple[Observed, Array]:
    """Put the readings of many signals in order, without those that are no readings.

    Parameters
    ----------
    signal : numpy.ndarray of int, shape (n,)
        Number of the signal of each reading.
    t, y : numpy.ndarray, shape (n,)
        Hours since feeding [h], and readings, in any order.
    kind : numpy.ndarray of str, shape (m,)
        Kind of the readings of each signal.

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
    usable = np.flatnonzero(np.isfinite(t) & (np.abs(y) < _IMPOSSIBLE) & (t >= 0.0) & (t < _IMPOSSIBLE))
    order = usable[np.lexsort((y[usable], t[usable], signal[usable]))]
    known, first = np.unique(signal[order], return_index=True)
    return Observed(t[order], y[order], first, kind[known], order), known


class Block(NamedTuple):
    """Signals of one kind and of similar length, side by side.

    Attributes
    ----------
    signals : numpy.ndarray of int, shape (m,)
        Which signals of the `Observed` they are.
    t, y : numpy.ndarray, shape (n, m)
        Hours [h] and readings; a signal with fewer readings repeats its last.
    weight : numpy.ndarray, shape (n, m), or None
        0 for a repeated reading, else 1; None where nothing is repeated.
    readings : numpy.ndarray of int, shape (m,)
        Number of readings of each.
    """

    signals: Array
    t: Array
    y: Array
    weight: Array | None
    readings: Array

    @property
    def times(self) -> Array:
        """Number of different times at which each signal was read, shape (m,)."""
        return 1 + np.count_nonzero(np.diff(self.t, axis=0), axis=0)

    def of(self, curves: Array) -> Block:
        """Return some of the signals."""
        signals, t, y, readings = (columns(it, curves) for it in (self.signals, self.t, self.y, self.readings))
        return Block(signals, t, y, columns_or_none(self.weight, curves), readings)


def padded_length(readings: Array) -> Array:
    """Return the length of the block that a signal goes into: its own, rounded up to three or four binary digits.

    It depends on nothing but the signal, so that its sums are the same in whatever company.
    """
    step = 2 ** np.maximum(np.floor(np.log2(readings)) - 3, 0)
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
    [[[0.0, 3.0]], [[0.0, 2.0, 4.0]]]
    """
    length = padded_length(readings)
    for rows in np.unique(length):
        alike = np.flatnonzero(length == rows)
        for part in np.array_split(alike, min(len(alike), -(-len(alike) * rows // _LARGEST))):
            yield beside(observed, signals[part], readings[part], int(rows))


def beside(observed: Observed, signals: Array, readings: Array, rows: int) -> Block:
    """Set the first readings of some signals side by side in a block of so many rows."""
    place = np.arange(rows)[:, None]
    taken = observed.first[signals] + np.minimum(place, readings - 1)
    weight = None if (readings == rows).all() else (place < readings).astype(float)
    return Block(signals, observed.t[taken], observed.y[taken], weight, readings)
