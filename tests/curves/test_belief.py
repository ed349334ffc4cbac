"""What is known before counts beside the readings as Bayes has it: exact where it is linear, the optimum elsewhere.

The linear case is that of Lindley & Smith 1972, J R Stat Soc B 34:1-18, doi 10.1111/j.2517-6161.1972.tb00885.x:
posterior covariance (X'X/s2 + P)^-1, posterior mean that times (X'y/s2 + P m). Curve by curve with numpy.linalg.
"""

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import kstest

from leavenbench.curves.blocks import Block
from leavenbench.curves.choice import choose
from leavenbench.curves.composed import LEVELS
from leavenbench.curves.engine import Belief, judged, noise, optimum, sharpened
from leavenbench.curves.engine.normal import inverse_root
from leavenbench.curves.expected import Expected, strength
from leavenbench.curves.models import Model
from leavenbench.curves.search import search

SD = 0.4
LOGISTIC, GOMPERTZ = LEVELS["logistic"], LEVELS["gompertz"]


def parabola(t, p):
    return p[0] + p[1] * t + p[2] * t**2


def derive_parabola(t, p, into):
    into[0], into[1], into[2] = 1.0, t, t**2
    return parabola(t, p)


PARABOLA = Model(("level", "slope", "bend"), parabola, derive_parabola)
LEVEL = Model(("level",), lambda t, p: p[0] + 0.0 * t, lambda t, p, into: (into.fill(1.0), p[0] + 0.0 * t)[1])
#: Inverse of a covariance with correlations.
PRECISION = np.array([[3.0, 1.0, 0.5], [1.0, 2.0, -0.3], [0.5, -0.3, 0.4]])


def of_each(matrix, curves):
    return np.repeat(np.asarray(matrix, float)[..., None], curves, axis=-1)


class Bayes:
    """Parabolas through six readings of uneven weight, and what Lindley & Smith say of them."""

    def __init__(self, curves, seed, truth=None, mean=None):
        rng = np.random.default_rng(seed)
        self.t = np.sort(rng.uniform(-1.0, 3.0, (6, curves)), axis=0)
        self.weight = rng.choice([0.5, 1.0, 2.0], self.t.shape)
        drawn = np.linalg.cholesky(np.linalg.inv(PRECISION)) @ rng.normal(size=(3, curves))
        self.mean = rng.normal(0.0, 1.0, (3, curves)) if mean is None else mean
        self.truth = self.mean + drawn if truth is None else truth
        self.y = parabola(self.t, self.truth) + SD / self.weight * rng.normal(size=self.t.shape)
        # the engine's precision is in units of the variance of a reading of weight 1
        self.belief = Belief(np.zeros(3, bool), self.mean, of_each(SD**2 * PRECISION, curves))
        found = optimum(PARABOLA, self.t, self.y, np.zeros((3, curves)), self.weight, belief=self.belief)
        free = np.full((3, curves), np.inf)
        self.found = sharpened(PARABOLA, self.t, self.y, found, self.weight, -free, free, self.belief)

    def judged(self, **known):
        readings = np.full(self.t.shape[1], len(self.t))
        return judged(PARABOLA, self.t, self.found, readings, self.weight, belief=self.belief, **known)

    def design(self, curve):
        t, w = self.t[:, curve], self.weight[:, curve]
        return w[:, None] * np.vander(t, 3, increasing=True), w * self.y[:, curve]


@pytest.fixture(scope="module")
def bayes():
    return Bayes(40, seed=1)


def test_the_optimum_is_the_posterior_mean(bayes):
    for curve in range(40):
        x, y = bayes.design(curve)
        inverse = np.linalg.inv(x.T @ x / SD**2 + PRECISION)
        expected = inverse @ (x.T @ y / SD**2 + PRECISION @ bayes.mean[:, curve])
        np.testing.assert_allclose(bayes.found.parameters[:, curve], expected, rtol=1e-9, atol=1e-11)


