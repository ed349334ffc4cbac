"""The engine on six hard problems with certified answers, and on what plain steps lose of them."""

import runpy
from pathlib import Path

import numpy as np
import pytest

from leavenbench.curves.engine import judged, optimum, polished

NIST = runpy.run_path(str(Path(__file__).parents[1] / "reference" / "nist_models.py"))
PROBLEMS = NIST["problems"]()
PAIRS = [(name, start) for name in PROBLEMS for start in (0, 1)]
#: Searches of these problems wind: four times the steps that a jar is given.
STEPS = 200


def search(problem, start, separable):
    x, y = problem.x[:, None], problem.y[:, None]
    return optimum(problem.model, x, y, problem.starts[start][:, None], most=STEPS, separable=separable)


def best(problem, start):
    """Plain steps first; variable projection where they do not settle, or end higher."""
    plain, projected = (search(problem, start, separable) for separable in (False, True))
    return plain if plain.settled[0] and plain.rss[0] <= projected.rss[0] * (1.0 + 1e-8) else projected


@pytest.mark.parametrize(("name", "start"), PAIRS)
def test_certified_to_ten_digits(name, start):
    """Parameters, their standard deviations and the residual sum, each certified to eleven digits."""
    problem = PROBLEMS[name]
    x, y = problem.x[:, None], problem.y[:, None]
    found = polished(problem.model, x, y, best(problem, start))
    fits = judged(problem.model, x, found, np.array([len(problem.x)]))
    assert found.settled.all()
    order = NIST["in_order"](problem, found.parameters[:, 0])
    np.testing.assert_allclose(found.parameters[order, 0], problem.certified, rtol=1e-10)
    errors = [fits.standard_error(unit[:, None])[0] for unit in np.eye(len(problem.certified))]
    np.testing.assert_allclose(np.array(errors)[order], problem.sd, rtol=1e-10)
    np.testing.assert_allclose(fits.rss[0], problem.rss, rtol=1e-10)
    assert fits.spare[0] == len(problem.x) - len(problem.certified)


def test_what_each_strategy_loses():
    """Lost is what does not end at the certified residual sum, to eight digits."""
    lost = {
        separable: {
            pair
            for pair in PAIRS
            if not search(PROBLEMS[pair[0]], pair[1], separable).rss[0] <= PROBLEMS[pair[0]].rss * (1.0 + 1e-8)
        }
        for separable in (False, True)
    }
    assert lost == {False: {("MGH09", 0), ("MGH17", 0)}, True: set()}


@pytest.mark.parametrize("name", PROBLEMS)
def test_derivatives_are_those_of_the_curve(name):
    """By central differences at the certified values: their error is some 1e-10 of the curve over the step."""
    problem = PROBLEMS[name]
    steps = 1e-5 * np.abs(problem.certified)
    by_hand = problem.model.jacobian(problem.x, problem.certified[:, None])
    for derivative, step, unit in zip(by_hand, steps, np.eye(len(steps)), strict=True):
        either = [problem.model.value(problem.x, problem.certified + sign * step * unit) for sign in (1.0, -1.0)]
        difference = (either[0] - either[1]) / (2.0 * step)
        np.testing.assert_allclose(derivative, difference, rtol=1e-7, atol=1e-7 * np.abs(derivative).max())
