"""What each trait is worth as a sign of strength: how it moves with activity, and how far it strays alone.

What one signal shows is told apart from chance by the other: a stronger dough rises faster and sours faster, while
the errors of the two curves have nothing to do with each other. So the covariance of traits of different signals,
over refeeds of one culture and step, is that of activity (a factor model; Bartlett 1937, Br J Psychol 28:97-104, doi
10.1111/j.2044-8295.1937.tb00863.x, for the scores).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from .baseline import PLACE
from .traits import TRAITS

#: Spread of a log slope between refeeds of one culture and step where a shelf cannot tell, and the least that is
#: believed; of the lag in hours (common practice, no source).
_USUAL, _LEAST = 0.12, 0.03
_USUAL_LAG_H = 0.5
#: Differences between successive refeeds that a trait needs to be told by the shelf.
_FEWEST = 60
#: A difference further off than so many standard deviations counts as that far off.
_ODD = 3.0
_RATES = {"rise": "rise max_rate", "acid": "acid max_rate"}


class Worth(NamedTuple):
    """What traits are worth, in the order of `TRAITS`.

    Attributes
    ----------
    loading : numpy.ndarray, shape (7,)
        How far a trait moves when the logarithm of activity moves by 1; 1 for the slopes, 0 for a trait that the
        shelf is too small to judge.
    alone : numpy.ndarray, shape (7,)
        Standard deviation by which it strays alone, errors of the curve not counted.
    correlation : numpy.ndarray, shape (7, 7)
        Correlation of what remains.
    spread : pandas.Series
        By trait, its standard deviation between refeeds of one culture and step, errors and activity included.
    """

    loading: np.ndarray
    alone: np.ndarray
    correlation: np.ndarray
    spread: pd.Series


def worth_of(traits: pd.DataFrame) -> Worth:
    """Learn from a shelf what its traits are worth.

    Parameters
    ----------
    traits : pandas.DataFrame
        From `traits.log_traits`, with culture, history, step and fed_at.

    Returns
    -------
    Worth
        From successive differences, which a decline does not inflate.
    """
    steps = _differences(traits)
    sd = np.array([_sd(steps[trait]) for trait in TRAITS])
    clipped = np.clip(steps.to_numpy(), -_ODD * sd, _ODD * sd)
    many = (~np.isnan(clipped)).sum(axis=0)
    usual = np.array([_USUAL_LAG_H if trait.endswith("lag") else _USUAL for trait in TRAITS])
    spread = np.where(many >= _FEWEST, np.maximum(sd, _LEAST), usual)
    covariance, pairs = _pairwise(clipped)
    error = traits.dropna(subset="value").groupby("trait", observed=False)["se"].agg(lambda se: (se**2).median())
    error = error.reindex(TRAITS).fillna(0.0).to_numpy()
    loading = _loadings(covariance, pairs)
    activity = _activity(covariance, pairs, spread, error)
    rest = spread**2 - activity * loading**2 - error
    alone = np.sqrt(np.maximum(rest, _LEAST**2))
    remaining = np.where(pairs >= _FEWEST, covariance - activity * np.outer(loading, loading), 0.0)
    size = np.sqrt(np.maximum(np.diag(remaining), (alone**2 + error)))
    correlation = np.clip(remaining / np.outer(size, size), -0.8, 0.8)
    np.fill_diagonal(correlation, 1.0)
    return Worth(loading, alone, _positive(correlation), pd.Series(spread, TRAITS))


def _differences(traits: pd.DataFrame) -> pd.DataFrame:
    """Return, refeed by refeed, the difference of each trait to the culture's last one at that step, over root 2."""
    known = traits["value"].notna() & ~traits["at_least"]
    told = traits.loc[known, ["refeed", *PLACE, "fed_at", "value"]].sort_values("fed_at", kind="stable")
    row, refeeds = pd.factorize(told["refeed"])
    steps = np.full((len(refeeds), len(TRAITS)), np.nan)
    steps[row, told["trait"].cat.codes] = told.groupby(PLACE, observed=True)["value"].diff() / np.sqrt(2.0)
    return pd.DataFrame(steps, columns=list(TRAITS))


def _sd(values: pd.Series) -> float:
    known = values.dropna()
    return float(1.4826 * known.abs().median()) if len(known) else np.nan


def _pairwise(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the covariance of every two columns about zero, and from how many rows."""
    there = ~np.isnan(values)
    filled = np.where(there, values, 0.0)
    pairs = there.astype(float).T @ there
    return filled.T @ filled / np.maximum(pairs, 1.0), pairs


def _loadings(covariance: np.ndarray, pairs: np.ndarray) -> np.ndarray:
    """Tell how traits move with activity by their covariance with the slope of the other signal."""
    loading = np.array([float(trait in _RATES.values()) for trait in TRAITS])
    rise, acid = (TRAITS.index(rate) for rate in _RATES.values())
    both = covariance[rise, acid]
    for place, trait in enumerate(TRAITS):
        other = acid if trait.startswith("rise") else rise
        if loading[place] or pairs[place, other] < _FEWEST or both <= 0.0:
            continue
        error = np.sqrt(covariance[place, place] * covariance[other, other] / pairs[place, other]) / both
        told = covariance[place, other] / both
        loading[place] = told * max(1.0 - (error / told) ** 2, 0.0) if told > 0.0 else 0.0
    return loading


def _activity(covariance: np.ndarray, pairs: np.ndarray, spread: np.ndarray, error: np.ndarray) -> float:
    """Return the variance of activity between refeeds."""
    rise, acid = (TRAITS.index(rate) for rate in _RATES.values())
    if pairs[rise, acid] >= _FEWEST:
        return max(float(covariance[rise, acid]), 0.0)
    return float(max(np.median(spread[[rise, acid]] ** 2 - error[[rise, acid]]) / 2.0, 0.0))


def _positive(correlation: np.ndarray) -> np.ndarray:
    """Return the nearest correlation matrix with no eigenvalue under a twentieth."""
    strength, axes = np.linalg.eigh(correlation)
    half = axes * np.sqrt(np.maximum(strength, 0.05))
    mended = half @ half.T
    size = np.sqrt(np.diag(mended))
    return mended / np.outer(size, size)
