"""The shelf's own noise, recovered from invented records, and what stands where they cannot tell it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from leavenbench.columns import RESULTS
from leavenbench.compare.planning.noise import USUAL, USUAL_CARRY_OVER, planning_noise, reading_noise


def records(cultures, rounds=14, refeeds=3, reading=0.04, seed=11):
    """Refeeds beside each other: round 10 %, refeed 6 %, day 8 %."""
    rng = np.random.default_rng(seed)
    culture, number, step = (place.ravel() for place in np.indices((cultures, rounds, refeeds)))
    day = number * refeeds + step
    value = 0.1 * rng.normal(size=(cultures, rounds))[culture, number] + 0.08 * rng.normal(size=day.max() + 1)[day]
    value += np.hypot(0.06, reading) * rng.normal(size=len(culture))
    table = pd.DataFrame({"culture": [f"C{of:02}" for of in culture], "round": number, "step": step + 1, "day": day})
    same = {"vessel": None, "trait": "rise max_rate", "unit": "%/h", "scale": "log", "se": reading}
    return table.assign(refeed=np.arange(len(table)), value=value, **same)


@pytest.fixture(scope="module")
def shelf():
    return planning_noise(records(10, rounds=30))


def test_what_was_put_in_comes_out(shelf):
    assert shelf.reading == pytest.approx(0.04)
    assert (shelf.refeed, shelf.round, shelf.day) == pytest.approx((0.06, 0.10, 0.08), rel=0.2)
    assert shelf.single == pytest.approx(np.hypot(0.06, 0.04), rel=0.1)
    sizes = shelf.table.iloc[1:4]
    assert (sizes["low"] < sizes["value"]).all()
    assert (sizes["value"] < sizes["high"]).all()
    assert shelf.table["told"].all()
    assert list(shelf.table.columns) == RESULTS["planning_noise"].names


def test_differences_are_taken_to_the_working_scale(shelf):
    assert shelf.working(20.0) == pytest.approx(np.log(1.2))
    assert shelf._replace(scale="linear").working(0.2) == 0.2


def test_one_culture_tells_its_rounds_but_not_its_days():
    alone = planning_noise(records(1, rounds=40))
    assert alone.round == pytest.approx(0.1, rel=0.35)
    day = alone.table.set_index("quantity").loc["days, shared by all that is fed on one"]
    assert not day["told"]
    assert day["source"].startswith("usual value")
    assert 0.0 < alone.day <= USUAL["log"]["day"]
    # with its readings, what single refeeds scatter is known: the days are in it
    whole = np.hypot(alone.single, alone.day)
    assert whole == pytest.approx(np.sqrt(0.06**2 + 0.04**2 + 0.08**2), rel=0.15)


def test_one_refeed_in_a_round_leaves_rounds_in_the_refeeds():
    single = planning_noise(records(12, refeeds=1))
    rounds = single.table.set_index("quantity").loc["rounds of a culture"]
    assert not rounds["told"]
    assert np.hypot(single.single, single.round) == pytest.approx(np.sqrt(0.06**2 + 0.04**2 + 0.1**2), rel=0.15)


def test_a_few_drifting_rounds_do_not_tell_what_is_carried_over():
    table = records(1, rounds=8)
    drifting = planning_noise(table.assign(value=table["value"] - 0.08 * table["round"]))
    assert drifting.carry_over == USUAL_CARRY_OVER
    many = planning_noise(records(12))
    assert many.carry_over != USUAL_CARRY_OVER
    assert many.table["told"].iloc[-1]


def test_a_culture_that_wanders_more_has_its_own_scatter():
    table = records(20)
    wild = table["culture"] == "C03"
    table.loc[wild, "value"] *= 3.0
    calm, restless = planning_noise(table, ("C01", "C02")), planning_noise(table, ("C03",))
    assert restless.round > 1.3 * calm.round
    assert restless.day == calm.day  # a day is nobody's own


def test_no_refeeds_leave_usual_values():
    nothing = planning_noise(records(1).iloc[:0])
    assert (nothing.reading, nothing.refeed, nothing.round, nothing.day) == tuple(USUAL["log"].values())
    assert nothing.carry_over == USUAL_CARRY_OVER
    assert not nothing.table["told"].any()


def traced(refeeds, sd, readings=9):
    """Return curves whose residuals have a standard deviation, as fitted with four numbers."""
    squares = sd**2 * np.random.default_rng(3).chisquare(readings - 4, refeeds)
    names = [f"F{of}" for of in range(refeeds)]
    curves = pd.DataFrame({"refeed": names, "signal": "rise", "status": "fitted", "model": "logistic"})
    curves = curves.assign(readings=readings, rms_residual=np.sqrt(squares / readings))
    return curves, pd.DataFrame({"refeed": names, "signal": "rise", "kind": "height_mm"})


def test_the_error_of_a_reading_comes_with_its_interval():
    found = reading_noise(*traced(400, 2.0)).iloc[0]
    assert found["value"] == pytest.approx(2.0, rel=0.1)
    assert found["low"] < 2.0 < found["high"]
    assert (found["unit"], bool(found["told"])) == ("mm", True)


def test_few_curves_leave_the_usual_error_of_an_instrument():
    found = reading_noise(*traced(5, 9.0)).iloc[0]
    assert found["value"] == 1.5  # curves.noise.INSTRUMENTS: common practice, no source
    assert not found["told"]
