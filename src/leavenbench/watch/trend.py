"""How fast a culture has changed over its last rounds, up or down: a robust slope, and how sure it is.

The slope is the median of all pairwise slopes (Theil 1950; Sen 1968, J Am Stat Assoc 63:1379-1389,
doi 10.1080/01621459.1968.10480934). Its error comes from how the culture's levels wander, since a handful of rounds
cannot tell its own.
"""

from __future__ import annotations

import numpy as np

from .scatter import Scatter
from .series import Array, Series

#: Rounds that a trend is told over, at most.
_ROUNDS = 12
#: The median of pairwise slopes has this efficiency against least squares under normal noise (Sen 1968).
_EFFICIENCY = 0.95


def recent_trend(series: Series, scatter: Scatter, rows: Array, longest: int = _ROUNDS) -> tuple[Array, Array]:
    """Return the slope over the last rounds up to each, and its standard error.

    Parameters
    ----------
    series : Series
        The levels of a shelf.
    scatter : Scatter
        How they wander.
    rows : numpy.ndarray of int, shape (m,)
        The rounds to look back from.
    longest : int
        Rounds looked over, at most.

    Returns
    -------
    slope, slope_se : numpy.ndarray, shape (m,)
        Change of log vigour per round; missing (NaN) where there is only one round, or one moment.

    Examples
    --------
    >>> from leavenbench.watch.scatter import scatter_of
    >>> at = np.arange(8.0)
    >>> falling = Series(-0.1 * at, np.full(8, 0.01), at, np.zeros(8, int))
    >>> slope, error = recent_trend(falling, scatter_of(falling), np.array([7]))
    >>> slope.round(3), bool(error[0] > 0.0)
    (array([-0.1]), True)
    """
    slope, error = np.full((2, len(rows)), np.nan)
    rounds = np.minimum(series.nth[rows] + 1, longest)
    for window in np.unique(rounds[rounds > 1]):
        of_it = np.flatnonzero(rounds == window)
        looked = rows[of_it][:, None] - np.arange(window - 1, -1, -1)
        y, t = series.level[looked], series.at[looked]
        one, other = np.triu_indices(window, 1)
        apart = t[:, other] - t[:, one]
        pairs = np.divide(y[:, other] - y[:, one], apart, out=np.full(apart.shape, np.nan), where=apart > 0.0)
        centred = t - t.mean(axis=1, keepdims=True)
        spread = (centred**2).sum(axis=1, keepdims=True)
        told = of_it[spread[:, 0] > 0.0]
        slope[told] = np.nanmedian(pairs[spread[:, 0] > 0.0], axis=1)
        weight = np.divide(centred, spread, out=np.full(centred.shape, np.nan), where=spread > 0.0)
        between = np.abs(t[:, :, None] - t[:, None, :])
        covariance = scatter.sd[rows[of_it], None, None] ** 2 * scatter.carry_over[rows[of_it], None, None] ** between
        variance = np.einsum("ni,nij,nj->n", weight, covariance, weight)
        variance += (weight**2 * series.variance[looked]).sum(axis=1)
        error[of_it] = np.sqrt(variance / _EFFICIENCY)
    return slope, error
