"""What is normal for a culture: its first six rounds, step by step, and nothing that came later."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from leavenbench.vigour.baseline import BASELINE_ROUNDS, with_baselines
from leavenbench.vigour.traits import TRAITS

RATE = "rise max_rate"
SPREAD = pd.Series(0.12, TRAITS)


def shelf(cultures, rounds, seed=1):
    """Return log rates of a shelf whose cultures and steps differ, shape (cultures, rounds, 3)."""
    rng = np.random.default_rng(seed)
    level, step = rng.normal(2, 0.5, (cultures, 1, 1)), np.log([0.6, 0.9, 1.0])
    return level + step + rng.normal(0, 0.1, (cultures, rounds, 3))


def bases(traits, spread=SPREAD):
    return with_baselines(traits, spread).set_index("refeed")


def test_it_is_the_median_of_the_first_six_rounds_at_that_step(make_traits):
    values = shelf(5, 12)
    found = bases(make_traits({RATE: values}))
    for culture in range(5):
        for step in range(3):
            wanted = float(np.median(values[culture, :6, step]))
            own = [found.loc[f"F{culture}-{number}-{step}", "base"] for number in range(12)]
            assert own == pytest.approx([wanted] * 12)
    assert (found["baseline_rounds"] == BASELINE_ROUNDS).all()
    assert found["base_se"].to_numpy() == pytest.approx(0.12 / np.sqrt(6))


def test_what_comes_later_moves_nothing(make_traits):
    values = shelf(3, 12)
    later = values.copy()
    later[:, 6:] -= np.linspace(0.1, 2.0, 6)[:, None]
    before, after = (bases(make_traits({RATE: of})) for of in (values, later))
    assert after["base"].to_numpy() == pytest.approx(before["base"].to_numpy(), rel=1e-14)
    short = bases(make_traits({RATE: values[:, :6]}))
    assert short["base"].to_numpy() == pytest.approx(before.loc[short.index, "base"].to_numpy(), rel=1e-14)


def test_the_order_of_rows_is_none_of_its_business(make_traits):
    traits = make_traits({RATE: shelf(4, 9), "acid max_rate": shelf(4, 9, seed=2)})
    key = ["refeed", "trait"]
    told = [
        with_baselines(of, SPREAD).sort_values(key)[[*key, "base"]].reset_index(drop=True)
        for of in (traits, traits.sample(frac=1.0, random_state=5))
    ]
    pd.testing.assert_frame_equal(*told)


@pytest.mark.parametrize("change", [{"purpose": "rescue"}, {"at_least": True}, {"value": np.nan, "still": True}])
def test_rescues_bounds_and_jars_that_did_not_move_make_no_baseline(make_traits, change):
    """Two of the first rounds of culture 0 are wildly off, and are no sound rounds."""
    values = shelf(4, 8)
    odd = values.copy()
    odd[0, 1:3] += 5.0
    traits = make_traits({RATE: odd})
    of_odd = (traits["culture"] == "C0") & traits["round"].isin([2, 3])
    traits = traits.assign(**{name: traits[name].mask(of_odd, value) for name, value in change.items()})
    sound = [0, 3, 4, 5] if "still" in change else [0, 3, 4, 5, 6, 7]  # a dead jar takes its place among the first six
    found = bases(traits)
    wanted = [np.median(values[0, sound, step]) for step in range(3)]
    assert [found.loc[f"F0-7-{step}", "base"] for step in range(3)] == pytest.approx(wanted)


def test_a_trait_that_hardly_ever_moved_is_no_trait_of_that_culture(make_traits):
    """A jar of rice: no rise in four of its first six rounds."""
    still = np.zeros((3, 8, 3), bool)
    still[0, :4] = True
    traits = make_traits({RATE: shelf(3, 8), "acid max_rate": shelf(3, 8, seed=2)}, still={RATE: still})
    found = with_baselines(traits, SPREAD)
    assert set(found.loc[found["culture"] == "C0", "trait"]) == {"acid max_rate"}
    still[0, 3] = False  # as often as not
    traits = make_traits({RATE: shelf(3, 8), "acid max_rate": shelf(3, 8, seed=2)}, still={RATE: still})
    found = with_baselines(traits, SPREAD)
    assert set(found.loc[found["culture"] == "C0", "trait"]) == {RATE, "acid max_rate"}


def test_a_step_that_was_never_read_stands_where_the_shelf_puts_it(make_traits):
    """Culture 0 was never read at step 2: its level over the other steps, and the shelf's usual difference."""
    values = shelf(9, 8)
    values[0, :6, 1] = np.nan
    found = bases(make_traits({RATE: values}))
    own = np.median(values[:, :6], axis=1)
    off = np.median(own[1:] - own[1:].mean(axis=1, keepdims=True), axis=0)
    level = np.mean(own[0, [0, 2]] - off[[0, 2]])
    assert found.loc["F0-7-1", "base"] == pytest.approx(level + off[1])
    assert found.loc["F0-7-1", "base"] == pytest.approx(own[0, 2] + np.log(0.9), abs=0.15)  # the truth, with its noise
    assert found.loc["F0-7-0", "base"] == pytest.approx(own[0, 0])


def test_a_step_read_once_is_shrunk_half_way(make_traits):
    """Own weight n / (n + 1) while others were read twice or more."""
    values = shelf(9, 8)
    values[0, 1:6, 1] = np.nan
    found = bases(make_traits({RATE: values}))
    own = np.nanmedian(values[:, :6], axis=1)
    off = np.median(own - own.mean(axis=1, keepdims=True), axis=0)
    level = np.mean(own[0] - off)
    assert found.loc["F0-7-1", "base"] == pytest.approx(0.5 * own[0, 1] + 0.5 * (level + off[1]))


def test_an_extra_step_beyond_all_that_is_known_stands_by_the_last_one(make_traits):
    values = np.concatenate([shelf(5, 8), np.full((5, 8, 1), np.nan)], axis=2)
    values[2, 7, 3] = 1.0
    found = bases(make_traits({RATE: values}))
    own = np.median(values[:, :6, :3], axis=1)
    off = np.median(own - own.mean(axis=1, keepdims=True), axis=0)
    assert found.loc["F2-7-3", "base"] == pytest.approx(np.mean(own[2] - off) + off[2])


def test_a_restored_culture_has_its_own_new_normal(make_traits):
    traits = make_traits({RATE: shelf(4, 12)})
    restored = (traits["culture"] == "C1") & (traits["round"] > 6)
    traits = traits.assign(history=restored.astype(int), value=traits["value"] - 0.7 * restored)
    found = bases(traits)
    values = shelf(4, 12) - 0.7 * (np.arange(12) >= 6)[None, :, None] * (np.arange(4) == 1)[:, None, None]
    assert found.loc["F1-11-2", "base"] == pytest.approx(np.median(values[1, 6:, 2]))
    assert found.loc["F1-5-2", "base"] == pytest.approx(np.median(values[1, :6, 2]))


def test_with_one_round_that_round_is_normal(make_traits):
    values = shelf(3, 1)
    found = bases(make_traits({RATE: values}))
    assert found["base"].to_numpy() == pytest.approx(values.ravel())
    assert (found["baseline_rounds"] == 1).all()
    assert found["base_se"].to_numpy() == pytest.approx(0.12)


def test_a_shelf_without_rounds_has_no_baselines(make_traits):
    traits = make_traits({RATE: shelf(3, 4)}).assign(purpose="rescue")
    assert with_baselines(traits, SPREAD).empty
