"""Sparse and cut-off curves with the help of the culture's own earlier refeeds.

What the history lets expect counts beside the readings, each by how sure it is. It must not smooth a loss of vigour
away: a refeed that contradicts its history, by a test of the two against each other, weakens it until they agree,
and says so. The test compares the best curve of the readings alone with the best of both: the loss in the weighted
sum of squares is chi-square distributed, with one degree of freedom for each trait expected, where the history holds
(Box 1980, J R Stat Soc A 143:383-430, doi 10.2307/2982063, on checking a prior against the data, from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from .blocks import Observed, blocks
from .choice import MODELS
from .composed import WITH_COLLAPSE
from .expected import EXPECTED, Expected
from .misread import WILD, doubted, said_of
from .models import GROWTH, Array
from .noise import INSTRUMENTS, fitted_with
from .traces import Traces, trace_signals, write_idle

#: A refeed read fewer times than this is sparse; common practice, no source.
_SPARSE = 10
#: Levels of the tests of a refeed against its history: from which it is said to contradict it, from which the history
#: is weakened, and from which a weakened one agrees.
_CONTRADICTS, _WEAKENS, _AGREES = 0.01, 0.05, 0.5
#: What a contradiction multiplies the standard deviations of the history by, one after another.
_WEAKER = (1.0, 3.0, 9.0, 27.0)
#: With so many readings a single one is the likelier fault than the culture; each that is lost with it costs so much.
_MANY_OTHERS, _A_READING = 8, 4.0
#: Levels at which the readings alone go with no curve, and all but one of them with the history.
_NO_CURVE, _GOES_WITH = 0.01, 0.05
#: A refeed of which its history says more than this share, in every trait, has said nothing itself.
_NOTHING_OWN = 0.9
#: Readings that lie within so many times their noise lie still.
_STILL = 3.5
#: The range of ten readings of nothing exceeds so many times their noise in one of a hundred cases.
_BY_CHANCE = 5.2
_HELPED = "with the help of {refeeds} earlier refeeds"
_UNLIKE = "unlike its {refeeds} earlier refeeds, which were therefore counted less"
_NOT_YET = "nothing had moved yet, but it usually begins after {lag:.2g} h, and the last reading is at {until:.3g} h"


def trace_with_history(
    observed: Observed,
    found: Traces,
    expected: Expected,
    refeeds: Array,
    noise: Mapping[str, float],
    models: Sequence[str] = MODELS,
    *,
    keep_curves: bool = False,
) -> Array:
    """Trace sparse and cut-off signals again, with what their history lets expect.

    Parameters
    ----------
    observed : Observed
        The readings.
    found : Traces
        What they say by themselves; overwritten where history helps.
    expected : Expected
        What the history of each signal lets expect; NaN where it has none.
    refeeds : numpy.ndarray of int, shape (m,)
        From how many earlier refeeds.
    noise : mapping of str to float
        Noise (sd) by kind of reading, in its unit.
    models, keep_curves
        As for `traces.trace_signals`.

    Returns
    -------
    numpy.ndarray of bool, shape (m,)
        Which signals contradict their history.
    """
    unlike = np.zeros(len(found.status), bool)
    signals = np.flatnonzero(_in_need(found, expected))
    if not len(signals):
        return unlike
    task = _Task.of(observed, found, signals, expected, noise, models, keep_curves)
    again = task.traced()
    apart = _Apart.of(task, again)
    doubtful, aside = np.flatnonzero(apart.by(_WEAKENS)), np.zeros(len(signals), bool)
    if len(doubtful):
        aside[doubtful] = _set_aside(observed, found, signals, task, again, doubtful)
        doubtful = doubtful[~aside[doubtful]]
        _weaken(task, again, doubtful)
    against = np.zeros(len(signals), bool)
    against[doubtful] = apart.by(_CONTRADICTS)[doubtful]
    _lay_still(task, again, against)
    fell = task.within_chance() & (_fell(again) | (again.readings < task.observed.readings - aside))
    _overwrite(found, signals, again, against, fell, refeeds[signals], expected.mean[2, signals])
    unlike[signals] = against
    return unlike


def _in_need(found: Traces, expected: Expected) -> Array:
    """Whether a curve is sparse, or cut off before its peak or before its rise, and has a history."""
    known = np.isfinite(expected.mean).all(axis=0) & np.isfinite(expected.sd).all(axis=0)
    sparse = found.readings < _SPARSE
    fitted = np.isin(found.status, ("fitted", "peak not reached")) & (sparse | found.traits["extent"].at_least)
    with np.errstate(invalid="ignore"):
        idle = (found.status == "no activity") & (sparse | (found.until_h <= expected.mean[2]))
    return known & (fitted | idle | (found.status == "too few readings"))


class _Task(NamedTuple):
    """Signals in need of help: their readings, what is expected of them, and how noisy they are.

    Of the best curve of their own `alone` is the residual sum, in the variance of a reading, and `spare` the readings
    to spare.
    """

    observed: Observed
    expected: Expected
    sd: Array
    alone: Array
    spare: Array
    noise: Mapping[str, float]
    models: Sequence[str]
    keep_curves: bool

    @classmethod
    def of(
        cls,
        observed: Observed,
        found: Traces,
        signals: Array,
        expected: Expected,
        noise: Mapping[str, float],
        models: Sequence[str],
        keep_curves: bool,
    ) -> _Task:
        some = observed.of(signals, found.set_aside[signals])
        sd = np.array([noise[kind] for kind in some.kind])
        numbers = some.readings + some.marked
        fitted = ~np.isnan(found.rms_residual[signals])
        alone = np.where(fitted, found.rms_residual[signals] ** 2 * numbers / sd**2, 0.0)
        spare = np.where(fitted, numbers - fitted_with(found.model[signals]), 0)
        prior = expected.of(signals)._replace(beyond=found.beyond[:, signals])
        # a shape of its own asks for more readings than there are
        simple = [name for name in models if "nu" not in GROWTH[name].parameters] or models
        return cls(some, prior, sd, alone, spare, noise, simple, keep_curves)

    def of_some(self, some: Array, left_out: Array | None = None, weaker: float | None = None) -> _Task:
        """Return some of them, each without one reading if so wished, or with a history that is less sure."""
        expected = self.expected.of(some)
        if weaker is not None:
            with np.errstate(over="ignore"):  # a history that knows nothing stays one
                expected = expected._replace(sd=expected.sd * weaker, strength_open=True)
        return self._replace(
            observed=self.observed.of(some, left_out),
            expected=expected,
            sd=self.sd[some],
            alone=self.alone[some],
            spare=self.spare[some],
        )

    def traced(self) -> Traces:
        """Trace them with what is expected."""
        return trace_signals(
            self.observed, self.models, keep_curves=self.keep_curves, noise=self.noise, expected=self.expected
        )

    def within_chance(self) -> Array:
        """Whether all readings lie as near each other as those of a jar where nothing moves."""
        y, first = self.observed.y, self.observed.first
        return np.maximum.reduceat(y, first) - np.minimum.reduceat(y, first) <= _BY_CHANCE * self.sd

    def lost(self, again: Traces) -> Array:
        """Return the sum of squares of the best of both, in the variance of a reading."""
        numbers = again.readings + self.observed.marked
        return (again.rms_residual**2 * numbers + again.penalty) / self.sd**2


class _Apart(NamedTuple):
    """How far readings and history lie apart, in every way and in strength alone; chi-square where they agree."""

    in_all: Array
    free: Array
    in_strength: Array

    @classmethod
    def of(cls, task: _Task, again: Traces) -> _Apart:
        lost = task.lost(again)
        traits = len(EXPECTED) - task.expected.strength_open
        free = np.clip(again.readings + task.observed.marked - 1, 1, traits)
        return cls(lost - np.fmin(task.alone, lost), free, again.if_weaker / task.sd**2)

    def by(self, level: float) -> Array:
        """Whether it is more than chance; the test of strength alone is the sharper one for a weaker culture."""
        from scipy.special import chdtri

        return (self.in_all > chdtri(self.free, level)) | (self.in_strength > chdtri(1, level))


def _weaken(task: _Task, again: Traces, doubtful: Array) -> None:
    """Let the history count less, and less again, until it agrees with the readings.

    First the culture is only taken to be stronger or weaker as a whole; then whatever is expected becomes less sure.
    """
    for times in _WEAKER:
        if not len(doubtful):
            return
        weaker = task.of_some(doubtful, weaker=times)
        tried = weaker.traced()
        again.overwrite(doubtful, tried)
        doubtful = doubtful[_Apart.of(weaker, tried).by(_AGREES)]


def _set_aside(observed: Observed, found: Traces, signals: Array, task: _Task, again: Traces, doubtful: Array) -> Array:
    """Set a reading aside without which all others go with the history.

    Where a curve of its own goes through all of them, a changed culture is the likelier explanation, unless there are
    many others, or it seems to fall from a peak that was read once. The last reading may be a true fall.
    """
    from scipy.special import chdtri

    aside = np.zeros(len(doubtful), bool)
    spare, whole = task.spare[doubtful], found.set_aside[signals[doubtful]] < 0
    off = (spare > 0) & (task.alone[doubtful] > chdtri(np.maximum(spare, 1), _NO_CURVE))
    cut = found.readings[signals[doubtful]] < task.observed.readings[doubtful]
    many = task.observed.readings[doubtful] >= _MANY_OTHERS
    places = np.flatnonzero(whole & (off | cut | many))
    if not len(places):
        return aside
    copies = _Copies.of(task, doubtful[places])
    with_all = task.lost(again)
    for place in places:
        one = doubtful[place]
        best = copies.best(one)
        reading, left = copies.reading[best] - task.observed.first[one], copies.lost[best]
        number = task.observed.readings[one]
        if reading == number - 1 and not off[place]:
            continue
        gained = np.inf if cut[place] and not many[place] else with_all[one] - left
        if gained > WILD**2 and left <= chdtri(max(number - 2, 1), _GOES_WITH):
            misread = observed.first[signals[one]] + reading
            found.set_aside[signals[one]], found.remark[signals[one]] = misread, said_of(observed, misread)
            again.overwrite(np.array([one]), copies.without.of(np.array([best])))
            aside[place] = True
    return aside


class _Copies(NamedTuple):
    """Signals traced again without readings of theirs in turn: of which signal each copy is, and without which."""

    signal: Array
    reading: Array
    without: Traces
    lost: Array

    @classmethod
    def of(cls, task: _Task, some: Array) -> _Copies:
        reading = doubted(task.observed, some)
        signal = np.searchsorted(task.observed.first, reading, side="right") - 1
        copies = task.of_some(signal, reading)
        without = copies.traced()
        more = task.observed.readings[signal] - 1 - without.readings
        return cls(signal, reading, without, np.nan_to_num(copies.lost(without), nan=np.inf) + _A_READING * more)

    def best(self, signal: int) -> int:
        """Return the copy of a signal in which least is lost."""
        copies = np.flatnonzero(self.signal == signal)
        return int(copies[np.argmin(self.lost[copies])])


def _lay_still(task: _Task, again: Traces, against: Array) -> None:
    """Say of jars that should have moved, and did not, that they were idle."""
    observed = task.observed
    rises = np.array([INSTRUMENTS[kind].sign > 0.0 for kind in observed.kind], bool)
    risen = again.traits["extent"].value * np.where(rises, 0.01 * observed.y[observed.first], 1.0)
    moved = (again.range_read > _STILL * task.sd) & ~(risen <= task.sd)
    still = against & ~moved & (observed.times_within(observed.readings) > 1)
    again.forget(np.flatnonzero(still))
    again.reason[still] = ""
    for kind in INSTRUMENTS:
        of_kind = np.flatnonzero(still & (observed.kind == kind))
        with np.errstate(all="ignore"):  # numbers out of all bounds end as a status
            for block in blocks(observed, of_kind, observed.readings[of_kind]):
                write_idle(again, block, kind, task.noise[kind])


def _fell(again: Traces) -> Array:
    """Say which curves fall again after their peak."""
    return np.array([model.endswith(WITH_COLLAPSE) for model in again.model], bool)


def _overwrite(
    found: Traces, signals: Array, again: Traces, against: Array, fell: Array, refeeds: Array, lag: Array
) -> None:
    """Put what came with the help of the history in place of what came without, unless it is history alone."""
    shares = np.array([again.traits[name].prior_share for name in EXPECTED])
    told = ~np.isnan(again.traits["extent"].value)
    idle, still = again.status == "no activity", found.status[signals] == "no activity"
    fell &= still  # a fall in a jar that never moved is what readings scatter
    own = told & (idle | ~(shares > _NOTHING_OWN).all(axis=0)) & ~(still & against) & ~fell
    early = np.flatnonzero(still & ~own & ~against & told & ~(fell & (found.until_h[signals] > lag)))
    for signal, usually in zip(signals[early], lag[early], strict=True):
        found.status[signal] = "too few readings"
        found.reason[signal] = _NOT_YET.format(lag=usually, until=found.until_h[signal])
    found.forget(signals[early])
    helped = np.flatnonzero(own)
    found.overwrite(signals[helped], again.of(helped))
    for place in helped:
        said = (_UNLIKE if against[place] else _HELPED).format(refeeds=refeeds[place])
        before = found.reason[signals[place]]
        found.reason[signals[place]] = f"{said}; {before}" if before else said
