"""How far the truth may lie off a fitted curve as a whole, not only at one hour.

A pointwise 95 % interval holds the truth at an hour that was named beforehand; somewhere along a rise the truth leaves
it in one curve of four. A band for the whole curve is wider by a constant: as many standard errors as the largest
deviation along the curve exceeds in one case of twenty (the sup-t band: Montiel Olea & Plagborg-Moller 2019, J Appl
Econometrics 34:1-17, doi 10.1002/jae.2656).
"""

from __future__ import annotations

import numpy as np

from .engine import Fits
from .models import Array

#: Directions in which errors are drawn: with so many, another seed moves the width of a band by some 0.3 %.
_DRAWS = 1_000
#: A way in which the curve moves less than this, against that in which it moves most, is none of its own.
_STILL = 1e-9
#: With so many degrees of freedom the size of the errors is as good as known.
_KNOWN = 1e6
#: How often the stretch in which the constant lies is halved: finer than the draws can tell.
_HALVINGS = 30


def simultaneous_band(fits: Fits, hours: Array, level: float = 0.95, seed: int = 0) -> Array:
    """Say how far the truth may lie off a fitted curve, at all hours at once.

    Parameters
    ----------
    fits : Fits
        A single fit.
    hours : numpy.ndarray, shape (k,)
        The stretch for which the band is to hold [h]; a hundred hours over it are as good as all.
    level : float
        How often such a band holds the whole curve, between 0 and 1.
    seed : int
        Seed of the directions in which errors are drawn.

    Returns
    -------
    numpy.ndarray, shape (k,)
        Half the width of the band, in the curve's unit: a multiple of the standard error by linear theory. NaN where
        there is no standard error: without a reading to spare, or a usual noise, nothing says how far readings
        scatter, a search that did not come to rest stands at no optimum, and a curve that moves in a way on which
        the readings are silent may lie anywhere.

    Notes
    -----
    It is as good as linear theory, and supposes that the curve has the right form. Of simulated rises, read 6, 12 or
    40 times, 95 % bands held 94 to 95 % as a whole where that is so, and some 88 to 92 % where the form was chosen
    from the readings (``tests/curves/test_band.py``).

    Examples
    --------
    >>> from leavenbench.curves.composed import LEVELS
    >>> from leavenbench.curves.engine import judged
    >>> from leavenbench.curves.search import search
    >>> hours = np.array([[0.0, 1, 2, 3, 4, 5, 6, 8, 9]]).T
    >>> heights = np.array([[40.2, 40, 41, 46, 62, 75, 79, 80, 79.6]]).T
    >>> fits = judged(LEVELS["logistic"], hours, search("logistic", hours, heights), np.array([9]))
    >>> simultaneous_band(fits, np.linspace(0.0, 9.0, 100))[::33].round(1).tolist()
    [0.7, 0.8, 0.5, 0.6]
    """
    gradient = fits.model.jacobian(hours, fits.parameters[:, 0])
    se = fits.of(np.zeros(len(hours), int)).standard_error(gradient)
    se[~(fits.settled[0] & (fits.freedom[0] > 0.0))] = np.nan
    told = se > 0.0
    if told.any():
        ways = (fits.spread[..., 0] @ gradient[:, told] / se[told]).T
        se[told] *= largest_deviation(ways, float(fits.freedom[0]), level, seed)
    return se


def largest_deviation(ways: Array, spare: float, level: float, seed: int = 0) -> float:
    """Return what the largest of several t values, in size, does not exceed at a level.

    Each is a sum of the same independent normal errors; one estimate of their size serves all. A draw of the errors
    has a direction and a length. Directions are drawn; the lengths, squared, have an F distribution that is used as it
    is. Did every direction lie along one of the sums, the answer would be Scheffe's bound, which it never exceeds.

    Parameters
    ----------
    ways : numpy.ndarray, shape (k, p)
        How p errors are summed to k numbers; rows of length 1.
    spare : float
        Degrees of freedom of the estimated size; infinite where it is known.
    level : float
        How often it is not exceeded, between 0 and 1.
    seed : int
        Seed of the directions.

    Returns
    -------
    float
        From Student's t quantile, as for a single number, to Scheffe's bound (1953, Biometrika 40:87-104, doi
        10.1093/biomet/40.1-2.87), as for all sums of the errors.

    Examples
    --------
    One number alone, with its mirror image, and with a second that shares nothing with it:

    >>> one, mirrored, apart = [1.0, 0.0], [-1.0, 0.0], [0.0, 1.0]
    >>> [round(largest_deviation(np.array(of), 8, 0.95), 2) for of in ([one], [one, mirrored], [one, apart])]
    [2.31, 2.31, 2.71]
    """
    from scipy.special import fdtrc, fdtri, stdtrit

    _, strength, axes = np.linalg.svd(ways, full_matrices=False)
    axes = axes[strength > _STILL * strength[0]]
    size, spare = len(axes), min(spare, _KNOWN)
    directions = np.random.default_rng(seed).standard_normal((size, _DRAWS))
    directions /= np.sqrt((directions**2).sum(axis=0))
    nearest = np.abs(ways @ axes.T @ directions).max(axis=0)
    low, high = stdtrit(spare, 0.5 + 0.5 * level), np.sqrt(size * fdtri(size, spare, level))
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        exceeded = fdtrc(size, spare, (middle / nearest) ** 2 / size).mean()
        low, high = (middle, high) if exceeded > 1.0 - level else (low, middle)
    return float(high)
