"""One shape for all refeeds of a culture: found again with honest errors, and nothing else is shared."""

import numpy as np
import pandas as pd
import pytest

from leavenbench.curves import pool_culture, trace_shelf
from leavenbench.curves.composed import LEVELS
from leavenbench.curves.pooled import pooled_model

SHAPE = {"lag_h": 2.5, "nu": 0.6, "half_gone_after_h": 8.0, "fall_sharpness": 6.0}
PACE = 0.25
UNTIL = {"logistic": 12.0, "gompertz": 14.0, "logistic with collapse": 18.0}
TRAITS = ("extent", "max_rate", "lag_h")


def shape_of(name):
    """Return the shared parameters after the pace."""
    return [SHAPE[parameter] for parameter in LEVELS[name].parameters[3:]]


def culture(rng, refeeds=12, readings=8, name="logistic"):
    """Read refeeds of one shape with a ruler (sd 1.5 mm), each at hours of its own; give the truth of each too."""
    extent = rng.uniform(40.0, 80.0, refeeds)
    shape = [np.full(refeeds, number) for number in shape_of(name)]
    p = np.stack([rng.uniform(35.0, 45.0, refeeds), extent, PACE * extent, *shape])
    even = np.linspace(0.0, UNTIL[name], readings)[:, None] + np.zeros(refeeds)
    t = np.maximum(even + rng.uniform(-0.4, 0.4, even.shape), 0.0)
    y = LEVELS[name].value(t, p) + rng.normal(0.0, 1.5, t.shape)
    refeed = np.repeat([f"r{number}" for number in range(refeeds)], readings)
    read = pd.DataFrame({"refeed": refeed, "elapsed_h": t.T.ravel(), "value": y.T.ravel()})
    truth = {"extent": 100.0 * p[1] / p[0], "max_rate": 100.0 * p[2] / p[0], "lag_h": p[3]}
    return read.assign(signal="rise", kind="height_mm"), truth


def dead(rng, refeed, readings=8):
    """Read a jar in which nothing moves."""
    t, y = np.linspace(0.0, 12.0, readings), 40.0 + rng.normal(0.0, 1.5, readings)
    return pd.DataFrame({"refeed": refeed, "elapsed_h": t, "value": y}).assign(signal="rise", kind="height_mm")


@pytest.mark.parametrize("name", LEVELS)
def test_a_pooled_model_is_the_curve_of_each_refeed(name):
    refeed = np.array([1, 0, 2, 2, 0, 1, 1])
    t, start, extent = np.linspace(0.5, 12.0, 7), np.array([40.0, 42, 38]), np.array([60.0, 50, 70])
    p = np.concatenate((start, extent, [PACE], shape_of(name)))
    pooled = pooled_model(name, refeed, 3).value(t[:, None], p[:, None])[:, 0]
    for reading, of in enumerate(refeed):
        alone = np.array([start[of], extent[of], PACE * extent[of], *shape_of(name)])
        assert pooled[reading] == pytest.approx(LEVELS[name].value(t[reading], alone), rel=1e-14)


@pytest.mark.parametrize("name", LEVELS)
def test_its_jacobian_is_the_derivative(name):
    refeed, t = np.array([0, 0, 0, 1, 1, 2, 2, 2]), np.linspace(0.5, 12.0, 8)[:, None]
    p = np.concatenate(([40.0, 42, 38, 60, 50, 70, PACE], shape_of(name)))[:, None]
    model = pooled_model(name, refeed, 3)
    by_hand = np.full((len(p), 8, 1), np.nan)
    np.testing.assert_allclose(model.derive(t, p, by_hand), model.value(t, p), rtol=1e-14)
    for place, derivative in enumerate(by_hand):
        step = np.zeros_like(p)
        step[place] = 1e-6 * max(p[place, 0], 1.0)
        difference = (model.value(t, p + step) - model.value(t, p - step)) / (2.0 * step[place])
        np.testing.assert_allclose(derivative, difference, rtol=1e-6, atol=1e-6)


