"""Where a search begins decides where it ends: starts against the best of many."""

import numpy as np
import pytest

from leavenbench.curves.composed import CURVES, LEVELS, WITH_COLLAPSE
from leavenbench.curves.engine import optimum
from leavenbench.curves.models import GROWTH
from leavenbench.curves.starts import starts

KINDS = [(growth, collapse) for growth in GROWTH for collapse in (False, True)]
WITHIN = 1.0 + 1e-8


def best_of_many(model, t, y, seeds):
    """Return the lowest residual sum that any of these starts leads to, searched far longer than a jar is."""
    ends = [optimum(model, t, y, seed, tolerance=1e-12, most=200).rss for seed in seeds]
    return np.fmin.reduce(ends)


def many_starts(truth, start, seed, times=4):
    """Give the truth, the start, and both shaken."""
    rng = np.random.default_rng(seed)
    yield truth
    yield start
    for _ in range(times):
        yield start * np.exp(rng.normal(0.0, 0.5, start.shape))
        yield truth * np.exp(rng.normal(0.0, 0.3, truth.shape))


@pytest.mark.parametrize("growth", ["logistic", "gompertz"])
@pytest.mark.parametrize(("readings", "share"), [(6, 0.99), (12, 0.999), (40, 0.999)])
def test_the_start_leads_to_the_best_optimum_known(growth, readings, share, rises):
    many = rises(growth, readings, 2000, seed=60)
    start = starts(growth, many.t, many.y)
    best = best_of_many(many.model, many.t, many.y, many_starts(many.truth, start, seed=61))
    assert (optimum(many.model, many.t, many.y, start).rss <= best * WITHIN).mean() >= share


@pytest.mark.parametrize("growth", ["logistic", "gompertz"])
@pytest.mark.parametrize(("readings", "share"), [(6, 0.99), (12, 0.999)])
def test_the_same_of_three_parameters(growth, readings, share, rises):
    """The starting level known: the growth curve itself, through the engine."""
    many = rises(growth, readings, 2000, seed=62)
    y = many.y - many.truth[0]
    start, truth = starts(growth, many.t, y)[1:], many.truth[1:]
    best = best_of_many(GROWTH[growth], many.t, y, many_starts(truth, start, seed=63))
    assert (optimum(GROWTH[growth], many.t, y, start).rss <= best * WITHIN).mean() >= share


@pytest.mark.parametrize(("growth", "collapse"), KINDS)
def test_start_and_extent_are_at_their_best_for_the_shape(growth, collapse, rises):
    """A straight line through the readings against a curve of extent 1, by numpy.linalg.lstsq."""
    many = rises(growth, 15, 20, seed=64, collapse=collapse)
    weight = np.random.default_rng(65).uniform(0.5, 2.0, many.t.shape)
    found = starts(growth, many.t, many.y, weight, many.peak)
    of_one = found[1:].copy()
    of_one[:2] /= found[1]
    shape = CURVES[growth + WITH_COLLAPSE * collapse].value(many.t, of_one)
    for curve in range(20):
        design = np.stack([np.ones(15), shape[:, curve]], axis=1) * weight[:, curve, None]
        line = np.linalg.lstsq(design, many.y[:, curve] * weight[:, curve])[0]
        np.testing.assert_allclose(found[:2, curve], line, rtol=1e-9)


@pytest.mark.parametrize(("growth", "collapse"), KINDS)
def test_a_start_makes_sense(growth, collapse, rises):
    many = rises(growth, 8, 1000, seed=66, collapse=collapse)
    model, start = LEVELS[growth + WITH_COLLAPSE * collapse], starts(growth, many.t, many.y, None, many.peak)
    assert np.isfinite(start).all()
    assert (start[[model.place(name) for name in model.positive]] > 0.0).all()
    assert (start[model.place("lag_h")] >= 0.0).all()
    explained = 1.0 - ((many.y - model.value(many.t, start)) ** 2).sum(axis=0) / (8 * many.y.var(axis=0))
    assert (explained > 0.0).all()
    assert np.median(explained) > 0.9


@pytest.mark.parametrize(("growth", "collapse"), KINDS)
def test_units_do_not_matter(growth, collapse, rises):
    """Heights in other units and from another mark, hours in quarters: powers of two, so nearly to the bit."""
    many = rises(growth, 15, 50, seed=67, collapse=collapse)
    model = LEVELS[growth + WITH_COLLAPSE * collapse]
    start = starts(growth, many.t, many.y, None, many.peak)
    changed = starts(growth, 4.0 * many.t, 0.5 * many.y + 16.0, None, many.peak)
    factor = {"start": 0.5, "extent": 0.5, "max_rate": 0.125, "nu": 1.0, "fall_sharpness": 1.0}
    by = np.array([factor.get(name, 4.0) for name in model.parameters])[:, None]
    shift = np.array([16.0 if name == "start" else 0.0 for name in model.parameters])[:, None]
    np.testing.assert_allclose(changed, start * by + shift, rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize(("growth", "collapse"), KINDS)
def test_company_and_padding_change_no_bit(growth, collapse, rises):
    rng = np.random.default_rng(68)
    everything = rises(growth, rng.integers(6, 81, 150), 150, seed=69, collapse=collapse)
    whole = starts(growth, everything.t, everything.y, everything.weight, everything.peak)
    for size in (1, 1, 1, 2, 5, 40):
        curves = np.sort(rng.choice(150, size, replace=False))
        some = everything.of(curves)
        np.testing.assert_array_equal(starts(growth, some.t, some.y, some.weight, some.peak), whole[:, curves])


@pytest.mark.parametrize("growth", ["logistic", "gompertz"])
@pytest.mark.parametrize(("readings", "lost"), [(8, 0.03), (12, 0.005), (40, 0.0)])
def test_most_dead_jars_have_no_start_and_a_weak_change_has(growth, readings, lost):
    """Nothing but noise, and a slow change of three times its sd: what has no start is not fitted at all."""
    t = np.linspace(0.0, 12.0, readings)[:, None] + np.zeros(4000)
    noise = np.random.default_rng(70).normal(0.0, 1.5, t.shape)
    weak = LEVELS[growth].value(t, np.array([40.0, 4.5, 1.125, 2.0])[:, None]) + noise
    dead, slow = (np.isnan(starts(growth, t, up)) for up in (40.0 + noise, weak))
    np.testing.assert_array_equal(dead.any(axis=0), dead.all(axis=0))
    assert 0.7 < dead.all(axis=0).mean() < 0.85
    assert slow.all(axis=0).mean() <= lost


@pytest.mark.parametrize("growth", GROWTH)
@pytest.mark.parametrize(
    "up", [[40.0] * 6, [80.0, 70.0, 60.0, 50.0, 45.0, 41.0], [0.0] * 6], ids=["flat", "falls", "0"]
)
def test_what_does_not_rise_has_no_start(growth, up):
    hours = np.array([[0.0, 2, 4, 6, 8, 10]]).T
    assert np.isnan(starts(growth, hours, np.array([up]).T)).all()
