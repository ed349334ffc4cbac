"""Whether a jar did anything at all, and what is left to say when it did not."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .blocks import Block
from .engine import noise
from .engine.normal import column_sums
from .models import Array
from .noise import INSTRUMENTS
from .traits import SOUR_PH, Estimate, estimate, not_passed
from .tried import Choice

#: Levels of the two tests. Together they call a dead jar active in about 3 cases of 100, and find a change of three
#: times the noise, read 12 times, in about 9 of 10 (measured by simulation).
_CURVE_LEVEL = 0.02
_LINE_LEVEL = 0.025
#: With fewer readings to spare than this, the usual noise of the instrument stands in for as many more.
_SPARE_ENOUGH = 3
_NO_PERCENT = "the starting height is zero, so there is no rise in %"


def is_active(block: Block, kind: str, choice: Choice) -> Array:
    """Test whether signals moved their way, beyond what readings scatter.

    The best curve is tested against a constant by its F ratio, and, since that test is weak where a slight change
    is spread over few readings, so is the slope of a straight line, one-sided. Either is enough. The change must
    also be larger than the usual noise of a single reading.

    Parameters
    ----------
    block : Block
        The signals of the choice, each read at two or more different times.
    kind : str
        Kind of the readings, a name in `noise.INSTRUMENTS`.
    choice : Choice
        The best curve of each.

    Returns
    -------
    numpy.ndarray of bool, shape (m,)

    Examples
    --------
    >>> from leavenbench.curves.choice import choose
    >>> hours, heights = np.arange(6.0)[:, None], np.array([[40.0, 40, 41, 40, 41, 41]]).T
    >>> block = Block(np.array([0]), hours, heights, None, np.array([6]))
    >>> [is_active(block, "height_mm", choice).tolist() for choice in choose(block, "height_mm")]
    [[False]]
    """
    moved = np.ptp(choice.fits.value(block.t), axis=0) >= INSTRUMENTS[kind].noise
    by_curve = _curve_p(block, kind, choice) < _CURVE_LEVEL
    return moved & (by_curve | (_line_p(block, INSTRUMENTS[kind].sign) < _LINE_LEVEL))


def _curve_p(block: Block, kind: str, choice: Choice) -> Array:
    """Probability of such an F ratio, curve against constant, in a jar where nothing moves."""
    from scipy.special import fdtrc

    fits, more = choice.fits, len(choice.fits.parameters) - 1
    counts = block.squared_weight
    away = block.y - column_sums(counts * block.y) / column_sums(counts)
    explained = np.maximum(column_sums(counts * away**2) - fits.rss, 0.0)
    few = fits.spare < _SPARE_ENOUGH
    rss = fits.rss + np.where(few, _SPARE_ENOUGH * INSTRUMENTS[kind].noise ** 2, 0.0)
    spare = fits.spare + np.where(few, _SPARE_ENOUGH, 0)
    ratio = explained / more / np.where(rss > 0.0, rss / spare, 1.0)
    return np.where(rss > 0.0, fdtrc(more, spare, ratio), 0.0)


def _line_p(block: Block, sign: float) -> Array:
    """Probability of such a slope the signal's way in a jar where nothing moves."""
    from scipy.special import stdtr

    line = _line(block)
    steep = line.covariance[1, 1] > 0.0
    ratio = sign * line.slope / np.sqrt(np.where(steep, line.covariance[1, 1], 1.0))
    return np.where(steep, stdtr(block.readings - 2, -ratio), np.where(ratio > 0.0, 0.0, 1.0))


def straight_line(block: Block, kind: str, usual_sd: float | None = None) -> tuple[dict[str, Estimate], Array]:
    """Say how little happened: a straight line through the readings of each signal.

    Parameters
    ----------
    block : Block
        Signals read at three or more different times; with a usual noise, two are enough.
    kind : str
        Kind of the readings, a name in `noise.INSTRUMENTS`.
    usual_sd : float, optional
        Noise of such readings, in their unit; see `engine.judged`.

    Returns
    -------
    traits : dict of str to Estimate
        Extent from 0 h to the last reading and steepest slope, not below 0, and the level at the start (of a pH
        also at the end), with the standard errors of the line.
    rms : numpy.ndarray, shape (m,)
        Root mean square of the residuals, in the unit read.

    Examples
    --------
    >>> hours, heights = np.arange(5.0)[:, None], np.array([[40.0, 41, 40, 41, 42]]).T
    >>> found, rms = straight_line(Block(np.array([0]), hours, heights, None, np.array([5])), "height_mm")
    >>> found["extent"].value.round(6).tolist(), found["extent"].se.round(3).tolist()
    ([4.0], [2.04])
    """
    line, sign = _line(block, usual_sd), INSTRUMENTS[kind].sign
    first, last = block.t[0], block.t[-1]
    start, slope = line.start, line.slope
    if sign > 0.0:
        zero = start <= 0.0
        percent = 100.0 / np.where(zero, np.nan, start)
        se = percent * line.se(-slope * percent / 100.0, np.ones_like(start))
        rate = estimate(np.maximum(percent * slope, 0.0), se, why=np.where(zero, _NO_PERCENT, ""))
    else:
        rate = estimate(np.maximum(-slope, 0.0), line.se(0.0, 1.0))
    found = {"max_rate": rate, "extent": rate._replace(value=rate.value * last, se=rate.se * last)}
    if kind == "height_mm":
        found["start_height_mm"] = estimate(start, line.se(1.0, 0.0))
    if sign < 0.0:
        found["ph_start"] = estimate(start, line.se(1.0, 0.0))
        found["ph_end"] = estimate(start + slope * last, line.se(1.0, last))
        hour, why = not_passed(SOUR_PH, start + slope * first <= SOUR_PH, first)
        found["time_to_ph_4_6_h"] = estimate(hour, why=why)
    return found, line.rms


class _Line(NamedTuple):
    """Straight lines: level at 0 h, slope, their covariance (2, 2, m), root mean square of the residuals."""

    start: Array
    slope: Array
    covariance: Array
    rms: Array

    def se(self, by_start: Array | float, by_slope: Array | float) -> Array:
        """Return the standard error of a number with these derivatives."""
        (vss, vsr), (_, vrr) = self.covariance
        variance = by_start**2 * vss + 2.0 * by_start * by_slope * vsr + by_slope**2 * vrr
        return np.sqrt(np.maximum(variance, 0.0))


def _line(block: Block, usual_sd: float | None = None) -> _Line:
    counts, n = block.squared_weight, block.readings
    total = column_sums(counts)
    middle, level = column_sums(counts * block.t) / total, column_sums(counts * block.y) / total
    away = block.t - middle
    size = column_sums(counts * away**2)
    slope = column_sums(counts * away * block.y) / size
    squares = column_sums(counts * (block.y - level - slope * away) ** 2)
    variance = noise(squares, n - 2, usual_sd) ** 2
    covariance = variance * np.array([[1 / total + middle**2 / size, -middle / size], [-middle / size, 1 / size]])
    return _Line(level - slope * middle, slope, covariance, np.sqrt(squares / n))
