"""A CUSUM and an EWMA of one culture, round by round, with the limits that make them run as long as is wished.

The CUSUM is Page's (1954, Biometrika 41:100-115, doi 10.1093/biomet/41.1-2.100), the EWMA that of Roberts (1959,
Technometrics 1:239-250, doi 10.1080/00401706.1959.10489860); both cited from memory.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from ...errors import CannotRead
from ...vigour.baseline import BASELINE_ROUNDS
from .run_length import ewma_sd, hold, limit_for

Array = np.ndarray


def charts_of(
    levels: pd.DataFrame, noise: ArrayLike, run_length: float = 600.0, *, k: float = 0.5, weight: float = 0.2
) -> pd.DataFrame:
    """Return both charts of one culture, each by itself set to the wished run length, looking for a fall.

    Parameters
    ----------
    levels : pandas.DataFrame
        The rounds of one history of one culture in order, with round, fed_at and level (log vigour), as from
        `levels.round_levels`.
    noise : array_like
        Standard deviation of a level: one number, or as known at each round, shape (n,).
    run_length : float
        Rounds until a false signal, on average, if the levels were independent, normal and about a known baseline;
        600 is one in 100 culture-years of six rounds. Of real cultures it does not hold: rounds go with their
        neighbours, and the baseline is that of six, so that false signals come several times as often. Our alerts
        are calibrated by simulation for that reason.
    k, weight : float
        What the CUSUM passes over [sd], and what a new level counts in the EWMA.

    Returns
    -------
    pandas.DataFrame
        One row per round: round, fed_at; z, the level less the mean of the first six rounds, over the noise, missing
        in those six, in which the charts do not yet run; cusum and cusum_limit, ewma and ewma_limit (below zero);
        cusum_signal and ewma_signal, whether the chart stands beyond its limit.

    Raises
    ------
    CannotRead
        A noise is not above zero, or there are no charts of that design.

    Examples
    --------
    >>> levels = pd.DataFrame({"round": range(1, 11), "fed_at": pd.Timestamp("2024-01-01"), "level": 0.0})
    >>> levels.loc[6:, "level"] = [-0.1, -0.2, -0.3, -0.4]
    >>> charts_of(levels, 0.1).loc[6:, ["round", "z", "cusum", "cusum_signal", "ewma", "ewma_signal"]].round(2)
       round    z  cusum  cusum_signal  ewma  ewma_signal
    6      7 -1.0    0.5         False -0.20        False
    7      8 -2.0    2.0         False -0.56        False
    8      9 -3.0    4.5         False -1.05         True
    9     10 -4.0    8.0          True -1.64         True
    """
    sd = np.broadcast_to(np.asarray(noise, float), len(levels))
    if not (sd > 0.0).all():
        raise CannotRead(f"The noise of a level is {sd[~(sd > 0.0)][0]}; it must be above zero.")
    level, nth = levels["level"].astype(float), levels["level"].notna().cumsum()
    z = ((level - level[nth <= BASELINE_ROUNDS].mean()) / sd).where(nth > BASELINE_ROUNDS).to_numpy()
    sums, means = cusum(z, k), ewma(z, weight)
    sums_limit = limit_for(run_length, "cusum", k=k)
    means_limit = -limit_for(run_length, "ewma", weight=weight) * ewma_sd(weight)
    return levels[["round", "fed_at"]].assign(
        z=z,
        cusum=sums,
        cusum_limit=sums_limit,
        cusum_signal=sums > sums_limit,
        ewma=means,
        ewma_limit=means_limit,
        ewma_signal=means < means_limit,
    )


def cusum(z: ArrayLike, k: float = 0.5) -> Array:
    """Return the falls so far beyond k a round, summed from where the sum last stood at zero.

    Parameters
    ----------
    z : array_like, shape (..., n)
        Standardised levels of n rounds in order; missing (NaN) where nothing was read.
    k : float
        The fall of a round [sd] that is passed over, 0 or more.

    Returns
    -------
    numpy.ndarray, shape (..., n)
        S = max(0, S of the round before - z - k), from S = 0; where z is missing it stays.

    Raises
    ------
    CannotRead
        k is negative, a level is infinite, or there are no rounds.

    Examples
    --------
    >>> cusum([-1.0, 0.0, -2.0, np.nan, 3.0]).tolist()
    [0.5, 0.0, 1.5, 1.5, 0.0]
    """
    hold(k=k)
    levels = _rounds(z)
    summed = np.cumsum(np.where(np.isnan(levels), 0.0, -levels - k), axis=-1)
    # A sum that starts afresh at zero is the whole sum over its own least so far.
    return summed - np.minimum(np.minimum.accumulate(summed, axis=-1), 0.0)


def ewma(z: ArrayLike, weight: float = 0.2) -> Array:
    """Return the mean of the levels so far, each counting less the longer ago it is.

    Parameters
    ----------
    z : array_like, shape (..., n)
        Standardised levels of n rounds in order; missing (NaN) where nothing was read.
    weight : float
        What a new level counts, from 0.01 to 1.

    Returns
    -------
    numpy.ndarray, shape (..., n)
        E = (1 - weight) E of the round before + weight z, from E = 0; where z is missing it stays.

    Raises
    ------
    CannotRead
        The weight lies outside its range, a level is infinite, or there are no rounds.

    Examples
    --------
    >>> ewma([-1.0, -1.0, np.nan, 1.0], weight=0.5).tolist()
    [-0.5, -0.75, -0.75, 0.125]
    """
    hold(weight=weight)
    levels = _rounds(z)
    mean = np.zeros_like(levels)
    before = np.zeros(levels.shape[:-1])
    for nth in range(levels.shape[-1]):
        level = levels[..., nth]
        before = np.where(np.isnan(level), before, (1.0 - weight) * before + weight * level)
        mean[..., nth] = before
    return mean


def _rounds(z: ArrayLike) -> Array:
    """Return levels as an array that has rounds, all of them finite or missing."""
    levels = np.asarray(z, float)
    if levels.ndim == 0:
        raise CannotRead("A chart follows levels round by round; a single number is none. Give a list of them.")
    if np.isinf(levels).any():
        raise CannotRead("A level is infinite. Leave it missing (NaN) where there is no reading.")
    return levels
