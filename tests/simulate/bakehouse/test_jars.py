"""What is weighed into which jar."""

import numpy as np
import pandas as pd
import pytest

from leavenbench.simulate.bakehouse.jars import fill, jars_of

SHELF = pd.DataFrame(
    {"culture": ["Ash", "Elm"], "seed_parts": [1.0, 1.0], "flour_parts": [2.0, 3.0], "water_parts": [2.0, 3.0]}
)


def filled(culture, step=3, purpose="round", count=4000):
    steps = pd.DataFrame({"culture": [culture] * count, "step": step, "purpose": purpose})
    return fill(steps, SHELF, np.random.default_rng(5))


@pytest.mark.parametrize(("culture", "share"), [("Ash", 1 / 5), ("Elm", 1 / 7)])
def test_each_culture_is_fed_in_its_own_parts(culture, share):
    found = filled(culture)
    total = found[["seed", "flour", "water"]].sum(axis=1)
    assert (found["seed"] / total).mean() == pytest.approx(share, rel=0.005)
    assert total.mean() == pytest.approx(330.0, abs=0.5)
    assert found["log_seed"].mean() == pytest.approx(0.0, abs=0.001)


def test_more_seed_than_usual_brings_more_cells():
    found = filled("Ash")
    own = found["seed"] / found[["seed", "flour", "water"]].sum(axis=1)
    # The seed is weighed to .5 g of 66 g, and written down to the gram: both blur what the log says of it.
    assert np.corrcoef(found["log_seed"], np.log(own))[0, 1] > 0.8
    # d log(s / total) = ds (1/s - 1/total) - (df + dw) / total, each weighing good to .5 g.
    expected = 0.5 * np.hypot(1 / 66 - 1 / 330, np.sqrt(2) / 330)
    assert found["log_seed"].std() == pytest.approx(expected, abs=4.0 * expected / np.sqrt(2.0 * len(found)))


def test_a_rescue_is_fed_one_to_one_to_one():
    found = filled("Ash", purpose="rescue")
    assert found[["seed", "flour", "water"]].mean().to_numpy() == pytest.approx([110.0] * 3, abs=0.1)
    assert np.exp(found["log_seed"].mean()) == pytest.approx((1 / 3) / (1 / 5), rel=0.001)


def test_later_steps_stand_in_larger_jars():
    names = [filled("Elm", step, count=1)["vessel"].item() for step in (1, 2, 3, 4, 5)]
    assert names == ["2s", "2m", "2l", "2l", "2l"]
    jars = jars_of(SHELF).set_index("vessel")
    assert set(names) <= set(jars.index)
    assert jars.loc["2s", "inner_diameter"] < jars.loc["2m", "inner_diameter"] < jars.loc["2l", "inner_diameter"]
    dough_mL = filled("Elm")[["seed", "flour", "water"]].sum(axis=1).max() / 1.0
    assert jars.loc["2l", "volume"] > 2.5 * dough_mL  # room to rise
