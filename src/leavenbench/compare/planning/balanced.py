"""What `compared` says of balanced designs, of very many of them at once.

Variances come from `strata`; carry-over, own scatter and degrees of freedom are those of `carry_over`, `own_scatter`
and `reml`, for hundreds of invented shelves in the time of one. A test holds each number against `mixed.compared`.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..carry_over import FURTHEST
from ..equations import Array
from ..own_scatter import Scatter, moderated
from .strata import Design, Fitted, Strata, solved

#: As in `mixed`: a share of the stated variance under which refeeds scatter no more than stated.
_NO_MORE = 1e-3
#: The carry-over is sought among these, as in `carry_over`.
_TRIED = np.linspace(0.0, 0.9, 181)


class Differences(NamedTuple):
    """All differences between cultures of invented shelves, each array of shape (shelves, pairs).

    Attributes
    ----------
    estimate, se, freedom : numpy.ndarray
        First less second, its standard error, and the degrees of freedom of that.
    """

    estimate: Array
    se: Array
    freedom: Array


def differences(design: Design, values: Array, se: float) -> Differences:
    """Estimate the differences between the cultures of many shelves.

    Parameters
    ----------
    design : Design
        The same for all.
    values : numpy.ndarray, shape (shelves, cultures, rounds, refeeds)
        What each refeed showed.
    se : float
        The stated standard error of each.

    Returns
    -------
    Differences
        With the errors of `mixed.compared`.

    Examples
    --------
    >>> values = np.array([[[[2.0], [2.1], [2.3], [1.9]], [[3.0], [3.2], [2.7], [3.1]]]])
    >>> alone = Design(2, 4, 1, shared_days=False, successive=False)
    >>> [of.round(3).tolist() for of in differences(alone, values, 0.05)]  # a two-sample t test
    [[[-0.925]], [[0.138]], [[6.0]]]
    """
    strata = Strata.of(design, values)
    fitted = Fitted.of(strata, se**2)
    few = fitted.theta[:, 0] <= _NO_MORE * se**2
    if few.any():  # refeeds scatter no more than stated: the errors count in proportion only
        fitted = fitted.with_some(few, Fitted.of(strata.of_shelves(few), 0.0))
    own = _moderated(fitted)
    carried = _carried(fitted)
    return _told(fitted, carried, own)


class _Carried(NamedTuple):
    """What rounds carry over, shelf by shelf: rho, the variances beside it, and how well all of that is known."""

    rho: Array
    theta: Array
    uncertain: Array


def _carried(fitted: Fitted) -> _Carried:
    """Set the form of successive rounds equal to what it is to be expected, as `carry_over` does."""
    of_round, information = fitted.strata.of_round, fitted.information()
    alone = np.pad(np.linalg.pinv(information, hermitian=True), ((0, 0), (0, 1), (0, 1)))
    if not fitted.strata.design.successive:
        return _Carried(np.zeros(len(alone)), fitted.theta, alone)
    by_lag, above = _forms(fitted)
    rho, more = _sought(fitted, information, by_lag, above)
    beside = 0.5 * by_lag[:, :-1, :1]
    known = np.block([[information, beside], [beside.swapaxes(1, 2), 0.5 * by_lag[:, -1:, :1]]])
    uncertain = np.linalg.pinv(known, hermitian=True)
    told = (rho * (fitted.theta[:, of_round] + more[:, of_round])) ** 2
    with np.errstate(divide="ignore", invalid="ignore"):
        sure = np.where(told > 0.0, 1.0 / (1.0 + (np.maximum(uncertain[:, -1, -1], 0.0) / told) ** 2), 0.0)
    sure[fitted.theta[:, of_round] <= 0.0] = 0.0
    uncertain = np.where(sure[:, None, None] > 0.0, uncertain, alone)
    return _Carried(sure * rho, fitted.theta + sure[:, None] * more, uncertain)


def _lags(design: Design) -> Array:
    """Return how far apart rounds may be that have something in common."""
    return np.arange(1, min(FURTHEST, design.rounds - 1) + 1)


def _forms(fitted: Fitted) -> tuple[Array, Array]:
    """Return how the quadratic forms of `carry_over` move with the covariance of rounds, and how far the last is over.

    Shapes (shelves, terms + 1, lags) and (shelves,).
    """
    strata, at, left = fitted.strata, fitted.expected, _left(fitted)
    rounds, m = strata.design.rounds, strata.design.refeeds
    apart = np.abs(np.subtract.outer(np.arange(rounds), np.arange(rounds)))
    joined = np.array([(apart == lag) - (apart == lag).mean(axis=0) for lag in _lags(strata.design)])
    traces = np.trace(joined, axis1=1, axis2=2)
    by_lag = np.zeros((len(at), fitted.theta.shape[1] + 1, len(joined)))
    above = 2.0 * (left[:, :, 1:] * left[:, :, :-1]).sum(axis=(1, 2))
    for place, times in strata.repeated:
        expected = at[:, place, None]
        by_lag[:, :-1] += times * m * strata.shares[place][:, None] * traces / expected[..., None] ** 2
        by_lag[:, -1] += times * m**2 * np.einsum("ij,lji->l", joined[0], joined) / expected**2
        above -= times * m * traces[0] / at[:, place]
    return by_lag, above


def _left(fitted: Fitted) -> Array:
    """Return what is left of rounds, Z' P y, shape (shelves, cultures, rounds)."""
    strata, at = fitted.strata, fitted.expected
    left = strata.within / at[:, strata.own, None, None]
    if strata.design.shared_days:
        left = left + strata.between / at[:, 0, None, None]
    return strata.design.refeeds * left


