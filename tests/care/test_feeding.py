"""Feeding arithmetic against worked examples of the trade and exact algebra."""

from __future__ import annotations

import pytest

from leavenbench.care.feeding import (
    FeedRatio,
    bakers_percentages,
    dough_yield,
    flour_at_moisture,
    flour_for_dough,
    grams,
    hydration_pct,
    settled_hydration_pct,
)
from leavenbench.errors import CannotRead


def test_percentages_are_on_the_flour():
    # worked example of baker's percentages, read: 1000/600/2/10 g are 100/60/.2/1 %
    found = bakers_percentages({"flour": 1000, "water": 600, "yeast": 2, "salt": 10}, "flour")
    assert list(found.values()) == pytest.approx([100.0, 60.0, 0.2, 1.0])
    # exact: two flours together are the hundred
    assert bakers_percentages({"rye": 30, "wheat": 70, "water": 75}, "rye", "wheat")["water"] == pytest.approx(75.0)
    with pytest.raises(CannotRead, match="there is none"):
        bakers_percentages({"water": 5.0}, *())


def test_flour_in_a_dough_of_given_percentages():
    # worked example, read: 182 % of flour and 1340 g of dough make 736 g of flour
    assert flour_for_dough(1340, 182) == pytest.approx(736, abs=0.5)


@pytest.mark.parametrize(("flour", "water", "expected"), [(500, 300, 160.0), (155, 110, 171.0)])
def test_dough_yield(flour, water, expected):
    # worked examples of dough yield, read; the second is rounded to whole percent there
    assert dough_yield(flour, water) == pytest.approx(expected, abs=0.5)


def test_hydration_counts_the_seed():
    # exact: 50 g at 100 % are 25 + 25; 25 + 200 of flour, 25 + 150 of water
    assert hydration_pct(50, 100, 200, 150) == pytest.approx(100 * 175 / 225)
    assert dough_yield(225, 175) == pytest.approx(177.78, abs=0.005)


def test_a_culture_always_fed_alike_comes_to_the_hydration_of_its_feed():
    ratio, hydration = FeedRatio(1, 2, 1.5), 120.0
    for _ in range(40):
        hydration = hydration_pct(ratio.seed, hydration, ratio.flour, ratio.water)
    assert hydration == pytest.approx(settled_hydration_pct(ratio), abs=1e-9)  # exact: the seed's share dies away


def test_flour_at_another_moisture():
    # exact: 100 g x 86 / 87.5, and the rest is water
    assert flour_at_moisture(100, 12.5) == pytest.approx((98.2857, 1.7143), abs=5e-5)
    flour, water = flour_at_moisture(250, 15.5, basis_pct=13.0)
    assert flour * (1 - 0.155) == pytest.approx(250 * 0.87)  # as much dry matter
    assert flour + water == pytest.approx(250)
    assert water < 0
    with pytest.raises(CannotRead, match="cannot be"):
        flour_at_moisture(100, 100)


@pytest.mark.parametrize(("written", "doublings"), [("1:1:1", 1.58496), ("1:2:2", 2.32193), ("1:5:5", 3.45943)])
def test_doublings(written, doublings):
    # exact: log2 of total over seed
    assert FeedRatio.of(written).doublings == pytest.approx(doublings, abs=5e-6)


@pytest.mark.parametrize("written", ["1:2", "a:b:c", "0:1:1", "1:0:2", "1:2:-1", "1:nan:1", "", "1:2:2:2"])
def test_what_is_no_ratio(written):
    with pytest.raises(CannotRead):
        FeedRatio.of(written)


def test_masses_as_people_write_them():
    # international avoirdupois ounce and pound: 28.349523125 g and 453.59237 g exactly (1959 agreement)
    assert grams("4,5 oz") == pytest.approx(4.5 * 28.349523125)
    assert grams("1 lb") == pytest.approx(453.59237)
    assert grams(" 250 ") == 250.0
    assert grams("30 gr") == 30.0  # people mean grams; a grain is nothing that a bench scale shows
    for wrong in ("", "much", "5 cm", "-3 g", "4 5 g"):
        with pytest.raises(CannotRead):
            grams(wrong)
