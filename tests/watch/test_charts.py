"""Control charts: run lengths against a reference package and exact values, statistics against their definition."""

from __future__ import annotations

from math import inf

import numpy as np
import pandas as pd
import pytest
import scipy.stats

from leavenbench.errors import CannotRead
from leavenbench.watch.charts import charts_of, cusum, ewma, limit_for, run_length_cusum, run_length_ewma

SHIFTS = (0.0, 0.5, 1.0, 2.0)
#: Zero-state run lengths, computed with the R package spc 0.6.7 (xcusum.arl, xewma.arl); the two-sided CUSUM agrees
#: with the table in Montgomery, Introduction to Statistical Quality Control.
TABLE = {
    "two-sided CUSUM, k .5, h 5": (465.4435, 37.9961, 10.3760, 4.0089),
    "one-sided CUSUM, k .5, h 5": (930.8870, 38.0096, 10.3760, 4.0089),
    "two-sided EWMA, weight .1, limit 2.814": (499.5796, 31.2974, 10.3307, 4.3623),
    "two-sided EWMA, weight .2, limit 2.962": (499.7351, 41.7644, 10.5417, 3.7434),
}
OURS = {
    "two-sided CUSUM, k .5, h 5": lambda shift: run_length_cusum(0.5, 5.0, shift, two_sided=True),
    "one-sided CUSUM, k .5, h 5": lambda shift: run_length_cusum(0.5, 5.0, shift),
    "two-sided EWMA, weight .1, limit 2.814": lambda shift: run_length_ewma(0.1, 2.814, shift, two_sided=True),
    "two-sided EWMA, weight .2, limit 2.962": lambda shift: run_length_ewma(0.2, 2.962, shift, two_sided=True),
}


def first_signals(beyond):
    """Return the round, from 1, of each series' first signal; every series must have one."""
    assert beyond.any(axis=1).all()
    return beyond.argmax(axis=1) + 1


def ar1(rng, shape, correlation):
    """Return stationary AR(1) noise of standard deviation 1 along the last axis."""
    noise = rng.normal(size=shape)
    for one in range(1, shape[-1]):
        noise[..., one] = correlation * noise[..., one - 1] + np.sqrt(1 - correlation**2) * noise[..., one]
    return noise


# Run lengths


@pytest.mark.parametrize("place", range(4), ids=[f"shift {shift:g}" for shift in SHIFTS])
@pytest.mark.parametrize("scheme", TABLE)
def test_run_lengths_are_those_of_the_reference_package(scheme, place):
    assert OURS[scheme](SHIFTS[place]) == pytest.approx(TABLE[scheme][place], abs=1e-4)


@pytest.mark.parametrize(
    ("ours", "reference"),
    [
        # R package spc 0.6.7, xcusum.arl(k, h, shift, r = 100)
        (lambda: run_length_cusum(0.25, 8.0), 736.787746530),
        (lambda: run_length_cusum(1.0, 2.5), 716.003878926),
        (lambda: run_length_cusum(0.25, 8.0, 0.25, two_sided=True), 83.630380952),
        # the same, xewma.arl(weight, limit, shift, zr = -8, sided = "one", r = 200): zr is a wall so far off that
        # no chart meets it
        (lambda: run_length_ewma(0.2, 2.5), 289.82234114),
        (lambda: run_length_ewma(0.2, 2.5, 1.0), 7.6541134206),
        (lambda: run_length_ewma(0.2, 2.5, -0.3), 4064.5206673),
        (lambda: run_length_ewma(0.05, 2.0), 284.0891157),
    ],
)
def test_other_designs_agree_with_the_reference_package(ours, reference):
    assert ours() == pytest.approx(reference, rel=1e-8)


@pytest.mark.parametrize("shift", [-0.7, 0.0, 1.3])
def test_an_ewma_without_memory_signals_as_single_levels_do(shift):
    """Exact: the run is geometric, 1 / P(beyond the limit)."""
    above, below = scipy.stats.norm.sf(3.0 - shift), scipy.stats.norm.cdf(-3.0 - shift)
    assert run_length_ewma(1.0, 3.0, shift) == pytest.approx(1.0 / above, rel=1e-9)
    assert run_length_ewma(1.0, 3.0, shift, two_sided=True) == pytest.approx(1.0 / (above + below), rel=1e-9)


