"""What the shelf can lend a refeed: exact where it is linear, honest where the refeed contradicts it."""

import numpy as np
import pandas as pd
import pytest

from leavenbench.curves import trace_refeed, trace_shelf
from leavenbench.curves.composed import LEVELS
from leavenbench.curves.engine import Belief, judged, optimum
from leavenbench.curves.models import Model

PRIOR = {
    "refeeds": 6,
    "log_extent": np.log(100.0),
    "log_extent_sd": 0.08,
    "log_max_rate": np.log(25.0),
    "log_max_rate_sd": 0.10,
    "lag_h": 2.0,
    "lag_h_sd": 0.25,
    "gompertz": 0.1,
}
NOISE = {"height_mm": 1.5}


def line(t, p):
    return p[0] + p[1] * t


def derive(t, p, into):
    into[0], into[1] = 1.0, t
    return line(t, p)


STRAIGHT = Model(("level", "slope"), line, derive)


def readings(curves, seed):
    rng = np.random.default_rng(seed)
    t = np.sort(rng.uniform(0.0, 10.0, (5, curves)), axis=0)
    return t, 3.0 + 0.5 * t + rng.normal(0.0, 0.4, t.shape), rng.normal(0.0, 1.0, (2, curves))


def test_a_belief_beside_a_straight_line_is_bayesian_regression():
    """Lindley & Smith 1972: posterior mean (X'X/s2 + P)^-1 (X'y/s2 + P m), by numpy.linalg curve by curve."""
    t, y, mean = readings(7, 1)
    precision = np.array([[4.0, 1.0], [1.0, 2.0]])
    known = Belief(np.zeros(2, bool), mean, np.repeat(0.16 * precision[..., None], 7, axis=2))
    found = optimum(STRAIGHT, t, y, np.zeros((2, 7)), belief=known, tolerance=1e-14)
    fits = judged(STRAIGHT, t, found, np.full(7, 5), usual_sd=0.4, belief=known)
    for curve in range(7):
        x = np.column_stack((np.ones(5), t[:, curve]))
        inverse = np.linalg.inv(x.T @ x / 0.16 + precision)
        expected = inverse @ (x.T @ y[:, curve] / 0.16 + precision @ mean[:, curve])
        np.testing.assert_allclose(found.parameters[:, curve], expected, rtol=1e-6)
        covariance = np.einsum("ki,kj->ij", fits.spread[..., curve], fits.spread[..., curve])
        ratio = covariance / inverse  # but for the size of the noise, which the readings tell as well
        np.testing.assert_allclose(ratio, ratio[0, 0], rtol=1e-9)


def test_the_share_believed_is_the_weight_of_the_belief_in_the_mean():
    """n readings of a level, sd s, and a belief of sd b: its weight is (1/b2) / (n/s2 + 1/b2)."""
    level = Model(("level",), lambda t, p: p[0] + 0.0 * t, lambda t, p, into: (into.fill(1.0), p[0] + 0.0 * t)[1])
    t, y = np.arange(4.0)[:, None], np.array([[1.0], [2.0], [1.5], [1.2]])
    known = Belief(np.zeros(1, bool), np.zeros((1, 1)), np.full((1, 1, 1), (0.5 / 0.25) ** 2))
    found = optimum(level, t, y, np.ones((1, 1)), belief=known, tolerance=1e-14)
    fits = judged(level, t, found, np.array([4]), usual_sd=0.5, belief=known, least_sd=0.5)
    weight = (1 / 0.25**2) / (4 / 0.5**2 + 1 / 0.25**2)
    share = fits.believed_share(np.ones((1, 1)))[0]
    assert found.parameters[0, 0] == pytest.approx((1.0 - weight) * y.mean(), rel=1e-6)
    assert share == pytest.approx(weight, rel=0.25)  # the noise is told by four readings and the usual one together


