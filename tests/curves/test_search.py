"""From the readings of a block to its optima: none better is known, none starts before it was fed."""

import numpy as np
import pytest

from leavenbench.curves.composed import LEVELS, WITH_COLLAPSE
from leavenbench.curves.engine import optimum
from leavenbench.curves.models import GROWTH
from leavenbench.curves.search import search
from leavenbench.curves.starts import starts

KINDS = [(growth, collapse) for growth in GROWTH for collapse in (False, True)]
WITHIN = 1.0 + 1e-8


def best_of_many(growth, many, seed):
    """Return the lowest residual sum within the bounds that a search from the truth, the start or either of them
    shaken leads to."""
    rng = np.random.default_rng(seed)
    start = starts(growth, many.t, many.y, None, many.peak)
    shaken = [
        of * np.exp(rng.normal(0.0, wide, of.shape)) for _ in range(4) for of, wide in ((start, 0.5), (many.truth, 0.3))
    ]
    ends = [search(growth, many.t, many.y, None, many.peak, seed, 1e-12) for seed in (many.truth, start, *shaken)]
    return np.fmin.reduce([end.rss for end in ends])


def share_at_the_best(growths, readings, curves, collapse, rises):
    reached = []
    for growth in growths:
        many = rises(growth, readings, curves, seed=70, collapse=collapse)
        found = search(growth, many.t, many.y, None, many.peak)
        reached.append(found.rss <= best_of_many(growth, many, seed=71) * WITHIN)
    return np.mean(reached)


@pytest.mark.parametrize(("readings", "share"), [(6, 0.99), (12, 0.999), (40, 0.999)])
def test_a_rise_is_fitted_as_well_as_is_known(readings, share, rises):
    assert share_at_the_best(("logistic", "gompertz"), readings, 2000, False, rises) >= share


@pytest.mark.parametrize(("readings", "share"), [(12, 0.97), (40, 0.995)])
def test_a_collapse_is_fitted_as_well_as_is_known(readings, share, rises):
    assert share_at_the_best(("logistic", "gompertz"), readings, 3000, True, rises) >= share


@pytest.mark.parametrize(("growth", "share"), [("logistic", 0.97), ("gompertz", 0.95)])
def test_an_even_leak_is_fitted_as_well_as_is_known(growth, share, rises):
    """Half of it stands at the bound of the sharpness, where the rest of the curve is an ordinary one."""
    many, rng = rises(growth, 12, 2000, seed=76, collapse=True), np.random.default_rng(77)
    truth, noise = many.truth.copy(), many.y - many.model.value(many.t, many.truth)
    truth[-2:] = rng.uniform(4.0, 15.0, 2000), np.full(2000, -4.0)
    y = many.model.value(many.t, truth) + noise
    many = many._replace(y=y, truth=truth, peak=y.argmax(axis=0))
    found = search(growth, many.t, many.y, None, many.peak)
    assert (found.rss <= best_of_many(growth, many, seed=71) * WITHIN).mean() >= share
    leaks = found.held[-1] & (found.parameters[-1] < 0.0)
    assert 0.4 < leaks.mean() < 0.6
    assert (found.parameters[-1, leaks] == -4.0).all()


@pytest.mark.parametrize("growth", ["logistic", "gompertz"])
def test_an_asymptote_is_not_looked_for_beyond_five_times_what_was_read(growth, rises):
    """Cut off in the first third of the rise, nothing tells how far it would have gone."""
    many = rises(growth, 12, 1000, seed=78)
    t = 0.35 * many.t
    y = many.model.value(t, many.truth) + np.random.default_rng(79).normal(0.0, 0.5, t.shape)
    found, furthest = search(growth, t, y), 5.0 * np.ptp(y, axis=0)
    begun = np.isfinite(found.parameters[1])  # the noise hides a few altogether
    assert begun.mean() > 0.9
    assert (found.parameters[1, begun] <= furthest[begun] * (1.0 + 1e-12)).all()
    assert 0.1 < found.held[1].mean() < 0.5
    np.testing.assert_allclose(found.parameters[1, found.held[1]], furthest[found.held[1]], rtol=1e-12)


