"""The plan of a round: it ends at the target, wastes nothing that it need not, and says what cannot be."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leavenbench.care.feeding import FeedRatio
from leavenbench.care.steps import (
    DENSITY,
    HEADROOM,
    CannotPlan,
    Wish,
    most_from,
    plan_forwards,
    plan_steps,
    steps_needed,
)

RATIOS = st.tuples(st.sampled_from([0.5, 1.0, 2.0]), st.integers(1, 6), st.integers(1, 6)).map(
    lambda of: FeedRatio(of[0], float(of[1]), float(of[2]))
)


@settings(max_examples=150, deadline=None)
@given(ratio=RATIOS, target=st.integers(40, 2000), steps=st.integers(1, 5), scale=st.sampled_from([0.1, 1.0]))
def test_every_gram_is_accounted_for_and_the_last_step_ends_at_the_target(ratio, target, steps, scale):
    plan = plan_steps(Wish(ratio, target, steps, scale_g=scale))
    assert (plan["seed_g"] + plan["flour_g"] + plan["water_g"]).tolist() == pytest.approx(plan["mass_g"].tolist())
    assert (plan["keep_g"] + plan["set_aside_g"]).tolist() == pytest.approx(plan["mass_g"].tolist())
    assert (plan["set_aside_g"] >= -1e-9).all()
    assert plan["keep_g"].iloc[:-1].tolist() == pytest.approx(plan["seed_g"].iloc[1:].tolist())
    # the seed is rounded up by two steps of the scale at most, flour and water by half a step each
    assert target - 1e-9 <= plan["mass_g"].iloc[-1] <= target + scale * (2 * ratio.growth + 1)
    for part in ("flour", "water"):
        exact = plan["seed_g"] * getattr(ratio, part) / ratio.seed
        assert (plan[f"{part}_g"] - exact).abs().max() <= scale / 2 + 1e-9


def test_no_more_seed_is_fed_than_the_target_needs():
    plan = plan_steps(Wish(FeedRatio(1, 5, 5), 1331, 3, seed_at_hand_g=200))
    assert plan["seed_g"].tolist() == [5.0, 11.0, 121.0]  # exact: 1331 = 11^3; the first seed is the least handled
    assert plan["mass_g"].iloc[-1] == 1331


def test_too_little_seed_says_what_can_be_had():
    wish = Wish(FeedRatio(1, 1, 1), 300, 2, seed_at_hand_g=20)
    with pytest.raises(CannotPlan, match=r"20 g of seed come to 180 g at most in 2 steps.*3 steps would do"):
        plan_steps(wish)
    assert most_from(20, wish.ratio, 2) == 180  # exact: 20 x 3 x 3
    assert steps_needed(20, 300, wish.ratio) == 3
    assert plan_steps(wish._replace(steps=3))["mass_g"].iloc[-1] >= 300
    with pytest.raises(CannotPlan, match="0 g of seed"):
        plan_steps(wish._replace(seed_at_hand_g=0.0))


def test_a_jar_that_would_overflow_is_refused_with_what_fits():
    wish = Wish(FeedRatio(1, 2, 2), 400, jar_mL=500, rise_pct=120)
    with pytest.raises(CannotPlan, match=r"overflow a jar of 500 mL; take 237 g.* jar of 842 mL"):
        plan_steps(wish)
    fits = plan_steps(wish._replace(target_g=235.0))
    # exact: mass over density, risen, against the jar
    assert fits["height_share"].iloc[-1] == pytest.approx(235 / DENSITY * 2.2 / 500)
    assert (fits["height_share"] <= 1 - HEADROOM).all()


def test_a_ratio_beyond_the_scale_is_refused():
    with pytest.raises(CannotPlan, match="cannot weigh"):
        plan_steps(Wish(FeedRatio(1, 100, 100), 100))
    assert plan_steps(Wish(FeedRatio(1, 100, 100), 100, scale_g=0.1, steps=1))["seed_g"].tolist() == pytest.approx(
        [0.5]
    )


def test_nonsense_is_refused():
    for wrong in ({"target_g": 0.0}, {"steps": 0}, {"scale_g": 0.0}):
        with pytest.raises(CannotPlan):
            plan_steps(Wish(FeedRatio(1, 2, 2), 100)._replace(**wrong))


def test_steps_get_their_usual_seed_where_there_is_enough_and_it_fits():
    wish = Wish(FeedRatio(1, 2, 2), 330, seed_at_hand_g=150, usual_seed_g=(20, 38, 90), jar_mL=(320, 570, 960))
    plan = plan_steps(wish)
    assert plan["seed_g"].tolist() == [20, 38, 66]  # the last is what the target needs, whatever the custom
    assert plan["set_aside_g"].tolist() == [62, 124, 0]
    small = plan_steps(wish._replace(jar_mL=(320, 300, 960)))  # 190 g at 100 % would come to 345 mL
    # exact: .95 x 300 mL / (2 / 1.1 mL/g) / 5 = 31.35 g of seed
    assert small["seed_g"].tolist() == [20, 31, 66]
    with pytest.raises(CannotPlan, match="at step 2"):
        plan_steps(wish._replace(jar_mL=(320, 60, 960)))  # not even the 70 g that step 3 needs


def test_forwards_from_the_seed_each_step_takes_what_its_jar_holds():
    wish = Wish(FeedRatio(1, 2, 2), 0.0, seed_at_hand_g=10.4, jar_mL=(200, 200, 960))
    plan = plan_forwards(wish)
    # exact: 10 g become 50 g; .95 x 200 mL x 1.1 g/mL / 2 = 104.5 g, so 20 g of seed fit a jar and come to 100 g
    assert plan["seed_g"].tolist() == [10, 20, 100]
    assert plan["mass_g"].tolist() == [50, 100, 500]
    assert plan["set_aside_g"].tolist() == [30, 0, 0]
    assert plan_forwards(wish._replace(jar_mL=float("nan")))["mass_g"].iloc[-1] == most_from(10, wish.ratio, 3)
    with pytest.raises(CannotPlan, match="nothing at hand"):
        plan_forwards(wish._replace(seed_at_hand_g=0.0))
    with pytest.raises(CannotPlan, match="jar of 5 mL"):
        plan_forwards(wish._replace(jar_mL=5.0))
