"""The promises that the engine makes to whoever hands it a block of curves."""

import numpy as np
import pytest
from scipy.optimize import curve_fit

from leavenbench.curves.composed import LEVELS
from leavenbench.curves.engine import AT_REST, judged, optimum, polished, sharpened
from leavenbench.curves.engine.fits import scaled_jacobian
from leavenbench.curves.engine.normal import damped_step, products
from leavenbench.curves.models import GROWTH, Model
from leavenbench.curves.search import bounds, search
from leavenbench.curves.starts import starts

KINDS = [(growth, collapse) for growth in GROWTH for collapse in (False, True)]


def errors(fits):
    """Return the standard error of every parameter, shape (p, m)."""
    return np.array(
        [fits.standard_error(unit[:, None] + 0.0 * fits.parameters) for unit in np.eye(len(fits.influence))]
    )


@pytest.mark.parametrize(("growth", "collapse"), KINDS)
def test_company_changes_no_bit(growth, collapse, rises):
    """Any part of a block, down to one curve and cut to its own longest, ends at the bits of the whole block."""
    rng = np.random.default_rng(31)
    everything = rises(growth, rng.integers(6, 81, 150), 150, seed=30, collapse=collapse)

    def answers(some):
        found = search(growth, some.t, some.y, some.weight, some.peak)
        fits = judged(some.model, some.t, found, some.readings, some.weight)
        upper = found.sums[np.triu_indices(len(found.sums))]
        return found.parameters, upper, found.settled, found.held, fits.spread, fits.influence, errors(fits)

    whole = answers(everything)
    for size in (1, 1, 1, 1, 2, 3, 4, 5, 9, 40):
        curves = np.sort(rng.choice(150, size, replace=False))
        for of_part, of_whole in zip(answers(everything.of(curves)), whole, strict=True):
            np.testing.assert_array_equal(of_part, of_whole[..., curves], err_msg=f"curves {curves}")


@pytest.mark.parametrize(("growth", "collapse"), KINDS)
def test_steps_from_given_starts_are_the_same_bits_in_any_company(growth, collapse, rises):
    """The engine alone, without starts read off the readings."""
    rng = np.random.default_rng(33)
    everything = rises(growth, rng.integers(8, 81, 150), 150, seed=32, collapse=collapse)

    def answers(some):
        found = optimum(some.model, some.t, some.y, 1.1 * some.truth, some.weight)
        return found.parameters, found.sums[np.triu_indices(len(found.sums))], found.settled

    whole = answers(everything)
    for size in (1, 1, 1, 2, 3, 4, 5, 9, 40):
        curves = np.sort(rng.choice(150, size, replace=False))
        for of_part, of_whole in zip(answers(everything.of(curves)), whole, strict=True):
            np.testing.assert_array_equal(of_part, of_whole[..., curves])


@pytest.mark.parametrize(("growth", "collapse"), KINDS)
def test_a_curve_alone_takes_the_steps_of_the_block(growth, collapse, rises):
    """Every curve by itself, from a start far off, weighed, its lag bounded: to the bits of all of them together."""
    everything = rises(growth, 14, 200, seed=48, collapse=collapse)
    weight = np.random.default_rng(49).uniform(0.5, 2.0, everything.t.shape)
    low, high = np.full_like(everything.truth, -np.inf), np.full_like(everything.truth, np.inf)
    low[3], high[3] = everything.truth[3] - 0.3, everything.truth[3] + 0.3
    start = np.clip(1.4 * everything.truth, low, high)
    together = optimum(everything.model, everything.t, everything.y, start, weight, low, high)
    assert together.held.any()
    assert not together.held.all()
    upper = np.triu_indices(len(together.sums))
    for curve in range(200):
        of_one = [it[:, [curve]] for it in (everything.t, everything.y, start, weight, low, high)]
        alone = optimum(everything.model, *of_one)
        np.testing.assert_array_equal(alone.parameters, together.parameters[:, [curve]])
        np.testing.assert_array_equal(alone.sums[upper], together.sums[..., [curve]][upper])
        assert alone.settled[0] == together.settled[curve]
        np.testing.assert_array_equal(alone.held, together.held[:, [curve]])


def test_a_block_of_no_curves_has_no_answers(rises):
    nobody = rises("logistic", 12, 3, seed=34)
    found = optimum(nobody.model, nobody.t[:, :0], nobody.y[:, :0], nobody.truth[:, :0])
    assert found.parameters.shape == (4, 0)
    assert found.settled.shape == found.rss.shape == (0,)


