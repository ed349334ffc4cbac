"""Flour: who eats what when, what poor lots do, and what is left in the sack."""

from datetime import date

import numpy as np
import pandas as pd
import pytest

from leavenbench.simulate.bakehouse.lots import add_lots, count_flour, draw_lots, flours_fed
from leavenbench.simulate.bakehouse.mishaps import FlourEnds, PoorLot
from leavenbench.simulate.noise import Noise

BEGIN = date(2022, 1, 3)
FLOURS = pd.DataFrame({"flour": ["white", "rye"], "grain": ["wheat", "rye"], "shelf_life": [270, 240]})
SHARES = pd.DataFrame({"culture": ["Ash", "Elm", "Elm"], "flour": ["rye", "white", "rye"], "share": [1.0, 0.75, 0.25]})
STEPS = pd.DataFrame(
    {"culture": ["Ash", "Elm"] * 3, "day": pd.to_datetime(np.repeat(["2022-02-07", "2022-08-01", "2023-03-06"], 2))}
)


def lots(mishaps=(), noise=None):
    return draw_lots(FLOURS, SHARES, BEGIN, 3.0, noise or Noise(), mishaps, np.random.default_rng(2))


def test_a_delivery_comes_about_every_four_months_before_it_is_needed():
    every = lots()
    for _, own in every.groupby("flour"):
        assert own["received"].is_monotonic_increasing
        assert own["received"].iloc[0] < pd.Timestamp(BEGIN)
        assert own["received"].diff().dropna().dt.days.between(100, 150).all()
    assert (every["milled"] < every["received"]).all()
    assert every["falling_number"].notna().all()


def test_a_feeding_takes_the_last_lot_that_had_come_and_a_blend_takes_two():
    every = lots()
    fed = flours_fed(STEPS, SHARES, every, ())
    assert fed["at"].tolist() == [0, 1, 1, 2, 3, 3, 4, 5, 5]
    known = every.set_index("lot")
    for row in fed.itertuples():
        lot, day = known.loc[row.lot], STEPS.at[row.at, "day"]
        later = every.loc[(every["flour"] == lot["flour"]) & (every["received"] <= day), "received"].max()
        assert lot["received"] == later
    steps = add_lots(STEPS, fed)
    assert steps["lot"].isna().tolist() == [False, True] * 3
    effects = fed.groupby("at")[["share", "log_lot"]].apply(lambda own: (own["share"] * own["log_lot"]).sum())
    assert steps["log_lot"].to_numpy() == pytest.approx(effects.to_numpy())
    assert steps.at[0, "log_lot"] == known.at[steps.at[0, "lot"], "log_lot"]


def test_a_poor_lot_is_as_poor_as_said_and_no_other_changes():
    usual, struck = lots(), lots([PoorLot("rye", 3, 22.0)])
    differ = usual["log_lot"] != struck["log_lot"]
    assert struck.loc[differ, "lot"].tolist() == ["rye-3"]
    assert np.exp(struck.loc[differ, "log_lot"].item()) == pytest.approx(0.78)


def test_a_flour_that_ends_comes_no_more_and_another_is_fed():
    end = FlourEnds("rye", date(2022, 9, 1), "white")
    left = lots([end])
    assert left.loc[left["flour"] == "rye", "received"].max() < pd.Timestamp("2022-09-01")
    fed = flours_fed(STEPS, SHARES, left, [end])
    of = fed["lot"].str.split("-").str[0]
    assert of[fed["at"] == 2].tolist() == ["rye"]
    assert of[fed["at"] == 4].tolist() == ["white"]


def test_lot_effects_are_of_the_size_asked_for():
    pooled = pd.concat(
        [draw_lots(FLOURS, SHARES, BEGIN, 20.0, Noise(lot_sd=0.1), (), np.random.default_rng(n)) for n in range(9)]
    )
    assert pooled["log_lot"].std() == pytest.approx(0.1, abs=4.0 * 0.1 / np.sqrt(2.0 * len(pooled)))


def test_what_is_counted_is_what_came_less_what_was_fed():
    every = lots()
    used = pd.DataFrame(
        {"day": pd.to_datetime(["2022-01-20", "2022-02-10"]), "lot": ["rye-1", "rye-1"], "mass": [300.0, 500.0]}
    )
    counts = count_flour(every, used, pd.Timestamp("2022-05-01")).set_index(["lot", "counted_on"])["mass"]
    came = every.set_index("lot").at["rye-1", "mass"]
    # A hundredth more is spilt; weighed to ten grams.
    assert counts["rye-1", pd.Timestamp("2022-04-02")] == round(came - 1.01 * 800.0, -1)
    assert counts.index.get_level_values("counted_on").max() <= pd.Timestamp("2022-05-01")
