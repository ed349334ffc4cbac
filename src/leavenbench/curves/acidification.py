"""Acidification as a food scientist tabulates it: pH at given times, and times at which given pH values are passed.

The traits are those that ISO 26323:2009 | IDF 213 names for a continuous record of pH. The standard itself was not
read: the traits, the 15 min and the 0.08 pH are known through a secondary guide only, and that the standard was
written for milk is from memory. Dough buffers otherwise, so numbers compare dough with dough.

Everything is read off the fitted curve, between the first reading and the last. What the readings do not show is
refused, and the reason stands in the number's place.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from ..errors import CannotRead
from .blocks import Observed, beside, observe
from .choice import MODELS
from .gaps import no_finer_than_read
from .landmarks import steepest_hour
from .misread import trace_without_misread
from .models import Array
from .noise import judged
from .quantities import Quantity, bare, hours_of, level, parameter, steepness
from .trace import Trace, Trait
from .traces import Traces
from .traits import hour_of_ph, not_passed, ph_at, short_of_peak
from .tried import Choice

#: Hours after which the pH is told; common practice, no source.
AFTER_H = (6.0, 24.0)
#: The pH values whose hour is told: 4.6 and below is acid food by 21 CFR 114.3; 5.0 common practice, no source.
TO_PH = (5.0, 4.6)

#: The pH of a continuous record is first told here [h] (ISO 26323, through a secondary guide).
_FIRST_H = 0.25
#: So far below it the pH has begun to fall (the same).
_BEGUN_PH = 0.08
#: A record is continuous where its readings stand no further apart [h]: ten minutes, and what a logger may be late;
#: common practice, no source.
_CONTINUOUS_H = 0.2
#: Hours worked out from minutes are equal up to this [h].
_ROUNDING_H = 1e-6
_PH_AT_FIRST, _T_A = "ph_at_15_min", "t_a_min"
_NOT_FROM_THE_START = "15 min lies before the first reading"
_NOT_BEGUN = "the pH did not fall 0.08 below that at 15 min within the readings"
_NOT_CONTINUOUS = "no continuous record: readings up to it stand more than 12 min apart"
_NO_ERROR = "without a standard error: the readings leave it open"
_NEVER_READ = "no pH was read that can be used"


def time_to_ph(found: Trace, elapsed_h: Any, ph: float) -> Trait:
    """Tell the hour at which the fitted pH passes a value.

    Parameters
    ----------
    found : Trace
        The trace of a pH.
    elapsed_h : array_like, shape (n,)
        Hours since feeding at which a pH was read [h], as given to `trace.trace`.
    ph : float
        The value.

    Returns
    -------
    Trait
        Hour since feeding [h], with its standard error by the delta method. For 4.6 it is the
        ``time_to_ph_4_6_h`` of the curves table. Where the fall lies unseen between two readings it is at least the
        hour of the reading before. It is 0 h where the pH was as low when fed, and missing, with the reason, where
        it was so at the first reading already, or not by the last, or no curve was fitted.

    Raises
    ------
    CannotRead
        The trace is that of a rise.

    Examples
    --------
    >>> from leavenbench.curves import trace
    >>> hours = np.array([0.0, 1, 2, 3, 4, 6, 8, 22])
    >>> soured = trace(hours, np.array([5.9, 5.9, 5.7, 5.2, 4.7, 4.1, 3.9, 3.8]), "ph_direct")
    >>> it = time_to_ph(soured, hours, 5.0)
    >>> round(it.value, 1), round(it.se, 2)
    (3.4, 0.03)
    >>> time_to_ph(soured, hours, 3.5).why
    'pH 3.5 was not reached within the readings'
    """
    it = _read_off(_alone(found, elapsed_h), (), (ph,))[_hour_named(ph)]
    return Trait(float(it.value[0]), float(it.se[0]), bool(it.at_least[0]), str(it.why[0]))


def acidification(
    found: Trace,
    elapsed_h: Any,
    after_h: Sequence[float] = AFTER_H,
    to_ph: Sequence[float] = TO_PH,
    noise: float | None = None,
) -> pd.DataFrame:
    """Tabulate how a dough soured, by the traits that ISO 26323:2009 | IDF 213 names.

    The standard was read only through a secondary guide; the 15 min and the 0.08 pH are from there.

    Parameters
    ----------
    found : Trace
        The trace of a pH.
    elapsed_h : array_like, shape (n,)
        Hours since feeding at which a pH was read [h], as given to `trace.trace`.
    after_h : sequence of float
        Hours since feeding after which the pH is told [h].
    to_ph : sequence of float
        The pH values whose hour is told.
    noise : float, optional
        Usual noise (sd) of the readings [pH], by which a poor fit is named; that of the instrument when not given.

    Returns
    -------
    pandas.DataFrame
        One row per trait, always: trait, value, unit, se, at_least, why.

        - ``ph_at_15_min`` [pH];
        - ``t_a_min`` [min], when the pH has fallen 0.08 below that, counted from feeding like every time here (the
          guide does not say from where: minutes since the first value are 15 fewer);
        - ``ph_after_6_h`` and so on [pH];
        - ``time_to_ph_4_6_h`` and so on [h], as `time_to_ph` tells them.

        Errors are by the delta method; that of ``t_a_min`` counts the error of the pH at 15 min too. A value is
        missing, and ``why`` says so, where no curve was fitted or it is a poor fit, outside the readings (so the
        first two ask for a reading at or before 15 min), and where nearly all of the fall lies between two readings
        around it. An hour in such a gap is told as ``at_least``, by the reading before.

    Raises
    ------
    CannotRead
        The trace is that of a rise.

    Notes
    -----
    Which readings suffice was measured on simulated falls, noise 0.01 to 0.04. Where their form is among those
    tried, an hour apart is enough for all but ``t_a_min``: 95 % intervals held the truth in 88 to 98 %. ``t_a_min``
    lies in the foot of the curve, where the forms differ most: read every hour, its intervals held in 39 to 94 %.
    It is told only from a record that is continuous up to it, with readings no more than 12 min apart (common
    practice, no source). Read every 10 min, they held in 90 to 96 % with a noise of 0.02 or less, and in 70 to 90 %
    with 0.04. Falls of a form that is not tried, that of Baranyi & Roberts (1994), were told 0.01 pH, 0.03 h and
    10 min of ``t_a_min`` off, however often they were read, and no standard error tells that.

    Examples
    --------
    >>> from leavenbench.curves import trace
    >>> hours = np.array([0.0, 1, 2, 3, 4, 6, 8, 22])
    >>> soured = trace(hours, np.array([5.9, 5.9, 5.7, 5.2, 4.7, 4.1, 3.9, 3.8]), "ph_direct")
    >>> acidification(soured, hours, to_ph=[4.6])[["trait", "value", "unit", "se"]].round(2)
                  trait  value unit    se
    0      ph_at_15_min   5.91   pH  0.02
    1           t_a_min    NaN  min   NaN
    2      ph_after_6_h   4.09   pH  0.01
    3     ph_after_24_h    NaN   pH   NaN
    4  time_to_ph_4_6_h   4.23    h  0.04
    """
    one = _alone(found, elapsed_h)
    read = _read_off(one, after_h, to_ph)
    _refuse_poor_fits(read, one, None if noise is None else {"ph_direct": noise})
    return _table(read, after_h, to_ph).reset_index(drop=True)


def acidification_of_shelf(
    observed: pd.DataFrame,
    after_h: Sequence[float] = AFTER_H,
    to_ph: Sequence[float] = TO_PH,
    noise: Mapping[str, float] | None = None,
    models: Sequence[str] = MODELS,
) -> pd.DataFrame:
    """Tabulate how every dough of a shelf soured: `acidification`, refeed by refeed.

    Parameters
    ----------
    observed : pandas.DataFrame
        As `signals.signals` gives it: refeed, signal, kind, elapsed_h, value.
    after_h, to_ph
        As for `acidification`.
    noise : mapping of str to float, optional
        Noise (sd) by kind of reading [pH], by which poor fits are named; see `noise.noise_by_kind`.
    models : sequence of str
        Growth curves to choose among: logistic, gompertz, richards.

    Returns
    -------
    pandas.DataFrame
        One row per refeed and trait, in the order of the refeeds: refeed, kind (ph_direct or ph_slurry: the two do
        not compare), then the columns of `acidification`. A refeed whose pH was never read has its rows as well.

    Examples
    --------
    >>> read = pd.DataFrame({"elapsed_h": [0.0, 2, 4, 6, 8, 10], "value": [5.9, 5.9, 5.1, 4.3, 4.0, 4.0]})
    >>> soured = read.assign(refeed="r1", signal="acid", kind="ph_direct")
    >>> acidification_of_shelf(soured, after_h=[8], to_ph=[])[["refeed", "trait", "value"]].round(2)
      refeed         trait  value
    0     r1  ph_at_15_min   5.91
    1     r1       t_a_min    NaN
    2     r1  ph_after_8_h   4.03
    """
    refeed, names = observed["refeed"].factorize()
    acid = (observed["signal"] == "acid").to_numpy() & (refeed >= 0)
    rows, of = observed[acid], refeed[acid]
    kinds = rows.groupby(of)["kind"].first().reindex(range(len(names)), fill_value="").to_numpy(dtype=str)
    hours, values = (rows[name].to_numpy(dtype=float, na_value=np.nan) for name in ("elapsed_h", "value"))
    signals, number = np.unique(of, return_inverse=True)
    some, known = observe(number, hours, values, kinds[signals])
    soured = _soured(some, trace_without_misread(some, models, keep_curves=True))
    read = _read_off(soured, after_h, to_ph)
    _refuse_poor_fits(read, soured, noise)
    every = {name: _missing(np.full(len(names), _NEVER_READ, object)) for name in read}
    _put(every, signals[known], read)
    table = _table(every, after_h, to_ph)
    table.insert(0, "refeed", np.asarray(names)[table.index])
    table.insert(1, "kind", kinds[table.index])
    return table.astype({"refeed": "str", "kind": "str"}).reset_index(drop=True)


class _Soured(NamedTuple):
    """What is known of the pH of many doughs, each array with one element per dough.

    `observed` holds the readings used, of which only the hours count; `start` and `end` are the pH when fed and at
    the last of them; `curves` the fitted ones, with the doughs they belong to. The rest is as in `Traces`.
    """

    observed: Observed
    status: Array
    rms_residual: Array
    range_read: Array
    start: Array
    end: Array
    curves: list[tuple[Array, Choice]]


class _Read(NamedTuple):
    """One trait of many doughs: its value, standard error, whether it is only 'at least', and why it is missing."""

    value: Array
    se: Array
    at_least: Array
    why: Array


def _alone(found: Trace, elapsed_h: Any) -> _Soured:
    """Return a single dough as one of many."""
    if found.sign > 0.0:
        raise CannotRead("this is the trace of a rise: acidification is read off the trace of a pH")
    hours = np.ravel(np.asarray(elapsed_h, float))
    if len(hours) < found.readings:
        given = f"{len(hours)} hours were given for a trace of {found.readings} readings"
        raise CannotRead(f"{given}: give the hours of all the readings that were traced")
    for hour, _ in found.set_aside:
        hours = np.delete(hours, np.flatnonzero(hours == hour)[:1])
    hours = hours[~(hours > found.until_h)]
    observed, _ = observe(np.zeros(len(hours), int), hours, np.zeros(len(hours)), np.array(["ph_direct"]))
    start, end = (found.traits[name].value if name in found.traits else np.nan for name in ("ph_start", "ph_end"))
    rms_residual, range_read = np.array([found.rms_residual]), np.array([found.range_read])
    curves = [] if found.choice is None else [(np.array([0]), found.choice)]
    status = np.array([found.status], object)
    return _Soured(observed, status, rms_residual, range_read, np.array([start]), np.array([end]), curves)


def _soured(observed: Observed, found: Traces) -> _Soured:
    """Return what was found of the doughs of a shelf, without the readings that were set aside."""
    used = np.ones(len(observed.t), bool)
    used[found.set_aside[found.set_aside >= 0]] = False
    signal = np.repeat(np.arange(len(observed.first)), observed.readings)[used]
    left, _ = observe(signal, observed.t[used], observed.y[used], observed.kind)
    start, end = (found.traits[name].value for name in ("ph_start", "ph_end"))
    return _Soured(left, found.status, found.rms_residual, found.range_read, start, end, found.choices)


def _read_off(soured: _Soured, after_h: Sequence[float], to_ph: Sequence[float]) -> dict[str, _Read]:
    """Read the traits off the curves, and hours off the straight lines of doughs without activity."""
    observed, readings = soured.observed, soured.observed.readings
    no_curve = np.array([f"no curve: {status}" for status in soured.status], object)
    read = {name: _missing(no_curve) for name in _units(after_h, to_ph)}
    with np.errstate(all="ignore"):  # numbers out of all bounds end as NaN
        for doughs, choice in soured.curves:
            t = beside(observed, doughs, readings[doughs], int(readings[doughs].max())).t
            _put(read, doughs, _off_curves(choice, t, after_h, to_ph))
    idle = np.flatnonzero(soured.status == "no activity")
    first, last = observed.t[observed.first[idle]], observed.t[observed.first[idle] + readings[idle] - 1]
    at_first = soured.start[idle] + (soured.end - soured.start)[idle] * first / last
    for ph in to_ph:
        hour, why = not_passed(ph, at_first <= ph, first)
        _put(read, idle, {_hour_named(ph): _missing(why)._replace(value=hour)})
    return read


def _off_curves(choice: Choice, t: Array, after_h: Sequence[float], to_ph: Sequence[float]) -> dict[str, _Read]:
    """Read the traits off curves; `t` are the times of their readings [h], shape (n, m), as for `traits.traits`."""
    first, last = t[0], t[-1]
    at = {_PH_AT_FIRST: _FIRST_H} | {_level_named(hour): hour for hour in after_h}
    passed = {_T_A: _begun(choice, t)} | {_hour_named(ph): hour_of_ph(choice, ph, first, last) for ph in to_ph}
    hours = _no_finer(choice, passed | {name: bare(choice, hour) for name, hour in at.items()}, t)
    found = {name: hours[name] for name in passed}
    found[_T_A] = found[_T_A].times(60.0)
    found |= {name: _ph_at(choice, hour, hours[name], first, last) for name, hour in at.items()}
    return {name: _with_error(choice, it) for name, it in found.items()}


def _ph_at(choice: Choice, hour: float, seen: Quantity, first: Array, last: Array) -> Quantity:
    """Return the fitted pH at an hour, unless that lies outside the readings or, as `seen` says, in a gap."""
    ph = ph_at(choice, np.full(len(first), hour))
    early = _NOT_FROM_THE_START if hour == _FIRST_H else f"{hour:g} h lies before the first reading"
    outside = [hour < first - _ROUNDING_H, hour > last + _ROUNDING_H]
    why = np.select(outside, [early, f"{hour:g} h lies beyond the last reading"], seen.why)
    return ph.but(why != "", bare(choice, why=why))


def _begun(choice: Choice, t: Array) -> Quantity:
    """Return the hour at which fitted pH have fallen 0.08 below that at 15 min, told by a continuous record only."""
    first, last = t[0], t[-1]
    at = np.full(len(first), _FIRST_H)
    target = level(choice, at)
    hour = hours_of(choice, target._replace(value=target.value + _BEGUN_PH), at, last)
    until_then = (t[1:] > _FIRST_H) & (t[:-1] < hour.value)
    apart = np.where(until_then, np.diff(t, axis=0), 0.0).max(axis=0)
    unread = [first > _FIRST_H + _ROUNDING_H, np.isnan(hour.value), apart > _CONTINUOUS_H + _ROUNDING_H]
    why = np.select(unread, [_NOT_FROM_THE_START, _NOT_BEGUN, _NOT_CONTINUOUS], "")
    return hour.but(why != "", bare(choice, why=why))


def _no_finer(choice: Choice, hours: dict[str, Quantity], t: Array) -> dict[str, Quantity]:
    """Make hours inside a gap in which nearly all of the fall lies lower bounds, and say so."""
    last, peak = t[-1], np.full(t.shape[1], np.inf)
    steepest = steepest_hour(choice.name, choice.shape, last)
    rate = steepness(choice, np.minimum(steepest, last)).bound(steepest > last)
    extent = parameter(choice, "extent").but(short_of_peak(choice, peak, last), level(choice, last))
    found = {"extent": extent, "max_rate": rate} | {f"{name}_h": hour for name, hour in hours.items()}
    coarse = no_finer_than_read(choice, found, t, peak)
    bounds = {name: coarse[f"{name}_h"] for name in hours}
    return {name: it.bound(it.at_least, coarse["max_rate"].why) for name, it in bounds.items()}


def _with_error(choice: Choice, it: Quantity) -> _Read:
    """Return a quantity with its standard error; where it has none, say so."""
    se = np.where(choice.fits.settled, choice.fits.standard_error(it.gradient), np.nan)
    silent = np.isnan(se) & ~np.isnan(it.value) & (it.why == "")
    return _Read(it.value, se, it.at_least, np.where(silent, _NO_ERROR, it.why))


def _refuse_poor_fits(read: dict[str, _Read], soured: _Soured, noise: Mapping[str, float] | None) -> None:
    """Take back what was read off curves from which the readings lie far."""
    of = {"kind": soured.observed.kind, "status": soured.status, "reason": ""}
    fits = pd.DataFrame(of | {"rms_residual": soured.rms_residual, "range_read": soured.range_read})
    verdict = judged(fits, noise)
    poor = np.flatnonzero(verdict["status"] == "poor fit")
    why = "poor fit: " + verdict["reason"].to_numpy(dtype=object)[poor]
    _put(read, poor, {name: _missing(why) for name in read})


def _missing(why: Array) -> _Read:
    return _Read(np.full(len(why), np.nan), np.full(len(why), np.nan), np.zeros(len(why), bool), why.astype(object))


def _put(read: dict[str, _Read], doughs: Array, found: dict[str, _Read]) -> None:
    """Write down what was found of some of the doughs."""
    for name, some in found.items():
        for all_of_it, values in zip(read[name], some, strict=True):
            all_of_it[doughs] = values


def _table(read: dict[str, _Read], after_h: Sequence[float], to_ph: Sequence[float]) -> pd.DataFrame:
    """Set traits as rows, dough after dough; the index is the number of the dough."""
    units = _units(after_h, to_ph)
    rows = [
        pd.DataFrame({"trait": name, "value": it.value, "unit": units[name]} | it._asdict())
        for name, it in read.items()
    ]
    return pd.concat(rows).sort_index(kind="stable").astype({"trait": "str", "unit": "str", "why": "str"})


def _units(after_h: Sequence[float], to_ph: Sequence[float]) -> dict[str, str]:
    """Name the traits asked for, in the order of the table, with their units."""
    levels, hours = (_level_named(hour) for hour in after_h), (_hour_named(ph) for ph in to_ph)
    return {_PH_AT_FIRST: "pH", _T_A: "min"} | dict.fromkeys(levels, "pH") | dict.fromkeys(hours, "h")


def _level_named(hour: float) -> str:
    return f"ph_after_{hour:g}_h".replace(".", "_")


def _hour_named(ph: float) -> str:
    return f"time_to_ph_{float(ph)}_h".replace(".", "_")