def by_scipy(model, t, y, start, free):
    """Fit some of the parameters with curve_fit (MINPACK's lmder, given the derivatives), the others fixed."""

    def every(p):
        parameters = start.copy()
        parameters[free] = p
        return parameters

    exact = {"jac": lambda t, *p: model.jacobian(t, every(p)[:, None])[free].T, "ftol": 1e-15, "xtol": 1e-15}
    best, covariance = curve_fit(lambda t, *p: model.value(t, every(p)), t, y, p0=start[free], **exact)
    return best, np.sqrt(np.diag(covariance))


def test_what_is_held_stays_and_the_rest_is_the_fit_of_a_smaller_curve(rises):
    """Every second curve has its lag kept at an hour: there as scipy's fit of the other three parameters."""
    few = rises("gompertz", 14, 8, seed=35)
    kept = np.zeros((4, 8), bool)
    kept[3, ::2] = True
    start = np.where(kept, 1.0, few.truth)
    low, high = np.where(kept, start, -np.inf), np.where(kept, start, np.inf)
    found = optimum(few.model, few.t, few.y, start, low=low, high=high, tolerance=1e-15, most=200)
    fits = judged(few.model, few.t, found, few.readings)
    assert found.settled.all()
    np.testing.assert_array_equal(found.held, kept)
    np.testing.assert_array_equal(found.parameters[kept], 1.0)
    np.testing.assert_array_equal(fits.spare, np.where(kept[3], 11, 10))
    for curve in range(8):
        free = np.flatnonzero(~kept[:, curve])
        best, sd = by_scipy(few.model, few.t[:, curve], few.y[:, curve], start[:, curve], free)
        np.testing.assert_allclose(found.parameters[free, curve], best, rtol=1e-7)  # the last digits are scipy's
        np.testing.assert_allclose(errors(fits)[free, curve], sd, rtol=1e-6)


def test_a_bound_holds_what_would_go_beyond_it_and_nothing_else(rises):
    """The bounds of lag and extent of each curve are on either side of where it ends without them."""
    many = rises("logistic", 14, 100, seed=45)
    free = optimum(many.model, many.t, many.y, many.truth)
    rng = np.random.default_rng(46)
    low, high = np.full((4, 100), -np.inf), np.full((4, 100), np.inf)
    low[3], high[1] = (free.parameters[place] * rng.uniform(0.9, 1.1, 100) for place in (3, 1))
    start = np.clip(many.truth, low, high)
    found = optimum(many.model, many.t, many.y, start, low=low, high=high)
    assert found.settled.all()
    assert (found.parameters >= low).all()
    assert (found.parameters <= high).all()
    at_bound = (found.parameters == low) | (found.parameters == high)
    np.testing.assert_array_equal(found.held, at_bound)
    assert at_bound[3].any()
    assert at_bound[1].any()
    untouched = ~found.held.any(axis=0)
    assert 10 < untouched.sum() < 50
    np.testing.assert_allclose(found.rss[untouched], free.rss[untouched], rtol=1e-8)
    assert (found.rss[~untouched] > free.rss[~untouched]).all()
    kept_low, kept_high = np.where(found.held, found.parameters, low), np.where(found.held, found.parameters, high)
    kept = optimum(many.model, many.t, many.y, found.parameters, low=kept_low, high=kept_high)
    np.testing.assert_allclose(kept.rss, found.rss, rtol=1e-8)
    uphill = found.sums[:4, -1]  # what a step upwards would gain
    assert (uphill[found.held & (found.parameters == low)] <= 0.0).all()
    assert (uphill[found.held & (found.parameters == high)] >= 0.0).all()


def test_a_start_outside_the_bounds_ends_inside(rises):
    many = rises("logistic", 14, 100, seed=47)
    low, high = np.full((4, 100), -np.inf), np.full((4, 100), np.inf)
    low[3], high[2] = many.truth[3] + 0.3, many.truth[2] * 0.9
    found = optimum(many.model, many.t, many.y, many.truth, low=low, high=high)
    assert (found.parameters >= low).all()
    assert (found.parameters <= high).all()


