"""What a culture's past lets expect: a discounted mean of its own earlier refeeds, and of nothing else."""

import numpy as np
import pandas as pd
import pytest

from leavenbench.curves import history_prior, trace_shelf
from leavenbench.curves.history import EXPECTATIONS, expected_of, one_expected

FED = pd.Timestamp("2023-01-02 08:00", tz="UTC")
TRAITS = ("extent", "max_rate", "lag_h")
USUAL = {"extent": 100.0, "max_rate": 30.0, "lag_h": 2.5}
#: What is remembered from refeed to refeed, and how many refeeds the usual scatter is worth (choices of ours).
KEPT, WORTH = 0.85, 10.0


def table(log_extent, **columns):
    """Give one culture's refeeds every 60 days, exactly known, by the logarithms of their extents."""
    number = len(log_extent)
    made = {
        "refeed": [f"n{nth:02d}" for nth in range(number)],
        "culture": "Ida",
        "fed_at": FED + pd.to_timedelta(60 * np.arange(number), unit="D"),
        "step": 3,
        "signal": "rise",
        "status": "fitted",
        "lower_bounds": "",
        "model": "logistic",
        **USUAL,
        "extent": np.exp(np.asarray(log_extent, float)),
        **{f"{trait}_se": 1e-9 for trait in TRAITS},
    }
    return pd.DataFrame(made | columns)


def shelf(cultures=12, refeeds=8, seed=1, **columns):
    """Give cultures that differ, and refeeds that scatter about each, exactly known."""
    rng = np.random.default_rng(seed)
    rows = []
    for number in range(cultures):
        own = rng.normal((np.log(100.0), np.log(30.0), 2.5), (0.25, 0.3, 0.5))
        value = own + rng.normal(0.0, (0.06, 0.08, 0.15), (refeeds, 3))
        of = table(value[:, 0], max_rate=np.exp(value[:, 1]), lag_h=value[:, 2], culture=f"c{number}", **columns)
        rows.append(of.assign(refeed=f"c{number}" + of["refeed"]))
    return pd.concat(rows, ignore_index=True)


def rows(curves):
    return history_prior(curves).set_index(["refeed", "signal"]).sort_index()


def same(some, others):
    pd.testing.assert_frame_equal(some, others.loc[some.index], check_exact=True)


# The numbers


def by_hand(value, level, apart, scatter):
    """Follow one exactly known trait by its information (West & Harrison 1997, section 6.3, in the form of weights).

    What is known, one over the variance, is discounted from refeed to refeed and grows by one over the scatter; the
    scatter is that of the shelf, shrunk to it with the weight of `WORTH` refeeds. Of k refeeds of one form that form
    is the right one with odds 2^k, and so much of a refeed is believed. Returns mean and sd before each.
    """
    known, sum_, squares, told = 1.0 / apart, level / apart, 0.0, []
    for nth, one in enumerate(value):
        own = scatter * (WORTH + squares) / (WORTH + nth)
        mean, variance = sum_ / known, 1.0 / known
        told.append((mean, np.sqrt(variance + own)))
        squares += min((one - mean) ** 2 / (variance + own), 9.0)
        counts = 1.0 / (own * (1.0 + 0.5 ** (nth + 1)))
        known, sum_ = KEPT * (known + counts), KEPT * (sum_ + counts * one)
    return np.array(told)


def test_the_expectation_is_the_discounted_mean_of_the_culture_shrunk_to_its_shelf():
    """Median of the cultures' medians; how far they differ by 1.4826 of their median distance; how far refeeds do by
    that of their steps over root 2, which counts as many times as there are steps and the usual one ten times."""
    curves = shelf()
    value = np.log(curves["extent"]).to_numpy().reshape(12, 8)
    middle = np.median(value, axis=1)
    level, apart = np.median(middle), (1.4826 * np.median(np.abs(middle - np.median(middle)))) ** 2
    steps = np.diff(value, axis=1)
    own = (1.4826 * np.median(np.abs(steps))) ** 2 / 2.0
    scatter = (steps.size * own + WORTH * 0.10**2) / (steps.size + WORTH)
    prior = rows(curves)
    for culture in range(12):
        told = prior.loc[[(f"c{culture}n{nth:02d}", "rise") for nth in range(2, 8)], ["log_extent", "log_extent_sd"]]
        np.testing.assert_allclose(told, by_hand(value[culture], level, apart, scatter)[2:], rtol=1e-9)


