"""What a baker reads off fitted curves: lag, steepest rise, peak, ripe window; each with its standard error.

One way for all models: hours and levels are found on the curve itself, whatever its parameters. What the readings
did not see is not made up: a trait that lies beyond the last reading, or inside a gap between two, becomes 'at
least', or stays empty, and the reason is said.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .expected import EXPECTED
from .gaps import no_finer_than_read
from .landmarks import peak_hour, steepest_hour
from .models import Array
from .noise import INSTRUMENTS
from .quantities import (
    Quantity,
    bare,
    hours_of,
    level,
    maximum,
    parameter,
    share_of_start,
    steepness,
    tangent_crossing,
)
from .tried import Choice

#: Without a collapse the peak is taken as reached at this share of the extent.
PEAK_SHARE = 0.95
#: Ripe is at or above this share of the highest rise; common practice, no source.
RIPE_SHARE = 0.90
#: Collapsed is fallen to this share of the highest rise; common practice, no source.
COLLAPSED_SHARE = 0.80
#: The pH that a jar should reach: 21 CFR 114.3 takes 4.6 and below as acid.
SOUR_PH = 4.6
#: A first reading up to this hour is taken as one of the start.
START_H = 0.5
#: A lag under this [h] is what computing leaves of none.
_NO_LAG_H = 1e-9

_SHORT_OF_PEAK = ("the readings end while the pH still falls", "the readings end before the peak")
_NOT_DOUBLED = "it did not double within the readings"
_STILL_FASTER = "it still sped up at the last reading: the slope over the last third of the time read"
_AT_ONCE = "it began at once: the lag is zero, without a standard error"


class Estimate(NamedTuple):
    """A trait of many signals, each array with one element per signal.

    Attributes
    ----------
    value, se : numpy.ndarray
        Number and standard error.
    at_least : numpy.ndarray of bool
        It is only a lower bound.
    why : numpy.ndarray of object
        Why anything is missing, else empty.
    prior_share : numpy.ndarray
        Share of it that comes from what was expected, not from the readings, 0 to 1.
    alone, alone_se : numpy.ndarray
        What the readings alone say; the same where nothing was expected.
    """

    value: Array
    se: Array
    at_least: Array
    why: Array
    prior_share: Array
    alone: Array
    alone_se: Array


def estimate(
    value: Array, se: Array | float = np.nan, at_least: Array | None = None, why: str | Array = ""
) -> Estimate:
    """Return a trait that rests on the readings alone."""
    said, none = np.full(len(value), "", object), np.zeros(len(value))
    said[:] = why
    bound, error = none > 0.0 if at_least is None else at_least, se + none
    return Estimate(value, error, bound, said, none, value.copy(), error.copy())


_Found = dict[str, Quantity]
#: Traits of which the logarithm is expected, and so read as well.
_EXPECTED_AS_LOG = EXPECTED[:2]


def traits(
    choice: Choice, t: Array, kind: str, fell_unfitted: Array | None = None, marked: Array | None = None
) -> dict[str, Estimate]:
    """Read the traits off fitted curves.

    Parameters
    ----------
    choice : Choice
        The fitted curves.
    t : numpy.ndarray, shape (n, m)
        Times of the readings behind them [h], ascending; one that is not there repeats the last.
    kind : str
        Kind of the readings, a name in `noise.INSTRUMENTS`.
    fell_unfitted : numpy.ndarray of bool, shape (m,), optional
        Whether the jar fell after the last of `t`, in readings too few to be fitted.
    marked : numpy.ndarray of bool, shape (m,), optional
        Whether the height of the peak was read, without its hour.

    Returns
    -------
    dict of str to Estimate
        By the names in ``columns.TRAITS``, as far as they belong to the signal: extent and max_rate of a rise in
        % and %/h of the starting height, of an acid in pH and pH/h; hours in h.

    Examples
    --------
    >>> from leavenbench.curves.blocks import Block
    >>> from leavenbench.curves.choice import choose
    >>> hours = np.array([[0.0, 1, 2, 3, 4, 5, 6, 8, 9]]).T
    >>> heights = np.array([[40.2, 40, 41, 46, 62, 75, 79, 80, 79.6]]).T
    >>> chosen = choose(Block(np.array([0]), hours, heights, None, np.array([9])), "height_mm")
    >>> read = traits(chosen[0], hours, "height_mm")
    >>> {name: float(read[name].value[0].round(1)) for name in ("extent", "max_rate", "lag_h", "time_to_double_h")}
    {'extent': 99.7, 'max_rate': 46.8, 'lag_h': 2.8, 'time_to_double_h': nan}
    """
    rises = INSTRUMENTS[kind].sign > 0.0
    first, last = t[0], t[-1]
    no = np.zeros(len(first), bool)
    fell, marked = no if fell_unfitted is None else fell_unfitted, no if marked is None else marked
    steepest = steepest_hour(choice.name, choice.shape, last)
    peak = np.full(len(last), np.inf)
    if choice.collapses:
        peak = peak_hour(choice.name, choice.shape, steepest, last)
    short = short_of_peak(choice, peak, last)
    why = np.where(fell, "the peak lies between two readings", _SHORT_OF_PEAK[rises])
    extent = _extent(choice, peak, last, short & ~marked, why)
    found: _Found = {"extent": extent, **_slope(choice, steepest, first, last)}
    found |= _hours_up(choice, extent, first, np.minimum(peak, last), short, rises)
    if rises:
        found |= _hours_down(choice, extent, np.minimum(peak, last), last, fell)
    else:
        found |= _ph_traits(choice, first, last)
    if choice.helped is None:
        found = no_finer_than_read(choice, found, t, peak)
    if rises:
        found |= {name: share_of_start(choice, found[name]) for name in ("extent", "max_rate")}
    if kind == "height_mm":
        found["start_height_mm"] = parameter(choice, "start")
    return {name: _estimated(choice, it, name in _EXPECTED_AS_LOG) for name, it in found.items()}


def _estimated(choice: Choice, it: Quantity, as_log: bool) -> Estimate:
    """Return a quantity with its error, and what the readings alone say of it."""
    own = estimate(it.value, choice.fits.standard_error(it.gradient), it.at_least, it.why)
    if choice.helped is None:
        return own
    step = (it.gradient * choice.helped.apart).sum(axis=0)
    error = choice.helped.alone.standard_error(it.gradient)
    with np.errstate(all="ignore"):
        factor = np.exp(step / it.value) if as_log else 1.0
        alone, alone_se = it.value * factor if as_log else it.value + step, error * factor
    told = np.isfinite(alone) & np.isfinite(alone_se)
    return own._replace(
        prior_share=choice.fits.believed_share(it.gradient),
        alone=np.where(told, alone, np.nan),
        alone_se=np.where(told, alone_se, np.nan),
    )


def short_of_peak(choice: Choice, peak: Array, last: Array) -> Array:
    """Whether the last reading stands before the peak of each curve."""
    if choice.collapses:
        return ~(peak <= last)
    return ~(level(choice, last).value >= PEAK_SHARE * parameter(choice, "extent").value)


def _extent(choice: Choice, peak: Array, last: Array, unseen: Array, why: Array) -> Quantity:
    """Return the asymptote, or with a collapse the highest point; where the peak was not seen, how far it came.

    An asymptote that was not reached is no estimate: in simulated rises cut off at half height, its 95 % interval
    held the truth in fewer than half of the cases in which it looked narrow. What was expected makes it one.
    """
    whole = level(choice, np.minimum(peak, last)) if choice.collapses else parameter(choice, "extent")
    if choice.helped is not None and not choice.collapses:
        return whole._replace(why=np.where(unseen, why, ""))
    return whole.but(unseen, level(choice, last).bound(np.ones(len(last), bool), why))


def _slope(choice: Choice, steepest: Array, first: Array, last: Array) -> _Found:
    """Return steepest slope and lag; of a slope still growing at the last reading, what it was over the last third.

    A slope at the end itself is no bound: in simulated rises cut off at half height it exceeded the true one in nine
    of ten, by a quarter. Over the last third it is a mean, which the steepest exceeds.
    """
    beyond = (steepest > last) & (choice.helped is None)
    at = np.where(beyond, last, steepest)
    height, steep = level(choice, at), steepness(choice, at)
    if beyond.any():
        third = (first + 2.0 * last) / 3.0
        steep = steep.but(beyond, level(choice, last).minus(level(choice, third)).times(1.0 / (last - third)))
    lag = tangent_crossing(height, steep, at).bound(beyond)
    at_once = bare(choice, np.where(lag.value > _NO_LAG_H, lag.value, 0.0), why=_AT_ONCE)
    return {
        "max_rate": steep.bound(beyond, _STILL_FASTER),
        "lag_h": lag.but(choice.held("lag_h") | (lag.value < 0.0), at_once),
    }


def _hours_up(choice: Choice, extent: Quantity, first: Array, top: Array, short: Array, rises: bool) -> _Found:
    """Return the hours passed between the first reading and the peak."""
    levels = {"time_to_peak_h": extent.times(PEAK_SHARE)}
    if rises:
        levels |= {"ripe_from_h": extent.times(RIPE_SHARE), "time_to_double_h": parameter(choice, "start")}
    hours = {name: hours_of(choice, it, first, top) for name, it in levels.items()}
    if choice.collapses:
        hours["time_to_peak_h"] = maximum(choice, top)
    hours["time_to_peak_h"] = hours["time_to_peak_h"].but(short, bare(choice, top, at_least=True))
    if rises:
        hours["ripe_from_h"] = hours["ripe_from_h"].bound(extent.at_least)
    at_first = level(choice, first).value
    for name, hour in hours.items():
        early = f"{name} lies before the first reading"
        late = _NOT_DOUBLED if name == "time_to_double_h" else f"{name} lies beyond the last reading"
        why = np.where(at_first >= levels[name].value, early, late)
        hours[name] = hour.but(np.isnan(hour.value), bare(choice, why=why))
    return hours


def _hours_down(choice: Choice, extent: Quantity, top: Array, last: Array, fell: Array) -> _Found:
    """Return the hours passed after the peak."""
    why = np.where(fell, "no fall was fitted", "no collapse was seen")
    until, gone = bare(choice, last, at_least=True), bare(choice, why=why)
    if choice.collapses:
        ripe = hours_of(choice, extent.times(RIPE_SHARE), top, last)
        until = until.but(~np.isnan(ripe.value), ripe)
        gone = hours_of(choice, extent.times(COLLAPSED_SHARE), top, last)
        still = bare(choice, why="it had not fallen to 80 % of its peak by the last reading")
        gone = gone.but(np.isnan(gone.value), still)
    return {"ripe_until_h": until, "collapse_h": gone}


def _ph_traits(choice: Choice, first: Array, last: Array) -> _Found:
    """Return the pH at the start and at the last reading, and the hour at which it passed 4.6."""
    return {
        "ph_start": ph_at(choice, np.zeros_like(first)),
        "ph_end": ph_at(choice, last),
        "time_to_ph_4_6_h": hour_of_ph(choice, SOUR_PH, first, last),
    }


def ph_at(choice: Choice, hour: Array) -> Quantity:
    """Return the fitted pH at an hour of each."""
    return parameter(choice, "start").times(-1.0).minus(level(choice, hour))


def hour_of_ph(choice: Choice, ph: float, first: Array, last: Array) -> Quantity:
    """Return the hour at which fitted pH pass a value."""
    start = parameter(choice, "start").times(-1.0)
    drop = start._replace(value=start.value - ph)
    hour = hours_of(choice, drop, first, last)
    instead, why = not_passed(ph, level(choice, first).value >= drop.value, first)
    return hour.but(np.isnan(hour.value), bare(choice, instead, why=why))


def not_passed(ph: float, early: Array, first: Array) -> tuple[Array, Array]:
    """Return the hour, and why, where a pH is not passed within the readings: 0 h where it was as low when fed."""
    when_fed = early & (first <= START_H)
    said = [f"pH was {ph:g} or below when fed", f"pH was {ph:g} or below already at the first reading"]
    why = np.select([when_fed, early], said, f"pH {ph:g} was not reached within the readings")
    return np.where(when_fed, 0.0, np.nan), why