def test_what_is_lost_is_the_residual_sum_and_the_penalty_apart(bayes):
    """Least squares of readings and belief stacked: sum of squares of (y - X b, R (m - b)), R'R = s2 P."""
    fits = bayes.judged(usual_sd=SD)
    for curve in range(40):
        x, y = bayes.design(curve)
        root = np.linalg.cholesky(SD**2 * PRECISION).T
        whole = np.vstack((x, root)), np.append(y, root @ bayes.mean[:, curve])
        b, both, *_ = np.linalg.lstsq(*whole, rcond=None)
        assert bayes.found.rss[curve] == pytest.approx(both.item(), rel=1e-9)
        assert fits.rss[curve] == pytest.approx(((y - x @ b) ** 2).sum(), rel=1e-8)
        assert bayes.belief.penalty(bayes.found.parameters)[curve] == pytest.approx(both.item() - fits.rss[curve])


def test_the_errors_are_those_of_the_posterior(bayes):
    """Spread'spread is the posterior covariance but for the size of the noise, which is that of `noise`."""
    fits = bayes.judged(usual_sd=SD)
    for curve in range(40):
        x, _ = bayes.design(curve)
        posterior = np.linalg.inv(x.T @ x / SD**2 + PRECISION)
        # of as many as are fitted, the trace of posterior times X'X is told by the readings
        spare = 6 - np.trace(posterior @ x.T @ x) / SD**2
        assert fits.spare[curve] == pytest.approx(spare, rel=1e-9)
        told = np.sqrt((fits.rss[curve] + (10 - spare) * SD**2) / 10)
        of_engine = fits.spread[..., curve].T @ fits.spread[..., curve]
        np.testing.assert_allclose(of_engine, (told / SD) ** 2 * posterior, rtol=1e-8, atol=1e-12)
        assert noise(fits.rss, fits.spare, SD)[curve] == pytest.approx(told, rel=1e-12)
        assert fits.freedom[curve] == pytest.approx(10**2 / spare, rel=1e-9)


def test_what_is_believed_of_a_quantity_is_its_share_of_the_posterior_precision(bayes):
    """Of g'b with posterior covariance C the belief holds g'C P C g of g'C g (algebra)."""
    gradient = np.random.default_rng(2).normal(size=(3, 40))
    share = bayes.judged(usual_sd=SD).believed_share(gradient)
    for curve in range(40):
        x, _ = bayes.design(curve)
        c, g = np.linalg.inv(x.T @ x / SD**2 + PRECISION), gradient[:, curve]
        assert share[curve] == pytest.approx(g @ c @ PRECISION @ c @ g / (g @ c @ g), rel=1e-8)
    assert share.min() > 0.01
    assert share.max() < 1.0


@pytest.mark.parametrize("readings", [1, 4, 25])
@pytest.mark.parametrize("prior_sd", [0.01, 0.3, 30.0])
def test_of_one_number_the_share_is_the_weight_of_the_belief_in_the_mean(readings, prior_sd):
    """n readings of sd s and a belief of sd b: weight (1/b2) / (n/s2 + 1/b2) in the posterior mean."""
    y = np.random.default_rng(3).normal(2.0, SD, (readings, 1))
    known = Belief(np.zeros(1, bool), np.full((1, 1), -1.0), np.full((1, 1, 1), (SD / prior_sd) ** 2))
    found = optimum(LEVEL, np.zeros_like(y), y, np.zeros((1, 1)), belief=known, tolerance=1e-15)
    weight = prior_sd**-2 / (readings / SD**2 + prior_sd**-2)
    assert found.parameters.item() == pytest.approx((1.0 - weight) * y.mean() - weight, rel=1e-6)
    fits = judged(LEVEL, np.zeros_like(y), found, np.array([readings]), usual_sd=SD, belief=known)
    assert fits.believed_share(np.ones((1, 1))).item() == pytest.approx(weight, rel=1e-9)


