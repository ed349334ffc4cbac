"""How cultures stand, by the rules of the watch list."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from leavenbench.records.settings import Settings
from leavenbench.watch.forecast import two_years
from leavenbench.watch.outlook import outlook
from leavenbench.watch.standing import stand

SETTINGS = Settings(round_days=60.0, steps_per_round=3.0)

pytestmark = pytest.mark.usefixtures("fixed_threshold")


def jitter(n, seed=1, sd=0.03):
    return np.random.default_rng(seed).normal(0, sd, n)


@pytest.fixture
def stood(levels):
    """Return a function that says how one culture stands after its last round, among steady others."""

    def judge(level, *, waited=0.0, settings=SETTINGS, among=20, **how):
        others = [levels(jitter(20, seed=100 + one, sd=0.06), culture=f"Other{one:02}") for one in range(among)]
        table = pd.concat([levels(level, **how), *others], ignore_index=True)
        return stand(outlook(table, settings), np.array([len(level) - 1]), np.array([waited]), settings).iloc[0]

    return judge


def test_steady(stood):
    found = stood(jitter(20))
    assert found["standing"] == "steady"
    assert found["rounds_left"] == two_years(60.0)
    assert found["decline_probability"] < 0.2
    assert not found[["alert", "half_now", "recovered", "settled_low"]].any()
    assert found["rounds_known"] == 20
    assert found["refeeds_used"] == 60


def test_a_ramp_slips_and_its_forecast_covers_the_truth(stood):
    fall = np.log(0.95)
    found = stood(np.concatenate([np.zeros(10), fall * np.arange(1, 9)]) + jitter(18))
    assert found["standing"] == "slipping"
    truth = np.log(0.5) / fall - 8  # rounds from the last one until half strength
    assert found["rounds_left_low"] < truth < found["rounds_left_high"]
    assert found["change_per_round_pct_low"] < -5 < found["change_per_round_pct_high"]
    assert found["decline_probability"] > 0.95
    assert found["since"] == pytest.approx(8, abs=2)


def test_nearly_at_half_strength_is_urgent(stood):
    found = stood(np.concatenate([np.zeros(8), np.log(0.9) * np.arange(1, 7)]) + jitter(14))
    assert found["standing"] == "urgent"
    assert found["rounds_left"] <= 2
    assert not found["half_now"]


def test_under_half_strength_and_falling_is_urgent_with_nothing_left(stood):
    found = stood(np.concatenate([np.zeros(8), -0.15 * np.arange(1, 7)]) + jitter(14))
    assert found["half_now"]
    assert found["standing"] == "urgent"
    assert found["rounds_left"] == 0.0


def test_a_slipping_culture_grows_urgent_while_nobody_looks(stood):
    level = np.concatenate([np.zeros(10), np.log(0.95) * np.arange(1, 9)]) + jitter(18)
    assert [stood(level, waited=waited)["standing"] for waited in (0.0, 6.0)] == ["slipping", "urgent"]


def test_a_step_that_settled_is_low(stood):
    found = stood(np.concatenate([np.zeros(10), np.full(20, np.log(0.7))]) + jitter(30))
    assert found["standing"] == "low"
    assert found["settled_low"]
    assert found["settled_pct"] == pytest.approx(70, abs=5)
    assert not found["alert"]
    step = stood(np.concatenate([np.zeros(12), np.full(8, np.log(0.7))]) + jitter(20))
    assert step["standing"] == "low"
    assert step["step"] > 0.0
    assert step["since"] == pytest.approx(8, abs=2)


def test_a_dip_that_healed_is_steady_again_and_if_it_was_lately_that_is_said(stood):
    level = np.zeros(30)
    level[10:15] = [-0.12, -0.24, -0.36, -0.2, -0.05]
    level += jitter(30)
    told = [stood(level[:end]) for end in range(11, 31)]
    assert any(of["alert"] for of in told[:5])
    assert any(of["recovered"] and of["standing"] == "steady" for of in told[5:])
    assert not any(of["recovered"] and of["alert"] for of in told)
    assert told[-1]["standing"] == "steady"
    assert not told[-1]["recovered"]


@pytest.mark.parametrize(("loses", "rounds"), [(25, 3), (25, 5), (40, 4)])
def test_six_rounds_after_it_healed_a_dip_is_not_called_a_step(stood, loses, rounds):
    level = np.zeros(10 + rounds + 6)
    level[10 : 10 + rounds] = np.log(1.0 - loses / 100.0)
    assert stood(level + jitter(len(level)))["standing"] == "steady"


@pytest.mark.parametrize("pace", [0.02, 0.04])
def test_a_fall_longer_than_any_onset_that_is_tried_is_not_called_settled(stood, pace):
    level = np.concatenate([np.zeros(20), -pace * np.arange(1, 61)]) + jitter(80)
    found = stood(level)
    assert found["half_now"]
    assert found["standing"] == "urgent"


@pytest.mark.parametrize("known", [1, 2, 3])
def test_a_short_history_is_unknown_and_says_its_level_only(stood, known):
    found = stood(np.linspace(0.0, -0.5, 3)[-known:])
    assert found["standing"] == "unknown"
    assert found["rounds_known"] == known
    told = ["rounds_left", "rounds_left_low", "change_per_round_pct", "decline_probability"]
    assert found[told].isna().all()
    assert found["vigour_pct"] == pytest.approx(100 * np.exp(-0.5))
    assert found["vigour_low_pct"] < found["vigour_pct"] < found["vigour_high_pct"]


def test_a_new_history_is_not_blamed_for_the_old(levels):
    fallen = levels(np.concatenate([np.zeros(8), -0.15 * np.arange(1, 7)]) + jitter(14))
    fresh = levels(jitter(6), at=20 + np.arange(6), history=1)
    seen = outlook(pd.concat([fallen, fresh], ignore_index=True), SETTINGS)
    found = stand(seen, np.array([13, 15, 19]), np.zeros(3), SETTINGS)
    assert found["standing"].tolist() == ["urgent", "unknown", "steady"]
    assert found["refeeds_used"].tolist() == [42, 6, 18]
    assert not found["recovered"][2]


def test_the_interval_of_vigour_is_its_80_pct_interval(stood):
    found = stood(jitter(12), error=0.1)
    # 80 % of a normal distribution lie within 1.2816 standard deviations (any table).
    assert np.log(found["vigour_high_pct"] / found["vigour_pct"]) == pytest.approx(0.12816, abs=1e-4)
    assert np.log(found["vigour_pct"] / found["vigour_low_pct"]) == pytest.approx(0.12816, abs=1e-4)


def test_levels_all_alike_are_steady(stood):
    assert stood(np.zeros(20))["standing"] == "steady"
    assert stood(np.zeros(20), among=0)["standing"] == "steady"
    assert stood(np.zeros(4), among=0)["standing"] == "steady"


def test_what_never_moved_is_under_half_strength_and_its_lower_limit_is_nothing(stood):
    found = stood(np.full(8, np.log(0.05)))
    assert found["half_now"]
    assert found["vigour_low_pct"] == 0.0
    assert found["rounds_left"] == 0.0
    assert found["standing"] in ("low", "urgent")


def test_every_number_is_finite_and_in_order_through_eighty_rounds(levels):
    slow = levels(np.concatenate([np.zeros(20), -0.02 * np.arange(60)]) + jitter(80), culture="Slow")
    calm = levels(jitter(80, seed=2), culture="Calm")
    gaps = levels(jitter(12, seed=3), at=[0, 1, 2, 3, 4, 40, 41, 42, 43, 44, 78, 79], culture="Gaps")
    table = pd.concat([calm, gaps, slow], ignore_index=True)  # rows 0 to 79, 80 to 91, 92 to 171
    rows = np.arange(3, 80)
    found = stand(outlook(table, SETTINGS), np.append(92 + rows, [79, 91]), np.zeros(79), SETTINGS)
    assert np.isfinite(found.select_dtypes("number").to_numpy(float)).all()
    for name in ("rounds_left", "change_per_round_pct"):
        low, middle, high = (found[f"{name}{side}"] for side in ("_low", "", "_high"))
        assert (low <= middle).all()
        assert (middle <= high).all()
    assert set(found["standing"].iloc[:17]) == {"steady"}
    assert found["standing"].iloc[-2] == "steady"


def test_the_unit_of_time_is_the_round_whatever_its_days(levels):
    level = np.concatenate([np.zeros(10), np.log(0.95) * np.arange(1, 9)]) + jitter(18)
    found = []
    for days in (7.0, 60.0, 365.0):
        settings = Settings(round_days=days, steps_per_round=3.0)
        seen = outlook(levels(level, round_days=days), settings)
        found.append(stand(seen, np.array([17]), np.zeros(1), settings).iloc[0])
    for one in found:
        assert one["decline"] == pytest.approx(found[1]["decline"])
        assert one["change_per_round_pct"] == pytest.approx(found[1]["change_per_round_pct"])
    assert found[0]["rounds_left"] == pytest.approx(found[1]["rounds_left"])
    assert found[2]["rounds_left"] == pytest.approx(min(two_years(365.0), found[1]["rounds_left"]))


def test_not_within_two_years_is_not_urgent_where_rounds_are_longer_than_a_year(levels):
    settings = Settings(round_days=400.0, steps_per_round=3.0, half_strength_pct=10.0)
    level = np.concatenate([np.zeros(10), -0.05 * np.arange(1, 9)]) + jitter(18)
    seen = outlook(levels(level, round_days=400.0), settings)
    found = stand(seen, np.array([17]), np.zeros(1), settings).iloc[0]
    assert found["alert"]
    assert found["rounds_left"] == two_years(400.0)
    assert found["standing"] == "slipping"


def test_two_rounds_fed_at_one_moment_are_no_fault(levels):
    table = levels(jitter(10), at=[0, 1, 2, 3, 3, 4, 5, 6, 7, 7])
    found = stand(outlook(table, SETTINGS), np.array([9]), np.zeros(1), SETTINGS)
    assert found["standing"][0] == "steady"
    assert np.isfinite(found["change_per_round_pct"][0])


def test_a_shelf_without_a_round_is_no_fault(levels):
    seen = outlook(levels([]), SETTINGS, np.empty(0, bool))
    assert stand(seen, np.empty(0, int), np.empty(0), SETTINGS).empty


@pytest.mark.parametrize("missing", ["all", "one"])
def test_errors_that_are_missing_are_no_fault(levels, missing):
    table = levels(jitter(12))
    table.loc[table.index[6:7] if missing == "one" else table.index, "level_se"] = np.nan
    seen = outlook(table, SETTINGS)
    assert stand(seen, np.array([11]), np.zeros(1), SETTINGS)["standing"][0] in ("steady", "unknown")


def test_extra_steps_speak_only_where_passing_is_noted(levels):
    level = np.concatenate([jitter(12), -0.05 * np.arange(1, 4)])
    table = levels(level).assign(extra_steps=pd.array([0] * 12 + [1, 1, 2], "Int64"))
    noted, unsaid = outlook(table, SETTINGS, np.ones(15, bool)), outlook(table, SETTINGS, np.zeros(15, bool))
    assert (unsaid.of_extra_steps == 0.0).all()
    assert noted.evidence.decline[-1] == pytest.approx(unsaid.evidence.decline[-1] + 1.0)  # their most
    assert outlook(table, SETTINGS).evidence.decline[-1] == unsaid.evidence.decline[-1]
