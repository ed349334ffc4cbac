"""A culture's history: made from earlier refeeds alone, as sure as it says."""

import numpy as np
import pandas as pd
import pytest

from leavenbench.curves import history_prior

TRAITS = ("extent", "max_rate", "lag_h")


def curves(cultures, refeeds, seed, *, step=3):
    """Give exact curves: cultures that differ, refeeds that scatter about each."""
    rng = np.random.default_rng(seed)
    own = rng.normal((np.log(100.0), np.log(25.0), 2.5), (0.25, 0.3, 0.5), (cultures, 3))
    value = own[:, None] + rng.normal(0.0, (0.08, 0.10, 0.20), (cultures, refeeds, 3))
    culture, nth = (of.ravel() for of in np.indices((cultures, refeeds)))
    value = value.reshape(-1, 3)
    table = pd.DataFrame(
        {
            "refeed": [f"c{c}n{n}" for c, n in zip(culture, nth, strict=True)],
            "culture": [f"c{c}" for c in culture],
            "fed_at": pd.Timestamp("2022-01-03", tz="UTC") + pd.to_timedelta(60 * nth, unit="D"),
            "extent": np.exp(value[:, 0]),
            "max_rate": np.exp(value[:, 1]),
            "lag_h": value[:, 2],
        }
    )
    errors = {f"{name}_se": 0.01 * table[name] for name in TRAITS}
    return table.assign(step=step, signal="rise", status="fitted", lower_bounds="", model="logistic", **errors), own


def rows(prior):
    return prior.set_index("refeed").sort_index()


def test_what_is_expected_comes_true_as_often_as_it_says():
    table, _ = curves(150, 12, 1)
    prior = rows(history_prior(table))
    told = table.set_index("refeed").loc[prior.index]
    for name, value in (("log_extent", np.log(told["extent"])), ("log_max_rate", np.log(told["max_rate"]))):
        z = (value - prior[name]) / prior[f"{name}_sd"]
        assert z.std() == pytest.approx(1.0, abs=0.12)
        assert (z.abs() < 1.96).mean() == pytest.approx(0.95, abs=0.025)


def test_two_refeeds_make_a_history_and_the_first_two_have_none():
    table, _ = curves(10, 5, 2)
    prior = history_prior(table)
    assert sorted(prior["refeeds"].unique()) == [2, 3, 4]
    assert len(prior) == 30


def test_what_comes_later_changes_nothing_of_a_cultures_own_past():
    """The shelf's scatter and levels are held by 60 other cultures: one culture's last refeed hardly moves a median."""
    table, _ = curves(61, 8, 3)
    last = table["refeed"] == "c0n7"
    changed = table.assign(extent=table["extent"].where(~last, 5.0 * table["extent"]))
    before, after = (rows(history_prior(of)) for of in (table, changed))
    own = [f"c0n{n}" for n in range(2, 8)]
    np.testing.assert_allclose(after.loc[own, "log_extent"], before.loc[own, "log_extent"], atol=2e-3)


def test_neither_other_steps_nor_signals_nor_times_before_a_loss_count():
    table, _ = curves(8, 6, 4)
    whole = rows(history_prior(table))
    for apart in ({"step": 1}, {"signal": "acid"}):
        other = table.assign(refeed=table["refeed"] + "x", extent=3.0 * table["extent"], **apart)
        both = rows(history_prior(pd.concat([table, other], ignore_index=True)))
        pd.testing.assert_frame_equal(both.loc[whole.index], whole)
    restored = table.assign(history=(table["fed_at"] > table["fed_at"].sort_values().iloc[24]).astype(int))
    assert history_prior(restored)["refeeds"].max() < whole["refeeds"].max()


@pytest.mark.parametrize("without", [{"status": "poor fit"}, {"status": "no activity"}, {"lower_bounds": "extent"}])
def test_what_is_no_estimate_is_no_history(without):
    table, _ = curves(12, 6, 5)
    odd = table["culture"].eq("c0") & table["refeed"].str.endswith("n3")
    spoilt = table.assign(extent=table["extent"].where(~odd, 9.0 * table["extent"]))
    for name, value in without.items():
        spoilt[name] = spoilt[name].where(~odd, value)
    prior = rows(history_prior(spoilt)).loc["c0n5"]
    assert abs(prior["log_extent"] - rows(history_prior(table)).loc["c0n5", "log_extent"]) < 0.08


def test_refeeds_of_one_moment_do_not_count_for_each_other():
    table, _ = curves(6, 4, 6)
    table.loc[table["refeed"].str.endswith("n3"), "fed_at"] -= pd.Timedelta(days=60)  # fed with n2
    prior = rows(history_prior(table))
    assert (prior["refeeds"] == 2).all()
    both = prior.loc[["c0n2", "c0n3"], "log_extent"]
    assert both.iloc[0] == both.iloc[1]


def test_the_order_of_the_rows_does_not_matter():
    table, _ = curves(9, 6, 7)
    shuffled = table.sample(frac=1.0, random_state=1)
    pd.testing.assert_frame_equal(rows(history_prior(shuffled)), rows(history_prior(table)))


def test_a_step_down_makes_the_next_expectation_wider():
    table, _ = curves(40, 10, 8)
    down = table["culture"].eq("c0") & (table["refeed"].str[-1].astype(int) >= 6)
    table["extent"] = table["extent"].where(~down, 0.5 * table["extent"])
    prior = rows(history_prior(table))
    assert prior.loc["c0n8", "log_extent_sd"] > 1.2 * prior.loc["c0n6", "log_extent_sd"]
    assert prior.loc["c0n9", "log_extent"] < prior.loc["c0n6", "log_extent"] - 0.05


def test_without_a_log_or_a_refeed_there_is_no_history():
    table, _ = curves(2, 4, 9)
    assert history_prior(table.iloc[:0]).empty
    assert history_prior(table.drop(columns="culture")).empty
    assert history_prior(table.assign(fed_at=pd.NaT)).empty
    assert list(history_prior(table.iloc[:0]).columns) == list(history_prior(table).columns)