def test_what_a_moved_mean_gains_is_chi_square_where_the_belief_holds():
    """Linear case, one degree of freedom: 5 % beyond 3.841 (common tables, from memory)."""
    rng, curves = np.random.default_rng(2), 4000
    truth = rng.normal(0.0, 1.0, (2, curves))
    t = np.sort(rng.uniform(0.0, 10.0, (5, curves)), axis=0)
    y = line(t, truth) + rng.normal(0.0, 0.4, t.shape)
    known = Belief(np.zeros(2, bool), np.zeros((2, curves)), np.repeat(0.16 * np.eye(2)[..., None], curves, axis=2))
    found = optimum(STRAIGHT, t, y, np.zeros((2, curves)), belief=known, tolerance=1e-12)
    from leavenbench.curves.engine.normal import inverse_root

    root, _ = inverse_root(found.sums, found.held)
    gain = known.gain_if_moved(found.parameters, root, np.array([1.0, 1.0])) / 0.16
    assert (gain > 3.841).mean() == pytest.approx(0.05, abs=0.011)


def test_a_complete_curve_borrows_nothing():
    hours, heights = [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12], [40, 40, 41, 46, 55, 65, 72, 76, 79, 80, 80, 80.5]
    alone, helped = (trace_refeed(hours, heights, "height_mm", prior=prior, noise=NOISE) for prior in (None, PRIOR))
    pd.testing.assert_series_equal(alone, helped, check_exact=True)
    assert helped["extent_prior_share"] == 0.0


def test_a_cut_off_curve_borrows_and_says_how_much():
    hours, heights = [0, 1, 2, 3, 4, 5], [40, 41, 43, 48, 57, 67]
    alone, helped = (trace_refeed(hours, heights, "height_mm", prior=prior, noise=NOISE) for prior in (None, PRIOR))
    assert "extent" in alone["lower_bounds"]
    assert "extent" not in helped["lower_bounds"]
    assert abs(helped["extent"] - 100.0) < 3 * helped["extent_se"]
    assert helped["extent_prior_share"] > 0.8
    assert helped["max_rate_prior_share"] < helped["extent_prior_share"]
    assert helped["status"] == "peak not reached"
    assert "with the help of 6 earlier refeeds" in helped["reason"]


def jars(strength, number, seed):
    """Give jars of one culture at some strength, read six times over the whole rise, and their prior."""
    rng, tables = np.random.default_rng(seed), []
    for jar in range(number):
        extent, rate, lag = (100.0, 25.0, 2.0) * np.exp(rng.normal(0.0, (0.06, 0.08, 0.07)))
        p = np.array([40.0, 0.4 * extent * strength, 0.4 * rate * strength, lag])
        t = np.linspace(0.0, lag + 1.6 * extent / rate, 6)
        y = LEVELS["logistic"].value(t, p) + rng.normal(0.0, 1.5, 6)
        tables.append(pd.DataFrame({"refeed": f"r{jar}", "elapsed_h": t, "value": y}))
    prior = pd.DataFrame({"refeed": [f"r{jar}" for jar in range(number)]}).assign(signal="rise", **PRIOR)
    return pd.concat(tables, ignore_index=True).assign(signal="rise", kind="height_mm"), prior


@pytest.fixture(scope="module")
def by_strength():
    return {strength: trace_shelf(*jars(strength, 150, 3), NOISE) for strength in (1.0, 0.5)}


def test_half_strength_is_seen_at_half_strength(by_strength):
    """By the middle jar within 5 %; some are steep between two readings and lift the mean a little more."""
    half = by_strength[0.5]
    assert half["unlike_history"].mean() > 0.9
    for name, full in (("extent", 100.0), ("max_rate", 25.0)):
        assert (half[name] / full).median() == pytest.approx(0.5, rel=0.05)
        assert np.exp(np.log(half[name] / full).mean()) == pytest.approx(0.5, rel=0.08)
        assert (np.abs(half[name] - 0.5 * full) < 3 * half[f"{name}_se"] + 0.1 * full).mean() > 0.9


