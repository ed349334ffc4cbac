"""Organisms: Hill numbers and coverage against exact values, presence against activity."""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations
from math import log

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from leavenbench.compare.organisms import (
    colonies,
    coverage,
    diversity,
    hill_numbers,
    hill_numbers_of_part,
    organism_activity,
)

#: First plot of the dune meadow data.
DUNE = np.array([1, 4, 7, 4, 2])
SMALL = (1, 2, 3)


def test_hill_numbers_of_the_dune_meadow():
    """Richness 5, Shannon 1.44048174159, Simpson .734567901235, N1 4.22272959156, N2 3.76744186047 (R's vegan)."""
    found = hill_numbers(DUNE)
    assert found == pytest.approx([5.0, 4.22272959156, 3.76744186047], rel=1e-11)
    assert log(found[1]) == pytest.approx(1.44048174159, rel=1e-11)
    assert 1.0 - 1.0 / found[2] == pytest.approx(0.734567901235, rel=1e-11)


def draws(counts: tuple[int, ...], size: int) -> list[np.ndarray]:
    """Return the counts of every way to draw so many colonies."""
    kind = np.repeat(np.arange(len(counts)), counts)
    return [np.bincount(kind[list(of)], minlength=len(counts)) for of in combinations(range(len(kind)), size)]


@pytest.mark.parametrize("size", [1, 2, 4, 6])
def test_a_part_is_the_mean_over_all_draws_of_it(size):
    """Orders 0, 1 and 2 by counting every draw: entropies and concentrations are averaged, then turned."""
    drawn = draws(SMALL, size)
    kinds = np.mean([(of > 0).sum() for of in drawn])
    shares = [of[of > 0] / size for of in drawn]
    entropy = np.mean([-(of * np.log(of)).sum() for of in shares])
    together = np.mean([(of**2).sum() for of in shares])
    assert hill_numbers_of_part(np.array(SMALL), size) == pytest.approx([kinds, np.exp(entropy), 1.0 / together])


@pytest.mark.parametrize("size", [1, 2, 3, 5])
def test_coverage_of_a_part_is_the_chance_that_the_next_colony_is_of_a_kind_seen(size):
    """Counted over every ordered draw of one more, in fractions."""
    kind = np.repeat(np.arange(len(SMALL)), SMALL)
    seen, cases = 0, 0
    for of in combinations(range(len(kind)), size + 1):
        for last in of:
            rest = [one for one in of if one != last]
            seen += int(kind[last] in kind[rest])
            cases += 1
    assert coverage(np.array(SMALL), size) == pytest.approx(float(Fraction(seen, cases)), abs=1e-12)


def test_coverage_of_a_sample():
    """Chao & Jost 2012, equation 4a, by exact algebra: 1 - 1/18 x 17/19; without doubles 1 - 2/5 x 4/6."""
    assert coverage(DUNE) == pytest.approx(1.0 - Fraction(17, 342))
    assert coverage(np.array([1, 1, 3])) == pytest.approx(1.0 - 2 / 5 * 4 / 6)
    assert coverage(np.array([3, 4])) == 1.0
    assert coverage(np.array([1])) == 0.0


def isolated(rows: list[tuple[str, str, int]]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["culture", "taxon", "colonies"])


def test_old_and_new_names_are_one_organism():
    rows = [("A", "Lactobacillus sanfranciscensis", 3), ("A", "Fructilactobacillus sanfranciscensis", 4), ("A", "?", 2)]
    found = colonies(isolated(rows)).set_index("organism")["colonies"].to_dict()
    assert found == {"Fructilactobacillus sanfranciscensis": 7, "": 2}


def test_samples_are_compared_at_the_lowest_coverage():
    names = ["Kazachstania humilis", "Saccharomyces cerevisiae", "Lactobacillus brevis", "Lactobacillus reuteri"]
    large = [("large", name, count) for name, count in zip(names, (40, 30, 20, 10), strict=True)]
    small = [("small", name, count) for name, count in zip(names, (4, 2, 1, 0), strict=True)]
    found = diversity(isolated(large + small)).set_index("culture")
    assert found.loc["large", "coverage"] == 1.0
    assert found.loc["small", "common_coverage"] == pytest.approx(coverage(np.array([4, 2, 1])))
    assert found.loc["small", "hill_0_common"] == pytest.approx(3.0)
    assert 1.0 < found.loc["large", "hill_0_common"] < 4.0
    assert found.loc["large", "colonies"] == 100


