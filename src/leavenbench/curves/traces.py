"""From the readings of many signals to what is said of each: status, curve, traits, and why anything is missing."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import NamedTuple

import numpy as np

from ..columns import TRAITS
from .activity import is_active, straight_line
from .blocks import Block, Observed, blocks
from .choice import MODELS, choose
from .composed import LEVELS
from .expected import EXPECTED, Expected
from .fall import visible_falls
from .models import Array
from .noise import INSTRUMENTS, STRAIGHT_LINE
from .traits import PEAK_SHARE, START_H, Estimate, estimate, short_of_peak, traits
from .tried import Choice

Progress = Callable[[int, int], None]

#: Times at which a signal must have been read before a curve is fitted (design of the curves table).
TIMES_NEEDED = 4
#: Readings that begin later than this and show no change may have missed it all [h]; common practice, no source.
_READ_FROM_H = 2.0
#: A pH that stays above this since a late first reading has not fallen before it; common practice, no source.
_NOT_YET_SOUR_PH = 5.0
#: A fitted starting height under this share of the highest is none.
_START_SHARE = 0.01
#: A collapse costs two more parameters: at so many times a signal must have been read before one is fitted.
_TIMES_FOR_A_FALL = len(LEVELS["logistic with collapse"].parameters) + 2
#: A smear line so many times the noise above the highest reading was drawn by a rise.
_MARKED_BEYOND = 4.0
_NO_CHANGE = "no change beyond what readings scatter, so no curve: extent and steepest slope by a straight line"
_NO_START = "the curve comes up from a height of nothing: without a starting height there is no rise in %"
_ROSE_LATER = "nothing had moved by the last reading at {hour:.3g} h: the smear line shows that it rose unseen"
_UNSETTLED = "the search for the best curve did not come to rest, so no standard errors"
_NO_SPARE = "as many numbers in the curve as readings, so no standard errors"


@dataclass(frozen=True)
class Traces:
    """What came of many signals, each array with one element per signal.

    Attributes
    ----------
    status, reason, model : numpy.ndarray of object, shape (m,)
        As in the curves table.
    readings : numpy.ndarray of int, shape (m,)
        Readings used.
    rms_residual, range_read, until_h : numpy.ndarray, shape (m,)
        Root mean square of the residuals and range of the readings used, in the unit read, and hour of the last of
        them [h]; NaN without a curve.
    penalty, if_weaker : numpy.ndarray, shape (m,)
        As in `choice.Helped`; 0 where nothing was expected.
    beyond : numpy.ndarray, shape (3, m)
        How far log extent, log steepest slope and lag of a collapsing curve lie beyond its parameters.
    set_aside : numpy.ndarray of int, shape (m,)
        Place of a reading that was set aside as misread, among those observed; -1 where there is none.
    remark : numpy.ndarray of object, shape (m,)
        What was done to the readings before they were fitted; it stands before the reason.
    traits : dict of str to Estimate
        By the names in ``columns.TRAITS``; NaN where a signal has none.
    choices : list of (numpy.ndarray of int, Choice)
        The fitted curves: which signals, and what was chosen for them.
    """

    status: Array
    reason: Array
    model: Array
    readings: Array
    rms_residual: Array
    range_read: Array
    until_h: Array
    penalty: Array
    if_weaker: Array
    beyond: Array
    set_aside: Array
    remark: Array
    traits: dict[str, Estimate]
    choices: list[tuple[Array, Choice]]

    def put(self, signals: Array, found: dict[str, Estimate]) -> None:
        """Write down traits of some of the signals."""
        for name, some in found.items():
            for all_of_it, values in zip(self.traits[name], some, strict=True):
                all_of_it[signals] = values

    def forget(self, signals: Array) -> None:
        """Take back every number of some of the signals."""
        self.model[signals] = ""
        for it in (self.rms_residual, self.range_read, self.until_h):
            it[signals] = np.nan
        nothing = nothing_yet(len(signals)).traits
        self.put(signals, nothing)

    def of(self, some: Array) -> Traces:
        """Return some of the signals."""
        found = nothing_yet(len(some))
        for name in _ARRAYS:
            getattr(found, name)[...] = getattr(self, name)[..., some]
        found.put(np.arange(len(some)), {name: Estimate(*(it[some] for it in of)) for name, of in self.traits.items()})
        for of, choice in self.choices:
            wanted, curves = np.nonzero(some[:, None] == of)
            if len(wanted):
                found.choices.append((wanted, choice.of(curves)))
        return found

    def overwrite(self, signals: Array, again: Traces) -> None:
        """Put what came of some of the signals when they were traced again in place of what came of them before."""
        for name in _ARRAYS:
            if name not in ("set_aside", "remark"):  # these are said of the readings, not of their curve
                getattr(self, name)[..., signals] = getattr(again, name)
        self.put(signals, again.traits)
        left = [(of, choice, np.flatnonzero(~np.isin(of, signals))) for of, choice in self.choices]
        self.choices[:] = [(of[kept], choice.of(kept)) for of, choice, kept in left if len(kept)]
        self.choices.extend((signals[of], choice) for of, choice in again.choices)


_ARRAYS = tuple(field.name for field in fields(Traces) if field.name not in ("traits", "choices"))


def trace_signals(
    observed: Observed,
    models: Sequence[str] = MODELS,
    progress: Progress | None = None,
    *,
    keep_curves: bool = False,
    noise: Mapping[str, float] | None = None,
    expected: Expected | None = None,
) -> Traces:
    """Fit an activity curve to every signal and read off its traits.

    Parameters
    ----------
    observed : Observed
        The readings, one or more of each signal.
    models : sequence of str
        Growth curves to choose among, names in `models.GROWTH`.
    progress : callable, optional
        Called as ``progress(done, total)`` with the number of signals, block after block.
    keep_curves : bool
        Whether the fitted curves are kept, which takes more memory than the rest.
    noise : mapping of str to float, optional
        Noise (sd) by kind of reading, in its unit; it tells errors where few readings are to spare.
    expected : Expected, optional
        What is expected of the curves; needs `noise`. A single reading is enough then, and whether anything moved
        is not asked.

    Returns
    -------
    Traces
        Whatever the readings are.
    """
    found = nothing_yet(len(observed.first))
    found.readings[:] = observed.readings
    times, falls = observed.times_within(observed.readings), visible_falls(observed)
    needed = TIMES_NEEDED if expected is None else 1
    fitted = falls.seen & (falls.fallen >= 2) & (times >= _TIMES_FOR_A_FALL) & falls.read_by(observed)
    cut = falls.seen & ~fitted & (times >= needed)
    readings = np.where(cut, falls.first_fallen, observed.readings)
    for signal in np.flatnonzero(cut):
        found.reason[signal] = _cut_short(falls.fallen[signal])
    few = _too_few(found, cut, observed.times_within(readings), needed)
    _extent_by_mark(found, observed, few)
    done = int(few.sum())
    if progress is not None:
        progress(done, len(few))
    with np.errstate(all="ignore"):  # numbers out of all bounds end as a status
        for kind in INSTRUMENTS:
            of_kind = (observed.kind == kind) & ~few
            usual_sd = None if noise is None else noise[kind]
            for collapsing in (False, True):
                signals = np.flatnonzero(of_kind & (fitted == collapsing))
                for block in blocks(observed, signals, readings[signals]):
                    peak = falls.peak[block.signals] if collapsing else None
                    of_block = None if expected is None else expected.of(block.signals)
                    task = _Task(block, kind, models, peak, cut[block.signals], usual_sd, of_block, keep_curves)
                    _conclude(found, task)
                    done += len(block.signals)
                    if progress is not None:
                        progress(done, len(few))
    _rose_unseen(found, observed)
    return found


def nothing_yet(signals: int) -> Traces:
    """Return what is known before anything was looked at."""

    def numbers() -> Array:
        return np.full(signals, np.nan)

    def words() -> Array:
        return np.full(signals, "", object)

    def nothing() -> Estimate:
        return Estimate(numbers(), numbers(), np.zeros(signals, bool), words(), *(numbers() for _ in range(3)))

    none = {name: nothing() for name in TRAITS}
    readings, aside = np.zeros(signals, int), np.full(signals, -1)
    return Traces(
        *(words(), words(), words(), readings, numbers(), numbers(), numbers(), np.zeros(signals), np.zeros(signals)),
        *(np.zeros((len(EXPECTED), signals)), aside, words(), none, []),
    )


def _too_few(found: Traces, cut: Array, times_kept: Array, needed: int) -> Array:
    """Write down which signals were read too seldom for a curve, and return which."""
    few = times_kept < needed
    found.status[few] = "too few readings"
    for signal in np.flatnonzero(few):
        read = f"read at {_count(times_kept[signal], 'time')} only"
        before = found.reason[signal]
        found.reason[signal] = f"{before}, {read}" if cut[signal] else f"{read}, {needed} are needed"
    return few


def _extent_by_mark(found: Traces, observed: Observed, few: Array) -> None:
    """Where the smear line and the start were read, the extent is known, if nothing else."""
    rises = np.array([INSTRUMENTS[kind].sign > 0.0 for kind in observed.kind], bool)
    known = np.flatnonzero(few & observed.marked & rises)
    if observed.mark is None or not len(known):
        return
    at_start = observed.y[observed.first[known]]
    stood = (at_start > 0.0) & (at_start > _START_SHARE * observed.mark[known])
    known = known[(observed.t[observed.first[known]] <= START_H) & stood]
    start, sd = observed.y[observed.first[known]], np.array([INSTRUMENTS[kind].noise for kind in observed.kind[known]])
    times = observed.mark[known] / start
    risen = estimate(100.0 * np.maximum(times - 1.0, 0.0), 100.0 / start * sd * np.hypot(1.0, times))
    found.put(known, {"extent": risen})
    found.reason[known] = [f"{before}; the extent is that of the smear line" for before in found.reason[known]]


def _rose_unseen(found: Traces, observed: Observed) -> None:
    """Take back that nothing happened where the smear line shows that it did, after the last reading."""
    if observed.mark is None:
        return
    highest = np.maximum.reduceat(observed.y, observed.first)
    noise = np.array([INSTRUMENTS[kind].noise for kind in observed.kind])
    with np.errstate(invalid="ignore"):
        unseen = (found.status == "no activity") & (observed.mark > highest + _MARKED_BEYOND * noise)
    signals = np.flatnonzero(unseen)
    last = observed.t[observed.first[signals] + observed.readings[signals] - 1]
    found.forget(signals)
    found.status[signals] = "too few readings"
    found.reason[signals] = [_ROSE_LATER.format(hour=hour) for hour in last]
    _extent_by_mark(found, observed, unseen)


class _Task(NamedTuple):
    """What is to be concluded from a block: see `choice.choose`, and which signals were cut short at a fall."""

    block: Block
    kind: str
    models: Sequence[str]
    peak: Array | None
    cut: Array
    usual_sd: float | None
    expected: Expected | None
    keep_curves: bool


def _conclude(found: Traces, task: _Task) -> None:
    """Choose the curves of a block and write down the verdict on each of its signals."""
    block, kind = task.block, task.kind
    idle = np.ones(len(block.signals), bool)
    found.readings[block.signals] = block.readings
    for choice in choose(block, kind, task.models, task.peak, task.usual_sd, task.expected):
        chosen = choice
        if task.expected is None:
            chosen = choice.of(np.flatnonzero(is_active(block.of(choice.columns), kind, choice)))
        idle[chosen.columns] = False
        write_fitted(found, block.of(chosen.columns), kind, chosen, task.cut[chosen.columns], task.keep_curves)
    if idle.any():
        write_idle(found, block.of(np.flatnonzero(idle)), kind)


def write_fitted(found: Traces, block: Block, kind: str, choice: Choice, cut: Array, keep_curves: bool) -> None:
    """Write down what fitted curves say, but for those whose rise came before the first reading."""
    level = choice.curve.value(block.t, choice.shape)
    unread = (level[0] >= PEAK_SHARE * level.max(axis=0)) & (choice.helped is None)
    _missed(
        found,
        block.of(np.flatnonzero(unread)),
        "it had come up before" if INSTRUMENTS[kind].sign > 0.0 else "it had soured before",
    )
    known = np.flatnonzero(~unread)
    block, choice, cut = block.of(known), choice.of(known), cut[known]
    signals, fits = block.signals, choice.fits
    found.model[signals] = choice.name
    found.rms_residual[signals] = np.sqrt(fits.rss / (block.readings + block.marked))
    if choice.helped is not None:
        found.penalty[signals], found.if_weaker[signals] = choice.helped.penalty, choice.helped.if_weaker
    found.range_read[signals] = block.highest - block.y.min(axis=0)
    found.until_h[signals] = block.t[-1]
    if keep_curves and len(signals):
        found.choices.append((signals, choice))
    bottomless = np.zeros(len(signals), bool)
    if INSTRUMENTS[kind].sign > 0.0:
        bottomless = fits.parameters[0] <= _START_SHARE * fits.value(block.t).max(axis=0)
        found.status[signals[bottomless]], found.reason[signals[bottomless]] = "poor fit", _NO_START
    sound = np.flatnonzero(~bottomless)
    _read_off(found, block.of(sound), kind, choice.of(sound), cut[sound])


def _read_off(found: Traces, block: Block, kind: str, choice: Choice, cut: Array) -> None:
    """Write down the traits of sound curves, and why some are missing or only bounds."""
    if not len(block.signals):
        return
    read = traits(choice, block.t, kind, cut, block.marked)
    for it in read.values():
        it.se[~choice.fits.settled] = np.nan
    found.put(block.signals, read)
    if choice.collapses:
        found.beyond[:, block.signals] = _beyond_parameters(choice, read)
    unreached = read["extent"].at_least
    if choice.helped is not None and not choice.collapses:
        unreached = short_of_peak(choice, np.full(len(cut), np.inf), block.t[-1]) & ~block.marked
    found.status[block.signals] = np.where(unreached & ~cut, "peak not reached", "fitted")
    before = found.reason[block.signals]
    found.reason[block.signals] = [
        _joined(said) for said in zip(before, *(it.why for it in read.values()), _no_errors(choice, read), strict=True)
    ]


def _beyond_parameters(choice: Choice, read: dict[str, Estimate]) -> Array:
    """Say how far the traits of collapsing curves lie beyond their parameters; 0 where they are only bounds."""
    start, *own = choice.fits.parameters[:4]
    told = [np.where(read[name].at_least, np.nan, read[name].value) for name in EXPECTED]
    off = [np.log(told[0] * 0.01 * start / own[0]), np.log(told[1] * 0.01 * start / own[1]), told[2] - own[2]]
    return np.nan_to_num(off, posinf=0.0, neginf=0.0)


def _no_errors(choice: Choice, read: dict[str, Estimate]) -> Array:
    """Say why standard errors are missing where nothing else says it."""
    said = np.full(len(choice.columns), "", object)
    silent = {name: np.isnan(it.se) & ~it.at_least & (it.why == "") for name, it in read.items()}
    for curve in np.flatnonzero(np.any(list(silent.values()), axis=0)):
        names = ", ".join(name for name, of in silent.items() if of[curve])
        said[curve] = f"no standard error where the readings leave it open: {names}"
    said[(choice.fits.spare <= 0) & np.isnan(choice.fits.spread).any(axis=(0, 1))] = _NO_SPARE
    said[~choice.fits.settled] = _UNSETTLED
    return said


def write_idle(found: Traces, block: Block, kind: str, usual_sd: float | None = None) -> None:
    """Tell jars in which nothing happened from those that were looked at too late."""
    rises = INSTRUMENTS[kind].sign > 0.0
    there = 1.0 if block.weight is None else block.weight > 0.0
    soured_already = (there * block.y).sum(axis=0) / block.readings < _NOT_YET_SOUR_PH
    late = (block.t[0] > _READ_FROM_H) & (rises | soured_already)
    _missed(found, block.of(np.flatnonzero(late)), "no change since", ": what came before was not read")
    block = block.of(np.flatnonzero(~late))
    if not len(block.signals):
        return
    read, rms = straight_line(block, kind, usual_sd)
    found.put(block.signals, read)
    found.status[block.signals], found.model[block.signals] = "no activity", STRAIGHT_LINE
    found.rms_residual[block.signals], found.range_read[block.signals] = rms, np.ptp(block.y, axis=0)
    found.until_h[block.signals] = block.t[-1]
    before = found.reason[block.signals]
    found.reason[block.signals] = [
        _joined((first, _NO_CHANGE, *said))
        for first, *said in zip(before, *(it.why for it in read.values()), strict=True)
    ]


def _missed(found: Traces, block: Block, what: str, more: str = "") -> None:
    """Write down that all there is to see came before the first reading."""
    found.status[block.signals] = "too few readings"
    found.reason[block.signals] = [f"{what} the first reading at {hour:.3g} h{more}" for hour in block.t[0]]


def _joined(said: Sequence[str]) -> str:
    return "; ".join(dict.fromkeys(it for it in said if it))


def _cut_short(fallen: int) -> str:
    return f"it fell again, read {_count(fallen, 'time')}, too few to fit the fall: fitted up to the peak"


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