def test_a_refeed_counts_less_the_longer_ago_it_was():
    """The i-th of n counts as d^(n - i), over a scatter known ever better: it falls as 1 / (10 + i) where none is seen.

    So the mean is weighted by d^(n - i) (10 + i), but for what is left of the shelf's level, d^60.
    """
    level = np.full(61, np.log(100.0))
    whole = rows(table(level)).iloc[-1]["log_extent"]
    weight = KEPT ** np.arange(60)[::-1] * (WORTH + np.arange(60))
    for ago in (1, 2, 5, 9, 30):
        moved = level.copy()
        moved[-1 - ago] += 1e-3
        change = rows(table(moved)).iloc[-1]["log_extent"] - whole
        assert change == pytest.approx(1e-3 * weight[-ago] / weight.sum(), rel=0.01)


def test_what_is_expected_comes_true_as_often_as_a_discounted_mean_of_alike_refeeds_does():
    """200 cultures of 12 refeeds, exactly read. Of refeeds that scatter alike about a level that stays, the discounted
    mean takes its own variance as (1 - d) / d of theirs, and it is (1 - d) / (1 + d): the ratio of the two whole
    standard deviations is .9586, and the 95 % interval holds 95.9 %. (Algebra; the share by the normal table.)"""
    curves = shelf(200, 12, seed=2)
    prior = rows(curves)
    truth = curves.set_index(["refeed", "signal"]).loc[prior.index]
    for name, value in zip(
        EXPECTATIONS, (np.log(truth["extent"]), np.log(truth["max_rate"]), truth["lag_h"]), strict=True
    ):
        z = (value - prior[name]) / prior[f"{name}_sd"]
        assert len(z) == 2000
        assert z.std() == pytest.approx(0.9586, abs=0.05)
        assert z.mean() == pytest.approx(0.0, abs=0.08)
        assert (z.abs() < 1.96).mean() == pytest.approx(0.959, abs=0.015)


def test_what_was_read_badly_counts_less():
    """A refeed 5 % off, once exactly known and once within 12 %: of scatter s and error e it counts 1 / (s2 + e2)."""
    curves, odd = shelf(seed=3), shelf(seed=3)["refeed"] == "c0n05"
    before = rows(curves).loc[("c0n06", "rise"), "log_extent"]
    off = curves.assign(extent=curves["extent"].mask(odd, 1.05 * curves["extent"]))
    unsure = off.assign(extent_se=off["extent_se"].mask(odd, 0.12 * off["extent"]))
    sure, less = (rows(of).loc[("c0n06", "rise"), "log_extent"] - before for of in (off, unsure))
    assert 0.005 < sure < 0.05
    assert abs(less) < sure


@pytest.mark.parametrize("way", [-1.0, 1.0])
def test_one_odd_refeed_is_believed_no_more_than_three_standard_errors_off(way):
    """Ten times or a hundred times as much: the level moves no further."""
    value = np.full(20, np.log(100.0))
    far, further = value.copy(), value.copy()
    far[14] += way * np.log(10.0)
    further[14] += way * np.log(100.0)
    here, there, beyond = (rows(table(of)).loc[("n15", "rise")] for of in (value, far, further))
    assert abs(there["log_extent"] - here["log_extent"]) < 3.0 * here["log_extent_sd"]
    # twice as far off it counts half as much, for the most part
    assert abs(beyond["log_extent"] - here["log_extent"]) < 1.1 * abs(there["log_extent"] - here["log_extent"])


