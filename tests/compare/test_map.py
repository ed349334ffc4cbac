"""The map of cultures: ordination against reference libraries, groups with their stability."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pandas as pd
import pytest
from statsmodels.multivariate.pca import PCA

from leavenbench.compare.clusters import adjusted_rand, best_match, gap_number, ward_groups
from leavenbench.compare.map import culture_map, ordination
from leavenbench.compare.trait_means import trait_values

TRAITS = ("rise max_rate", "rise extent", "acid max_rate", "rise lag")


def shelf(centres: np.ndarray, seed: int, each: int = 6, rounds: int = 6, own: float = 0.1, noise: float = 0.2):
    """Return traits of refeeds of cultures that stand about some centres; first steps are weak."""
    random = np.random.default_rng(seed)
    rows = []
    for group, centre in enumerate(centres):
        for one in range(each):
            culture = centre + random.normal(0.0, own, len(TRAITS))
            for number in range(rounds):
                for step in (1, 2, 3):
                    value = culture + random.normal(0.0, noise, len(TRAITS)) - 0.5 * (step == 1)
                    name = (f"{group}{one}-{number}-{step}", f"{group}{one}", number, step)
                    rows += [(*name, trait, of) for trait, of in zip(TRAITS, value, strict=True)]
    return pd.DataFrame(rows, columns=["refeed", "culture", "round", "step", "trait", "value"])


THREE = np.array([[0.0, 0.0, 0.0, 0.0], [1.0, 1.0, 0.0, 0.5], [0.0, -1.0, 1.0, -0.5]])


@pytest.fixture(scope="module")
def three():
    return culture_map(shelf(THREE, 1), resamples=30)


def test_components_are_those_of_the_correlation_matrix():
    """numpy.linalg.eigh of numpy.corrcoef, and statsmodels' PCA, on standardised columns of equal weight."""
    table = np.random.default_rng(2).normal(size=(30, 5)) @ np.random.default_rng(3).normal(size=(5, 5))
    scaled = (table - table.mean(axis=0)) / table.std(axis=0)
    scores, loadings, share = ordination(scaled, np.ones(30))
    size = np.linalg.eigh(np.corrcoef(table.T))[0][::-1]
    assert share == pytest.approx(size / size.sum(), rel=1e-10)
    reference = PCA(table, standardize=True, normalize=False)
    turned = np.sign((scores * reference.scores).sum(axis=0))
    assert np.abs(scores - reference.scores * turned).max() < 1e-9
    with_axes = np.corrcoef(np.column_stack((table, scores)).T)[:5, 5:]
    assert np.abs(loadings - with_axes).max() < 1e-9


def test_a_row_of_weight_two_is_a_row_twice():
    table = np.random.default_rng(4).normal(size=(8, 3))
    scores, loadings, share = ordination(table, np.array([2.0, 1, 1, 1, 1, 1, 1, 1]))
    twice = ordination(np.vstack((table[:1], table)), np.ones(9))
    assert share == pytest.approx(twice[2], rel=1e-10)
    assert np.abs(loadings - twice[1]).max() < 1e-10
    assert np.abs(scores - twice[0][1:]).max() < 1e-10


def test_groups_that_are_there_are_found_firm_and_again(three):
    assert three.places["cluster"].nunique() == 3
    true = three.places["culture"].str[0].to_numpy()
    assert adjusted_rand(true, three.places["cluster"].to_numpy()) == 1.0
    assert (three.places["stability"] > 0.85).all()
    assert set(three.places["verdict"]) == {"very firm"}
    assert three.agreement > 0.9
    assert three.places["refeeds"].unique().tolist() == [18]


def test_one_cloud_has_no_groups():
    made = culture_map(shelf(np.zeros((1, 4)), 5, each=24, own=0.3), resamples=5)
    assert made.places["cluster"].unique().tolist() == [1]
    assert made.places["verdict"].unique().tolist() == ["no groups"]
    assert np.isnan(made.agreement)
    assert "no groups" in made.words


def test_axes_are_told_in_words_with_their_share(three):
    assert three.axes["share_pct"].sum() == pytest.approx(100.0)
    assert (three.axes["share_pct"].diff().dropna() <= 0.0).all()
    assert (three.axes["share_pct_low"] <= three.axes["share_pct_high"]).all()
    first = three.axes["words"].iloc[0]
    assert "larger rise" in first.split("; less:")[0]  # centres differ most in the extent
    assert "less: faster souring" in first  # and against it in the souring


def test_a_trait_of_mere_noise_is_left_out():
    noisy = shelf(THREE * np.array([1.0, 1.0, 1.0, 0.0]), 6)
    chance = np.random.default_rng(7).normal(size=int((noisy["trait"] == "rise lag").sum()))
    noisy.loc[noisy["trait"] == "rise lag", "value"] = chance
    made = culture_map(noisy, resamples=5)
    assert "rise lag" not in made.loadings.index
    assert "no more than error: rise lag" in made.words


