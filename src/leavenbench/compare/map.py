"""A map of cultures by activity: which behave alike, along what, and how firmly they stand together.

Each trait is averaged over a culture's refeeds, step with step, and scaled by how far cultures truly differ in it. The
axes are principal components, by the singular values of that table, its rows weighted by how well each culture is
known and its columns by how much of the differences is no error. Groups are Ward's (1963, J Am Stat Assoc 58:236-244),
their number by the gap statistic (Tibshirani, Walther & Hastie 2001, J R Stat Soc B 63:411-423, doi
10.1111/1467-9868.00293), which may say that there are none; how firm they are is told by drawing refeeds again (Hennig
2007, Comput Stat Data Anal 52:258-271, doi 10.1016/j.csda.2006.11.025).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd

from ..columns import RESULTS
from .clusters import adjusted_rand, best_match, gap_number, ward_groups
from .trait_means import FEWEST_ROUNDS, Means, drawn_again, without_steps

#: A map of fewer cultures than this, or of fewer traits, is none.
_FEWEST_CULTURES, _FEWEST_TRAITS = 4, 2
#: A trait goes with an axis when their correlation is at least this (common practice, no source).
_GOES_WITH = 0.5
#: What more of each trait means.
_MORE = {
    "rise max_rate": "faster rise",
    "rise extent": "larger rise",
    "rise lag": "earlier rise",
    "acid max_rate": "faster souring",
    "acid extent": "larger fall of pH",
    "acid lag": "earlier souring",
    "acid titration": "more acid in the end",
}
#: From what Jaccard index on a group is called so (Hennig 2007).
_VERDICTS = ((0.85, "very firm"), (0.75, "firm"), (0.6, "a pattern, its members not sure"), (0.0, "not to be trusted"))
_MAP, _AXES = RESULTS["culture_map"], RESULTS["map_axes"]


@dataclass(frozen=True)
class CultureMap:
    """A map of cultures.

    Attributes
    ----------
    places : pandas.DataFrame
        The columns of ``RESULTS["culture_map"]``, one row per culture.
    axes : pandas.DataFrame
        The columns of ``RESULTS["map_axes"]``, one row per axis.
    loadings : pandas.DataFrame
        Correlation of each trait (rows) with each axis (columns).
    agreement : float
        Mean adjusted Rand index between the groups and those of refeeds drawn again; NaN with a single group.
    words : str
        What the map rests on, and what was left out.
    """

    places: pd.DataFrame
    axes: pd.DataFrame
    loadings: pd.DataFrame
    agreement: float
    words: str

    def _repr_html_(self) -> str:
        return self.places.to_html(index=False) + self.axes.to_html(index=False) + f"<p>{self.words}</p>"


def culture_map(values: pd.DataFrame, resamples: int = 200, level: float = 0.95, seed: int = 0) -> CultureMap:
    """Draw up the map.

    Parameters
    ----------
    values : pandas.DataFrame
        As from `trait_means.trait_values`.
    resamples : int
        How often rounds are drawn again.
    level : float
        Level of the intervals of the axes' shares, between 0 and 1.
    seed : int
        Seed of these draws and of the gap statistic.

    Returns
    -------
    CultureMap
        Without rows where fewer than four cultures, or two traits, can be compared; its words say so.
    """
    table = without_steps(values)
    base = Means.of(table)
    if base.value.shape[0] < _FEWEST_CULTURES or base.value.shape[1] < _FEWEST_TRAITS:
        return _no_map(base, values)
    random = np.random.default_rng(seed)
    scaled = base.scaled()
    scores, loadings, share = ordination(scaled, base.weight())
    groups = ward_groups(scaled, gap_number(scaled, random))
    again = _Again.of([Means.of(drawn_again(table, random), base) for _ in range(resamples)], groups)
    places = pd.DataFrame({"culture": base.value.index, "axis_1": scores[:, 0], "axis_2": scores[:, 1]})
    places = places.assign(cluster=groups, stability=again.firm[groups - 1], refeeds=base.refeeds)
    places["verdict"] = [_verdict(one) for one in places["stability"]]
    places = places.sort_values(["cluster", "culture"], ignore_index=True)
    along = pd.DataFrame(loadings, index=base.value.columns)
    along.columns = [f"axis {one + 1}" for one in along]
    low, high = np.quantile(again.share, [0.5 - level / 2.0, 0.5 + level / 2.0], axis=0)
    axes = pd.DataFrame({"axis": range(1, len(share) + 1), "share_pct": 100.0 * share})
    axes = axes.assign(share_pct_low=100.0 * low, share_pct_high=100.0 * high)
    axes["words"] = [_meaning(along[name]) for name in along]
    return CultureMap(
        places[_MAP.names].astype(_MAP.dtypes()),
        axes[_AXES.names].astype(_AXES.dtypes()),
        along,
        again.agreement,
        _rests_on(base, values, groups.max()),
    )


class _Again(NamedTuple):
    """What became of axes and groups when refeeds were drawn again.

    `share` has a row per draw and a column per axis; `firm` is the mean Jaccard index of each group, `agreement` the
    mean adjusted Rand index, both missing where there is but one group.
    """

    share: np.ndarray
    firm: np.ndarray
    agreement: float

    @classmethod
    def of(cls, maps: list[Means], groups: np.ndarray) -> _Again:
        """Draw each map anew, and hold its groups against those of the first."""
        share = np.array([ordination(one.scaled(), one.weight())[2] for one in maps])
        if groups.max() == 1:
            return cls(share, np.array([np.nan]), np.nan)
        others = [ward_groups(one.scaled(), groups.max()) for one in maps]
        numbers = range(1, groups.max() + 1)
        firm = [np.mean([best_match(groups == number, other) for other in others]) for number in numbers]
        return cls(share, np.array(firm), float(np.mean([adjusted_rand(groups, other) for other in others])))


def ordination(scaled: np.ndarray, weight: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return principal components of a table.

    Parameters
    ----------
    scaled : numpy.ndarray, shape (n, p)
        Rows are cultures, columns traits.
    weight : numpy.ndarray, shape (n,)
        How much each row counts.

    Returns
    -------
    scores : numpy.ndarray, shape (n, k)
        Places along the axes, about the weighted mean; each axis is turned so that the trait that goes with it most
        grows along it.
    loadings : numpy.ndarray, shape (p, k)
        Weighted correlations of the columns with the axes.
    share : numpy.ndarray, shape (k,)
        Shares of the weighted variance.

    Examples
    --------
    >>> scores, loadings, share = ordination(np.array([[0.0, 0.0], [1.0, 1.0], [2.0, 2.0]]), np.ones(3))
    >>> scores[:, 0].round(3).tolist(), share.round(3).tolist()
    ([-1.414, 0.0, 1.414], [1.0, 0.0])
    """
    part = weight / weight.sum()
    centred = scaled - part @ scaled
    _, size, ways = np.linalg.svd(np.sqrt(part)[:, None] * centred, full_matrices=False)
    spread = np.sqrt(part @ centred**2)
    with np.errstate(divide="ignore", invalid="ignore"):
        loadings = np.nan_to_num(ways.T * size / spread[:, None])
    turn = np.sign(loadings[np.abs(loadings).argmax(axis=0), np.arange(len(size))])
    turn[turn == 0.0] = 1.0
    return centred @ ways.T * turn, loadings * turn, size**2 / (size**2).sum()