def test_a_step_down_widens_what_is_expected_and_draws_it_down():
    """Refeeds that scatter by 6 %, then stand at half strength for good."""
    value = np.log(100.0) + 0.06 * np.resize([1.0, -1.0], 40)
    value[20:] += np.log(0.5)
    prior = rows(table(value)).set_index(pd.Index(range(2, 40)))
    sd, mean = prior["log_extent_sd"], prior["log_extent"]
    assert sd[20] <= sd[15:20].min()  # n20 is not known yet when it is fed
    assert sd[21] > 1.15 * sd[20]
    assert sd[22] > sd[21]
    assert abs(mean[20] - np.log(100.0)) < 0.03
    assert (mean.loc[20:39].diff().iloc[1:] < 0.06).all()
    assert mean[39] < np.log(60.0)


def test_what_was_not_read_makes_the_expectation_less_sure_and_moves_nothing():
    value = np.full(12, np.log(100.0))
    whole, gap = table(value), table(value)
    gap.loc[6:8, "status"] = "too few readings"
    before, after = (rows(of).loc[("n09", "rise")] for of in (whole, gap))
    assert after["log_extent_sd"] > before["log_extent_sd"]
    assert after["log_extent"] == pytest.approx(before["log_extent"], abs=1e-12)
    assert (before["refeeds"], after["refeeds"]) == (9, 6)


def test_the_form_is_the_one_seen_more_often():
    """Each refeed of a form makes it twice as probable against the other: odds 2^(difference)."""
    forms = [
        "logistic",
        "gompertz",
        "gompertz with collapse",
        "gompertz",
        "richards",
        "logistic with collapse",
        "gompertz",
    ]
    prior = rows(table(np.zeros(7) + 4.6, model=forms))
    lean = np.cumsum([-1, 1, 1, 1, 0, -1])[1:]
    np.testing.assert_allclose(prior["gompertz"], 2.0**lean / (1.0 + 2.0**lean), rtol=1e-12)
    poor = table(np.zeros(7) + 4.6, model=forms)
    poor.loc[2, "status"] = "poor fit"
    assert rows(poor).loc[("n03", "rise"), "gompertz"] == pytest.approx(0.5)


# Nothing else counts


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_what_comes_later_changes_no_earlier_expectation(seed):
    """A refeed that was high anyway is made higher still: no median of the shelf moves, and not one earlier bit."""
    curves = shelf(seed=seed)
    value = np.log(curves["extent"]).to_numpy().reshape(12, 8)
    steps = np.abs(np.diff(value, axis=1))
    before, raised = rows(curves), 0
    for culture, nth in np.argwhere(value == value.max(axis=1)[:, None]):
        beside = steps[culture, max(nth - 1, 0) : nth + 1]
        if nth < 4 or beside.min() <= np.median(steps):
            continue  # a step across the median of all of them would move it
        raised += 1
        later = curves["refeed"] == f"c{culture}n{nth:02d}"
        after = rows(curves.assign(extent=curves["extent"].mask(later, 1.3 * curves["extent"])))
        moved = before.index[(before != after).any(axis=1)].get_level_values("refeed")
        assert set(moved) == {f"c{culture}n{of:02d}" for of in range(nth + 1, 8)}
    assert raised >= 1


def test_not_even_a_later_refeed_that_is_added():
    """Where refeeds scatter as is usual, by steps of root 2 times .10 / 1.4826, more of them tell nothing new of it."""
    value = np.log(80.0) + 0.10 / 1.4826 * np.sqrt(0.5) * np.resize([1.0, -1.0], 10)
    names = ["log_extent", "log_extent_sd", "refeeds"]
    before, after = (rows(table(value[:number]))[names] for number in (6, 10))
    pd.testing.assert_frame_equal(before, after.loc[before.index], rtol=1e-9)