def test_a_reading_twice_is_a_reading_of_weight_root_two(rises):
    few = rises("logistic", 12, 20, seed=36)
    doubled = np.repeat(np.arange(12), np.where(np.arange(12) % 3 == 0, 2, 1))
    weight = np.where(np.arange(12) % 3 == 0, np.sqrt(2.0), 1.0)[:, None] * np.ones(20)
    weighed = optimum(few.model, few.t, few.y, few.truth, weight)
    twice = optimum(few.model, few.t[doubled], few.y[doubled], few.truth)
    for found in (weighed, twice):
        assert found.settled.all()
    weighed = polished(few.model, few.t, few.y, weighed, weight)
    twice = polished(few.model, few.t[doubled], few.y[doubled], twice)
    np.testing.assert_allclose(weighed.parameters, twice.parameters, rtol=1e-11)
    np.testing.assert_allclose(weighed.rss, twice.rss, rtol=1e-12)
    same = judged(few.model, few.t, weighed, np.full(20, len(doubled)), weight)
    np.testing.assert_allclose(
        errors(same), errors(judged(few.model, few.t[doubled], twice, np.full(20, 16))), rtol=1e-10
    )


def test_weights_count_up_to_a_factor(rises):
    few = rises("logistic", 12, 20, seed=37)
    weight = np.random.default_rng(38).uniform(0.5, 2.0, few.t.shape)
    fits = []
    for factor in (1.0, 8.0):  # a power of two: no rounding anywhere
        found = optimum(few.model, few.t, few.y, few.truth, factor * weight)
        fits.append(judged(few.model, few.t, found, few.readings, factor * weight))
    np.testing.assert_array_equal(fits[1].parameters, fits[0].parameters)
    np.testing.assert_array_equal(fits[1].rss, 64.0 * fits[0].rss)
    np.testing.assert_allclose(errors(fits[1]), errors(fits[0]), rtol=1e-14)


@pytest.mark.parametrize("readings", [12, 40])
@pytest.mark.parametrize(("growth", "collapse"), KINDS)
def test_standard_errors_are_those_of_orthogonal_factors(growth, collapse, readings, rises):
    """Within 1e-12 for 99 %, for the rest within 1e-13 x condition squared, of the columns scaled to length 1."""
    many = rises(growth, readings, 2000, seed=39, collapse=collapse)
    found = optimum(many.model, many.t, many.y, starts(growth, many.t, many.y, None, many.peak))
    mine = errors(judged(many.model, many.t, found, many.readings))
    told = found.settled & np.isfinite(mine).all(axis=0)
    assert told.mean() > 0.75  # a shape besides a collapse is much to ask of 12 readings
    jacobian, influence = scaled_jacobian(many.model, many.t, found.parameters, None, found.held)
    triangle = np.linalg.qr(jacobian[told], mode="r")
    sd = np.sqrt(found.rss[told] / (readings - len(influence)))
    by_factors = np.sqrt((np.linalg.inv(triangle) ** 2).sum(axis=2)).T / influence[:, told] * sd
    apart = np.abs(mine[:, told] / by_factors - 1.0).max(axis=0)
    crowded = growth == "richards" and collapse and readings == 12  # seven numbers: the condition is often beyond 100
    assert (apart <= 1e-12).mean() >= (0.98 if crowded else 0.99)
    assert (apart <= np.maximum(1e-12, 1e-13 * np.linalg.cond(triangle) ** 2)).all()


def test_a_finest_reading_bounds_the_standard_errors_from_below(rises):
    """A curve through every reading is not taken as exact: errors are those that the ruler's own sd gives."""
    few = rises("logistic", 12, 5, seed=40)
    exact = few.model.value(few.t, few.truth)
    found = optimum(few.model, few.t, exact, few.truth)
    noisy = found._replace(sums=found.sums + 0.0)
    noisy.sums[-1, -1] = 0.25 * 8  # a residual sd of .5 on 8 df
    by_ruler = judged(few.model, few.t, found, few.readings, least_sd=0.5)
    np.testing.assert_allclose(errors(by_ruler), errors(judged(few.model, few.t, noisy, few.readings)), rtol=1e-14)


def test_as_many_readings_as_parameters_leave_no_standard_error(fit_one):
    found, fits = fit_one(GROWTH["logistic"], [0.0, 3.0, 6.0], [0.5, 5.0, 9.0], [10.0, 2.0, 1.0])
    assert fits.rss[0] == pytest.approx(0.0, abs=1e-18)
    assert fits.spare[0] == 0
    assert np.isfinite(found).all()
    assert np.isnan(errors(fits)).all()


def test_fewer_readings_than_parameters_are_judged_all_the_same():
    t, y = np.array([[0.0], [3.0], [6.0]]), np.array([[0.5], [5.0], [9.0]])
    found = optimum(LEVELS["logistic"], t, y, np.array([[0.0], [10.0], [2.0], [1.0]]))
    fits = judged(LEVELS["logistic"], t, found, np.array([3]))
    assert fits.spare[0] == -1
    assert np.isnan(errors(fits)).all()


