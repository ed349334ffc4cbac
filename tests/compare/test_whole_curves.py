"""Whole curves of cultures against each other, refeeds as replicates."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from leavenbench.compare.whole_curves import culture_curves, curve_difference, hours_of_difference, pooled_curve
from leavenbench.curves.models import logistic
from leavenbench.records.settings import Settings
from leavenbench.temperature import YEAST, rate_against_reference

HOURS = np.arange(0.0, 10.5, 0.5)


def one_number(values: dict[str, list[float]], days: dict[str, list[str]] | None = None) -> pd.DataFrame:
    """Return curves that are a single number each: then a band is an ordinary interval."""
    parts = [
        pd.DataFrame({"culture": culture, "value": own}).assign(
            day=days[culture] if days else [f"{culture}{place}" for place in range(len(own))]
        )
        for culture, own in values.items()
    ]
    table = pd.concat(parts, ignore_index=True)
    return table.assign(refeed=table.index.astype("str"), elapsed_h=1.0)


def half_width(table: pd.DataFrame) -> float:
    return float(table["high"].iloc[0] - table["low"].iloc[0]) / 2.0


RANDOM = np.random.default_rng(20261126)
OURS, THEIRS = RANDOM.normal(5.0, 1.0, 9).tolist(), RANDOM.normal(4.0, 1.0, 9).tolist()
#: So many draws tell a quantile of Student's t to some 4 %.
DRAWN = 0.06


def test_a_single_hour_is_students_interval():
    found = pooled_curve(one_number({"A": OURS}), "A")
    low, high = stats.t.interval(0.95, 8, np.mean(OURS), stats.sem(OURS))  # scipy.stats.t, one sample
    assert found["value"].iloc[0] == pytest.approx(np.mean(OURS), rel=1e-12)
    assert half_width(found) == pytest.approx((high - low) / 2.0, rel=DRAWN)


def test_days_apart_make_welchs_interval():
    found = curve_difference(one_number({"A": OURS, "B": THEIRS}), "A", "B")
    interval = stats.ttest_ind(OURS, THEIRS, equal_var=False).confidence_interval()  # scipy.stats.ttest_ind
    assert half_width(found) == pytest.approx((interval.high - interval.low) / 2.0, rel=DRAWN)
    assert found["difference"].iloc[0] == pytest.approx(np.mean(OURS) - np.mean(THEIRS), rel=1e-12)
    assert found["days_shared"].iloc[0] == 0


def test_the_same_days_make_the_interval_of_pairs():
    days = [f"d{place}" for place in range(9)]
    together = one_number(
        {"A": OURS, "B": (np.array(OURS) - 1.0 + 0.1 * np.array(THEIRS)).tolist()}, {"A": days, "B": days}
    )
    found = curve_difference(together, "A", "B")
    own = together.pivot(index="day", columns="culture", values="value")
    interval = stats.ttest_rel(own["A"], own["B"]).confidence_interval()  # scipy.stats.ttest_rel
    assert half_width(found) == pytest.approx((interval.high - interval.low) / 2.0, rel=DRAWN)
    apart = curve_difference(together.assign(day=together["refeed"]), "A", "B")
    assert half_width(apart) > 2.0 * half_width(found)


def test_refeeds_of_one_day_are_no_replicates_of_each_other():
    """Each day three times over: the interval is that of the days' means (scipy.stats.t on them)."""
    days = [f"d{place}" for place in range(9)]
    thrice = one_number({"A": np.repeat(OURS, 3).tolist()}, {"A": np.repeat(days, 3).tolist()})
    found = pooled_curve(thrice, "A")
    low, high = stats.t.interval(0.95, 8, np.mean(OURS), stats.sem(OURS))
    assert half_width(found) == pytest.approx((high - low) / 2.0, rel=DRAWN)
    assert found[["refeeds", "days"]].iloc[0].tolist() == [27, 9]


def rising(culture: str, extents: np.ndarray, rates: np.ndarray, lag_h: float = 2.0) -> pd.DataFrame:
    parts = [
        pd.DataFrame({"elapsed_h": HOURS, "value": logistic(HOURS, [extent, rate, lag_h])}).assign(
            refeed=f"{culture}{place}", day=f"{culture}{place}", culture=culture
        )
        for place, (extent, rate) in enumerate(zip(extents, rates, strict=True))
    ]
    return pd.concat(parts)