@pytest.mark.parametrize(
    "apart", [{"step": 1}, {"signal": "acid"}, {"history": 2}, {"culture": "Bea"}, {"step": pd.NA}, {"step": None}]
)
def test_nothing_leaks_from_another_place(apart):
    """Not from another step or signal at all; from another culture or another life only what is usual on the shelf,
    and of two the median is held here by refeeds whose levels are the same."""
    own = table(np.log(100.0) + 0.05 * np.resize([1.0, -1.0], 8), history=1)
    other = own.assign(refeed="x" + own["refeed"], **apart)
    other["extent"] = other["extent"] * (1.0 if {"history", "culture"} & set(apart) else 7.0)
    before, after = rows(own), rows(pd.concat([own, other], ignore_index=True))
    assert len(after) == 2 * len(before)
    assert (after.loc[before.index, "refeeds"] == before["refeeds"]).all()
    if {"history", "culture"} & set(apart):
        np.testing.assert_allclose(after.loc[before.index, "log_extent"], before["log_extent"], rtol=1e-3)
    else:
        same(before, after)


def test_another_culture_moves_nothing_that_hangs_on_the_culture_itself():
    """A culture far off is one of thirteen: the medians move little, and what is expected of the others hardly."""
    curves = shelf()
    far = table(np.full(8, np.log(3000.0)), culture="far")
    both = rows(pd.concat([curves, far.assign(refeed="far" + far["refeed"])], ignore_index=True))
    alone = rows(curves)
    np.testing.assert_allclose(both.loc[alone.index, "log_extent"], alone["log_extent"], rtol=0, atol=0.03)


def test_ph_in_the_dough_and_in_a_slurry_are_not_each_others_past():
    value = np.log(1.8) + 0.04 * np.resize([1.0, -1.0], 8)
    direct = table(value, signal="acid", kind="ph_direct", readings=10, rms_residual=0.04)
    slurry = table(value + 1.0, signal="acid", kind="ph_slurry", readings=10, rms_residual=0.04)
    both = pd.concat([direct, slurry.assign(refeed="s" + slurry["refeed"])], ignore_index=True)
    same(rows(direct), rows(both))
    heights = [table(value + 4, kind=kind, readings=10, rms_residual=1.5) for kind in ("height_mm", "rise_pct")]
    mixed = pd.concat([heights[0].iloc[::2], heights[1].iloc[1::2]])  # both are rises in %
    assert rows(mixed)["refeeds"].tolist() == list(range(2, 8))


@pytest.mark.parametrize(
    "odd",
    [
        {"lower_bounds": "extent"},
        {"lower_bounds": "max_rate, extent, ripe_until_h"},
        {"status": "poor fit"},
        {"status": "no activity"},
        {"status": "too few readings"},
        {"extent_se": np.nan},
        {"extent_se": np.inf},
        {"extent": np.nan},
        {"extent": -3.0},
        {"extent_se": 1e6},
    ],
    ids=str,
)
def test_what_is_no_estimate_does_not_count(odd):
    """The refeed's value may then be anything: not one bit hangs on it."""
    curves = shelf()
    place = curves["refeed"] == "c3n04"
    for name, value in odd.items():
        curves[name] = curves[name].mask(place, value)
    if "extent" in odd:
        without = curves.assign(extent=curves["extent"].mask(place, np.nan))
    else:
        without = curves.assign(extent=curves["extent"].mask(place, 2.0 * curves["extent"]))
    before, after = rows(curves), rows(without)
    pd.testing.assert_series_equal(before["log_extent"], after["log_extent"], check_exact=True)
    assert before.loc[("c3n05", "rise"), "log_extent"] != rows(shelf()).loc[("c3n05", "rise"), "log_extent"]


def test_only_a_bound_named_in_full_is_one():
    """`max_rate` among the lower bounds takes nothing off the extent."""
    curves = shelf()
    bound = curves.assign(lower_bounds="max_rate, time_to_peak_h")
    pd.testing.assert_series_equal(rows(bound)["log_extent"], rows(curves)["log_extent"], check_exact=True)
    assert rows(bound)["log_max_rate"].isna().all()


def test_a_lag_of_zero_counts_although_it_has_no_standard_error():
    value = np.full(8, np.log(100.0))
    at_once = rows(table(value, lag_h=0.0, lag_h_se=np.nan))
    assert at_once["lag_h"].abs().max() < 0.2
    assert rows(table(value, lag_h=1.0, lag_h_se=np.nan))["lag_h"].isna().all()