@pytest.mark.parametrize("growth", ["logistic", "gompertz"])
def test_the_shared_shape_and_own_extents_are_found_with_honest_errors(growth):
    """Over 100 pools of 12 refeeds, deviations in standard errors have about the sd 1; a pool has over 60 df."""
    rng, off, fitted = np.random.default_rng(21), {name: [] for name in TRAITS}, []
    for _ in range(100):
        read, truth = culture(rng, name=growth)
        found = pool_culture(read, models=(growth,))
        fitted += (found["status"] == "fitted").tolist()
        assert np.ptp(found["lag_h"]) < 1e-9
        for name in TRAITS:
            off[name] += ((found[name] - truth[name]) / found[f"{name}_se"]).tolist()
    assert all(fitted)
    for name in TRAITS:
        assert 0.85 < np.std(off[name]) < 1.15, name
        assert abs(np.mean(off[name])) < 0.3, name  # the pools are independent, their refeeds are not


def test_a_shared_collapse_is_found_with_honest_errors():
    """The hour of the peak and of the collapse, the same for all refeeds of a pool: truth on a fine grid."""
    name, rng = "logistic with collapse", np.random.default_rng(22)
    fine = np.linspace(0.0, UNTIL[name], 18_001)
    risen = LEVELS[name].value(fine, np.array([0.0, 1.0, PACE, *shape_of(name)]))
    peak = risen.argmax()
    truth = {"time_to_peak_h": fine[peak], "collapse_h": fine[peak + np.argmax(risen[peak:] < 0.8 * risen[peak])]}
    off = {of: [] for of in truth}
    for _ in range(100):
        found = pool_culture(culture(rng, name=name)[0], models=("logistic",))
        assert set(found["model"]) == {name}
        for of, hour in truth.items():
            assert np.ptp(found[of]) < 1e-6
            off[of].append((found[of][0] - hour) / found[f"{of}_se"][0])
    for of in truth:
        assert 0.8 < np.std(off[of]) < 1.2, of  # 100 pools: the sd of an sd is 0.07
        assert abs(np.mean(off[of])) < 0.35, of


def test_errors_are_smaller_than_alone():
    rng, ratio = np.random.default_rng(23), []
    for _ in range(20):
        read, _ = culture(rng)
        together, alone = (fit(read, models=("logistic",)) for fit in (pool_culture, trace_shelf))
        ratio.append((together[["max_rate_se", "lag_h_se"]] / alone[["max_rate_se", "lag_h_se"]]).to_numpy())
    by_trait = np.median(np.concatenate(ratio), axis=0)
    assert by_trait[0] < 0.8  # the pace is shared, start and extent are not
    assert by_trait[1] < 0.4  # the lag is: twelve refeeds tell it as one


def test_refeeds_read_three_times_borrow_the_shape():
    rng = np.random.default_rng(24)
    read, truth = culture(rng)
    place = read.groupby("refeed").cumcount()
    seldom = read["refeed"].isin(["r3", "r7"]) & ~place.isin([0, 4, 7])
    twice = read["refeed"].eq("r5") & ~place.isin([0, 7])
    found = pool_culture(read[~seldom & ~twice], models=("logistic",)).set_index("refeed")
    assert found.loc["r5", ["status", "reason"]].tolist() == ["too few readings", "read at fewer than 3 times"]
    for number in (3, 7):
        row = found.loc[f"r{number}"]
        assert (row["status"], row["readings"], row["model"]) == ("fitted", 3, "logistic")
        for name in TRAITS:
            assert row[name] == pytest.approx(truth[name][number], abs=3.5 * row[f"{name}_se"])
        assert row["extent_se"] > found.loc["r0", "extent_se"]
        assert row["extent_se"] < 20.0


def test_dead_refeeds_stay_dead_and_do_not_disturb_the_others():
    rng = np.random.default_rng(25)
    read, truth = culture(rng, refeeds=8)
    read = pd.concat([read, *(dead(rng, f"d{number}") for number in range(3))], ignore_index=True)
    found = pool_culture(read).set_index("refeed")
    assert found["status"].tolist() == ["fitted"] * 8 + ["no activity"] * 3
    assert (found["model"].iloc[8:] == "straight line").all()
    assert (found["extent"].iloc[8:] < 15.0).all()
    off = (found["extent"].iloc[:8] - truth["extent"]) / found["extent_se"].iloc[:8]
    assert (off.abs() < 3.5).all()


def test_a_culture_of_dead_refeeds_is_dead():
    rng = np.random.default_rng(26)
    found = pool_culture(pd.concat([dead(rng, f"d{number}") for number in range(6)], ignore_index=True))
    assert (found["status"] == "no activity").all()


