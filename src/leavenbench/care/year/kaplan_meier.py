"""Survival from lives of which some are not seen from their beginning, and some not to their end.

Kaplan & Meier 1958, J Am Stat Assoc 53:457-481, doi 10.1080/01621459.1958.10501452: at each age at which any are lost,
the share of those under watch that are not. Who came under watch later than at birth counts only from that age on
(left truncation). Error after Greenwood (1926); the band is that of log(-log S), which stays within 0 and 1
(Kalbfleisch & Prentice 2002, The Statistical Analysis of Failure Time Data, 2nd ed., section 1.4; from memory).
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import stats

_LEVEL = 0.95


def kaplan_meier(entry: np.ndarray, age: np.ndarray, lost: np.ndarray) -> pd.DataFrame:
    """Return the survival curve.

    Parameters
    ----------
    entry : numpy.ndarray, shape (n,)
        Age at which each came under watch; minus infinity where it was in sight from its beginning.
    age : numpy.ndarray, shape (n,)
        Age at its loss, or up to which it was known not to be lost, in the same unit.
    lost : numpy.ndarray of bool, shape (n,)
        Which of the two. A life that ends no later than its entry was never under watch and is passed over.

    Returns
    -------
    pandas.DataFrame
        One row per age at which any life ends: age, at_risk (just before), lost, left, alive (share from then on), se
        (Greenwood), low and high (95 %). Before the first loss, and where none is left, the method gives no band.

    Examples
    --------
    >>> made = kaplan_meier(np.full(4, -np.inf), np.array([1.0, 2.0, 2.0, 3.0]), np.array([True, True, False, False]))
    >>> made[["age", "at_risk", "lost", "left", "alive"]].values.tolist()
    [[1.0, 4.0, 1.0, 0.0, 0.75], [2.0, 3.0, 1.0, 1.0, 0.5], [3.0, 1.0, 0.0, 1.0, 0.5]]
    """
    watched = age > entry
    entry, age, lost = entry[watched], age[watched], lost[watched]
    ages = np.unique(age)
    at_risk = at_risk_at(entry, age, ages)
    gone = np.array([(lost & (age == when)).sum() for when in ages], int)
    left = np.array([(~lost & (age == when)).sum() for when in ages], int)
    alive = np.cumprod(1.0 - gone / at_risk)
    stay = at_risk - gone
    greenwood = np.cumsum(np.divide(gone, at_risk * stay, out=np.where(gone > 0, np.inf, 0.0), where=stay > 0))
    inside = (alive > 0.0) & (alive < 1.0)
    log_alive = np.log(alive, out=np.full(len(ages), np.nan), where=inside)
    spread = np.exp(stats.norm.ppf(0.5 + _LEVEL / 2.0) * np.sqrt(np.where(inside, greenwood, 0.0)) / -log_alive)
    se = alive * np.sqrt(np.where(inside, greenwood, np.nan))
    told = {"age": ages, "at_risk": at_risk, "lost": gone, "left": left, "alive": alive, "se": se}
    return pd.DataFrame(told | {"low": np.exp(log_alive * spread), "high": np.exp(log_alive / spread)})


def at_risk_at(entry: np.ndarray, age: np.ndarray, ages: np.ndarray) -> np.ndarray:
    """Return how many are under watch just before each age: entered before it, and not ended."""
    return ((entry < ages[:, None]) & (age >= ages[:, None])).sum(axis=1)


def half_lost_at(curve: pd.DataFrame) -> tuple[float, float, float]:
    """Return the age by which half are lost, with its 95 % interval; missing where that is not reached.

    Parameters
    ----------
    curve : pandas.DataFrame
        As from `kaplan_meier`.

    Returns
    -------
    age, low, high : float
        Where the curve, and the lower and upper line of its band, come to one half (Brookmeyer & Crowley 1982,
        Biometrics 38:29-41, doi 10.2307/2530286).
    """
    first = [curve.loc[curve[line] <= 0.5, "age"].min() for line in ("alive", "low", "high")]
    return first[0], first[1], first[2]


def log_rank(entry: np.ndarray, age: np.ndarray, lost: np.ndarray, group: np.ndarray) -> tuple[pd.DataFrame, float]:
    """Compare the losses of groups with those expected, were all alike.

    Parameters
    ----------
    entry, age, lost
        As for `kaplan_meier`.
    group : numpy.ndarray, shape (n,)
        The group of each life.

    Returns
    -------
    table : pandas.DataFrame
        Indexed by group: lives, lost, expected.
    chi_square : float
        The log-rank statistic (Mantel 1966, Cancer Chemother Rep 50:163-170; from memory), with one degree of freedom
        less than there are groups; missing with one group, or without a loss.
    """
    watched = age > entry
    entry, age, lost = entry[watched], age[watched], lost[watched]
    groups, of_life = np.unique(group[watched], return_inverse=True)
    k = len(groups)
    observed, expected, covariance = np.zeros(k), np.zeros(k), np.zeros((k, k))
    for when in np.unique(age[lost]):
        at_risk = np.bincount(of_life[(entry < when) & (age >= when)], minlength=k)
        gone = np.bincount(of_life[lost & (age == when)], minlength=k)
        n, d = at_risk.sum(), gone.sum()
        share = at_risk / n
        observed += gone
        expected += d * share
        if n > 1:
            covariance += d * (n - d) / (n - 1) * (np.diag(share) - np.outer(share, share))
    counts = {"lives": np.bincount(of_life, minlength=k), "lost": observed.astype(int), "expected": expected}
    table = pd.DataFrame(counts, index=pd.Index(groups, name="group"))
    seen = expected > 0.0  # a group that was never under watch at a loss says nothing
    if seen.sum() < 2:
        return table, float("nan")
    away = (observed - expected)[seen]
    return table, float(away @ np.linalg.pinv(covariance[np.ix_(seen, seen)]) @ away)
