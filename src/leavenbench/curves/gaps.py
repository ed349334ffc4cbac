"""What happened in a gap between two readings is told no finer than they stand.

A slope there is at least the steepest line between two neighbouring readings, and an hour at least that of the
reading before.
"""

from __future__ import annotations

import numpy as np

from .models import Array
from .quantities import Quantity, bare
from .tried import Choice

#: A reading between these shares of the highest rise stands on the slope; with none the slope was not seen.
_ON_THE_SLOPE = (0.05, 0.95)
#: With a single reading on the slope, it counts as seen up to this relative standard error of max_rate.
_SLOPE_SEEN = 0.5
_HOURS_OF_THE_FALL = ("time_to_peak_h", "ripe_until_h", "collapse_h")
_A_STEP_DOWN = "it fell between two readings: the hours of the fall are at least those of the reading before"

_Found = dict[str, Quantity]


def no_finer_than_read(choice: Choice, found: _Found, t: Array, peak: Array) -> _Found:
    """Take back what would be finer than the readings.

    Parameters
    ----------
    choice : Choice
        The fitted curves.
    found : dict of str to Quantity
        Their traits, extent and max_rate in the unit read.
    t : numpy.ndarray, shape (n, m)
        Times of the readings [h], ascending; one that is not there repeats the last.
    peak : numpy.ndarray, shape (m,)
        Hour of the highest point of a collapsing curve [h]; infinite without.

    Returns
    -------
    dict of str to Quantity
        The same traits, some of them now only lower bounds.
    """
    coarse = dict(found)
    _coarsen_rise(coarse, choice, t, peak)
    if choice.collapses:
        _coarsen_fall(coarse, choice, t, peak)
    return coarse


def _coarsen_rise(found: _Found, choice: Choice, t: Array, peak: Array) -> None:
    """Make slope and hours of a rise that happened in a gap lower bounds."""
    until = np.where(t <= peak, t, t[0])  # readings after the peak do not count
    height = choice.curve.value(until, choice.shape)
    share = height / found["extent"].value
    gap = _in_a_gap(choice, found["max_rate"], until, share)
    if not gap.any():
        return
    low, high = _ON_THE_SLOPE
    before = np.where(share <= low, until, 0.0).max(axis=0)
    after = np.where((t <= peak) & (share >= high), t, t[-1]).min(axis=0)
    slope = bare(choice, _steepest_line(until, height), at_least=True, why=_between(before, after))
    found["max_rate"] = found["max_rate"].but(gap, slope)
    for name, hour in found.items():
        inside = gap & (before < hour.value) & (hour.value < after)
        if name.endswith("_h") and inside.any():
            found[name] = hour.but(inside, bare(choice, _reading_before(t, hour.value, before), at_least=True))


def _in_a_gap(choice: Choice, rate: Quantity, t: Array, share: Array) -> Array:
    """Whether the whole slope lies in a gap, or is as steep as a search may go."""
    low, high = _ON_THE_SLOPE
    new = np.diff(t, axis=0, prepend=-1.0) > 0.0
    on_it = np.count_nonzero((share > low) & (share < high) & new, axis=0)
    at_bound = choice.held("max_rate")
    sure = (choice.fits.standard_error(rate.gradient) <= _SLOPE_SEEN * rate.value) & ~at_bound
    unseen = ((on_it == 0) | ((on_it == 1) & ~sure)) & (share.max(axis=0) >= high)
    return unseen | at_bound


def _coarsen_fall(found: _Found, choice: Choice, t: Array, peak: Array) -> None:
    """Make the hours of a fall that happened in a gap lower bounds."""
    step = _fell_in_a_gap(choice, t, peak)
    for name in _HOURS_OF_THE_FALL:
        hour = found[name]
        read = bare(choice, _reading_before(t, hour.value, 0.0), at_least=True, why=_A_STEP_DOWN)
        found[name] = hour.but(step & ~hour.at_least & ~np.isnan(hour.value), read)


def _fell_in_a_gap(choice: Choice, t: Array, peak: Array) -> Array:
    """Whether no reading stands on a sharp fall; leaking evenly is not sharp, and is seen wherever it is read."""
    level = choice.curve.value(t, choice.shape)
    highest = choice.curve.value(np.minimum(peak, t[-1]), choice.shape)
    fallen, (low, high) = highest - level, _ON_THE_SLOPE
    on_it = (t > peak) & (fallen > low * fallen[-1]) & (fallen < high * fallen[-1])
    sharp = choice.shape[choice.curve.place("fall_sharpness")] > 0.0
    return sharp & (~on_it.any(axis=0) | choice.held("fall_sharpness"))


def _steepest_line(t: Array, height: Array) -> Array:
    apart = np.diff(t, axis=0)
    return np.where(apart > 0.0, np.diff(height, axis=0) / np.where(apart > 0.0, apart, 1.0), 0.0).max(axis=0)


def _reading_before(t: Array, hour: Array, earliest: Array | float) -> Array:
    return np.maximum(np.where(t <= hour, t, 0.0).max(axis=0), earliest)


def _between(before: Array, after: Array) -> Array:
    """Say between which readings it happened."""
    pairs = zip(before, after, strict=True)
    return np.array(
        [f"nearly all of it happened between the readings at {a:.3g} and {b:.3g} h" for a, b in pairs], object
    )
