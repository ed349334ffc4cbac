"""What readings at given hours would tell of a curve, before they are made.

By the information of Fisher: the inverse of ``J' J / sd^2`` is the covariance of the parameters that a fit to such
readings would have, where J holds the derivatives of the curve (Atkinson, Donev & Tobias 2007, Optimum Experimental
Designs, with SAS, ch. 17, from memory). It is exact for many readings; `tests/benchmarks/planning.py` says how far it
holds for few.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from ...columns import RESULTS
from ...curves.composed import LEVELS
from ...errors import CannotRead
from .usual_curves import UsualCurves

Array = np.ndarray
#: The traits that readings are planned for, and up to which error one says anything: of logarithms, and [h]; as of the
#: curves that history is made from.
TRAITS = ("max_rate", "lag_h", "extent")
_UNSURE = np.array([0.5, 2.0, 0.5])
#: Aims of a plan: one trait, or all of them alike.
AIMS = (*TRAITS, "all")
#: A plan is better by an exchange when it lowers the mean log variance by more than this.
_BETTER, _SWEEPS = 1e-6, 20


def errors_at(curves: UsualCurves, hours: Sequence[float] | Array) -> Array:
    """Return the standard errors that a fit to readings at such hours would have, curve by curve.

    Parameters
    ----------
    curves : UsualCurves
        The curves, and the error of a reading.
    hours : sequence of float, shape (readings,)
        When to read [h].

    Returns
    -------
    numpy.ndarray, shape (3, n)
        Of the logarithm of the steepest rate, of the lag [h] and of the logarithm of the extent; infinite where the
        readings leave it open.

    Examples
    --------
    >>> alike = [np.array(["logistic"]), np.array([[40.0], [40.0], [20.0], [2.0]]), np.array([np.inf])]
    >>> curve = UsualCurves("Ida", "rise", "height_mm", "mm", *alike, 1.0, np.array([0.0]))
    >>> errors_at(curve, [0, 1, 2, 3, 4, 6, 8])[:, 0].round(3).tolist()
    [0.084, 0.122, 0.045]
    """
    told = _each(curves, np.asarray(hours, float)).sum(axis=0)
    strength, axes = np.linalg.eigh(told)
    known = strength > 1e-10 * strength[:, -1:]
    gradient = np.einsum("tnp,npq->tnq", _gradients(curves), axes)
    with np.errstate(divide="ignore"):
        variance = (gradient**2 * np.where(known, 1.0 / np.where(known, strength, 1.0), 0.0)).sum(axis=2)
    hidden = np.where(known, 0.0, gradient)
    blind = (hidden**2).sum(axis=2) > 1e-8 * (gradient**2).sum(axis=2)
    return np.where(blind, np.inf, np.sqrt(variance))


def _each(curves: UsualCurves, hours: Array) -> Array:
    """Return what one reading at each hour tells of each curve, shape (hours, n, 4, 4)."""
    derivatives = np.empty((4, len(hours), len(curves.growth)))
    for growth in np.unique(curves.growth):
        of = curves.growth == growth
        derivatives[..., of] = LEVELS[growth].jacobian(hours[:, None], curves.parameters[:, of])
    derivatives = np.where(hours[:, None] <= curves.until_h, derivatives, 0.0) / curves.sd
    return np.einsum("ptn,qtn->tnpq", derivatives, derivatives)


def _gradients(curves: UsualCurves) -> Array:
    """Return the derivatives of log rate, lag and log extent by the parameters, shape (3, n, 4)."""
    start, extent, rate, _ = curves.parameters
    gradients = np.zeros((3, len(start), 4))
    gradients[0, :, 2], gradients[1, :, 3], gradients[2, :, 1] = 1.0 / rate, 1.0, 1.0 / extent
    if curves.rises:
        gradients[0, :, 0] = gradients[2, :, 0] = -1.0 / start
    return gradients


class _Plan:
    """Sets of hours held against each other over all curves of a culture."""

    def __init__(self, curves: UsualCurves, candidates: Array, aim: str, apart_h: float = 0.0) -> None:
        self.near = np.abs(np.subtract.outer(candidates, candidates)) < max(apart_h, 2e-6) - 1e-6
        self.gradients = _gradients(curves)
        self.each = _each(curves, candidates)
        # what nothing is read of is as unsure as a trait may be that still says something
        certain = 1.0 / _UNSURE**2
        self.before = np.einsum("t,tnp,tnq->npq", certain, self.gradients, self.gradients)
        self.before += 1e-9 * np.eye(4) * np.trace(self.each.max(axis=0), axis1=1, axis2=2)[:, None, None]
        self.traits = [TRAITS.index(aim)] if aim in TRAITS else list(range(len(TRAITS)))

    def variances(self, told: Array) -> Array:
        """Return the variances of the traits, shape (..., 3, n)."""
        inverse = np.linalg.inv(told + self.before)
        return np.einsum("tnp,...npq,tnq->...tn", self.gradients, inverse, self.gradients)

    def loss(self, told: Array) -> Array:
        """Return the mean log variance of what is aimed for."""
        return np.log(self.variances(told)[..., self.traits, :]).mean(axis=(-2, -1))

    def best(self, fixed: list[int], more: int) -> list[int]:
        """Return the candidates that tell most: one after another, then exchanged while that is better."""
        chosen = list(fixed)
        for _ in range(more):
            chosen.append(self._next(chosen))
        for _ in range(_SWEEPS):
            before = self.loss(self.each[chosen].sum(axis=0))
            for place in range(len(fixed), len(chosen)):
                others = chosen[:place] + chosen[place + 1 :]
                chosen[place] = self._next(others)
            if before - self.loss(self.each[chosen].sum(axis=0)) < _BETTER:
                break
        return sorted(chosen)

    def _next(self, chosen: list[int]) -> int:
        """Return the candidate that tells most beside those chosen, and far enough from each."""
        loss = self.loss(self.each[chosen].sum(axis=0) + self.each)
        loss[self.near[chosen].any(axis=0)] = np.inf
        best = int(np.argmin(loss))
        if np.isinf(loss[best]):
            raise CannotRead(f"{len(chosen) + 1} readings so far apart cannot be had in the hours given")
        return best


def working_hours(fed_at: float = 8.0, opens: float = 8.0, closes: float = 20.0, until_h: float = 24.0) -> Array:
    """Return the hours since feeding at which somebody is there, every half hour.

    Parameters
    ----------
    fed_at, opens, closes : float
        When the jars are fed, when the day begins and when it ends, by the clock [h].
    until_h : float
        Hours since feeding after which nobody reads [h].

    Returns
    -------
    numpy.ndarray

    Raises
    ------
    CannotRead
        The day has no hours.

    Examples
    --------
    >>> working_hours(16.0, 8.0, 18.0, 18.0).tolist()
    [0.0, 0.5, 1.0, 1.5, 2.0, 16.0, 16.5, 17.0, 17.5, 18.0]
    """
    if not 0.0 <= opens < closes <= 24.0 or not until_h > 0.0:
        raise CannotRead(f"no working hours from {opens} to {closes}, up to {until_h} h after feeding")
    hours = np.arange(0.0, until_h + 0.01, 0.5)
    clock = (fed_at + hours) % 24.0
    return hours[((clock >= opens) & (clock <= closes)) | (hours == 0.0)]


def best_hours(
    curves: UsualCurves,
    hours: Array | None = None,
    readings: Sequence[int] = tuple(range(4, 11)),
    aim: str = "all",
    apart_h: float = 1.0,
) -> pd.DataFrame:
    """Return the best hours to read a culture at, beside those kept now.

    Parameters
    ----------
    curves : UsualCurves
        Its curves: a plan is good for all of them, not for their mean.
    hours : numpy.ndarray, optional
        When somebody is there; `working_hours` by default. The reading at feeding is always made.
    readings : sequence of int
        Numbers of readings to plan, the one at feeding included.
    aim : str
        Of `AIMS`: what shall be known best.
    apart_h : float
        Readings are at least so far apart [h]: readings close together tell the numbers of a known form best, but not
        which form a curve has.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["reading_plans"]``: what is kept now, then the best plan for each number. Errors are
        root mean squares over the curves; one that readings leave open counts as the largest that says anything.

    Raises
    ------
    CannotRead
        There is no such aim, or there are more readings than hours.
    """
    hours = working_hours() if hours is None else np.asarray(hours, float)
    hours = np.unique(np.append(hours, 0.0))
    if aim not in AIMS:
        raise CannotRead(f"'{aim}' is nothing to aim for; use {', '.join(AIMS)}")
    every = np.concatenate((hours, curves.kept_h))
    plan = _Plan(curves, every, aim)
    kept = list(range(len(hours), len(every)))
    open_h = _Plan(curves, hours, aim, apart_h)
    chosen = [("kept now", every[kept], plan.variances(plan.each[kept].sum(axis=0)))]
    for number in readings:
        places = open_h.best([0], number - 1)
        chosen.append(("best", hours[places], open_h.variances(open_h.each[places].sum(axis=0))))
    rows = [_row(curves, name, aim, at, variances) for name, at, variances in chosen]
    made = RESULTS["reading_plans"]
    return pd.DataFrame(rows, columns=made.names).astype(made.dtypes())


def _row(curves: UsualCurves, plan: str, aim: str, hours: Array, variances: Array) -> dict[str, object]:
    rate, lag, extent = np.sqrt(variances.mean(axis=1))
    return {
        "culture": curves.culture,
        "signal": curves.signal,
        "plan": plan,
        "aim": aim,
        "readings": len(hours),
        "hours": ", ".join(f"{hour:.1f}".removesuffix(".0") for hour in hours),
        "max_rate_se_pct": 100.0 * rate,
        "lag_se_h": lag,
        "extent_se_pct": 100.0 * extent,
        "curves": len(curves.growth),
    }


def gain_of_a_reading(curves: UsualCurves, beside: Sequence[float] | Array, hours: Array | None = None) -> pd.DataFrame:
    """Say how much one more reading would teach, hour by hour.

    Parameters
    ----------
    curves : UsualCurves
        A culture's curves.
    beside : sequence of float
        The hours at which it is read in any case [h].
    hours : numpy.ndarray, optional
        Where one more is tried [h]; by default every quarter of an hour to 24 h.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["gain_of_a_reading"]``: the usual level, and by how many percent one more reading at
        that hour lowers the error of each trait, on average over the curves.
    """
    hours = np.arange(0.0, 24.01, 0.25) if hours is None else np.asarray(hours, float)
    every = np.concatenate((hours, np.asarray(beside, float)))
    plan = _Plan(curves, every, "all")
    now = plan.each[len(hours) :].sum(axis=0)
    more = np.log(plan.variances(now + plan.each[: len(hours)])) - np.log(plan.variances(now))
    gained = -100.0 * np.expm1(0.5 * more.mean(axis=2))
    low, level, high = np.quantile(levels(curves, hours), [0.1, 0.5, 0.9], axis=1)
    table = pd.DataFrame({"elapsed_h": hours, "level": level, "level_low": low, "level_high": high})
    table = table.assign(culture=curves.culture, signal=curves.signal, unit="%" if curves.rises else "pH")
    for place, trait in enumerate(TRAITS):
        table[f"{trait}_gain_pct"] = gained[:, place]
    table["all_gain_pct"] = -100.0 * np.expm1(0.5 * more.mean(axis=(1, 2)))
    made = RESULTS["gain_of_a_reading"]
    return table[made.names].astype(made.dtypes())


def levels(curves: UsualCurves, hours: Array) -> Array:
    """Return how far each curve stands above its start [%], or its pH, shape (hours, n); up to where it falls."""
    found = np.empty((len(hours), len(curves.growth)))
    for growth in np.unique(curves.growth):
        of = curves.growth == growth
        found[:, of] = LEVELS[growth].value(np.asarray(hours)[:, None], curves.parameters[:, of])
    start = curves.parameters[0]
    return 100.0 * (found / start - 1.0) if curves.rises else 2.0 * start - found
