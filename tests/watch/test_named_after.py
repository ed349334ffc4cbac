"""How long declines go on until they are named, against the benchmark of the warning."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from leavenbench.columns import RESULTS
from leavenbench.errors import CannotRead
from leavenbench.records.settings import Settings
from leavenbench.simulate.levels import simulate_healthy_levels
from leavenbench.watch.named_after import noise_of_levels, rounds_until_named
from leavenbench.watch.outlook import outlook

SETTINGS = Settings(round_days=60.0, steps_per_round=3.0, false_alerts=1.0)


#: Sd of a level and its error of reading, as the shelves of the study show them.
SD, READ = 0.085, 0.046


def shelf(cultures=60, rounds=13):
    """Return what the rounds of a healthy shelf say, three refeeds each."""
    drawn = simulate_healthy_levels(
        np.random.default_rng(5), cultures, rounds, reading_error=READ / SD, carry_over=0.4, missing=0.03
    )
    culture = np.unique(drawn.first, return_inverse=True)[1]
    levels = pd.DataFrame({"culture": [f"C{of}" for of in culture], "history": 0, "round": drawn.at.astype(int)})
    levels["fed_at"] = pd.Timestamp("2020-01-01", tz="UTC") + pd.to_timedelta(60.0 * drawn.at, unit="D")
    levels = levels.assign(level=SD * drawn.level, level_se=SD * np.sqrt(drawn.variance), refeeds=3)
    return outlook(levels.assign(extra_steps=pd.array([pd.NA] * len(levels), "Int64")), SETTINGS)


@pytest.fixture(scope="module")
def named():
    return rounds_until_named(shelf(), SETTINGS, readings={1.0: 0.0, 0.5: 0.02})


def test_declines_are_named_as_soon_as_on_whole_invented_shelves(named):
    """early_warning.py, on values, by own thresholds, dial at 1: mean delays 9.1, 6.0, 4.3 and 3.3 rounds."""
    now = named[(named["refeeds_per_round"] == 3) & (named["readings_times"] == 1.0)]
    assert now["pace_pct"].tolist() == [3.0, 5.0, 8.0, 12.0]
    # the middle of the delays, which lies under their mean; `tests/benchmarks/planning.py` compares means
    assert now["rounds"].to_numpy() == pytest.approx([9.1, 6.0, 4.3, 3.3], abs=1.2)


def test_faster_declines_are_named_sooner_and_better_reading_helps(named):
    by_pace = named.pivot_table("rounds", ["readings_times", "refeeds_per_round"], "pace_pct").to_numpy()
    assert (np.diff(by_pace, axis=1) < 0.0).all()
    total = named.groupby(["readings_times", "refeeds_per_round"])["rounds"].sum()
    assert total[1.0, 3] < total[1.0, 1]
    assert total[1.0, 1] < total[0.5, 1]
    assert (named["rounds_low"] <= named["rounds"]).all()
    assert (named["rounds"] <= named["rounds_certain"]).all()
    assert list(named.columns) == RESULTS["rounds_until_named"].names


def test_errors_of_a_round_fall_with_its_refeeds(named):
    se = named[named["readings_times"] == 1.0].drop_duplicates("refeeds_per_round")["level_se_pct"].to_numpy()
    assert se[0] / se == pytest.approx(np.sqrt([1.0, 2.0, 3.0]))
    assert se[2] == pytest.approx(100 * READ, rel=1e-6)


def test_what_hardly_declines_is_hardly_named():
    found = rounds_until_named(shelf(), SETTINGS, (0.05,), (3,), declines=100)
    assert found["rounds"].isna().all()


def test_the_same_seed_names_the_same():
    plans = ((8.0,), (2,))
    told = []
    once = rounds_until_named(shelf(), SETTINGS, *plans, declines=30, progress=lambda *of: told.append(of))
    pd.testing.assert_frame_equal(once, rounds_until_named(shelf(), SETTINGS, *plans, declines=30))
    assert told == [(1, 1)]


def test_a_shelf_without_rounds_has_usual_noise():
    nothing = shelf(cultures=1, rounds=1)
    empty = outlook(nothing.levels.iloc[:0], SETTINGS)
    noise = noise_of_levels(empty)
    assert not noise["told"].any()
    assert len(rounds_until_named(empty, SETTINGS, (12.0,), (3,), declines=20)) == 1


@pytest.mark.parametrize(("paces", "refeeds"), [((), (1,)), ((0.0,), (1,)), ((100.0,), (1,)), ((5.0,), (0,))])
def test_what_cannot_be_planned_is_said(paces, refeeds):
    with pytest.raises(CannotRead):
        rounds_until_named(shelf(2, 5), SETTINGS, paces, refeeds)