JUMP = np.array([0.0, 1, 2, 3, 7, 8, 9, 10]), np.array([0.1, -0.1, 0.1, -0.1, 10.1, 9.9, 10.1, 9.9])


@pytest.mark.parametrize("rate", [100.0, 400.0])
def test_what_the_readings_do_not_see_has_no_standard_error(rate, fit_one):
    """A jump between two readings: the levels before and after are seen, the steepness and the hour are not."""
    _, fits = fit_one(GROWTH["logistic"], *JUMP, [10.0, rate, 5.0])
    assert np.isnan(errors(fits)[1:]).all()
    # the mean of four readings, sd of all eight residuals on 8 - 3 df
    assert errors(fits)[0, 0] == pytest.approx(np.sqrt(fits.rss[0] / 5) / 2.0, rel=1e-6)


def test_two_numbers_that_only_their_sum_is_seen_of():
    """y = a + b has no a and no b, yet a sum: the mean of the readings, its error that of a mean."""

    def derive(t, p, into):
        into[:] = 1.0
        return p[0] + p[1] + 0.0 * t

    model = Model(("a", "b"), lambda t, p: p[0] + p[1] + 0.0 * t, derive)
    t, y = np.arange(4.0)[:, None], np.array([1.0, 2.0, 3.0, 6.0])[:, None]
    found = optimum(model, t, y, np.zeros((2, 1)))
    fits = judged(model, t, found._replace(parameters=np.array([[1.0], [2.0]])), np.array([5]))
    assert np.isnan(errors(fits)).all()
    assert np.isnan(fits.standard_error(np.array([[1.0], [-1.0]])))[0]
    # the spare readings are given as 5 - 2: sum of squares over 3, and the mean of four
    of_sum = fits.standard_error(np.ones((2, 1)))[0]
    assert of_sum == pytest.approx(np.sqrt(fits.rss[0] / 3 / 4), rel=1e-9)


@pytest.mark.parametrize("far", [1e150, 1e200, 1e300, np.inf, -np.inf, np.nan])
@pytest.mark.parametrize(("growth", "collapse"), KINDS)
def test_no_number_raises(growth, collapse, far, rises):
    """One curve of ten goes out of all bounds (1e150 is still a number with a square); the others do not notice."""
    ten = rises(growth, 20, 10, seed=41, collapse=collapse)
    y = ten.y.copy()
    y[7, 4] = far
    found = search(growth, ten.t, y, ten.weight, ten.peak)
    exact = polished(ten.model, ten.t, y, found, ten.weight)
    fits = judged(ten.model, ten.t, exact, ten.readings, ten.weight)
    if far != 1e150:
        assert not fits.settled[4]
        assert np.isnan(errors(fits)[:, 4]).all()
    others = ten.of(np.flatnonzero(np.arange(10) != 4))
    alone = search(growth, others.t, others.y, others.weight, others.peak)
    np.testing.assert_array_equal(np.delete(found.parameters, 4, axis=1), alone.parameters)


@pytest.mark.parametrize(("growth", "collapse"), KINDS)
def test_polish_is_never_worse_and_leaves_no_gradient(growth, collapse, rises):
    """A residual of 1 mm off a height of 100 mm is rounded by 1e-14: the sum of their squares is good to 1e-12, and
    what is left to gain of it to the square of 1e-14. Where a curve bends so much that Gauss-Newton steps grow, the
    last digits are not had: seldom with a collapse, one in twenty with a shape besides; about one in a hundred more
    from where a search rests by default than from where it rests at 1e-12. Nor where a fall is a step to the readings:
    there is no sharpness that they see."""
    many = rises(growth, 12, 1000, seed=42, collapse=collapse)
    for tolerance, shares in ((AT_REST, (1.0, 0.96, 0.95, 0.92)), (1e-12, (1.0, 0.97, 0.95, 0.92))):
        found = search(growth, many.t, many.y, None, many.peak, tolerance=tolerance)
        exact = polished(many.model, many.t, many.y, found)
        settled = found.settled
        assert (exact.rss[settled] <= found.rss[settled] * (1.0 + 1e-12)).all()
        np.testing.assert_array_equal(exact.parameters[:, ~settled], found.parameters[:, ~settled])
        with np.errstate(all="ignore"):  # a singular system has no gain, and counts as not exact
            gain = damped_step(exact.sums, exact.held, np.zeros(1000))[1][settled] / exact.rss[settled]
        assert (np.abs(gain) < 1e-26).mean() >= shares[collapse + 2 * (growth == "richards")]