def test_a_cusum_that_passes_over_nearly_everything_signals_as_single_levels_do():
    """Exact in the limit of h towards 0: 1 / P(z > k)."""
    assert run_length_cusum(2.5, 1e-9) == pytest.approx(1.0 / scipy.stats.norm.sf(2.5), rel=1e-6)


def test_looking_both_ways_sees_either_shift_alike():
    assert run_length_cusum(0.5, 4.0, -0.8, True) == pytest.approx(run_length_cusum(0.5, 4.0, 0.8, True), rel=1e-12)
    assert run_length_ewma(0.2, 2.5, -0.8, True) == pytest.approx(run_length_ewma(0.2, 2.5, 0.8, True), rel=1e-9)


def test_what_never_signals_is_infinite_and_what_must_signals_at_once():
    assert run_length_cusum(0.5, 5.0, -50.0) == inf
    # Of these true run lengths, e^20 rounds and more, rounding leaves nothing, not even the sign.
    assert {run_length_cusum(0.5, h) for h in range(20, 60, 4)} == {inf}
    assert run_length_cusum(0.5, 60.0, two_sided=True) == inf
    assert run_length_ewma(0.2, 9.0, -50.0) == inf
    assert run_length_cusum(0.5, 5.0, 50.0, two_sided=True) == pytest.approx(1.0, abs=1e-12)
    assert run_length_ewma(0.2, 3.0, 50.0) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize(
    ("ours", "chart"),
    [
        (run_length_cusum(0.5, 3.0, 0.5), lambda z: cusum(z, 0.5) > 3.0),
        (run_length_cusum(0.5, 3.0, 0.5, True), lambda z: (cusum(z, 0.5) > 3.0) | (cusum(-z, 0.5) > 3.0)),
        (run_length_ewma(0.2, 2.0, 0.5), lambda z: ewma(z, 0.2) < -2.0 / 3.0),
        (run_length_ewma(0.2, 2.0, 0.5, True), lambda z: np.abs(ewma(z, 0.2)) > 2.0 / 3.0),
    ],
    ids=["CUSUM", "two-sided CUSUM", "EWMA", "two-sided EWMA"],
)
def test_the_charts_run_so_long(ours, chart):
    """2,000 simulated series that have fallen by half a standard deviation, within three standard errors."""
    runs = first_signals(chart(np.random.default_rng(11).normal(-0.5, 1.0, (2000, 400))))
    assert abs(runs.mean() - ours) < 3.0 * runs.std() / np.sqrt(len(runs))


# Limits


@pytest.mark.parametrize(
    ("scheme", "limit", "design"),
    [
        ("two-sided CUSUM, k .5, h 5", 5.0, {"chart": "cusum", "k": 0.5, "two_sided": True}),
        ("one-sided CUSUM, k .5, h 5", 5.0, {"chart": "cusum", "k": 0.5}),
        ("two-sided EWMA, weight .1, limit 2.814", 2.814, {"chart": "ewma", "weight": 0.1, "two_sided": True}),
        ("two-sided EWMA, weight .2, limit 2.962", 2.962, {"chart": "ewma", "weight": 0.2, "two_sided": True}),
    ],
)
def test_the_limits_of_the_table_are_found_again(scheme, limit, design):
    # Run lengths printed to 1e-4 fix the limit to about 1e-6.
    assert limit_for(TABLE[scheme][0], **design) == pytest.approx(limit, abs=2e-6)


def test_limits_are_those_of_the_reference_package():
    # R package spc 0.6.7: xcusum.crit(.5, 600, r = 100); xewma.crit(.2, 600, sided = "two", r = 100)
    assert limit_for(600.0, "cusum", k=0.5) == pytest.approx(4.56774814, abs=1e-6)
    assert limit_for(600.0, "ewma", weight=0.2, two_sided=True) == pytest.approx(3.02290267, abs=1e-6)