def test_without_a_belief_nothing_is_believed(bayes):
    found = optimum(PARABOLA, bayes.t, bayes.y, np.zeros((3, 40)), bayes.weight)
    fits = judged(PARABOLA, bayes.t, found, np.full(40, 6), bayes.weight)
    assert (fits.believed_share(np.ones((3, 40))) == 0.0).all()


def test_a_belief_that_is_less_and_less_sure_leaves_least_squares(bayes):
    weak = bayes.belief.weaker(np.full(40, 1e6))
    found = optimum(PARABOLA, bayes.t, bayes.y, np.zeros((3, 40)), bayes.weight, belief=weak, tolerance=1e-14)
    for curve in range(40):
        expected = np.linalg.lstsq(*bayes.design(curve), rcond=None)[0]
        np.testing.assert_allclose(found.parameters[:, curve], expected, rtol=1e-4, atol=1e-4)


def test_what_a_free_mean_would_gain_is_the_difference_of_two_optima():
    """Straight model: the lowest sum at the mean given, less the lowest over all means m + d v, as one regression."""
    bayes, along = Bayes(40, seed=4), np.array([1.0, 1.0, 0.0])
    root, _ = inverse_root(bayes.found.sums, bayes.found.held)
    gain = bayes.belief.gain_if_moved(bayes.found.parameters, root, along)
    for curve in range(40):
        x, y = bayes.design(curve)
        half = np.linalg.cholesky(SD**2 * PRECISION).T
        stacked = np.vstack((x, half)), np.append(y, half @ bayes.mean[:, curve])
        shift = np.append(np.zeros(len(y)), -half @ along)  # R (m + d v - b)
        _, fixed, *_ = np.linalg.lstsq(*stacked, rcond=None)
        _, free, *_ = np.linalg.lstsq(np.column_stack((stacked[0], shift)), stacked[1], rcond=None)
        assert gain[curve] == pytest.approx((fixed - free).item(), rel=1e-7, abs=1e-12)


def test_what_a_free_mean_would_gain_is_chi_square_where_the_belief_holds():
    """Chi-square with one degree of freedom, against the whole distribution (Kolmogorov & Smirnov)."""
    bayes = Bayes(6000, seed=5)
    root, _ = inverse_root(bayes.found.sums, bayes.found.held)
    gain = bayes.belief.gain_if_moved(bayes.found.parameters, root, np.array([1.0, 1.0, 0.0])) / SD**2
    assert kstest(gain, "chi2", args=(1,)).pvalue > 0.01
    assert (gain > 3.841459).mean() == pytest.approx(0.05, abs=0.009)  # 3 standard errors of a share among 6000
    elsewhere = Bayes(2000, seed=6, mean=bayes.mean[:, :2000], truth=bayes.truth[:, :2000] + [[2.0], [2.0], [0.0]])
    root, _ = inverse_root(elsewhere.found.sums, elsewhere.found.held)
    moved = elsewhere.belief.gain_if_moved(elsewhere.found.parameters, root, np.array([1.0, 1.0, 0.0])) / SD**2
    assert (moved > 3.841459).mean() > 0.3


# Extent and slope by their logarithms

MEAN = np.array([np.log(60.0), np.log(18.0), 2.5])
SDS = np.array([0.12, 0.2, 0.5])


def expected(curves, *, mean=MEAN, sd=SDS, gompertz=0.5, open_=False):
    return Expected(
        of_each(mean, curves),
        of_each(sd, curves),
        np.zeros((3, curves)),
        np.full(curves, gompertz),
        strength_open=open_,
    )


