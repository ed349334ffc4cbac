"""What a baker reads off fitted curves: lag, steepest rise, peak, ripe window; each with its standard error.

One way for all models: hours and levels are found on the curve itself, whatever its parameters. What the readings
did not see is not made up: a trait that lies beyond the last reading, or inside a gap between two, becomes 'at
least', or stays empty, and the reason is said.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .choice import Choice
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

NOT_SOUR = "pH 4.6 was not reached within the readings"
SOUR_EARLY = "pH was 4.6 or below already at the first reading"
SOUR_WHEN_FED = "pH was 4.6 or below when fed"
_NOT_DOUBLED = "it did not double within the readings"
_AT_ONCE = "it began at once: the lag is zero, without a standard error"


class Estimate(NamedTuple):
    """A trait of many signals: value, standard error, whether it is only 'at least', and why anything is missing."""

    value: Array
    se: Array
    at_least: Array
    why: Array


def estimate(value: Array, se: Array | float = np.nan, why: str | Array = "") -> Estimate:
    """Return a trait that is no bound."""
    said = np.full(len(value), "", object)
    said[:] = why
    return Estimate(value, se + np.zeros(len(value)), np.zeros(len(value), bool), said)


_Found = dict[str, Quantity]


def traits(choice: Choice, t: Array, kind: str, fell_unfitted: Array | None = None) -> dict[str, Estimate]:
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
    fell = np.zeros(len(first), bool) if fell_unfitted is None else fell_unfitted
    steepest = steepest_hour(choice.name, choice.shape, last)
    peak = np.full(len(last), np.inf)
    if choice.collapses:
        peak = peak_hour(choice.name, choice.shape, steepest, last)
    extent = _extent(choice, peak, last, fell, rises)
    found: _Found = {"extent": extent, **_slope(choice, steepest, last)}
    found |= _hours_up(choice, extent, first, np.minimum(peak, last), rises)
    if rises:
        found |= _hours_down(choice, extent, np.minimum(peak, last), last, fell)
    else:
        found |= _ph_traits(choice, first, last)
    found = no_finer_than_read(choice, found, t, peak)
    if rises:
        found |= {name: share_of_start(choice, found[name]) for name in ("extent", "max_rate")}
    if kind == "height_mm":
        found["start_height_mm"] = parameter(choice, "start")
    return {
        name: Estimate(it.value, choice.fits.standard_error(it.gradient), it.at_least, it.why)
        for name, it in found.items()
    }


def _extent(choice: Choice, peak: Array, last: Array, fell: Array, rises: bool) -> Quantity:
    """Return the asymptote, or with a collapse the highest point; short of the peak, how far it was seen.

    An asymptote that was not reached is no estimate: in simulated rises cut off at half height, its 95 % interval
    held the truth in fewer than half of the cases in which it looked narrow.
    """
    why = "the readings end before the peak" if rises else "the readings end while the pH still falls"
    reached = level(choice, last)
    bound = reached.bound(np.ones(len(last), bool), np.where(fell, "the peak lies between two readings", why))
    if choice.collapses:
        return bound.but(peak <= last, level(choice, np.minimum(peak, last)))
    whole = parameter(choice, "extent")
    return bound.but(reached.value >= PEAK_SHARE * whole.value, whole)


def _slope(choice: Choice, steepest: Array, last: Array) -> _Found:
    """Return steepest slope and lag; of a slope still growing at the last reading, what it is there."""
    at, beyond = np.minimum(steepest, last), steepest > last
    steep = steepness(choice, at)
    lag = tangent_crossing(level(choice, at), steep, at).bound(beyond)
    at_once = bare(choice, np.maximum(lag.value, 0.0), why=_AT_ONCE)
    return {
        "max_rate": steep.bound(beyond, "it still sped up at the last reading"),
        "lag_h": lag.but(choice.held("lag_h") | (lag.value < 0.0), at_once),
    }


def _hours_up(choice: Choice, extent: Quantity, first: Array, top: Array, rises: bool) -> _Found:
    """Return the hours passed between the first reading and the peak."""
    levels = {"time_to_peak_h": extent.times(PEAK_SHARE)}
    if rises:
        levels |= {"ripe_from_h": extent.times(RIPE_SHARE), "time_to_double_h": parameter(choice, "start")}
    hours = {name: hours_of(choice, it, first, top) for name, it in levels.items()}
    if choice.collapses:
        hours["time_to_peak_h"] = maximum(choice, top)
    hours["time_to_peak_h"] = hours["time_to_peak_h"].but(extent.at_least, bare(choice, top, at_least=True))
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
    start = parameter(choice, "start").times(-1.0)
    sour = start._replace(value=start.value - SOUR_PH)
    hour, early = hours_of(choice, sour, first, last), level(choice, first).value >= sour.value
    missing = bare(choice, why=np.where(early, SOUR_EARLY, NOT_SOUR))
    missing = missing.but(early & (first <= START_H), bare(choice, 0.0, why=SOUR_WHEN_FED))
    return {
        "ph_start": start.minus(level(choice, np.zeros_like(first))),
        "ph_end": start.minus(level(choice, last)),
        "time_to_ph_4_6_h": hour.but(np.isnan(hour.value), missing),
    }
