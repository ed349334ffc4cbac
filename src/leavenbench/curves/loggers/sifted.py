"""Every log looked at for every fault, and the readings without them."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from ..blocks import Observed
from ..models import Array
from ..noise import INSTRUMENTS, Instrument
from .leaps import leaps
from .log import Log, log_of
from .moved import moved_back
from .spikes import without_spikes, without_the_impossible
from .stuck import without_stuck

#: Readings that must be left of a log, or nothing is set aside.
_LEFT = 12
_HARDLY_ANY = "hardly a reading of the logger goes with the others: none was set aside"


class Sifted(NamedTuple):
    """Signals without the faults of their loggers.

    Attributes
    ----------
    observed : Observed
        The same signals, without the readings set aside, and with later readings shifted back where a jar was moved.
    aside : numpy.ndarray of int, shape (k,)
        Places of the readings set aside among those given, ascending.
    said : numpy.ndarray of object, shape (m,)
        What was found and done, signal by signal; empty where nothing was.
    """

    observed: Observed
    aside: Array
    said: Array


def sift(observed: Observed, beyond: int) -> Sifted:
    """Set right what loggers got wrong.

    Parameters
    ----------
    observed : Observed
        The readings, one or more of each signal.
    beyond : int
        Signals with more readings than this are those of loggers; all others are left as they are.

    Returns
    -------
    Sifted
        Every signal; what becomes of it depends on its own readings alone.

    Examples
    --------
    >>> hours = np.linspace(0.0, 10.0, 101)
    >>> heights = 40.0 + 50.0 / (1.0 + np.exp(5.0 - hours))
    >>> heights[71:73] = 180.0
    >>> found = sift(Observed(hours, heights, np.array([0]), np.array(["height_mm"])), 60)
    >>> found.aside.tolist(), found.said[0]
    ([71, 72], '2 readings far off those around them, at 7.1 h: set aside')
    """
    said = np.full(len(observed.first), "", object)
    kept, values = np.ones(len(observed.t), bool), observed.y
    for signal in np.flatnonzero(observed.readings > beyond):
        of_it = observed.first[signal] + np.arange(observed.readings[signal])
        instrument = INSTRUMENTS[observed.kind[signal]]
        log = _set_right(observed.t[of_it], observed.y[of_it], instrument)
        if log.said:
            values = values.copy() if values is observed.y else values
            said[signal], left = "; ".join(log.said), of_it[log.place]
            kept[of_it], kept[left] = False, True
            values[left] = instrument.sign * log.up
    if values is observed.y:
        return Sifted(observed, np.zeros(0, int), said)
    return Sifted(_left(observed._replace(y=values), kept), np.flatnonzero(~kept), said)


def _set_right(t: Array, y: Array, instrument: Instrument) -> Log:
    """Set right one log."""
    whole = log_of(t, y, instrument)
    log = without_the_impossible(whole)
    if len(log.t) >= _LEFT:
        found = leaps(log)
        calm = without_spikes(without_stuck(log, found))
        log = moved_back(calm, found if calm is log else leaps(calm))
    return log if len(log.t) >= _LEFT else replace(whole, said=(_HARDLY_ANY,))


def _left(observed: Observed, kept: Array) -> Observed:
    """Return the readings that are kept, some of every signal."""
    many = np.add.reduceat(kept, observed.first, dtype=int)
    return observed._replace(
        t=observed.t[kept],
        y=observed.y[kept],
        first=np.cumsum(many) - many,
        source=observed.source[kept] if len(observed.source) else observed.source,
        weight=None if observed.weight is None else observed.weight[kept],
    )