def rises(rng, curves, readings=5, until=6.0):
    t = np.sort(rng.uniform(0.0, until, (readings, curves)), axis=0)
    truth = np.exp(MEAN[:2, None] + 0.3 * rng.normal(size=(2, curves)))
    p = np.vstack((np.full(curves, 40.0), truth, rng.normal(2.5, 0.5, curves)))
    return t, LOGISTIC.value(t, p) + rng.normal(0.0, 1.5, t.shape)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_with_logarithms_it_is_the_lowest_point_of_the_whole(sign):
    """Against scipy.optimize.minimize (Nelder & Mead, then BFGS) on the sum written out by hand.

    Zwietering's logistic curve; of a rise extent and slope are expected in shares of the start, of a pH as they are.
    """
    rng, sd = np.random.default_rng(7), 1.5
    t, y = rises(rng, 6)
    mean = MEAN - [np.log(40.0), np.log(40.0), 0.0] if sign > 0 else MEAN
    known = expected(6, mean=mean).belief(LOGISTIC, sign, sd)
    found = search("logistic", t, y, belief=known, tolerance=1e-13)

    def whole(x, curve):
        start, extent, rate = x[0], *np.exp(x[1:3])
        level = start + extent / (1.0 + np.exp(4.0 * rate / extent * (x[3] - t[:, curve]) + 2.0))
        by = np.log(start) if sign > 0 else 0.0
        off = (np.array([x[1] - by, x[2] - by, x[3]]) - mean) / SDS
        return (((y[:, curve] - level) / sd) ** 2).sum() + (off**2).sum()

    for curve in range(6):
        begin = [y[0, curve], *MEAN]
        near = minimize(whole, begin, (curve,), method="Nelder-Mead", options={"maxiter": 4000, "xatol": 1e-9})
        best = minimize(whole, near.x, (curve,), method="BFGS", options={"gtol": 1e-9})
        lowest = min(best.fun, near.fun)
        assert found.rss[curve] / sd**2 == pytest.approx(lowest, rel=1e-8)
        start, log_extent, log_rate, lag = (best if best.fun <= near.fun else near).x
        by_hand = [start, np.exp(log_extent), np.exp(log_rate), lag]
        np.testing.assert_allclose(found.parameters[:, curve], by_hand, rtol=2e-4)


def test_the_rows_of_a_jacobian_are_the_precision_in_the_parameters():
    rng = np.random.default_rng(8)
    known = expected(9).belief(LOGISTIC, 1.0, 1.5)
    p = np.exp(rng.normal([[3.7], [4.0], [2.8], [0.9]], 0.1, (4, 9)))
    rows = known.rows(p)
    np.testing.assert_allclose(np.einsum("kim,kjm->ijm", rows, rows), known.in_parameters(p), atol=1e-12)
    step = 1e-6 * p  # by the definition of a derivative
    for place in range(4):
        up, down = p.copy(), p.copy()
        up[place] += step[place]
        down[place] -= step[place]
        slope = (known.penalty(up) - known.penalty(down)) / (2.0 * step[place])
        sums = np.zeros((5, 5, 9))
        known.add_to(sums, p)
        np.testing.assert_allclose(sums[place, 4], -0.5 * slope, rtol=1e-5, atol=1e-8)
        np.testing.assert_allclose(sums[4, 4], known.penalty(p), rtol=1e-12)


@pytest.mark.parametrize("open_", [False, True])
@pytest.mark.parametrize("growth", ["logistic", "gompertz"])
def test_company_changes_no_bit(growth, open_):
    """Alone, in any block and in any part: parameters, sums, errors, shares and what a free mean would gain."""
    rng = np.random.default_rng(10)
    t, y = rises(rng, 90)
    mean = MEAN[:, None] - [[np.log(40.0)], [np.log(40.0)], [0.0]] + 0.2 * rng.normal(size=(3, 90))
    sd = SDS[:, None] * rng.uniform(0.3, 3.0, (3, 90))
    model = LEVELS[growth]

    def answers(some):
        t_, y_ = (np.ascontiguousarray(it[:, some]) for it in (t, y))
        of = Expected(
            mean[:, some], sd[:, some], np.zeros((3, len(some))), np.full(len(some), 0.5), strength_open=open_
        )
        known = of.belief(model, 1.0, 1.5)
        found = search(growth, t_, y_, belief=known)
        free = np.full(found.parameters.shape, np.inf)
        found = sharpened(model, t_, y_, found, None, -free, free, known)
        fits = judged(model, t_, found, np.full(len(some), 5), usual_sd=1.5, belief=known)
        root, _ = inverse_root(found.sums, found.held)
        with np.errstate(all="ignore"):  # with an open strength nothing is left to gain
            gain = known.gain_if_moved(found.parameters, root, strength(model))
        upper = found.sums[np.triu_indices(5)]
        ones = np.ones_like(found.parameters)
        told = fits.spare, fits.spread, fits.believed, fits.standard_error(ones), fits.believed_share(ones)
        return found.parameters, upper, *told, known.penalty(found.parameters), *([] if open_ else [gain])

    whole = answers(np.arange(90))
    for size in (1, 1, 1, 2, 3, 4, 5, 9, 40):
        some = np.sort(rng.choice(90, size, replace=False))
        for of_part, of_whole in zip(answers(some), whole, strict=True):
            np.testing.assert_array_equal(of_part, of_whole[..., some], err_msg=f"curves {some}")


