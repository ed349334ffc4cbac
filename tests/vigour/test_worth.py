"""What each trait is worth, learnt from shelves that are made by the factor model itself."""

from __future__ import annotations

import numpy as np
import pytest

from leavenbench.vigour.traits import TRAITS
from leavenbench.vigour.worth import worth_of

#: In the order of `TRAITS`: how traits move with activity, and how far they stray alone.
LOADING = np.array([1.0, 0.1, 0.8, 1.0, 0.2, 0.5, 0.4])
ALONE = np.array([0.06, 0.08, 0.20, 0.05, 0.07, 0.15, 0.06])
#: The slopes alone, which give the scale.
SLOPES = [float(trait.endswith("max_rate")) for trait in TRAITS]
ACTIVITY, SE = 0.10, 0.03


def shelf(rng, cultures=40, rounds=16, loading=LOADING, mean=0.0, activity=ACTIVITY):
    """Return the traits of a shelf by the factor model, each of shape (cultures, rounds, 3), with errors of curves."""
    shape = (cultures, rounds, 3)
    moved = rng.normal(0.0, activity, shape) + mean
    return {
        trait: of * moved + rng.normal(0.0, np.hypot(alone, SE), shape)
        for trait, of, alone in zip(TRAITS, loading, ALONE, strict=True)
    }


def test_loadings_and_strays_of_the_factor_model_are_found_again(make_traits):
    """Over 1800 differences: a loading's sampling error is sqrt(var_i var_j / n) / activity^2, here .09 at most."""
    found = worth_of(make_traits(shelf(np.random.default_rng(3)), se=SE))
    error = np.hypot(ALONE, ACTIVITY * LOADING) * np.hypot(0.05, ACTIVITY) / np.sqrt(1800) / ACTIVITY**2
    assert error.max() < 0.09
    assert (np.abs(found.loading - LOADING) < 3.0 * error + 0.1 * (LOADING < 0.3)).all()  # weak ones are shrunk
    assert found.alone == pytest.approx(ALONE, abs=0.03)
    assert found.spread.to_numpy() == pytest.approx(np.sqrt((ACTIVITY * LOADING) ** 2 + ALONE**2 + SE**2), rel=0.1)
    assert np.abs(found.correlation - np.eye(len(TRAITS))).max() < 0.2


def test_a_lag_that_has_nothing_to_do_with_activity_is_worth_nothing(make_traits):
    loading = np.array(SLOPES)
    found = worth_of(make_traits(shelf(np.random.default_rng(4), loading=loading), se=SE))
    assert found.loading == pytest.approx(SLOPES, abs=0.1)
    assert found.loading[[0, 3]].tolist() == [1.0, 1.0]


def test_a_trait_that_moves_the_wrong_way_is_worth_nothing(make_traits):
    loading = np.array(SLOPES) - 0.8 * (np.arange(len(TRAITS)) == 2)
    assert worth_of(make_traits(shelf(np.random.default_rng(5), loading=loading), se=SE)).loading[2] == 0.0


def test_what_two_traits_share_besides_activity_is_their_correlation(make_traits):
    """Rate and lag of a curve err together: .05 of each is one and the same error."""
    rng = np.random.default_rng(6)
    values = shelf(rng, cultures=60)
    shared = rng.normal(0, 0.1, values[TRAITS[0]].shape)
    values[TRAITS[0]] += shared
    values[TRAITS[2]] -= shared
    found = worth_of(make_traits(values, se=SE))
    wanted = -(0.1**2) / np.sqrt(np.prod(np.square(ALONE[[0, 2]]) + SE**2 + 0.1**2))
    assert found.correlation[0, 2] == pytest.approx(wanted, abs=0.1)
    assert found.correlation[2, 0] == found.correlation[0, 2]
    assert np.linalg.eigvalsh(found.correlation).min() > 0.0
    assert np.diag(found.correlation) == pytest.approx(1.0)


def test_a_shelf_that_declines_does_not_look_noisy(make_traits):
    """By successive differences: 5 % a round, for ever, adds .05^2 / 2 to a variance, and to none of its cousins."""
    decline = -0.05 * np.arange(16)[None, :, None]
    steady, falling = (worth_of(make_traits(shelf(np.random.default_rng(7), mean=of), se=SE)) for of in (0.0, decline))
    added = np.sqrt(steady.spread.iloc[0] ** 2 + 0.05**2 / 2.0)
    assert falling.spread.iloc[0] == pytest.approx(added, rel=0.05)
    assert falling.alone == pytest.approx(steady.alone, abs=0.03)


def test_a_few_wild_refeeds_move_little(make_traits):
    rng = np.random.default_rng(8)
    values = shelf(rng)
    sound = worth_of(make_traits(values, se=SE))
    for trait in TRAITS:
        wild = rng.random(values[trait].shape) < 0.02
        values[trait] = values[trait] + wild * rng.choice([-2.0, 2.0], wild.shape)
    odd = worth_of(make_traits(values, se=SE))
    assert odd.spread.to_numpy() == pytest.approx(sound.spread.to_numpy(), rel=0.15)
    assert odd.loading == pytest.approx(sound.loading, abs=0.35)


def test_a_shelf_too_small_to_tell_takes_what_is_usual(make_traits):
    """Spread .12 of a logarithm and .5 h of a lag (common practice, no source), and the slopes alone count."""
    found = worth_of(make_traits(shelf(np.random.default_rng(9), cultures=2, rounds=8), se=SE))
    assert found.loading.tolist() == SLOPES
    assert found.spread.tolist() == [0.5 if trait.endswith("lag") else 0.12 for trait in TRAITS]
    assert found.correlation == pytest.approx(np.eye(len(TRAITS)))


def test_rise_alone_is_judged_by_its_slope(make_traits):
    values = {trait: of for trait, of in shelf(np.random.default_rng(10)).items() if trait.startswith("rise")}
    found = worth_of(make_traits(values, se=SE))
    assert found.loading.tolist() == SLOPES
    assert np.isfinite(found.alone).all()
    assert np.isfinite(found.spread.to_numpy()).all()


def test_nothing_at_all(make_traits):
    found = worth_of(make_traits({TRAITS[0]: np.zeros((0, 0, 0))}))
    assert found.loading.tolist() == SLOPES
    assert np.isfinite(found.alone).all()