def test_the_shelf_comes_last_and_has_no_name():
    rows = [("A", "Kazachstania humilis", 5), ("B", "Saccharomyces cerevisiae", 5), ("B", "Lactobacillus", 2)]
    found = diversity(isolated(rows))
    assert found["culture"].isna().tolist() == [False, False, True]
    assert found["organisms"].tolist() == [1, 1, 2]
    assert found["unnamed"].tolist() == [0, 2, 2]
    assert found["hill_1"].iloc[2] == pytest.approx(2.0)  # two kinds, equally common


def test_a_sample_of_single_colonies_sets_no_coverage():
    rows = [("A", "Kazachstania humilis", 6), ("A", "Saccharomyces cerevisiae", 2)]
    once = ("Kazachstania humilis", "Lactobacillus brevis", "Lactobacillus reuteri", "Pichia anomala")
    rows += [("B", name, 1) for name in once]
    found = diversity(isolated(rows)).set_index("culture")
    assert found.loc["B", "coverage"] < 0.5
    assert found.loc["A", "common_coverage"] == 1.0
    assert np.isnan(found.loc["B", "hill_0_common"])


#: The p values of Benjamini & Hochberg 1995, their example; as published, read in a secondary text.
FIFTEEN = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528,
           0.7590, 1.0]  # fmt: skip


def test_benjamini_and_hochbergs_fifteen():
    """4 rejected at q = .05, 3 by Bonferroni (Benjamini & Hochberg 1995)."""
    assert (stats.false_discovery_control(FIFTEEN) <= 0.05).sum() == 4
    assert (np.array(FIFTEEN) <= 0.05 / 15).sum() == 3


@pytest.fixture
def sampled():
    names = [f"c{number:02d}" for number in range(16)]
    rows = [(name, "Kazachstania humilis", 5) for name in names[:8]]
    rows += [(name, "Saccharomyces cerevisiae", 5) for name in names[::2]]
    rows += [(name, "Lactobacillus brevis", 3) for name in names]
    rows += [(names[3], "Acetobacter malorum", 1)]
    activity = pd.Series(np.random.default_rng(1).normal(0.0, 0.2, 16), index=names)
    activity.iloc[:8] += 1.0
    return isolated(rows), activity


def test_an_organism_of_active_cultures_is_found_and_others_not(sampled):
    isolates, activity = sampled
    found = organism_activity(isolates, activity).set_index("organism")
    row = found.loc["Kazachstania humilis"]
    reference = stats.ttest_ind(activity.iloc[:8], activity.iloc[8:], equal_var=False)  # scipy.stats.ttest_ind
    assert row["p"] == pytest.approx(reference.pvalue)
    assert row["difference_low"] == pytest.approx(reference.confidence_interval().low)
    assert row["words"].startswith(
        "found in 8 sampled cultures, not found in 8 others sampled: cultures with it are more"
    )
    assert "no difference in activity shown" in found.loc["Saccharomyces cerevisiae", "words"]
    tested = found["p"].dropna()
    assert found.loc[tested.index, "p_adjusted"].tolist() == pytest.approx(
        stats.false_discovery_control(tested).tolist()
    )


def test_what_is_everywhere_or_in_one_culture_is_not_tested_and_never_called_unique(sampled):
    found = organism_activity(*sampled).set_index("organism")
    assert found.loc[["Levilactobacillus brevis", "Acetobacter malorum"], "p"].isna().all()
    assert found.loc["Acetobacter malorum", "words"] == (
        "found in 1 sampled culture, not found in 15 others sampled: too few on one side to tell"
    )
    assert not found["words"].str.contains("unique").any()


def test_chance_finds_something_in_one_shelf_of_twenty():
    """Nothing differs: with the adjustment at 5 %, 200 shelves of 6 organisms; 2 to 9 % is four standard errors."""
    random = np.random.default_rng(2)
    names = [f"c{number:02d}" for number in range(20)]
    kinds = ["Acetobacter a", "Acetobacter b", "Acetobacter c", "Acetobacter d", "Acetobacter e", "Acetobacter f"]
    hits = 0
    for _ in range(200):
        rows = [(name, kind, 1) for kind in kinds for name in random.choice(names, 10, replace=False)]
        activity = pd.Series(random.normal(size=20), index=names)
        hits += bool((organism_activity(isolated(rows), activity)["p_adjusted"] <= 0.05).any())
    assert 2 <= hits <= 22


def test_no_isolates_make_empty_tables():
    none = isolated([])
    assert diversity(none).empty
    assert organism_activity(none, pd.Series(dtype=float)).empty