def test_some_of_a_belief_is_that_of_some_curves():
    known = expected(7).belief(LOGISTIC, 1.0, 1.5)._replace(mean=np.arange(28.0).reshape(4, 7))
    for some in (known.of(np.array([4, 1])), known.part(slice(2, 5))):
        assert some.precision.shape == (4, 4, some.mean.shape[1])
    np.testing.assert_array_equal(known.of(np.array([4, 1])).mean, known.mean[:, [4, 1]])
    np.testing.assert_array_equal(known.part(slice(2, 5)).mean, known.mean[:, 2:5])


# The other form may be the right one


def test_the_other_form_adds_to_the_variance_as_often_as_it_is_the_right_one():
    """Buckland, Burnham & Augustin 1997, doi 10.2307/2533961: with weights exp(-d/2) of the criterion's difference d,
    each form adds its variance and the square of how far it lies off; here about the better one, by its variance."""
    rng, at = np.random.default_rng(11), np.array([[7.0]])
    t = np.linspace(0.0, 9.0, 9)[:, None]
    y = GOMPERTZ.value(t, np.array([40.0, 40, 9, 2])[:, None]) + rng.normal(0.0, 1.5, t.shape)
    block = Block(np.array([0]), t, y, None, np.array([9]))
    by_name = {form: choose(block, "height_mm", (form,))[0].fits for form in ("logistic", "gompertz")}
    both = choose(block, "height_mm", ("logistic", "gompertz"))[0]
    better, other = by_name[both.name], by_name[{"logistic": "gompertz", "gompertz": "logistic"}[both.name]]
    # corrected criterion of Hurvich & Tsai: its penalty is that of as many numbers in both forms
    odds = np.exp(0.5 * 9 * np.log(better.rss / other.rss)).item()
    weight = odds / (1.0 + odds)
    assert 0.02 < weight < 0.5
    for gradient in (*np.eye(4)[..., None], both.fits.model.jacobian(at[0], both.fits.parameters)):
        step = (gradient * (other.parameters - better.parameters)).sum()
        expected_se = np.sqrt(better.standard_error(gradient).item() ** 2 + weight * step**2)
        assert both.fits.standard_error(gradient).item() == pytest.approx(expected_se, rel=1e-4)
        assert both.fits.standard_error(gradient).item() > better.standard_error(gradient).item()


def test_a_form_that_was_seen_to_be_wrong_adds_nothing():
    t = np.linspace(0.0, 10.0, 60)[:, None]
    y = LOGISTIC.value(t, np.array([40.0, 60, 20, 2])[:, None]) + np.random.default_rng(12).normal(0.0, 0.5, t.shape)
    block = Block(np.array([0]), t, y, None, np.array([60]))
    alone, both = (choose(block, "height_mm", forms)[0].fits for forms in (("logistic",), ("logistic", "gompertz")))
    unit = np.eye(4)[:, :, None]
    for gradient in unit:
        assert both.standard_error(gradient).item() == pytest.approx(alone.standard_error(gradient).item(), rel=1e-6)
