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
from .noise import INSTRUMENTS, numbers_fitted
from .traces import Progress, Traces, trace_signals

#: Fits are suspicious whose residuals are so many times the usual noise of the instrument.
_SUSPICIOUS = 2.0
#: A reading is wild that lies so many times the usual noise off what the others say.
WILD = 4.0
#: Level of the test, over all readings of a signal.
_LEVEL = 0.01
#: Readings that may be left out with a wild one.
_WITH_IT = 3
#: Up to so many readings each is tried; of more, so many that look the worst.
_TRIED_ALL, _TRIED = 15, 5
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
    reading = np.concatenate([_doubted(observed, int(one)) for one in suspects])
    signal = np.searchsorted(observed.first, reading, side="right") - 1
    _choose_misread(observed, found, signal, reading, trace_signals(observed.of(signal, reading), models))
    misread = np.flatnonzero(found.set_aside >= 0)
    if len(misread):
        again = trace_signals(observed.of(misread, found.set_aside[misread]), models, keep_curves=keep_curves)
        found.overwrite(misread, again)
        for one in misread:
            found.remark[one] = said_of(observed, found.set_aside[one])
    return found


def _doubted(observed: Observed, signal: int) -> Array:
    """Return the readings to do without in turn: all, or of many those furthest off a line between their neighbours."""
    rows = observed.first[signal] + np.arange(observed.readings[signal])
    if len(rows) <= _TRIED_ALL:
        return rows
    t, y = observed.t[rows], observed.y[rows]
    before, after = np.append(1, np.arange(len(rows) - 1)), np.append(np.arange(1, len(rows)), len(rows) - 2)
    apart = t[after] - t[before]
    share = np.divide(t - t[before], apart, out=np.zeros(len(rows)), where=apart != 0.0)
    off = np.abs(y - y[before] - share * (y[after] - y[before]))
    off[[0, -1]] = np.abs(y[[0, -1]] - y[[1, -2]])
    return rows[np.sort(np.argsort(-off, kind="stable")[:_TRIED])]


def _choose_misread(observed: Observed, found: Traces, signal: Array, reading: Array, without: Traces) -> None:
    """Write down the reading of each signal, if any, whose absence takes the most off the residuals."""
    gain, chance = _gained(found, without, signal)
    noise = np.array([INSTRUMENTS[kind].noise for kind in observed.kind[signal]])
    wild = np.flatnonzero((gain > (WILD * noise) ** 2) & (chance * observed.readings[signal] < _LEVEL))
    last = observed.first + observed.readings
    middle = [np.median(observed.y[observed.first[one] : last[one]]) for one in signal[wild]]
    # written last is what goes with most of the other readings, then the largest gain, then what lies furthest off
    for one in wild[np.lexsort((np.abs(observed.y[reading[wild]] - middle), gain[wild], without.readings[wild]))]:
        found.set_aside[signal[one]] = reading[one]


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
    spare = without.readings - np.array([numbers_fitted(model) for model in without.model])
    fewer = np.maximum(found.readings[signal] - without.readings, 1)
    fair = (spare >= 2) & (fewer <= _WITH_IT)
    gain = np.where(fair, (before - after) / fewer, -np.inf)
    with np.errstate(all="ignore"):
        return gain, np.where(fair, fdtrc(fewer, spare, np.maximum(gain, 0.0) / (after / spare)), 1.0)


def said_of(observed: Observed, reading: int) -> str:
    """Say that a reading was set aside."""
    height, hour = observed.y[reading], observed.t[reading]
    return f"the reading of {height:.4g} at {hour:.3g} h does not go with the others: set aside"