def test_few_readings_to_spare_are_filled_up_with_the_noise_of_their_kind():
    """A curve of 5 readings that happens to run through them all is not exactly known: with one reading to spare its
    error is that of the usual noise, and so it counts for less than one whose residuals are as usual."""
    value = np.log(100.0) + 0.02 * np.resize([1.0, -1.0], 12)
    alike = {"kind": "height_mm", "extent_se": 3.0}
    usual = table(value, readings=20, rms_residual=1.5 * np.sqrt(16 / 20), **alike)
    lucky = usual.assign(readings=5, rms_residual=0.015 * np.sqrt(1 / 5), extent_se=0.03)
    moved, held = usual.copy(), usual.copy()
    for of, row in ((moved, usual), (held, lucky)):
        for name in ("readings", "rms_residual", "extent_se"):
            of.loc[8, name] = row.loc[8, name]
    exact = held.drop(columns="readings")  # without the number of readings nothing can be filled up
    told = [rows(of).loc[("n09", "rise"), "log_extent_sd"] for of in (moved, held, exact)]
    assert told[0] == pytest.approx(told[1], rel=0.01)
    assert told[2] < told[1]


# Order, moments, missing things


def test_refeeds_of_one_moment_do_not_count_for_each_other():
    """Two jars of a culture fed together: both expect what the refeeds before let expect, and later ones see both."""
    curves = shelf()
    curves.loc[curves["refeed"].str.endswith("n05"), "fed_at"] = curves.loc[
        curves["refeed"].str.endswith("n04"), "fed_at"
    ].to_numpy()
    prior = rows(curves)
    assert prior.loc[("c2n04", "rise")].equals(prior.loc[("c2n05", "rise")])
    assert prior.loc[("c2n05", "rise"), "refeeds"] == 4
    assert prior.loc[("c2n06", "rise"), "refeeds"] == 6
    assert prior.loc[("c2n07", "rise"), "refeeds"] == 7


@pytest.mark.parametrize("together", [False, True])
def test_the_order_of_the_rows_does_not_matter(together):
    """Not even among refeeds of one moment."""
    curves = shelf()
    if together:
        curves["fed_at"] = FED + (curves["fed_at"] - FED) // pd.Timedelta(days=180) * pd.Timedelta(days=180)
    whole = rows(curves)
    for seed in range(3):
        shuffled = rows(curves.sample(frac=1.0, random_state=seed))
        pd.testing.assert_frame_equal(shuffled, whole, check_exact=True)


def test_the_callers_table_is_left_alone():
    curves = shelf()
    before = curves.copy()
    history_prior(curves)
    pd.testing.assert_frame_equal(curves, before)


def test_two_refeeds_make_a_history():
    prior = history_prior(table(np.full(4, 4.6)))
    assert list(zip(prior["refeed"], prior["refeeds"], strict=True)) == [("n02", 2), ("n03", 3)]
    assert history_prior(table([4.6])).empty
    assert history_prior(table([4.6, 4.7])).empty


def test_of_a_trait_never_told_only_the_shelf_can_say_anything():
    curves = shelf()
    odd = curves["culture"] == "c0"
    prior = rows(curves.assign(extent_se=curves["extent_se"].mask(odd)))
    own = prior.loc[[of for of in prior.index if of[0].startswith("c0")]]
    assert own["refeeds"].tolist() == list(range(2, 8))
    others = np.log(curves.loc[~odd, "extent"]).groupby(curves["culture"]).median()
    np.testing.assert_allclose(own["log_extent"], others.median(), rtol=1e-12)
    assert (own["log_extent_sd"] > others.std() / 2).all()
    assert rows(table(np.full(5, 4.6), extent_se=np.nan))["log_extent"].isna().all()