def test_nothing_is_contradicted_where_nothing_changed(by_strength):
    assert by_strength[1.0]["unlike_history"].mean() < 0.05
    free = trace_shelf(jars(1.0, 150, 3)[0])
    error = np.abs(np.log(by_strength[1.0]["max_rate"] / 25.0)).median()
    assert error < 0.7 * np.abs(np.log(free["max_rate"] / 25.0)).median()


def test_any_part_of_a_helped_shelf_gives_the_same_rows(by_strength):
    observed, prior = jars(0.5, 150, 3)
    whole = by_strength[0.5].set_index("refeed")
    rng = np.random.default_rng(4)
    for size in (1, 2, 40):
        some = rng.permutation(whole.index)[:size]
        part = trace_shelf(observed[observed["refeed"].isin(some)], prior, NOISE).set_index("refeed")
        pd.testing.assert_frame_equal(part, whole.loc[part.index], check_exact=True)


@pytest.mark.parametrize(
    ("hours", "heights", "status"),
    [
        ([0, 8, 12], [40, 40, 40], "no activity"),  # should have risen long ago
        ([0, 1, 2, 4, 6, 9], [40, 41, 40, 40, 41, 40], "no activity"),
        ([0, 0.5, 1, 1.5], [40, 40, 40.5, 40], "too few readings"),  # usually begins after 2 h
        ([0], [40], "too few readings"),
        ([8, 10, 12], [80, 80, 81], "too few readings"),  # where did it start?
    ],
)
def test_a_history_neither_wakes_the_dead_nor_buries_the_slow(hours, heights, status):
    row = trace_refeed(hours, heights, "height_mm", prior=PRIOR, noise=NOISE)
    assert row["status"] == status
    if status == "no activity":
        assert row["extent"] < 10.0


def test_a_wild_reading_among_six_is_set_aside_by_its_history():
    hours, heights = [0.0, 2, 3, 4, 6, 9], [40.0, 41, 47, 86, 75, 79]
    assert trace_refeed(hours, heights, "height_mm", noise=NOISE)["set_aside"] == ""
    row = trace_refeed(hours, heights, "height_mm", prior=PRIOR, noise=NOISE)
    assert row["set_aside"] == "4 h"
    assert abs(row["extent"] - 100.0) < 3 * row["extent_se"]


def test_the_smear_line_tells_the_extent_of_a_window_that_closed_early():
    hours, heights = [0, 1, 2, 3, 4, 5], [40, 41, 43, 48, 57, 67]
    row = trace_refeed(hours, heights, "height_mm", high_mark=81.0)
    assert row["status"] == "fitted"
    assert abs(row["extent"] - 102.5) < 3 * row["extent_se"]
    assert "extent" not in row["lower_bounds"]
    only = trace_refeed([0], [40.0], "height_mm", high_mark=81.0)
    assert only["extent"] == pytest.approx(102.5, rel=1e-12)
    assert only["extent_se"] == pytest.approx(100 / 40 * 1.5 * np.hypot(1.0, 81 / 40), rel=1e-12)  # by the delta method


def test_a_reading_of_half_the_noise_counts_like_four():
    """Weight 2 in a residual is weight 4 in its square: the same as reading it four times."""
    hours, heights = np.array([0.0, 1, 2, 3, 4, 5, 6, 8, 9]), np.array([40.2, 40, 41, 46, 62, 75, 79, 80, 79.6])
    sure = np.where(hours == 4.0, 0.75, 1.5)
    once = trace_refeed(hours, heights, "height_mm", ("logistic",), sd=sure)
    four = trace_refeed(np.append(hours, [4.0] * 3), np.append(heights, [62.0] * 3), "height_mm", ("logistic",))
    for name in ("extent", "max_rate", "lag_h"):
        assert once[name] == pytest.approx(four[name], rel=1e-6)
