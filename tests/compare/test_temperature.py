"""Cardinal temperatures of a culture: recovered where the temperatures tried can tell, left open where not."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from leavenbench.compare.cardinal_fit import intervals
from leavenbench.compare.temperature import rates_by_temperature, temperature_response
from leavenbench.temperature import Cardinal, relative_rate

TRUE = Cardinal(6.0, 28.0, 36.0)
ALL_THE_WAY = (9.0, 13.0, 17.0, 21.0, 25.0, 28.0, 31.0, 34.0)
CLOSED = ["lowest_degC", "optimum_degC", "highest_degC", "optimal_rate"]


def trial(degC: tuple[float, ...], seed: int, repeats: int = 3, sd: float = 0.1) -> pd.DataFrame:
    """Return refeeds of a culture of known cardinal temperatures, 40 %/h at its best."""
    tried = np.repeat(degC, repeats)
    scatter = np.random.default_rng(seed).normal(0.0, sd, len(tried))
    rate = 40.0 * relative_rate(tried, TRUE) * np.exp(scatter)
    return pd.DataFrame({"culture": "A", "temperature_degC": tried, "rate": rate})


def test_rossos_values_are_found_again():
    """5/20/30 degC: T=6 .02, 10 .33333, 15 .8, 22 .9633333, 25 .7619048 (Rosso et al. 1995, equation; R, C)."""
    degC = np.array([6.0, 10.0, 15.0, 20.0, 22.0, 25.0, 28.0])
    rate = np.array([0.02, 1 / 3, 0.8, 1.0, 0.9633333, 0.7619048, relative_rate(28.0, Cardinal(5, 20, 30)).item()])
    found = intervals(degC, rate)
    told = [found[name].value for name in CLOSED]
    assert told == pytest.approx([5.0, 20.0, 30.0, 1.0], abs=0.05)


def test_intervals_hold_the_truth_as_often_as_they_say():
    """60 trials x 3 temperatures: 95 % intervals; fewer than 92 % has a chance of 2 in 100 if they are right."""
    held = []
    for seed in range(20):
        row = temperature_response(trial(ALL_THE_WAY, seed)).iloc[0]
        held += [
            row[f"{name}_low"] <= true <= row[f"{name}_high"]
            for name, true in zip(CLOSED[:3], TRUE, strict=True)
            if pd.notna(row[name])
        ]
    assert len(held) > 50
    assert 0.87 <= np.mean(held) <= 1.0


def test_an_optimum_that_was_not_reached_is_no_number():
    row = temperature_response(trial((14.0, 17.0, 20.0, 23.0, 25.0), 1)).iloc[0]
    assert row[["optimum_degC", "highest_degC", "optimal_rate"]].isna().all()
    assert row[["optimum_degC_high", "highest_degC_high", "optimal_rate_high"]].isna().all()
    assert row["optimum_degC_low"] < TRUE.optimum_degC
    assert row["optimum_degC_low"] > 20.0  # it still rises from 20 to 25 degC
    assert "optimum at least" in row["words"]
    assert "left open upwards: 14 to 25 degC were tried" in row["words"]


def test_a_lower_limit_that_was_not_neared_stays_open():
    row = temperature_response(trial((22.0, 25.0, 28.0, 31.0, 34.0), 2)).iloc[0]
    assert pd.isna(row["lowest_degC"])
    assert pd.notna(row["optimum_degC"])
    assert row["highest_degC_low"] < TRUE.highest_degC < row["highest_degC_high"]
    assert "stops below at most" in row["words"] or "stops below: cannot be told" in row["words"]


def test_a_jar_in_which_nothing_moved_tells_of_the_limit():
    still = pd.DataFrame({"culture": "A", "temperature_degC": [37.0] * 3, "rate": 0.0})
    without = temperature_response(trial((12.0, 17.0, 21.0, 25.0, 28.0, 31.0), 3)).iloc[0]
    with_it = temperature_response(pd.concat([trial((12.0, 17.0, 21.0, 25.0, 28.0, 31.0), 3), still])).iloc[0]
    assert with_it["highest_degC_high"] < 37.5
    assert pd.isna(without["highest_degC_high"]) or without["highest_degC_high"] > with_it["highest_degC_high"]


@pytest.mark.parametrize("degC", [(20.0, 24.0, 28.0), (20.0,)])
def test_too_few_temperatures_are_said_to_be_so(degC):
    row = temperature_response(trial(degC, 4, repeats=4)).iloc[0]
    assert row[CLOSED].isna().all()
    assert f"at {len(degC)} temperatures cannot tell" in row["words"]


def test_a_culture_that_never_moved_is_said_to_be_so():
    row = temperature_response(trial(ALL_THE_WAY, 5).assign(rate=0.0)).iloc[0]
    assert row[CLOSED].isna().all()
    assert "some of which rise or sour" in row["words"]


@pytest.fixture
def kept(make_collection, make_curves):
    names = ["good", "still", "borrowed", "bound", "unread", "rescue", "nowhere"]
    refeeds = {
        "refeed": names,
        "culture": "A",
        "fed_at": pd.to_datetime(["2025-01-01 08:00Z"] * 7),
        "purpose": ["round", "test", "round", "round", "round", "rescue", "round"],
        "step": [3, None, 3, 3, 3, 3, 2],
        "room_temperature_degC": [24.0, 4.0, 24.0, 24.0, 24.0, 24.0, None],
    }
    curves = {
        "refeed": names,
        "culture": "A",
        "signal": "rise",
        "step": [3, None, 3, 3, 3, 3, 2],
        "status": ["fitted", "no activity", "fitted", "peak not reached", "too few readings", "fitted", "fitted"],
        "max_rate": [30.0, 0.1, 30.0, 30.0, 30.0, 30.0, 30.0],
        "extent": 100.0,
        "lag_h": 1.0,
        "max_rate_prior_share": [0.0, 0.0, 0.9, 0.0, 0.0, 0.0, 0.0],
        "lower_bounds": ["", "", "", "extent, max_rate", "", "", ""],
    }
    return make_collection(refeeds=refeeds), make_curves(curves)


def test_only_slopes_that_tell_of_their_own_temperature_are_used(kept):
    found = rates_by_temperature(*kept)
    assert found["refeed"].tolist() == ["good", "still"]
    assert found["rate"].tolist() == [30.0, 0.0]
    assert found["temperature_degC"].tolist() == [24.0, 4.0]


def test_a_step_may_be_asked_for_and_tests_stay(kept):
    assert rates_by_temperature(*kept, step=2)["refeed"].tolist() == ["still"]
    assert rates_by_temperature(*kept, purposes=("round",))["refeed"].tolist() == ["good"]


def test_one_lucky_refeed_is_no_narrow_optimum():
    """Thirty refeeds at room temperature that scatter by a fifth, one of them twice as fast: no optimum can be told."""
    random = np.random.default_rng(7)
    degC = random.uniform(21.0, 28.0, 30)
    rate = 40.0 * relative_rate(degC, Cardinal(6.0, 28.0, 36.0)) * np.exp(random.normal(0.0, 0.2, 30))
    rate[np.argmin(np.abs(degC - 23.0))] *= 2.0
    found = temperature_response(pd.DataFrame({"culture": "A", "temperature_degC": degC, "rate": rate})).iloc[0]
    assert found[["optimum_degC", "optimum_degC_high", "highest_degC"]].isna().all()