@pytest.mark.parametrize("without", ["culture", "fed_at"])
def test_without_a_log_there_is_no_history(without):
    curves = shelf(3, 4)
    names = history_prior(curves).columns.tolist()
    missing = curves.assign(**{without: pd.NaT if without == "fed_at" else None})
    for of in (curves.iloc[:0], curves.drop(columns=without), missing):
        found = history_prior(of)
        assert found.empty
        assert found.columns.tolist() == names


def test_a_refeed_without_a_moment_neither_has_a_past_nor_is_one():
    curves = shelf()
    nowhere = curves["refeed"] == "c1n03"
    prior = rows(curves.assign(fed_at=curves["fed_at"].mask(nowhere)))
    without = rows(curves[~nowhere])
    pd.testing.assert_frame_equal(prior, without, check_exact=True)
    nobody = rows(curves.assign(culture=curves["culture"].mask(nowhere)))
    pd.testing.assert_frame_equal(nobody, without, check_exact=True)


@pytest.mark.parametrize("without", ["step", "model"])
def test_columns_that_a_log_may_lack_tell_nothing_apart(without):
    prior = rows(shelf().drop(columns=without))
    assert len(prior) == 72
    assert np.isfinite(prior[[*EXPECTATIONS, *(f"{name}_sd" for name in EXPECTATIONS)]]).all(axis=None)


# Handed over to the signals


def test_expectations_of_a_rise_are_turned_from_percent_to_shares_and_those_of_a_ph_are_not():
    prior = pd.DataFrame(
        {
            "refeed": ["a", "a", "b"],
            "signal": ["rise", "acid", "rise"],
            "refeeds": [4, 5, 6],
            "log_extent": np.log([90.0, 1.8, 70.0]),
            "log_extent_sd": [0.1, 0.2, 0.3],
            "log_max_rate": np.log([30.0, 0.5, 20.0]),
            "log_max_rate_sd": [0.4, 0.5, 0.6],
            "lag_h": [2.0, 3.0, 4.0],
            "lag_h_sd": [0.7, 0.8, 0.9],
            "gompertz": [0.1, 0.2, 0.3],
        }
    )
    asked = pd.DataFrame(
        {
            "refeed": ["b", "never", "a", "a"],
            "signal": ["rise", "rise", "acid", "rise"],
            "kind": ["rise_pct", "height_mm", "ph_slurry", "height_mm"],
        }
    )
    found, refeeds = expected_of(prior, asked)
    np.testing.assert_allclose(np.exp(found.mean[0]), [0.7, np.nan, 1.8, 0.9])
    np.testing.assert_allclose(np.exp(found.mean[1]), [0.2, np.nan, 0.5, 0.3])
    np.testing.assert_allclose(found.mean[2], [4.0, np.nan, 3.0, 2.0])
    np.testing.assert_allclose(
        found.sd, np.array([[0.3, np.nan, 0.2, 0.1], [0.6, np.nan, 0.5, 0.4], [0.9, np.nan, 0.8, 0.7]])
    )
    np.testing.assert_allclose(found.gompertz, [0.3, 0.5, 0.2, 0.1])
    assert refeeds.tolist() == [6, 0, 5, 4]
    assert (found.beyond == 0.0).all()
    assert not found.strength_open
    bare, none = expected_of(prior.drop(columns=["gompertz", "refeeds"]), asked)
    assert (bare.gompertz == 0.5).all()
    assert (none == 0).all()
    alone, _ = one_expected(prior.iloc[0].to_dict(), asked.iloc[[3]].assign(refeed="", signal=""))
    np.testing.assert_array_equal(alone.mean, found.mean[:, [3]])
    assert one_expected(None, asked) is None


def test_names_that_are_numbers_find_their_past():
    """A log may name its refeeds 1, 2, 3; the curves table names them as text."""
    read = pd.DataFrame({"elapsed_h": [0.0, 4.0, 9.0], "value": [40.0, 58, 81]})
    observed = read.assign(refeed=7, signal="rise", kind="height_mm")
    prior = history_prior(table(np.full(8, np.log(100.0)), refeed=range(8)))
    assert "with the help of 7 earlier refeeds" in trace_shelf(observed, prior, {"height_mm": 1.5})["reason"].item()