def test_kinds_are_pooled_apart():
    """Heights, volumes and pH in one table: each as if the others were not there, to the last bit."""
    rng = np.random.default_rng(27)
    heights, _ = culture(rng, refeeds=5)
    volumes = culture(rng, refeeds=4, name="gompertz")[0]
    volumes = volumes.assign(refeed="v" + volumes["refeed"], value=10.0 * volumes["value"], kind="volume_mL")
    fall = LEVELS["gompertz"].value(heights["elapsed_h"].to_numpy(), np.array([-6.0, 2.0, 0.5, 1.5]))
    acids = heights.assign(signal="acid", kind="ph_direct", value=-fall + rng.normal(0.0, 0.04, len(fall)))
    found = pool_culture(pd.concat([heights, volumes, acids], ignore_index=True))
    apart = pd.concat([pool_culture(of) for of in (heights, volumes, acids)], ignore_index=True)
    pd.testing.assert_frame_equal(found, apart, check_exact=True)
    lags = found.groupby("kind")["lag_h"].agg(["min", "max"])
    assert (lags["max"] - lags["min"] < 1e-9).all()
    assert (lags["min"].sort_values().diff().dropna() > 1e-3).all()
    assert found["unit"].tolist() == ["%"] * 9 + ["pH"] * 5


def test_the_order_of_the_refeeds_does_not_matter():
    read, _ = culture(np.random.default_rng(28))
    found = pool_culture(read).set_index("refeed")
    mixed = pool_culture(read.sample(frac=1.0, random_state=1)).set_index("refeed").loc[found.index]
    assert mixed["model"].tolist() == found["model"].tolist()
    numbers = [*TRAITS, *(f"{name}_se" for name in TRAITS)]
    np.testing.assert_allclose(mixed[numbers], found[numbers], rtol=1e-3)


def test_a_fall_of_few_is_cut_off_and_said():
    rng = np.random.default_rng(29)
    read, truth = culture(rng, refeeds=6)
    later = read["refeed"].eq("r2") & read["elapsed_h"].gt(10.0)
    read.loc[later, "value"] = 55.0
    found = pool_culture(read, models=("logistic",)).set_index("refeed")
    assert (found["model"] == "logistic").all()
    assert "it fell again, but most of the pool was not read to fall" in found.loc["r2", "reason"]
    assert found["reason"].str.contains("fell").sum() <= 2  # a last reading may lie 3 sd under the highest by chance
    assert found.loc["r2", "max_rate"] == pytest.approx(truth["max_rate"][2], abs=3.5 * found.loc["r2", "max_rate_se"])


BAD = {
    "no number": (lambda read: read.assign(value=np.nan), "no readings"),
    "out of all bounds": (lambda read: read.assign(value=1e12), "no readings"),
    "before it was fed": (lambda read: read.assign(elapsed_h=-1.0), "no readings"),
    "once": (lambda read: read.groupby("refeed").head(1), "too few readings"),
    "at one hour": (lambda read: read.assign(elapsed_h=3.0), "too few readings"),
    "all the same": (lambda read: read.assign(value=40.0), "no activity"),
    "sinking": (lambda read: read.assign(value=80.0 - 3.0 * read["elapsed_h"]), "no activity"),
}


@pytest.mark.parametrize("bad", BAD)
def test_bad_readings_end_as_a_status(bad):
    spoilt, status = BAD[bad]
    found = pool_culture(spoilt(culture(np.random.default_rng(30), refeeds=4)[0]))
    assert found["status"].tolist() == [status] * 4
    assert (found["reason"] != "").all()


def test_one_bad_reading_is_passed_over():
    read, _ = culture(np.random.default_rng(31), refeeds=4)
    read.loc[5, "value"] = np.inf
    found = pool_culture(read)
    assert found["readings"].tolist() == [7, 8, 8, 8]
    pd.testing.assert_frame_equal(found, pool_culture(read.drop(index=5)))


def test_no_readings_and_a_single_refeed():
    read, truth = culture(np.random.default_rng(32), refeeds=1)
    assert len(pool_culture(read.iloc[:0])) == 0
    one = pool_culture(read, models=("logistic",)).iloc[0]
    alone = trace_shelf(read, models=("logistic",)).iloc[0]
    for name in TRAITS:
        assert one[name] == pytest.approx(alone[name], rel=1e-3)
        assert one[f"{name}_se"] == pytest.approx(alone[f"{name}_se"], rel=1e-2)
        assert one[name] == pytest.approx(truth[name][0], abs=4.0 * one[f"{name}_se"])