@pytest.mark.parametrize(("collapse", "share"), [(False, 0.9), (True, 0.8)])
def test_a_shape_of_its_own_is_much_to_ask_of_twelve_readings(collapse, share, rises):
    """Richards' curve has optima at infinity; what is reached of the best known is no promise, but a watch."""
    assert share_at_the_best(("richards",), 12, 1000, collapse, rises) >= share


@pytest.mark.parametrize(("growth", "collapse"), KINDS)
def test_no_lag_is_below_zero_and_only_one_at_zero_is_held(growth, collapse, rises):
    many = rises(growth, 12, 1000, seed=72, collapse=collapse)
    some = many.t >= 0.75 * many.truth[3]  # the first readings missed, and the hours counted from there
    many = many._replace(t=np.where(some, many.t - 0.75 * many.truth[3], 0.0))
    found = search(growth, many.t, many.y, some.astype(float), many.peak)
    lag = found.parameters[3]
    free = optimum(LEVELS[growth + WITH_COLLAPSE * collapse], many.t, many.y, found.parameters, some.astype(float))
    assert (lag[found.settled] >= 0.0).all()
    np.testing.assert_array_equal(found.held[3, found.settled], lag[found.settled] == 0.0)
    assert 10 < found.held[3].sum() < 900
    assert (free.rss[found.held[3]] <= found.rss[found.held[3]] * (1.0 + 1e-9)).all()
    uphill = found.sums[3, -1]  # what a later lag would gain
    assert (uphill[found.held[3]] <= 0.0).all()


@pytest.mark.parametrize("collapse", [False, True])
@pytest.mark.parametrize(("growth", "share"), [("logistic", 1.0), ("gompertz", 1.0), ("richards", 0.97)])
def test_a_thinned_beginning_ends_where_all_the_readings_do(growth, share, collapse, rises):
    """200 readings, of which the first steps see 32. A shape of its own may end on another ridge."""
    many = rises(growth, 200, 300, seed=73, collapse=collapse)
    thinned = search(growth, many.t, many.y, None, many.peak)
    unthinned = search(growth, many.t, many.y, None, many.peak, starts(growth, many.t, many.y, None, many.peak))
    assert (thinned.rss <= unthinned.rss * WITHIN).mean() >= share


@pytest.mark.parametrize("growth", ["logistic", "gompertz"])
def test_the_truth_is_found_again_where_nothing_disturbs_it(growth, rises):
    many = rises(growth, 15, 100, seed=74)
    found = search(growth, many.t, many.model.value(many.t, many.truth))
    assert found.settled.all()
    np.testing.assert_allclose(found.parameters, many.truth, rtol=1e-9)


def test_a_given_start_and_tolerance_are_used(rises):
    many = rises("logistic", 12, 100, seed=75)
    far = many.truth * np.array([[1.0], [1.5], [0.5], [1.5]])
    coarse, fine = (search("logistic", many.t, many.y, start=far, tolerance=tolerance) for tolerance in (1e-2, 1e-12))
    assert (fine.rss <= coarse.rss).all()
    assert (fine.rss < coarse.rss * (1.0 - 1e-9)).mean() > 0.5
    assert (fine.parameters != search("logistic", many.t, many.y, tolerance=1e-12).parameters).any()


@pytest.mark.parametrize("growth", GROWTH)
@pytest.mark.parametrize(
    "up", [[40.0] * 6, [80.0, 70.0, 60.0, 50.0, 45.0, 41.0], [0.0] * 6], ids=["flat", "falls", "0"]
)
def test_what_does_not_rise_does_not_settle(growth, up):
    hours = np.array([[0.0, 2, 4, 6, 8, 10]]).T
    assert not search(growth, hours, np.array([up]).T).settled.any()