@pytest.fixture(scope="module")
def two():
    random = np.random.default_rng(3)
    return pd.concat(
        [
            rising("fast", 100.0 * np.exp(random.normal(0, 0.05, 10)), 40.0 * np.exp(random.normal(0, 0.05, 10))),
            rising("slow", 100.0 * np.exp(random.normal(0, 0.05, 10)), 25.0 * np.exp(random.normal(0, 0.05, 10))),
        ]
    )


def test_a_slower_culture_differs_on_the_way_up_and_not_at_the_end(two):
    found = curve_difference(two, "fast", "slow")
    stretches = hours_of_difference(found)
    assert any(begin <= 4.0 <= end for begin, end in stretches)  # the true difference is largest there
    assert not found.set_index("elapsed_h").loc[10.0, "differs"]  # equal extents
    turned = curve_difference(two, "slow", "fast")
    assert np.allclose(turned["difference"], -found["difference"])


def test_a_band_for_all_hours_is_wider_than_that_for_one(two):
    whole = curve_difference(two, "fast", "slow").set_index("elapsed_h")
    alone = curve_difference(two[two["elapsed_h"] == 4.0], "fast", "slow").set_index("elapsed_h")
    ratio = (whole["high"] - whole["low"]).loc[4.0] / (alone["high"] - alone["low"]).loc[4.0]
    assert 1.1 < ratio < 2.0


def test_the_same_seed_draws_the_same_band(two):
    first, again, other = (pooled_curve(two, "fast", seed=seed) for seed in (1, 1, 2))
    pd.testing.assert_frame_equal(first, again)
    assert not first["high"].equals(other["high"])
    assert np.allclose(first["high"], other["high"], rtol=0.03)


def test_with_two_days_there_is_a_mean_and_no_band():
    found = pooled_curve(one_number({"A": OURS[:2]}), "A")
    assert found["value"].notna().all()
    assert found[["low", "high"]].isna().all(axis=None)
    difference = curve_difference(one_number({"A": OURS, "B": THEIRS[:2]}), "A", "B")
    assert difference["low"].isna().all()
    assert not difference["differs"].any()


def test_a_culture_that_was_never_read_has_no_rows(two):
    assert pooled_curve(two, "nobody").empty
    assert curve_difference(two, "fast", "nobody").empty


def test_curves_end_where_few_refeeds_were_read_on(two):
    short = two[~((two["refeed"].isin(["fast0", "fast1", "fast2"])) & (two["elapsed_h"] > 6.0))]
    assert pooled_curve(short, "fast")["elapsed_h"].max() == 6.0  # seven of ten were read on, fewer than four of five
    few = two[~((two["refeed"] == "fast0") & (two["elapsed_h"] > 6.0))]
    found = pooled_curve(few, "fast")
    assert found["elapsed_h"].max() == 10.0
    assert found["refeeds"].iloc[0] == 9


def test_hours_count_at_the_reference_temperature(make_collection):
    """Two refeeds of the same dough, one in a cool room, lie on one curve once hours are those at 25 degC."""
    pace = {"warm": 1.0, "cool": float(rate_against_reference(20.0, YEAST, 25.0))}
    hours = np.arange(0.0, 16.0)
    read = {"refeed": np.repeat(list(pace), len(hours)), "elapsed_h": np.tile(hours, 2)}
    read["height_mm"] = np.concatenate([40.0 + 0.4 * logistic(hours * of, [100.0, 30.0, 2.0]) for of in pace.values()])
    collection = make_collection(
        settings=Settings(title="test", round_days=60.0, steps_per_round=3.0),
        refeeds={
            "refeed": list(pace),
            "culture": "A",
            "fed_at": pd.to_datetime(["2025-01-01 08:00Z", "2025-03-01 08:00Z"]),
            "purpose": "round",
            "step": 3,
            "room_temperature_degC": [25.0, 20.0],
        },
        readings=read,
    )
    found = culture_curves(collection, 3).pivot(index="elapsed_h", columns="refeed", values="value").dropna()
    assert found.index.max() > 6.0
    assert np.abs(found["warm"] - found["cool"]).max() < 1.0
    assert found.loc[4.0].between(40.0, 80.0).all()  # logistic(4, [100, 30, 2]) is 60
    assert culture_curves(collection, 2).empty
