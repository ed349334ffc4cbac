"""Organisms: how many kinds a culture holds, and whether those in which one was found are more active.

Samples differ in size, and the more colonies are looked at, the more kinds are found. So numbers of kinds are compared
at equal coverage: the share of all colonies in the culture, seen or not, whose kind was found (Chao & Jost 2012,
Ecology 93:2533-2547, doi 10.1890/11-1952.1). Kinds are Hill numbers (Chao et al. 2014, Ecol Monogr 84:45-67, doi
10.1890/13-0133.1; formulas from memory, values checked in ``tests/compare/test_organisms.py``).
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from scipy import stats

from ..columns import RESULTS
from ..records.taxa import accepted_name

#: Orders of the Hill numbers.
ORDERS = (0, 1, 2)
#: An organism is held against activity when at least so many cultures have it, and so many were sampled without.
_FEWEST_WITH, _FEWEST_WITHOUT = 3, 3
#: A sample whose coverage is lower than this is too small to be compared (common practice, no source).
_LEAST_COVERAGE = 0.5
_DIVERSITY, _ACTIVITY = RESULTS["diversity"], RESULTS["organism_activity"]


def hill_numbers(counts: np.ndarray, orders: tuple[int, ...] = ORDERS) -> np.ndarray:
    """Return the effective number of kinds in a sample, as it is.

    Parameters
    ----------
    counts : numpy.ndarray, shape (k,)
        Colonies of each kind.
    orders : tuple of int
        0 counts all kinds alike, 1 each by its share (the exponential of Shannon's entropy), 2 mostly the common ones.

    Returns
    -------
    numpy.ndarray, shape (len(orders),)

    Examples
    --------
    >>> hill_numbers(np.array([1, 4, 7, 4, 2])).round(4).tolist()
    [5.0, 4.2227, 3.7674]
    """
    share = counts[counts > 0] / counts.sum()
    told = [np.exp(-(share * np.log(share)).sum()) if q == 1 else (share**q).sum() ** (1.0 / (1.0 - q)) for q in orders]
    return np.array(told, float)


def coverage(counts: np.ndarray, size: int | None = None) -> float:
    """Return the share of all colonies, seen or not, that belong to kinds found in a sample, or in part of it.

    Parameters
    ----------
    counts : numpy.ndarray, shape (k,)
        Colonies of each kind.
    size : int, optional
        Expected coverage of so many of its colonies, drawn at random; of all when not given.

    Returns
    -------
    float
        Chao & Jost 2012, equation 4a for the whole sample, 4b for part of it.

    Examples
    --------
    >>> round(coverage(np.array([1, 4, 7, 4, 2])), 4), round(coverage(np.array([1, 4, 7, 4, 2]), 5), 4)
    (0.9503, 0.6932)
    """
    counts = counts[counts > 0]
    total = int(counts.sum())
    if size is not None and size < total:
        unseen = stats.hypergeom.pmf(0, total - 1, counts - 1, size)
        return float(1.0 - (counts / total * unseen).sum())
    once, twice = int((counts == 1).sum()), int((counts == 2).sum())
    if not once:
        return 1.0
    rest = (total - 1) * once / ((total - 1) * once + 2 * twice) if twice else _without_doubles(total, once)
    return float(1.0 - once / total * rest)


def _without_doubles(total: int, once: int) -> float:
    """Return the factor of equation 4a where no kind was found twice."""
    return (total - 1) * (once - 1) / ((total - 1) * (once - 1) + 2) if total > 1 and once > 1 else float(total <= 1)


def hill_numbers_of_part(counts: np.ndarray, size: int) -> np.ndarray:
    """Return the Hill numbers of orders 0, 1 and 2 to be expected of so many of a sample's colonies.

    Parameters
    ----------
    counts : numpy.ndarray, shape (k,)
        Colonies of each kind.
    size : int
        Colonies drawn at random, without putting back.

    Returns
    -------
    numpy.ndarray, shape (3,)

    Examples
    --------
    >>> hill_numbers_of_part(np.array([1, 4, 7, 4, 2]), 1).round(6).tolist()
    [1.0, 1.0, 1.0]
    """
    counts = counts[counts > 0]
    found = np.arange(1, size + 1)
    kinds = stats.hypergeom.pmf(found[:, None], int(counts.sum()), counts, size).sum(axis=1)
    share = found / size
    return np.array([kinds.sum(), np.exp(-(share * np.log(share) * kinds).sum()), 1.0 / (share**2 * kinds).sum()])


def colonies(isolates: pd.DataFrame) -> pd.DataFrame:
    """Return how many colonies of each species were found in each culture, synonyms folded.

    Parameters
    ----------
    isolates : pandas.DataFrame
        The isolates table: culture, taxon, colonies; a row without a number counts as one colony.

    Returns
    -------
    pandas.DataFrame
        culture, organism (its accepted name; empty where no species is named), colonies.

    Examples
    --------
    >>> names = ["Lactobacillus plantarum", "Lactiplantibacillus plantarum", "Candida humilis"]
    >>> colonies(pd.DataFrame({"culture": "A", "taxon": names, "colonies": pd.array([2, 3, None], "Int64")}))
      culture                       organism  colonies
    0       A           Kazachstania humilis         1
    1       A  Lactiplantibacillus plantarum         5
    """
    organism = isolates["taxon"].fillna("").map(accepted_name).astype("str")
    number = isolates["colonies"].astype("Int64").fillna(1).astype(int)
    table = pd.DataFrame({"culture": isolates["culture"], "organism": organism, "colonies": number})
    return table[table["colonies"] > 0].groupby(["culture", "organism"], as_index=False)["colonies"].sum()


def diversity(isolates: pd.DataFrame) -> pd.DataFrame:
    """Return how many kinds of organisms each culture holds, and the shelf, as sampled and at equal coverage.

    Parameters
    ----------
    isolates : pandas.DataFrame
        The isolates table.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["diversity"]``: a row per sampled culture, and last the shelf, all colonies together,
        without a culture's name. The common coverage is the lowest among cultures whose sample covers at least half of
        their colonies; where less is covered the numbers at it are missing.
    """
    found = colonies(isolates)
    named = found[found["organism"] != ""]
    unnamed = found[found["organism"] == ""].groupby("culture")["colonies"].sum()
    samples: dict[Any, np.ndarray] = {
        culture: of["colonies"].to_numpy() for culture, of in named.groupby("culture")
    } | {pd.NA: named.groupby("organism")["colonies"].sum().to_numpy()}
    reached = {culture: coverage(counts) for culture, counts in samples.items() if len(counts)}
    enough = [share for of, share in reached.items() if of is not pd.NA and share >= _LEAST_COVERAGE]
    common = min(enough) if enough else np.nan
    rows = []
    for culture, share in reached.items():
        counts = samples[culture]
        row = {"culture": culture, "colonies": int(counts.sum()), "organisms": len(counts), "coverage": share}
        row["unnamed"] = int(unnamed.sum() if culture is pd.NA else unnamed.get(culture, 0))
        row |= _numbered("hill_{}", hill_numbers(counts)) | {"common_coverage": common}
        if share >= common:
            row |= _numbered("hill_{}_common", _at_coverage(counts, common))
        rows.append(row)
    return pd.DataFrame(rows, columns=_DIVERSITY.names).astype(_DIVERSITY.dtypes())


def _numbered(name: str, numbers: np.ndarray) -> dict[str, float]:
    return {name.format(order): float(number) for order, number in zip(ORDERS, numbers, strict=True)}


def _at_coverage(counts: np.ndarray, share: float) -> np.ndarray:
    """Return Hill numbers at a coverage that the sample reaches, between the two sizes on either side of it."""
    sizes = np.arange(1, int(counts.sum()) + 1)
    reached = np.array([coverage(counts, int(size)) for size in sizes])
    above = int(np.argmax(reached >= share - 1e-12))
    if above == 0:
        return hill_numbers_of_part(counts, 1)
    less, more = (hill_numbers_of_part(counts, int(sizes[place])) for place in (above - 1, above))
    part = (share - reached[above - 1]) / (reached[above] - reached[above - 1])
    return less + part * (more - less)


def organism_activity(isolates: pd.DataFrame, activity: pd.Series, level: float = 0.95) -> pd.DataFrame:
    """Hold the presence of each organism against how active cultures are.

    Parameters
    ----------
    isolates : pandas.DataFrame
        The isolates table.
    activity : pandas.Series
        By culture, one number each: vigour or a trait on its working scale.
    level : float
        Level of the intervals, between 0 and 1.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["organism_activity"]``, the least adjusted p first. The unit is the culture (Welch's
        test, one number per culture), so that refeeds and colonies do not count as replicates. Organisms found in
        fewer than three cultures, or not found in fewer than three others, are told without a test.

    Examples
    --------
    >>> with_it = {"culture": list("ABCD"), "taxon": "Kazachstania humilis", "colonies": 5}
    >>> without = {"culture": list("EFGH"), "taxon": "Saccharomyces cerevisiae", "colonies": 5}
    >>> isolates = pd.concat([pd.DataFrame(with_it), pd.DataFrame(without)])
    >>> activity = pd.Series([1.0, 1.2, 1.1, 1.3, 2.0, 2.2, 2.1, 2.3], index=list("ABCDEFGH"))
    >>> organism_activity(isolates, activity)[["organism", "found_in", "not_found_in", "difference"]].round(2)
                       organism  found_in  not_found_in  difference
    0      Kazachstania humilis         4             4        -1.0
    1  Saccharomyces cerevisiae         4             4         1.0
    """
    found = colonies(isolates)
    found = found[(found["organism"] != "") & found["culture"].isin(activity.dropna().index)]
    known = activity.reindex(sorted(found["culture"].unique()))
    rows = []
    for organism, of in found.groupby("organism"):
        has = known.index.isin(of["culture"])
        row: dict[str, object] = {"organism": organism, "found_in": int(has.sum()), "not_found_in": int((~has).sum())}
        if has.sum() >= _FEWEST_WITH and (~has).sum() >= _FEWEST_WITHOUT:
            row |= _welch(known[has].to_numpy(float), known[~has].to_numpy(float), level)._asdict()
        rows.append(row)
    table = pd.DataFrame(rows, columns=[name for name in _ACTIVITY.names if name not in ("p_adjusted", "words")])
    table["p"] = table["p"].astype(float)
    tested = table["p"].notna()
    table["p_adjusted"] = np.nan
    if tested.any():
        table.loc[tested, "p_adjusted"] = stats.false_discovery_control(table.loc[tested, "p"].to_numpy(float))
    table["words"] = [_words(row, 1.0 - level) for row in table.to_dict("records")]
    table = table.sort_values(["p_adjusted", "p", "organism"], kind="stable", ignore_index=True)
    return table[_ACTIVITY.names].astype(_ACTIVITY.dtypes())


class _Welch(NamedTuple):
    difference: float
    difference_low: float
    difference_high: float
    p: float


def _welch(ours: np.ndarray, theirs: np.ndarray, level: float) -> _Welch:
    if np.ptp(ours) == 0.0 and np.ptp(theirs) == 0.0:  # nothing says how cultures scatter
        return _Welch(float(ours.mean() - theirs.mean()), np.nan, np.nan, np.nan)
    found = stats.ttest_ind(ours, theirs, equal_var=False)
    ends = found.confidence_interval(level)
    return _Welch(float(ours.mean() - theirs.mean()), float(ends.low), float(ends.high), float(found.pvalue))


def _words(row: dict, chance: float) -> str:
    """Say where it was found, and what its cultures have in common."""
    others = f"not found in {row['not_found_in']} others sampled"
    where = f"found in {row['found_in']} sampled culture{'' if row['found_in'] == 1 else 's'}, {others}"
    if np.isnan(row["p_adjusted"]):
        return f"{where}: too few on one side to tell"
    if row["p_adjusted"] > chance:
        return f"{where}: no difference in activity shown"
    more = "more" if row["difference"] > 0.0 else "less"
    return f"{where}: cultures with it are {more} active; that it is the cause is not shown"
