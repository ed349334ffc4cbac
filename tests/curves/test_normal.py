"""Normal equations of a block against numpy's own algebra, curve by curve."""

import numpy as np
import pytest

from leavenbench.curves.composed import LEVELS
from leavenbench.curves.engine.normal import damped_step, inverse_root, products, scaling

NONE_HELD = None
CURVES = 12


@pytest.fixture
def block(rises):
    """Return a block of curves away from their optimum, with its weights and parameters."""
    rng = np.random.default_rng(50)
    some = rises("richards", 15, CURVES, seed=51)
    return some, rng.uniform(0.5, 2.0, some.t.shape), 1.05 * some.truth


@pytest.fixture
def sums(block):
    some, weight, p = block
    return products(some.model, some.t, some.y, weight, p)


def of_one(some, weight, p, curve):
    """Return [J r] of a curve."""
    t, at = some.t[:, curve], p[:, curve, None]
    jacobian = some.model.jacobian(t, at)
    return np.vstack([jacobian, some.y[:, curve] - some.model.value(t, at)]) * weight[:, curve]


def test_products_are_those_of_the_jacobian_and_the_residual(block, sums):
    for curve in range(CURVES):
        rows = of_one(*block, curve)
        np.testing.assert_allclose(np.triu(sums[..., curve]), np.triu(rows @ rows.T), rtol=1e-12, atol=1e-9)


def test_without_weights_every_reading_weighs_one(block):
    some, _, p = block
    one = products(some.model, some.t, some.y, np.ones_like(some.t), p)
    np.testing.assert_array_equal(products(some.model, some.t, some.y, None, p), one)


@pytest.mark.parametrize("curves", [1, 2, 3, 4, 5, 11])
def test_products_and_steps_are_the_same_bits_in_any_company(block, sums, curves):
    some, weight, p = block
    part = np.arange(CURVES)[:curves]
    alone = products(some.model, some.t[:, part], some.y[:, part], weight[:, part], p[:, part])
    upper = np.triu_indices(len(alone))
    np.testing.assert_array_equal(alone[upper], sums[..., part][upper])
    damping = np.linspace(0.0, 1.0, CURVES)
    for of_part, of_all in zip(
        damped_step(alone, NONE_HELD, damping[part]), damped_step(sums, NONE_HELD, damping), strict=True
    ):
        np.testing.assert_array_equal(of_part, of_all[..., part])


def test_readings_of_weight_zero_after_the_last_change_no_bit(block, sums):
    some, weight, p = block
    longer = [np.vstack([it, np.repeat(it[-1:], 9, axis=0)]) for it in (some.t, some.y)]
    padded = products(some.model, *longer, np.vstack([weight, np.zeros((9, CURVES))]), p)
    np.testing.assert_array_equal(padded, sums)


def test_scaling_brings_the_diagonal_to_one(sums):
    held = np.zeros((5, CURVES), bool)
    held[2, ::2] = True
    scaled = np.array([np.diag(sums[:5, :5, curve]) for curve in range(CURVES)]).T * scaling(sums, held) ** 2
    np.testing.assert_allclose(scaled, np.where(held, 0.0, 1.0), rtol=1e-15)


@pytest.mark.parametrize("damping", [0.0, 0.3])
def test_damped_step_solves_the_normal_equations(block, sums, damping):
    """(N + damping diag N) step = g, by numpy.linalg.solve; the gain is step' g."""
    step, gain = damped_step(sums, NONE_HELD, np.full(CURVES, damping))
    for curve in range(CURVES):
        rows = of_one(*block, curve)
        normal, gradient = rows[:-1] @ rows[:-1].T, rows[:-1] @ rows[-1]
        expected = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), gradient)
        np.testing.assert_allclose(step[:, curve], expected, rtol=1e-7)  # condition 1e4 squared, on 1e-16
        assert gain[curve] == pytest.approx(gradient @ expected, rel=1e-9)


def test_a_held_parameter_takes_no_step_and_the_others_solve_without_it(block, sums):
    held = np.zeros((5, CURVES), bool)
    held[3, ::2], held[0, ::3] = True, True
    step, _ = damped_step(sums, held, np.zeros(CURVES))
    np.testing.assert_array_equal(step[held], 0.0)
    for curve in range(CURVES):
        free = ~held[:, curve]
        rows = of_one(*block, curve)
        jacobian = rows[:-1][free]
        expected = np.linalg.solve(jacobian @ jacobian.T, jacobian @ rows[-1])
        np.testing.assert_allclose(step[free, curve], expected, rtol=1e-7)


@pytest.mark.parametrize("curves", [2, 7])
def test_a_singular_system_has_no_finite_step(curves):
    """Two parameters of which only the sum is seen; few systems and many go different ways to the same end."""
    sums = np.array([[4.0, 4.0, 2.0], [4.0, 4.0, 2.0], [0.0, 0.0, 1.0]])[..., None] * np.ones(curves)
    sums[0, 1, 0] = 2.0  # the first curve sees both
    with np.errstate(all="ignore"):
        step, _ = damped_step(sums, NONE_HELD, np.zeros(curves))
        by_damping, _ = damped_step(sums, NONE_HELD, np.ones(curves))
    np.testing.assert_allclose(step[:, 0], [1 / 3, 1 / 3])  # 4 a + 2 b = 2 = 2 a + 4 b
    assert not np.isfinite(step[:, 1:]).all(axis=0).any()
    np.testing.assert_allclose(by_damping[:, 1], [1 / 6, 1 / 6])  # 8 a + 4 b = 2 = 4 a + 8 b


def test_inverse_root_is_one(block, sums):
    held = np.zeros((5, CURVES), bool)
    held[2, ::2] = True
    root, pivot = inverse_root(sums, held)
    for curve in range(CURVES):
        free = ~held[:, curve]
        jacobian = of_one(*block, curve)[:-1][free]
        normal = jacobian @ jacobian.T
        inverse = root[..., curve].T @ root[..., curve]
        np.testing.assert_allclose(inverse[np.ix_(free, free)], np.linalg.inv(normal), rtol=1e-7)
        np.testing.assert_array_equal(inverse[~free], 0.0)
        scaled = normal / np.sqrt(np.outer(np.diag(normal), np.diag(normal)))
        assert pivot[curve] == pytest.approx((np.diag(np.linalg.cholesky(scaled)) ** 2).min(), rel=1e-7)


def test_the_smallest_pivot_tells_what_cannot_be_told_apart():
    """Two columns at an angle of 1e-4: the second pivot is the sine of it, squared (exact algebra)."""
    apart = 1e-4
    jacobian = np.array([[1.0, 0.0], [np.cos(apart), np.sin(apart)]])
    sums = np.zeros((3, 3, 5))
    sums[:2, :2] = (jacobian @ jacobian.T)[..., None]
    _, pivot = inverse_root(sums, NONE_HELD)
    np.testing.assert_allclose(pivot, np.sin(apart) ** 2, rtol=1e-7)


def test_a_level_that_is_not_there_has_no_scale():
    """At a rate that leaves no reading between the levels, the derivatives by rate and lag are zero."""
    t = np.array([[0.0], [1.0], [9.0], [10.0]])
    p = np.array([[0.0], [10.0], [1000.0], [5.0]])
    with np.errstate(divide="ignore"):
        there = scaling(products(LEVELS["logistic"], t, t, None, p), NONE_HELD)[:, 0]
    np.testing.assert_allclose(there, [0.5, np.sqrt(0.5), 0.0, 0.0])  # four readings of the start, two of the extent