def _verdict(jaccard: float) -> str:
    if np.isnan(jaccard):
        return "no groups"
    return next(said for least, said in _VERDICTS if jaccard >= least)


def _meaning(loadings: pd.Series) -> str:
    """Say what grows along an axis, and what falls."""
    strong = loadings[loadings.abs() >= _GOES_WITH].sort_values(key=np.abs, ascending=False)
    ends = []
    for sign, side in ((1.0, "more"), (-1.0, "less")):
        names = [f"{_MORE.get(name, name)} ({value:+.2f})" for name, value in strong.items() if value * sign > 0.0]
        if names:
            ends.append(f"{side}: {', '.join(names)}")
    return "; ".join(ends) or "no trait goes with it"


def _rests_on(base: Means, values: pd.DataFrame, number: int) -> str:
    cultures, traits = set(base.value.index), set(base.value.columns)
    told = f"{len(cultures)} cultures, {int(base.refeeds.sum())} refeeds, {len(traits)} traits"
    left = sorted(set(values["culture"]) - cultures)
    silent = sorted(set(values["trait"]) - traits)
    groups = f"{number} groups" if number > 1 else "no groups beyond what one cloud of cultures would show"
    parts = [told, f"{groups} by the gap statistic"]
    if left:
        parts.append(f"not on the map, read too seldom: {', '.join(map(str, left))}")
    if silent:
        parts.append(f"traits left out, read too seldom or no more than error: {', '.join(silent)}")
    return "; ".join(parts)


def _no_map(base: Means, values: pd.DataFrame) -> CultureMap:
    cultures, traits = base.value.shape
    words = f"no map: {cultures} cultures with {traits} traits that tell them apart; it takes "
    words += f"{_FEWEST_CULTURES} cultures and {_FEWEST_TRAITS} traits, each read in {FEWEST_ROUNDS} rounds"
    places, axes = (pd.DataFrame(columns=made.names).astype(made.dtypes()) for made in (_MAP, _AXES))
    return CultureMap(places, axes, pd.DataFrame(index=sorted(set(values["trait"]))), np.nan, words)