@pytest.mark.parametrize("run_length", [5.0, 600.0, 1e6, 1e9])
@pytest.mark.parametrize("two_sided", [False, True])
def test_a_limit_gives_the_run_length_that_was_wished(run_length, two_sided):
    # "Longest" leaves five digits; a limit at the very end may land just beyond it, hence a hair less.
    wished = run_length * (1.0 - 1e-6)
    h = limit_for(wished, "cusum", k=0.25, two_sided=two_sided)
    assert run_length_cusum(0.25, h, two_sided=two_sided) == pytest.approx(wished, rel=1e-6)
    limit = limit_for(wished, "ewma", weight=0.1, two_sided=two_sided)
    assert run_length_ewma(0.1, limit, two_sided=two_sided) == pytest.approx(wished, rel=1e-6)


# Statistics


def test_the_statistics_are_their_definitions_series_by_series():
    z = np.random.default_rng(12).normal(size=(3, 2, 40))
    z[np.random.default_rng(13).random(z.shape) < 0.2] = np.nan
    sums, means = cusum(z, 0.3), ewma(z, 0.15)
    for place in np.ndindex(3, 2):
        s = e = 0.0
        for nth, level in enumerate(z[place]):
            if not np.isnan(level):
                s, e = max(0.0, s - level - 0.3), 0.85 * e + 0.15 * level
            assert sums[place][nth] == pytest.approx(s, abs=1e-12)
            assert means[place][nth] == pytest.approx(e, abs=1e-12)


def test_a_chart_looks_back_only_and_leaves_its_levels_alone():
    z = np.random.default_rng(14).normal(size=30)
    kept = z.copy()
    for chart in (cusum, ewma):
        assert chart(z)[:17] == pytest.approx(chart(z[:17]), abs=1e-12)
        assert chart([]).shape == (0,)
    assert (z == kept).all()


# The table


def rounds(level):
    n = len(level)
    fed_at = pd.date_range("2020-01-05 08:00", periods=n, freq="60D", tz="UTC")
    return pd.DataFrame({"round": pd.array(range(1, n + 1), dtype="Int64"), "fed_at": fed_at, "level": level})


def test_the_table_holds_both_charts_against_limits_of_the_wished_run_length():
    level = np.concatenate([[0.1, -0.1, 0.2, -0.2, 0.3, 0.3], -0.1 * np.arange(1, 13)])
    noise = np.linspace(0.08, 0.12, 18)
    given = rounds(level)
    table = charts_of(given, noise, 400.0, k=0.4, weight=0.1)
    assert list(table) == [
        "round", "fed_at", "z", "cusum", "cusum_limit", "cusum_signal", "ewma", "ewma_limit", "ewma_signal",
    ]  # fmt: skip
    assert table["round"].equals(given["round"])
    assert table["z"][:6].isna().all()
    assert (table[["cusum", "ewma"]][:6] == 0.0).all(axis=None)
    assert table["z"][6:].to_numpy() == pytest.approx((level[6:] - 0.1) / noise[6:])
    assert table["cusum"].to_numpy() == pytest.approx(cusum(table["z"], 0.4))
    assert table["ewma"].to_numpy() == pytest.approx(ewma(table["z"], 0.1))
    sd = np.sqrt(0.1 / 1.9)  # of an EWMA after many rounds: weight / (2 - weight)
    assert run_length_cusum(0.4, table["cusum_limit"].iloc[0]) == pytest.approx(400.0)
    assert run_length_ewma(0.1, -table["ewma_limit"].iloc[0] / sd) == pytest.approx(400.0)
    for chart, beyond in (
        ("cusum", table["cusum"] > table["cusum_limit"]),
        ("ewma", table["ewma"] < table["ewma_limit"]),
    ):
        assert table[f"{chart}_signal"].equals(beyond)
        assert table[f"{chart}_signal"].iloc[-1]
        assert not table[f"{chart}_signal"].iloc[6]


def test_a_rise_gives_no_signal():
    table = charts_of(rounds(np.concatenate([np.zeros(6), np.full(20, 0.5)])), 0.1)
    assert not table[["cusum_signal", "ewma_signal"]].any(axis=None)


def test_what_was_said_of_a_round_stays_when_later_ones_come():
    level = np.random.default_rng(15).normal(-0.05, 0.1, 20)
    whole = charts_of(rounds(level), 0.1)
    for known in (0, 1, 6, 7, 13):
        pd.testing.assert_frame_equal(charts_of(rounds(level[:known]), 0.1), whole[:known], check_freq=False)