def _sought(fitted: Fitted, information: Array, by_lag: Array, above: Array) -> tuple[Array, Array]:
    """Return rho, and by how much variances must be larger beside it, as `carry_over._sought`."""
    of_round, terms = fitted.strata.of_round, information.shape[1]
    own = fitted.theta[:, of_round]
    moved = by_lag @ _TRIED ** _lags(fitted.strata.design)[:, None]  # (shelves, terms + 1, tried)
    system = np.repeat(2.0 * information[:, None], len(_TRIED), axis=1)
    system[..., of_round] += moved[:, :-1].swapaxes(1, 2)
    wanted = 2.0 * fitted.score()[:, None] - own[:, None, None] * moved[:, :-1].swapaxes(1, 2)
    loose = np.broadcast_to(fitted.free[:, None], wanted.shape)
    more = solved(system, wanted, loose)
    whole = own[:, None] + more[..., of_round]
    over = (more @ by_lag[:, :-1, 0, None])[..., 0] + whole * moved[:, -1] - above[:, None]
    reached = (over >= 0.0) & (whole > 0.0)
    best = np.where(reached.any(axis=1), reached.argmax(axis=1), np.abs(over).argmin(axis=1))
    best[over[:, 0] >= 0.0] = 0
    shelf = np.arange(len(own))
    found = np.maximum(more[shelf, best], -fitted.theta)
    return _TRIED[best], np.where(best[:, None] > 0, found, np.zeros(terms))


def _moderated(fitted: Fitted) -> Scatter:
    """Return the own scatter of each culture of each shelf, as `own_scatter`, shape (shelves, cultures)."""
    strata, at = fitted.strata, fitted.expected
    k, rounds, m = strata.design[:3]
    size = m / at[:, strata.own]
    if strata.design.shared_days:
        size = m * (1.0 / (k * at[:, 0]) + (1.0 - 1.0 / k) / at[:, 1])
    ratio = (_left(fitted) ** 2).sum(axis=2) / (size[:, None] * (rounds - 1.0))
    freedom = np.full(k, rounds - 1.0)
    drawn = [moderated(Scatter(of, freedom)) for of in ratio]
    return Scatter(np.array([of.ratio for of in drawn]), np.array([of.freedom for of in drawn]))


def _told(fitted: Fitted, carried: _Carried, own: Scatter) -> Differences:
    """Return the differences, their errors and degrees of freedom."""
    strata = fitted.strata
    (_, rounds, m), of_round = strata.design[:3], strata.of_round
    first, second = strata.design.pairs
    lags = _lags(strata.design)
    met = 2.0 * (rounds - lags) / rounds**2  # how often rounds so far apart meet in a mean
    rho, whole = carried.rho[:, None], carried.theta[:, of_round]
    shared = (met * rho**lags).sum(axis=1)
    slope = (met * lags * rho ** (lags - 1.0)).sum(axis=1)
    moves = np.empty((len(whole), carried.theta.shape[1] + 1))
    moves[:, :-1] = 2.0 * strata.shares[strata.own] / (rounds * m)
    moves[:, -1] = 2.0 * slope
    single = fitted.known + carried.theta @ strata.shares[strata.own]
    plain = 2.0 * single / (rounds * m) + 2.0 * whole * shared
    half = _half(fitted, carried, shared)
    spread = np.einsum("nk,nkl,nl->n", moves, carried.uncertain, moves)[:, None]
    unsure = 2.0 * own.ratio**2 / own.freedom * half[:, None] ** 2
    variance = plain[:, None] + half[:, None] * (own.ratio[:, first] + own.ratio[:, second] - 2.0)
    spread = spread + unsure[:, first] + unsure[:, second]
    freedom = np.maximum(2.0 * variance**2 / np.maximum(spread, 1e-300), 1.0)
    return Differences(strata.means[:, first] - strata.means[:, second], np.sqrt(variance), freedom)


def _half(fitted: Fitted, carried: _Carried, shared: Array) -> Array:
    """Return what one culture's own scatter adds to the variance of a difference."""
    strata = fitted.strata
    _, rounds, m = strata.design[:3]
    single = fitted.known + (carried.theta[:, 0] if strata.of_round else 0.0)
    return single / (rounds * m) + carried.theta[:, strata.of_round] * (1.0 / rounds + shared)
