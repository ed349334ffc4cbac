"""Which groups differ, which are the same within a margin, and of which the records cannot tell.

'No difference found' is not 'the same': sameness is shown by two one-sided tests against a margin that is stated
beforehand (Schuirmann 1987, J Pharmacokinet Biopharm 15:657-680, doi 10.1007/BF01068419).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.polynomial import Chebyshev
from scipy import stats

from ..columns import RESULTS
from ..errors import CannotRead
from .adjustment import Together, adjusted, studentised_range
from .mixed import Comparison

#: Chance of a false finding, and so of an interval that misses.
CHANCE = 0.05
#: Standard errors and degrees of freedom that differ by less than this are equal: then Tukey's range is exact.
_EQUAL = 0.005
#: Of more differences than this the range is told by a table of so many ranges, and t by a polynomial of this degree.
_TABLE, _DEGREE = 60, 32
#: Rounds that carry over no more than this to the next are nearly as good as independent ones.
_LITTLE = 0.1
#: What is done to p values, and how it is called in the tables.
ADJUSTMENTS = {
    "tukey": "Tukey (studentised range)",
    "single-step": "single-step (multivariate t, simulated)",
    "dunnett": "Dunnett (multivariate t, simulated)",
    "holm": "Holm",
    "bh": "Benjamini-Hochberg (share of false findings)",
}


def means(comparison: Comparison) -> pd.DataFrame:
    """Return the estimated mean of every group.

    Parameters
    ----------
    comparison : Comparison
        From `mixed.compared`.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["compared_means"]``; of a trait on a log scale the means are geometric.
    """
    estimate, se, freedom = comparison.means()
    away = se * _t_beyond(CHANCE / 2.0, freedom)
    table = comparison.groups.assign(
        trait=comparison.trait, by=comparison.by, unit=comparison.unit, se_working=se, freedom=freedom
    )
    back = np.exp if comparison.scale == "log" else np.asarray
    for name, value in (("mean", estimate), ("low", estimate - away), ("high", estimate + away)):
        table[name] = back(value)
    made = RESULTS["compared_means"]
    return table[made.names].astype(made.dtypes())


class Overall(NamedTuple):
    """Whether anything differs at all: F, its degrees of freedom, and how often chance alone gives as much."""

    F: float
    freedom: tuple[int, float]
    p: float


def overall(comparison: Comparison) -> Overall:
    """Test whether all groups are the same (Kenward & Roger 1997, section 3, for several combinations at once).

    Parameters
    ----------
    comparison : Comparison
        From `mixed.compared`.

    Returns
    -------
    Overall
    """
    fitted, many = comparison.fitted, len(comparison.groups)
    of = np.eye(many, len(fitted.effects))[1:] - np.eye(1, len(fitted.effects))
    q = many - 1
    plain, adjusted_to = (of @ matrix @ of.T for matrix in (fitted.covariance, fitted.adjusted))
    shares = np.linalg.solve(plain, of @ fitted.moves @ of.T)
    traces = np.trace(shares, axis1=1, axis2=2)
    single = traces @ fitted.uncertain @ traces
    joint = float((fitted.uncertain * np.einsum("aij,bji->ab", shares, shares)).sum())
    scale, freedom = _scaled(single, joint, q)
    told = of @ fitted.effects
    f = float(scale * told @ np.linalg.solve(adjusted_to, told) / q)
    return Overall(f, (q, freedom), float(stats.f.sf(f, q, freedom)))


def _scaled(single: float, joint: float, q: int) -> tuple[float, float]:
    """Return by what F is scaled and its second degrees of freedom, so that its mean and variance are right."""
    b = (single + 6.0 * joint) / (2.0 * q)
    g = ((q + 1) * single - (q + 4) * joint) / ((q + 2) * joint)
    under = 3 * q + 2 * (1 - g)
    mean = 1.0 / (1.0 - joint / q)
    first, second, third = (of / under for of in (g, q - g, q + 2 - g))
    variance = 2.0 / q * (1.0 + first * b) / ((1.0 - second * b) ** 2 * (1.0 - third * b))
    freedom = 4.0 + (q + 2) / (q * variance / (2.0 * mean**2) - 1.0)
    return freedom / (mean * (freedom - 2.0)), freedom


def pairs(
    comparison: Comparison, margin: float | None = None, adjust: str | None = None, *, seed: int = 0
) -> pd.DataFrame:
    """Compare every group with every other.

    Parameters
    ----------
    comparison : Comparison
        From `mixed.compared`.
    margin : float, optional
        What counts as the same: of a trait on a log scale a share in % (15: neither over 15 % more than the other nor
        the other over 15 % more than it), else in the trait's unit.
    adjust : str, optional
        Of `ADJUSTMENTS` but dunnett; by default Tukey's range where all differences are equally well known, for then
        it is exact, else a single step by simulation; Holm where cultures scatter unequally or rounds carry over much
        to the next, for then neither holds.
    seed : int
        For the simulation.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["compared_pairs"]``, the most certain difference first. Sameness is judged pair by
        pair, at a chance of 5 % each: it is not adjusted.

    Raises
    ------
    CannotRead
        The adjustment or the margin cannot be used.
    """
    many = len(comparison.groups)
    first, second = np.triu_indices(many, 1)
    asked = _Asked.of(comparison, second, first, margin)
    if adjust is None:
        adjust = "tukey" if asked.equally_known() else "single-step" if asked.share_one_error() else "holm"
    if adjust not in set(ADJUSTMENTS) - {"dunnett"}:
        raise CannotRead(f"'{adjust}' is no adjustment of all pairs: use tukey, single-step, holm or bh")
    if adjust == "tukey" and not asked.equally_known():
        raise CannotRead("Tukey's range needs differences that are equally well known: use single-step, holm or bh")
    return asked.table(adjust, seed).sort_values(["p_adjusted", "p"], kind="stable", ignore_index=True)


def against(comparison: Comparison, control: str, margin: float | None = None, *, seed: int = 0) -> pd.DataFrame:
    """Compare every group with one control (Dunnett 1955, J Am Stat Assoc 50:1096-1121, doi 10.2307/2281208).

    Parameters
    ----------
    comparison : Comparison
        From `mixed.compared`.
    control : str
        The group that the others are held against.
    margin, seed
        As for `pairs`.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["compared_pairs"]``, the control second, in the order of the groups.

    Raises
    ------
    CannotRead
        There is no such group, or the margin cannot be used.
    """
    names = comparison.groups["group"].astype("str").tolist()
    if control not in names:
        raise CannotRead(f"'{control}' is not among the groups compared: {', '.join(names)}")
    place = names.index(control)
    others = np.array([number for number in range(len(names)) if number != place])
    asked = _Asked.of(comparison, others, np.full(len(others), place), margin)
    return asked.table("dunnett", seed)


class _Asked(NamedTuple):
    """Differences, each of one group less another, on the working scale."""

    comparison: Comparison
    first: np.ndarray
    second: np.ndarray
    margin: float | None
    estimate: np.ndarray
    se: np.ndarray
    freedom: np.ndarray

    @classmethod
    def of(cls, comparison: Comparison, first: np.ndarray, second: np.ndarray, margin: float | None) -> _Asked:
        if margin is not None and not margin > 0.0:
            raise CannotRead(f"a margin of {margin} leaves nothing to be the same within: give one above zero")
        return cls(comparison, first, second, margin, *comparison.fitted.differences(first, second))

    def equally_known(self) -> bool:
        """Whether all differences have the same error, which is all that the studentised range needs."""
        alike = all(np.ptp(of) <= _EQUAL * of.mean() for of in (self.se, 1.0 / self.freedom))
        return bool(alike or len(self.se) == 1)

    def share_one_error(self) -> bool:
        """Whether the errors of all differences go up and down together, as a range by simulation supposes.

        They do not where cultures scatter unequally, nor where rounds carry over much, which few rounds tell badly.
        """
        return bool((self.comparison.own_scatter == 1.0).all()) and self.comparison.carry_over <= _LITTLE

    def table(self, adjust: str, seed: int) -> pd.DataFrame:
        t = np.abs(self.estimate) / self.se
        p = 2.0 * stats.t.sf(t, self.freedom)
        p_adjusted, single = self._adjusted(adjust, t, p, seed)
        equivalent = self._equivalent()
        names = _names(self.comparison)
        alone = self.se * _t_beyond(CHANCE / 2.0, self.freedom)
        table = pd.DataFrame(
            {
                "trait": self.comparison.trait,
                "by": self.comparison.by,
                "first": names.take(self.first),
                "second": names.take(self.second),
                "unit": "%" if self.comparison.scale == "log" else self.comparison.unit,
                "se_working": self.se,
                "freedom": self.freedom,
                "p": p,
                "p_adjusted": p_adjusted,
                "adjusted_by": ADJUSTMENTS[adjust],
                "margin": np.nan if self.margin is None else self.margin,
                "p_equivalent": equivalent,
                "verdict": self._verdicts(p_adjusted, equivalent),
            }
        )
        ends = {"difference": 0.0, "low": -alone, "high": alone}
        if single is not None:
            together = self.se * _t_beyond(single / 2.0, self.freedom)
            ends |= {"low_together": -together, "high_together": together}
        for name, away in ends.items():
            table[name] = self._told(self.estimate + away)
        made = RESULTS["compared_pairs"]
        return table.reindex(columns=made.names).astype(made.dtypes())

    def _told(self, difference: np.ndarray) -> np.ndarray:
        return 100.0 * np.expm1(difference) if self.comparison.scale == "log" else difference

    def _adjusted(self, adjust: str, t: np.ndarray, p: np.ndarray, seed: int) -> tuple[np.ndarray, float | None]:
        """Return adjusted p values, and the single p value that is as rare as `CHANCE` among all."""
        if adjust in ("holm", "bh"):
            return adjusted(p, adjust), CHANCE / len(p) if adjust == "holm" else None
        freedom = float(np.median(self.freedom))
        if adjust == "tukey":
            return _by_range(t, len(self.comparison.groups), freedom)
        drawn = Together.drawn(self.comparison.covariance(), self.first, self.second, freedom, seed)
        return drawn.adjusted(p), drawn.single(CHANCE)

    def _equivalent(self) -> np.ndarray:
        """Return the larger p of the two one-sided tests, of each difference by itself."""
        if self.margin is None:
            return np.full(len(self.se), np.nan)
        wide = np.log1p(self.margin / 100.0) if self.comparison.scale == "log" else self.margin
        return np.asarray(stats.t.sf((wide - np.abs(self.estimate)) / self.se, self.freedom))

    def _verdicts(self, p_adjusted: np.ndarray, equivalent: np.ndarray) -> np.ndarray:
        within = "" if self.margin is None else f"within {self.margin:g} {self._unit()}".rstrip()
        differ, same = p_adjusted < CHANCE, equivalent < CHANCE
        words = np.where(differ & same, f"differ, yet the same {within}", "cannot tell").astype(object)
        words[differ & ~same] = "differ"
        words[same & ~differ] = f"the same {within}"
        return words

    def _unit(self) -> str:
        return "%" if self.comparison.scale == "log" else self.comparison.unit


def _names(comparison: Comparison) -> pd.api.extensions.ExtensionArray:
    """Return the names of the groups."""
    return comparison.groups["group"].astype("str").array


def _t_beyond(chance: float, freedom: np.ndarray) -> np.ndarray:
    """Return the size that t exceeds by a chance; of many degrees of freedom, none under 1, to ten digits."""
    if len(freedom) <= _TABLE:
        return np.asarray(stats.t.isf(chance, freedom))

    def log_t(inverse: np.ndarray) -> np.ndarray:
        return np.asarray(np.log(stats.t.isf(chance, 1.0 / inverse)))

    return np.asarray(np.exp(Chebyshev.interpolate(log_t, _DEGREE, domain=[0.0, 1.0])(1.0 / freedom)))


def _by_range(t: np.ndarray, groups: int, freedom: float) -> tuple[np.ndarray, float]:
    """Return adjusted p values by the studentised range, and the single p value that is as rare as `CHANCE`."""
    q = np.sqrt(2.0) * t
    known = np.linspace(0.0, 40.0, 401) if len(q) > _TABLE else np.unique(q)
    beyond = studentised_range(known, groups, freedom)
    p = np.interp(q, known, beyond)
    low, high = 0.0, 1.0
    while high - low > 1e-7:  # the chance alone, by halving: a Bonferroni p is a lower bound, so this is quick
        middle = 0.5 * (low + high)
        at = np.sqrt(2.0) * stats.t.isf(middle / 2.0, freedom)
        low, high = (middle, high) if studentised_range(np.array([at]), groups, freedom)[0] < CHANCE else (low, middle)
    return np.maximum(p, 2.0 * stats.t.sf(t, freedom)), 0.5 * (low + high)