@pytest.mark.parametrize("growth", ["logistic", "gompertz"])
@pytest.mark.parametrize("collapse", [False, True])
def test_sharpened_optima_are_closer_and_stay_within_their_bounds(growth, collapse, rises):
    """Against polished ones, in standard errors of each parameter; no residual sum gets larger."""
    many = rises(growth, 14, 1000, seed=80, collapse=collapse)
    low, high = bounds(many.model, many.t, many.y)
    found = search(growth, many.t, many.y, None, many.peak)
    sharp = sharpened(many.model, many.t, many.y, found, None, low, high)
    assert (sharp.rss[found.settled] <= found.rss[found.settled] * (1.0 + 1e-12)).all()
    assert ((sharp.parameters >= low) & (sharp.parameters <= high)).all()
    np.testing.assert_array_equal(sharp.parameters[:, ~found.settled], found.parameters[:, ~found.settled])
    np.testing.assert_array_equal(sharp.parameters[found.held], found.parameters[found.held])
    of_sums = products(many.model, many.t, many.y, None, sharp.parameters)
    np.testing.assert_allclose(sharp.rss[found.settled], of_sums[-1, -1, found.settled], rtol=1e-9)

    exact = polished(many.model, many.t, many.y, sharp)
    told = found.settled & ~found.held.any(axis=0)
    sd = errors(judged(many.model, many.t, exact, many.readings))[:, told]
    before, after = (np.abs((it.parameters - exact.parameters)[:, told] / sd).max(axis=0) for it in (found, sharp))
    assert np.median(after) < (0.05 if collapse else 0.01) * np.median(before)
    assert np.quantile(after, 0.99) < 1e-4


@pytest.mark.parametrize("tolerance", [1e-2, 1e-5, 1e-9, 1e-12])
def test_tolerance_is_the_share_still_to_be_gained(tolerance, rises):
    """At rest a step without damping would gain at most this share of a straight model, and on these curves less than
    twice that. And no search goes on longer than it must: the looser the tolerance, the fewer the digits."""
    many = rises("logistic", 12, 500, seed=43)
    start = starts("logistic", many.t, many.y)
    found = optimum(many.model, many.t, many.y, start, tolerance=tolerance)
    exact = polished(many.model, many.t, many.y, optimum(many.model, many.t, many.y, start, tolerance=1e-12))
    assert found.settled.all()
    assert (damped_step(found.sums, None, np.zeros(500))[1] <= tolerance * found.rss).all()
    excess = found.rss / exact.rss - 1.0
    assert excess.max() <= 2.0 * tolerance
    assert excess.max() > 0.01 * tolerance


def test_steps_end_where_they_are_told_to(rises):
    many = rises("logistic", 12, 50, seed=44)
    far = many.truth * np.array([[1.0], [2.0], [0.3], [1.5]])
    one, ten = (optimum(many.model, many.t, many.y, far, most=steps) for steps in (1, 10))
    assert not one.settled.any()
    assert (one.rss > ten.rss).all()
    at_start = ((many.y - many.model.value(many.t, far)) ** 2).sum(axis=0)
    assert (one.rss <= at_start * (1.0 + 1e-12)).all()


def test_a_search_is_given_up_where_it_has_no_hope_of_what_is_wanted(rises):
    """Under half of the least residual sum no curve comes; under a little more than it all come as if nothing was
    asked. A curve that is alone gives up where it does in a block."""
    many = rises("logistic", 12, 200, seed=45)
    start = starts("logistic", many.t, many.y)
    found = optimum(many.model, many.t, many.y, start)
    assert found.settled.all()
    easy = optimum(many.model, many.t, many.y, start, wanted=found.rss * 1.001)
    assert easy.settled.all()
    assert (easy.rss <= found.rss * 1.001).all()
    some = np.where(np.arange(200) % 2, 0.5, 1.001) * found.rss
    mixed = optimum(many.model, many.t, many.y, start, wanted=some)
    assert mixed.settled.tolist() == [place % 2 == 0 for place in range(200)]
    np.testing.assert_array_equal(mixed.parameters[:, ::2], easy.parameters[:, ::2])
    assert (mixed.rss[1::2] > found.rss[1::2]).any()  # it did not go all the way
    for one in (0, 1, 2, 3):
        alone = optimum(*(many.model, many.t[:, [one]], many.y[:, [one]], start[:, [one]]), wanted=some[[one]])
        np.testing.assert_array_equal(alone.parameters[:, 0], mixed.parameters[:, one])
        assert alone.settled[0] == mixed.settled[one]
