"""A misread height among sound ones: found by leaving out each reading in turn, and set aside.

One wild reading bends a curve, or hides it altogether. Where a fit lies suspiciously far off its readings, it is
tried without each of them; a reading whose absence takes more off the residual sum than chance would is set aside.
The test is that of a single outlier with the reading not named beforehand (Bonferroni; Cook & Weisberg 1982,
Residuals and Influence in Regression, section 2.2.2, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .blocks import Observed
from .choice import MODELS
from .models import Array
from .noise import INSTRUMENTS, fitted_with
from .traces import Progress, Traces, trace_signals

#: Fits are suspicious whose residuals are so many times the usual noise of the instrument.
_SUSPICIOUS = 2.0
#: A reading is wild that lies so many times the usual noise off what the others say.
WILD = 4.0
#: Level of the test, over all readings of a signal.
_LEVEL = 0.01
#: Readings that may be left out with a wild one.
_WITH_IT = 3
#: Up to so many readings each is tried; of more, so many that look the worst, and not much better than the very worst.
_TRIED_ALL, _TRIED, _LIKE_THE_WORST = 15, 5, 0.7
#: Readings that a signal needs. Signals with more than the second number are those of loggers: see `loggers`.
_FEWEST, MOST_BY_HAND = 6, 60


def trace_without_misread(
    observed: Observed,
    models: Sequence[str] = MODELS,
    progress: Progress | None = None,
    *,
    keep_curves: bool = False,
) -> Traces:
    """Trace every signal, those with a misread reading without it.

    Parameters
    ----------
    observed, models, progress, keep_curves
        As for `traces.trace_signals`.

    Returns
    -------
    Traces
        With ``set_aside`` filled.
    """
    found = trace_signals(observed, models, progress, keep_curves=keep_curves)
    suspects = np.flatnonzero(_suspicious(observed, found))
    if not len(suspects):
        return found
    reading = doubted(observed, suspects)
    signal = np.searchsorted(observed.first, reading, side="right") - 1
    without = trace_signals(observed.of(signal, reading), models, keep_curves=keep_curves)
    misread = _misread(observed, found, signal, reading, without)
    found.overwrite(signal[misread], without.of(misread))
    found.set_aside[signal[misread]] = reading[misread]
    found.remark[signal[misread]] = [said_of(observed, one) for one in reading[misread]]
    return found


def doubted(observed: Observed, signals: Array) -> Array:
    """Return the readings of some signals to do without in turn.

    Parameters
    ----------
    observed : Observed
        The readings.
    signals : numpy.ndarray of int, shape (k,)
        Which signals.

    Returns
    -------
    numpy.ndarray of int
        All readings of a signal, or of many those furthest off a line between their neighbours. The neighbours of a
        wild one lie off as well, half as far as it does.
    """
    size = observed.readings[signals]
    begin, of = np.cumsum(size) - size, np.repeat(np.arange(len(size)), size)
    place = np.arange(size.sum()) - begin[of]
    rows, beside = observed.first[signals][of] + place, np.minimum(size - 1, 1)[of]
    before, after = rows + np.where(place > 0, -1, beside), rows + np.where(place < size[of] - 1, 1, -beside)
    t, y = observed.t, observed.y
    apart = t[after] - t[before]
    share = np.divide(t[rows] - t[before], apart, out=np.zeros(len(rows)), where=apart != 0.0)
    off = np.abs(y[rows] - y[before] - share * (y[after] - y[before]))
    rank = np.empty(len(rows), int)
    rank[np.lexsort((-off, of))] = place
    worst = np.maximum.reduceat(off, begin)[of]
    return rows[(size[of] <= _TRIED_ALL) | ((rank < _TRIED) & (off > _LIKE_THE_WORST * worst))]


def _misread(observed: Observed, found: Traces, signal: Array, reading: Array, without: Traces) -> Array:
    """Return which of the readings left out are misread: of each signal, if any, the one that takes the most off."""
    gain, chance = _gained(found, without, signal)
    noise = np.array([INSTRUMENTS[kind].noise for kind in observed.kind[signal]])
    wild = np.flatnonzero((gain > (WILD * noise) ** 2) & (chance * observed.readings[signal] < _LEVEL))
    # last of each is what goes with most of the other readings, then the largest gain, then what lies furthest off
    far = np.abs(observed.y[reading[wild]] - _middle(observed.of(signal[wild])))
    best = wild[np.lexsort((far, gain[wild], without.readings[wild], signal[wild]))]
    return best[np.diff(signal[best], append=len(observed.first)) > 0]


def _middle(observed: Observed) -> Array:
    """Return the median of the readings of each signal."""
    readings = observed.readings
    y = observed.y[np.lexsort((observed.y, np.repeat(np.arange(len(readings)), readings)))]
    return 0.5 * (y[observed.first + (readings - 1) // 2] + y[observed.first + readings // 2])


def _suspicious(observed: Observed, found: Traces) -> Array:
    """Whether the readings of a signal lie far off what came of them."""
    usual = np.array([INSTRUMENTS[kind].noise for kind in observed.kind])
    enough = (observed.readings >= _FEWEST) & (observed.readings <= MOST_BY_HAND)
    return enough & (found.rms_residual > _SUSPICIOUS * usual)


def _gained(found: Traces, without: Traces, signal: Array) -> tuple[Array, Array]:
    """Return what the residual sum loses for each reading left out, and how probable that is by chance.

    Without a wild reading a fall may show that is too short to be fitted: a few readings more are then left out.
    """
    from scipy.special import fdtrc

    before = found.rms_residual[signal] ** 2 * found.readings[signal]
    after = without.rms_residual**2 * without.readings
    spare = without.readings - fitted_with(without.model)
    fewer = np.maximum(found.readings[signal] - without.readings, 1)
    fair = (spare >= 2) & (fewer <= _WITH_IT)
    gain = np.where(fair, (before - after) / fewer, -np.inf)
    with np.errstate(all="ignore"):
        return gain, np.where(fair, fdtrc(fewer, spare, np.maximum(gain, 0.0) / (after / spare)), 1.0)


def said_of(observed: Observed, reading: int) -> str:
    """Say that a reading was set aside."""
    height, hour = observed.y[reading], observed.t[reading]
    return f"the reading of {height:.4g} at {hour:.3g} h does not go with the others: set aside"
