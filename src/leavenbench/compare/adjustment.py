"""What a p value is worth when many questions are asked at once."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache, lru_cache
from typing import Any, NamedTuple

import numpy as np
from scipy import stats
from scipy.interpolate import BSpline, make_interp_spline
from scipy.special import gammaln, ndtr, xlogy

from .largest import differences

#: Numbers drawn in all for a single-step adjustment, and the fewest and most draws.
_DRAWN, _FEWEST, _MOST = 40_000_000, 10_000, 50_000
#: Means are drawn so many at a time.
_AT_ONCE = 2_000
#: Steps of the integrals of the studentised range, and how far out they go [sd].
_STEPS, _FAR = 201, 8.0
#: Ranges at which the chance is worked out; between them a quintic spline errs by less than 1e-12.
_RANGES = 801
#: A standard error smaller than exp(-so much / freedom) is never met.
_RARE = 28.0


def adjusted(p: np.ndarray, method: str) -> np.ndarray:
    """Return adjusted p values that need nothing but the p values.

    Parameters
    ----------
    p : numpy.ndarray, shape (m,)
        p values.
    method : str
        ``holm`` (Holm 1979, Scand J Stat 6:65-70: the chance of any false finding) or ``bh`` (Benjamini & Hochberg
        1995, J R Stat Soc B 57:289-300, doi 10.1111/j.2517-6161.1995.tb02031.x: the share of false findings).

    Returns
    -------
    numpy.ndarray, shape (m,)

    Raises
    ------
    ValueError
        The method is none of these.

    Examples
    --------
    >>> adjusted(np.array([0.01, 0.04, 0.03]), "holm").round(4).tolist()
    [0.03, 0.06, 0.06]
    """
    if method == "bh":
        return np.asarray(stats.false_discovery_control(p, method="bh"))
    if method != "holm":
        raise ValueError(f"'{method}' is no adjustment; use holm or bh")
    order = np.argsort(p)
    stepped = np.maximum.accumulate(p[order] * np.arange(len(p), 0, -1))
    found = np.empty(len(p))
    found[order] = np.minimum(stepped, 1.0)
    return found


def studentised_range(q: np.ndarray, groups: int, freedom: float) -> np.ndarray:
    """Return how often the range of so many means, over their common standard error, exceeds q by chance.

    Parameters
    ----------
    q : numpy.ndarray, shape (m,)
        For a difference of two means the root of 2 times size of t.
    groups : int
        Number of means.
    freedom : float
        Degrees of freedom of the standard error.

    Returns
    -------
    numpy.ndarray, shape (m,)

    Notes
    -----
    Tukey 1953; by trapezoids over the smallest mean and over the standard error, which for such smooth integrands is
    exact to ten digits.

    Examples
    --------
    >>> studentised_range(np.array([3.506426]), 3, 27.0).round(5).tolist()
    [0.05]
    """
    wide = min(_FAR / np.sqrt(2.0 * freedom), 2.5)
    log_s = np.linspace(-max(wide, _RARE / freedom), wide, _STEPS)
    s = np.exp(log_s)
    log_density = np.log(2.0) + xlogy(freedom / 2, freedom / 2) - gammaln(freedom / 2)
    at_s = np.exp(log_density + freedom * log_s - freedom * s**2 / 2) * (log_s[1] - log_s[0])
    within = _within(groups)(np.minimum(q[:, None] * s, 2.0 * _FAR))
    beyond = (1.0 - within) @ at_s / at_s.sum()
    return np.clip(beyond, 0.0, 1.0)


@cache
def _within(groups: int) -> BSpline:
    """Return the chance that so many means, each with an error of 1, lie within a range, by that range."""
    z = np.linspace(-_FAR, _FAR, 2 * _STEPS)
    at_z = stats.norm.pdf(z) * (z[1] - z[0]) * groups
    ranges = np.linspace(0.0, 2.0 * _FAR, _RANGES)
    within = (ndtr(z) - ndtr(z - ranges[:, None])) ** (groups - 1) @ at_z
    return make_interp_spline(ranges, within, k=5)


class Together(NamedTuple):
    """The largest of many size of t by chance, to adjust all of them in a single step.

    Attributes
    ----------
    largest : numpy.ndarray, shape (draws,)
        In ascending order.
    freedom : float
        Degrees of freedom at which they were drawn.
    """

    largest: np.ndarray
    freedom: float

    @classmethod
    def drawn(
        cls, covariance: np.ndarray, first: np.ndarray, second: np.ndarray, freedom: float, seed: int
    ) -> Together:
        """Draw the means of groups that do not differ, and keep the largest size of t of the differences asked for.

        Parameters
        ----------
        covariance : numpy.ndarray, shape (g, g)
            Of the means.
        first, second : numpy.ndarray of int, shape (m,)
            Which two means each difference is of.
        freedom : float
            Degrees of freedom of the standard errors.
        seed : int
            The same seed draws the same.
        """
        strength, axes = np.linalg.eigh(covariance)
        root = (axes * np.sqrt(np.maximum(strength, 0.0))).astype(np.float32)
        draws = int(np.clip(_DRAWN // len(first), _FEWEST, _MOST))
        asked = differences(covariance, first, second)
        normal, state = _normal(seed, len(root), draws)
        largest = np.concatenate([asked.largest(root @ some) for some in normal])
        if np.isfinite(freedom):
            rng = np.random.default_rng()
            rng.bit_generator.state = state
            largest /= np.sqrt(rng.chisquare(freedom, draws) / freedom)
        return cls(np.sort(largest), freedom)

    def adjusted(self, p: np.ndarray) -> np.ndarray:
        """Return adjusted p values; each is first read as the size of t that it would be at the common freedom."""
        t = stats.t.isf(np.maximum(p, 1e-300) / 2.0, self.freedom)
        beyond = len(self.largest) - np.searchsorted(self.largest, t, side="left")
        return np.maximum((beyond + 1.0) / (len(self.largest) + 1.0), p)

    def single(self, chance: float) -> float:
        """Return the p value of a single difference that is as rare as `chance` among all of them."""
        return float(2.0 * stats.t.sf(np.quantile(self.largest, 1.0 - chance), self.freedom))


@lru_cache(maxsize=1)
def _normal(seed: int, groups: int, draws: int) -> tuple[list[np.ndarray], Mapping[str, Any]]:
    """Return normal numbers, some draws (groups, some) at a time, and in what state they leave their generator.

    The same seed draws the same, and one trait of the same groups is asked for after the other.
    """
    rng, many = np.random.default_rng(seed), [min(_AT_ONCE, draws - begin) for begin in range(0, draws, _AT_ONCE)]
    return [rng.standard_normal((groups, some), np.float32) for some in many], rng.bit_generator.state