def test_weak_first_steps_make_no_culture_weak():
    values = shelf(THREE, 8)
    only_first = values[(values["culture"] != "00") | (values["step"] == 1)]
    whole, part = (culture_map(of, resamples=2).places.set_index("culture") for of in (values, only_first))
    apart = np.hypot(*(whole.loc["00", axis] - part.loc["00", axis] for axis in ("axis_1", "axis_2")))
    assert apart < 0.5  # the step alone is worth 0.5 of about 0.5 true sd in each of four traits: some 2


def test_cultures_read_too_seldom_are_named_and_few_make_no_map():
    values = shelf(THREE, 9)
    short = values[(values["culture"] != "00") | (values["round"] < 2)]
    assert "read too seldom: 00" in culture_map(short, resamples=2).words
    none = culture_map(values[values["culture"].isin(["00", "01"])], resamples=2)
    assert none.places.empty
    assert none.words.startswith("no map: ")


def test_the_same_seed_draws_the_same_map():
    values = shelf(THREE, 10)
    first, again = (culture_map(values, resamples=5, seed=3) for _ in range(2))
    pd.testing.assert_frame_equal(first.places, again.places)
    pd.testing.assert_frame_equal(first.axes, again.axes)


def by_pairs(one: list[int], other: list[int]) -> float:
    """Adjusted Rand index counted pair by pair (Hubert & Arabie 1985)."""
    pairs = list(combinations(range(len(one)), 2))
    same = np.array([[of[a] == of[b] for a, b in pairs] for of in (one, other)], float)
    both, (rows, columns) = (same[0] * same[1]).sum(), same.sum(axis=1)
    by_chance = rows * columns / len(pairs)
    return (both - by_chance) / (0.5 * (rows + columns) - by_chance)


@pytest.mark.parametrize(
    ("one", "other", "exact"),
    [
        ([0, 0, 1, 1], [0, 0, 1, 2], 4 / 7),  # exact algebra
        ([0, 0, 1, 1], [5, 5, 3, 3], 1.0),
        ([0, 0, 1, 1], [0, 1, 0, 1], -0.5),  # exact algebra
        ([0, 0, 0, 1, 1, 2, 2, 2], [0, 0, 1, 1, 1, 2, 2, 0], None),
    ],
)
def test_adjusted_rand_is_that_of_pairs(one, other, exact):
    found = adjusted_rand(np.array(one), np.array(other))
    assert found == pytest.approx(by_pairs(one, other), abs=1e-12)
    if exact is not None:
        assert found == pytest.approx(exact, abs=1e-12)


def test_jaccard_is_of_the_best_group():
    members = np.array([True, True, True, False, False])
    assert best_match(members, np.array([1, 1, 2, 2, 2])) == pytest.approx(2 / 3)  # {1,2} of {1,2,3}
    assert best_match(members, np.array([4, 4, 4, 9, 9])) == 1.0


def test_groups_are_numbered_as_they_come():
    places = np.array([[9.0], [0.0], [9.1], [0.1], [4.0]])
    assert ward_groups(places, 3).tolist() == [1, 2, 1, 2, 3]


@pytest.mark.parametrize("number", [1, 2, 4])
def test_the_gap_statistic_counts_groups(number):
    random = np.random.default_rng(11)
    centres = np.array([[0.0, 0.0], [12.0, 0.0], [0.0, 12.0], [12.0, 12.0]])[:number]
    places = np.repeat(centres, 10, axis=0) + random.normal(0.0, 1.0, (10 * number, 2))
    assert gap_number(places, np.random.default_rng(0)) == number


def test_two_cultures_are_no_groups():
    assert gap_number(np.array([[0.0], [5.0], [9.0]]), np.random.default_rng(0)) == 1


def test_values_are_those_of_rounds_alone(make_collection, make_curves):
    refeeds = {"refeed": ["a", "b"], "culture": "A", "purpose": ["round", "rescue"], "round": 1, "step": 1}
    refeeds["fed_at"] = pd.to_datetime(["2025-01-01 08:00Z", "2025-01-02 08:00Z"])
    curves = {"refeed": ["a", "b"], "signal": "rise", "status": "fitted", "max_rate": 30.0, "max_rate_se": 1.0}
    curves |= {"extent": 100.0, "extent_se": 2.0, "lag_h": 1.0, "lag_h_se": 0.1, "lower_bounds": "extent"}
    found = trait_values(make_collection(refeeds=refeeds), make_curves(curves))
    assert found["refeed"].unique().tolist() == ["a"]
    assert set(found["trait"]) == {"rise max_rate", "rise lag"}  # the extent is only 'at least'