def test_a_round_without_a_level_moves_nothing_and_is_no_part_of_the_baseline():
    gap = charts_of(rounds([np.nan, 0.1, -0.1, 0.1, -0.1, 0.1, -0.1, -0.2, np.nan, -0.3]), 0.1)
    full = charts_of(rounds([0.1, -0.1, 0.1, -0.1, 0.1, -0.1, -0.2, -0.3]), 0.1)
    assert gap["cusum"].to_numpy()[[1, 2, 3, 4, 5, 6, 7, 9]] == pytest.approx(full["cusum"].to_numpy())
    assert gap["ewma"].iloc[8] == gap["ewma"].iloc[7]


def test_on_a_real_shelf_the_run_length_does_not_hold():
    """Neighbours correlated at .3 and a baseline of six rounds: about six times the false signals promised.

    Limits for 600 rounds; 20,000 series of 24 rounds after the baseline. Independent levels about a known mean give at
    most 24 / 600 of them a signal, and the same with those levels is the control of the simulation.
    """
    rng = np.random.default_rng(16)
    h, limit = limit_for(600.0, "cusum"), limit_for(600.0, "ewma") / 3.0
    promised = 24.0 / 600.0
    independent = rng.normal(size=(20000, 24))
    kin = ar1(rng, (20000, 30), 0.3)
    against_six = kin[:, 6:] - kin[:, :6].mean(axis=1, keepdims=True)
    for chart in (lambda z: cusum(z) > h, lambda z: ewma(z) < -limit):
        assert 0.6 * promised < chart(independent).any(axis=1).mean() < promised
        assert 5.0 * promised < chart(against_six).any(axis=1).mean() < 8.0 * promised


# Bad input


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (lambda: run_length_cusum(-0.1, 5.0), "k = -0.1"),
        (lambda: run_length_cusum(0.5, 0.0), "h = 0 "),
        (lambda: run_length_cusum(0.5, 101.0), "from 1e-09 to 100"),
        (lambda: run_length_cusum(0.5, 5.0, np.nan), "shift = nan"),
        (lambda: run_length_ewma(0.0, 3.0), "weight = 0 cannot be used; give a number from 0.01 to 1"),
        (lambda: run_length_ewma(1.1, 3.0), "weight = 1.1"),
        (lambda: run_length_ewma(0.2, -3.0), "limit = -3"),
        (lambda: run_length_ewma(0.2, 3.0, np.inf), "shift = inf"),
        (lambda: limit_for(600.0, "shewhart"), "no chart 'shewhart'; it is one of cusum, ewma"),
        (lambda: limit_for(600.0, "ewma", weight=2.0), "weight = 2"),
        (lambda: cusum([0.0], k=-1.0), "k = -1"),
        (lambda: ewma([0.0], weight=0.0), "weight = 0"),
        (lambda: cusum(-1.0), "a single number"),
        (lambda: ewma([0.0, -np.inf]), "infinite"),
        (lambda: charts_of(rounds(np.zeros(8)), 0.0), "noise of a level is 0"),
        (lambda: charts_of(rounds(np.zeros(8)), np.array([0.1] * 7 + [np.nan])), "noise of a level is nan"),
        (lambda: charts_of(rounds(np.zeros(8)), 0.1, run_length=1.0), "run 1 rounds"),
    ],
)
def test_what_cannot_be_used_is_named(wrong, words):
    with pytest.raises(CannotRead) as told:
        wrong()
    assert words in str(told.value)


@pytest.mark.parametrize("run_length", [1.0, 1 / scipy.stats.norm.sf(0.5) - 0.001, 2e9, np.nan])
def test_a_run_length_out_of_reach_is_answered_with_what_is_possible(run_length):
    # A one-sided CUSUM cannot run shorter than single levels do against k: 1 / P(z > .5) = 3.241.
    with pytest.raises(CannotRead, match=r"one-sided CUSUM with k = 0.5 run .* more than 3.241 and at most 1e\+09"):
        limit_for(run_length, "cusum", k=0.5)


def test_a_cusum_that_passes_over_nothing_says_how_long_it_can_run():
    with pytest.raises(CannotRead, match=r"at most 1\.023e") as told:
        limit_for(20000.0, "cusum", k=0.0)
    assert f"{run_length_cusum(0.0, 100.0):.4g}" in str(told.value)
