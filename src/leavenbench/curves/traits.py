"""What a baker reads off a fitted curve: lag, steepest rise, peak, ripe window; each with its standard error.

One way for all models: hours and levels are found on the curve itself, whatever its parameters. What the readings
did not see is not made up: a trait that lies beyond the last reading, or inside a gap between two, becomes 'at
least', or stays empty, and the reason is said.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .choice import Choice
from .landmarks import peak_hour, steepest_hour
from .models import Array
from .quantities import (
    Quantity,
    bare,
    hours_of,
    level,
    maximum,
    parameter,
    shape,
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
#: A reading between these shares of the highest rise stands on the slope; with none the slope was not seen.
_ON_THE_SLOPE = (0.05, 0.95)
#: With a single reading on the slope, it counts as seen up to this relative standard error of max_rate.
_SLOPE_SEEN = 0.5

NOT_SOUR = "pH 4.6 was not reached within the readings"
SOUR_EARLY = "pH was 4.6 or below already at the first reading"
SOUR_WHEN_FED = "pH was 4.6 or below when fed"
_NOT_DOUBLED = "it did not double within the readings"


class Estimate(NamedTuple):
    """A trait: its value, its standard error, whether it is only 'at least', and why anything is missing."""

    value: float
    se: float = float("nan")
    at_least: bool = False
    why: str = ""


_Found = dict[str, Quantity]


def traits(choice: Choice, t: Array, kind: str, fell_unfitted: bool = False) -> dict[str, Estimate]:
    """Read the traits off a fitted curve.

    Parameters
    ----------
    choice : Choice
        The fitted curve.
    t : numpy.ndarray, shape (n,)
        Times of the readings behind it [h], ascending.
    kind : str
        Kind of the readings, a name in `noise.INSTRUMENTS`.
    fell_unfitted : bool
        The jar fell after the last of `t`, in readings too few to be fitted.

    Returns
    -------
    dict of str to Estimate
        By the names in ``columns.TRAITS``, as far as they belong to the signal: extent and max_rate of a rise in
        % and %/h of the starting height, of an acid in pH and pH/h; hours in h.

    Examples
    --------
    >>> from leavenbench.curves.choice import choose
    >>> hours = np.array([0.0, 1, 2, 3, 4, 5, 6, 8, 9])
    >>> heights = np.array([40.2, 40, 41, 46, 62, 75, 79, 80, 79.6])
    >>> read = traits(choose(hours, heights, 1.0), hours, "height_mm")
    >>> {name: round(read[name].value, 1) for name in ("extent", "max_rate", "lag_h", "time_to_double_h")}
    {'extent': 99.7, 'max_rate': 46.8, 'lag_h': 2.8, 'time_to_double_h': nan}
    """
    first, last = float(t[0]), float(t[-1])
    steepest = steepest_hour(choice.curve, shape(choice), last)
    peak = peak_hour(choice.curve, shape(choice), steepest, last) if choice.collapses else np.inf
    extent = _extent(choice, peak, last, fell_unfitted)
    found: _Found = {"extent": extent, **_slope(choice, steepest, last)}
    found |= _hours_up(choice, extent, first, min(peak, last))
    if choice.sign > 0.0:
        found |= _hours_down(choice, extent, min(peak, last), last, fell_unfitted)
    else:
        found |= _ph_traits(choice, first, last)
    found = _no_finer_than_read(choice, found, t[t <= peak])
    if choice.sign > 0.0:
        found |= {name: share_of_start(choice, found[name]) for name in ("extent", "max_rate")}
    if kind == "height_mm":
        found["start_height_mm"] = parameter(choice, "start")
    return {
        name: Estimate(it.value, choice.fit.standard_error(it.gradient), it.at_least, it.why)
        for name, it in found.items()
    }


def _extent(choice: Choice, peak: float, last: float, fell_unfitted: bool) -> Quantity:
    """Return the asymptote, or with a collapse the highest point; short of the peak, how far it was seen.

    An asymptote that was not reached is no estimate: in simulated rises cut off at half height, its 95 % interval
    held the truth in fewer than half of the cases in which it looked narrow.
    """
    why = "the readings end before the peak" if choice.sign > 0.0 else "the readings end while the pH still falls"
    if fell_unfitted:
        why = "the peak lies between two readings"
    reached = level(choice, last)._replace(at_least=True, why=why)
    if choice.collapses:
        return level(choice, peak) if peak <= last else reached
    whole = parameter(choice, "extent")
    return whole if reached.value >= PEAK_SHARE * whole.value else reached


def _slope(choice: Choice, steepest: float, last: float) -> _Found:
    """Return steepest slope and lag; of a slope still growing at the last reading, what it is there."""
    at, beyond = min(steepest, last), steepest > last
    why = "it still sped up at the last reading" if beyond else ""
    rate = steepness(choice, at)._replace(at_least=beyond, why=why)
    lag = tangent_crossing(choice, at)._replace(at_least=beyond)
    if choice.at_once or lag.value < 0.0:
        lag = bare(choice, max(lag.value, 0.0), why="it began at once: the lag is zero, without a standard error")
    return {"max_rate": rate, "lag_h": lag}


def _hours_up(choice: Choice, extent: Quantity, first: float, top: float) -> _Found:
    """Return the hours passed between the first reading and the peak."""
    levels = {"time_to_peak_h": extent.times(PEAK_SHARE)}
    if choice.sign > 0.0:
        levels |= {"ripe_from_h": extent.times(RIPE_SHARE), "time_to_double_h": parameter(choice, "start")}
    hours = dict(zip(levels, hours_of(choice, list(levels.values()), first, top), strict=True))
    if extent.at_least:
        hours["time_to_peak_h"] = bare(choice, top, at_least=True)
    elif choice.collapses:
        hours["time_to_peak_h"] = maximum(choice, top)
    if extent.at_least and choice.sign > 0.0:
        hours["ripe_from_h"] = hours["ripe_from_h"]._replace(at_least=True)
    for name, hour in hours.items():
        if np.isnan(hour.value):
            early = level(choice, first).value >= levels[name].value
            hours[name] = bare(choice, why=f"{name} lies before the first reading" if early else _NOT_DOUBLED)
    return hours


def _hours_down(choice: Choice, extent: Quantity, top: float, last: float, fell_unfitted: bool) -> _Found:
    """Return the hours passed after the peak."""
    until = gone = bare(choice)
    why = "no fall was fitted" if fell_unfitted else "no collapse was seen"
    if choice.collapses:
        until, gone = hours_of(choice, [extent.times(RIPE_SHARE), extent.times(COLLAPSED_SHARE)], top, last)
        why = "it had not fallen to 80 % of its peak by the last reading"
    if np.isnan(until.value):
        until = bare(choice, last, at_least=True)
    if np.isnan(gone.value):
        gone = bare(choice, why=why)
    return {"ripe_until_h": until, "collapse_h": gone}


def _ph_traits(choice: Choice, first: float, last: float) -> _Found:
    """Return the pH at the start and at the last reading, and the hour at which it passed 4.6."""
    start = parameter(choice, "start")
    fallen = {"ph_start": level(choice, 0.0), "ph_end": level(choice, last)}
    found = {name: Quantity(start.value - drop.value, start.gradient - drop.gradient) for name, drop in fallen.items()}
    sour = start._replace(value=start.value - SOUR_PH)
    hour = hours_of(choice, [sour], first, last)[0]
    if np.isnan(hour.value):
        early = level(choice, first).value >= sour.value
        hour = bare(choice, why=SOUR_EARLY if early else NOT_SOUR)
        if early and first <= START_H:
            hour = bare(choice, 0.0, why=SOUR_WHEN_FED)
    return found | {"time_to_ph_4_6_h": hour}


def _no_finer_than_read(choice: Choice, found: _Found, t: Array) -> _Found:
    """Take back what would be finer than the readings, when the whole slope lies in a gap between two.

    A slope is then at least the steepest line between two neighbouring readings, and an hour within the gap at
    least that of the reading before.
    """
    share = choice.curve.value(t, shape(choice)) / found["extent"].value
    low, high = _ON_THE_SLOPE
    on_it = np.count_nonzero((share > low) & (share < high))
    rate = found["max_rate"]
    seen = on_it > 1 or (on_it == 1 and choice.fit.standard_error(rate.gradient) <= _SLOPE_SEEN * rate.value)
    if seen or rate.at_least or share[-1] < high:
        return found
    times = np.unique(t)
    steepest_line = (np.diff(choice.curve.value(times, shape(choice))) / np.diff(times)).max()
    before, after = t[share <= low].max(initial=0.0), t[share >= high][0]
    why = f"nearly all of it happened between the readings at {before:.3g} and {after:.3g} h"
    coarse = dict(found, max_rate=bare(choice, float(steepest_line), at_least=True, why=why))
    for name, hour in found.items():
        if name.endswith("_h") and before < hour.value < after:
            coarse[name] = bare(choice, float(t[t <= hour.value].max(initial=before)), at_least=True)
    return coarse
