"""Groups of cultures that stand together: found, counted, and held against other groupings of the same cultures."""

from __future__ import annotations

import numpy as np
from scipy import special
from scipy.cluster import hierarchy

#: Most groups that are tried, and clouds without groups that the gap statistic draws.
_MOST_GROUPS, _CLOUDS = 8, 50


def ward_groups(places: np.ndarray, number: int) -> np.ndarray:
    """Return the group of each row, numbered from 1 as they come, by Ward's criterion.

    Examples
    --------
    >>> ward_groups(np.array([[0.0], [0.1], [5.0], [5.1]]), 2).tolist()
    [1, 1, 2, 2]
    """
    found = hierarchy.fcluster(hierarchy.ward(places), number, criterion="maxclust")
    _, first, group = np.unique(found, return_index=True, return_inverse=True)
    return np.argsort(np.argsort(first))[group] + 1


def gap_number(places: np.ndarray, random: np.random.Generator) -> int:
    """Return how many groups there are, by the gap statistic; 1 where there are none.

    Parameters
    ----------
    places : numpy.ndarray, shape (n, p)
        Rows are cultures.
    random : numpy.random.Generator
        Draws the clouds without groups, each uniform in the box along the principal axes.

    Returns
    -------
    int
        The least number whose gap comes within one error of the largest (Dudoit & Fridlyand 2002, Genome Biol
        3:research0036, from memory); never so many that groups of one are the rule.

    Examples
    --------
    >>> apart = np.repeat([[0.0, 0.0], [9.0, 0.0], [0.0, 9.0]], 6, axis=0)
    >>> gap_number(apart + np.random.default_rng(1).normal(0, 0.5, (18, 2)), np.random.default_rng(0))
    3
    """
    most = min(_MOST_GROUPS, len(places) // 2)
    if most < 2:
        return 1
    centred = places - places.mean(axis=0)
    along = centred @ np.linalg.svd(centred, full_matrices=False)[2].T
    low, high = along.min(axis=0), along.max(axis=0)
    clouds = np.array([_log_within(random.uniform(low, high, along.shape), most) for _ in range(_CLOUDS)])
    gap = clouds.mean(axis=0) - _log_within(places, most)
    error = clouds.std(axis=0) * np.sqrt(1.0 + 1.0 / _CLOUDS)
    best = int(np.argmax(gap))
    return int(np.argmax(gap >= gap[best] - error[best])) + 1


def _log_within(places: np.ndarray, most: int) -> np.ndarray:
    """Return the logarithm of the sum of squares within 1, 2 ... groups."""
    tree = hierarchy.ward(places)
    sums = []
    for number in range(1, most + 1):
        groups = hierarchy.fcluster(tree, number, criterion="maxclust")
        of = [places[groups == one] for one in np.unique(groups)]
        sums.append(sum(((own - own.mean(axis=0)) ** 2).sum() for own in of))
    return np.log(np.maximum(sums, 1e-300))


def adjusted_rand(one: np.ndarray, other: np.ndarray) -> float:
    """Return how far two groupings agree, chance taken out: 1 for the same, about 0 for none.

    Hubert & Arabie 1985, J Classif 2:193-218, doi 10.1007/BF01908075, equation 5.

    Examples
    --------
    >>> round(adjusted_rand(np.array([1, 1, 2, 2]), np.array([1, 1, 2, 3])), 4)
    0.5714
    """
    _, first = np.unique(one, return_inverse=True)
    _, second = np.unique(other, return_inverse=True)
    table = np.zeros((first.max() + 1, second.max() + 1))
    np.add.at(table, (first, second), 1.0)
    both = special.comb(table, 2).sum()
    rows, columns = (special.comb(table.sum(axis=side), 2).sum() for side in (1, 0))
    by_chance = rows * columns / special.comb(len(one), 2)
    most = 0.5 * (rows + columns)
    return 1.0 if most == by_chance else float((both - by_chance) / (most - by_chance))


def best_match(members: np.ndarray, groups: np.ndarray) -> float:
    """Return the largest Jaccard index of a group with any group of another grouping (Hennig 2007).

    Examples
    --------
    >>> best_match(np.array([True, True, False, False]), np.array([1, 1, 1, 2])).round(4).item()
    0.6667
    """
    found = [(members & (groups == one)).sum() / (members | (groups == one)).sum() for one in np.unique(groups)]
    return np.max(found)
