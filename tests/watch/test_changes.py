"""What may have happened to a culture, against dense matrices and other people's time series."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.special
import statsmodels.api as sm

from leavenbench.watch.changes import _BACK, _STAND_FOR, HAZARD, PACES, STEPS, changes, log_sum

IRREGULAR = np.array([0.0, 1.0, 1.6, 2.9, 4.0, 9.5, 10.4, 11.0, 12.2, 13.0, 14.7, 15.0, 16.1, 40.0, 41.0, 42.3])
SD, CARRY_OVER = 0.1, 0.4
#: The least log odds that are told: exp of it is the least number that a float can hold.
NOTHING = -745.0


def covariance(at, variance, sd=SD, carry_over=CARRY_OVER):
    """Return the covariance of levels: what wanders, and the error of reading."""
    return sd**2 * carry_over ** np.abs(np.subtract.outer(at, at)) + np.diag(variance)


def log_likelihood(level, noise):
    """Return the log likelihood of levels about a constant, at its best."""
    inverse, one = np.linalg.inv(noise), np.ones(len(level))
    away = level - (one @ inverse @ level) / (one @ inverse @ one)
    return -0.5 * away @ inverse @ away


def prior(since):
    """Return the log of the chance that a change began so many rounds ago and not since."""
    return np.log(HAZARD) + (since - 1.0) * np.log1p(-HAZARD)


@pytest.fixture
def irregular(series):
    rng = np.random.default_rng(1)
    made = series(rng.normal(0, 0.15, len(IRREGULAR)), at=[IRREGULAR])
    return made._replace(variance=rng.uniform(0.0005, 0.01, len(IRREGULAR)))


@pytest.mark.parametrize("end", [2, 5, 9, 15])
def test_odds_of_a_decline_are_the_difference_of_two_profile_likelihoods(irregular, wanders, end):
    found = changes(irregular, wanders(irregular, SD, CARRY_OVER), np.array([end]))
    at, level = irregular.at[: end + 1], irregular.level[: end + 1]
    noise = covariance(at, irregular.variance[: end + 1])
    for onset in range(end):
        ramp = np.maximum(at - at[onset], 0.0)
        assert found.since[0, onset] == pytest.approx(at[-1] - at[onset])
        for nth, pace in enumerate(PACES):
            gain = log_likelihood(level + pace * ramp, noise) - log_likelihood(level, noise)
            expected = prior(at[-1] - at[onset]) + gain - np.log(len(PACES))
            assert found.ramps[0, onset, nth] == pytest.approx(max(expected, NOTHING), rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("end", [5, 15])
def test_odds_of_a_step_are_too_once_it_has_come_to_rest(irregular, wanders, end):
    found = changes(irregular, wanders(irregular, SD, CARRY_OVER), np.array([end]))
    at, level = irregular.at[: end + 1], irregular.level[: end + 1]
    noise = covariance(at, irregular.variance[: end + 1])
    for onset in range(end - 2):  # after three rounds
        for nth, size in enumerate(STEPS):
            gain = log_likelihood(level + size * (at > at[onset]), noise) - log_likelihood(level, noise)
            expected = prior(at[-1] - at[onset]) + gain - np.log(len(STEPS))
            assert found.steps[0, onset, nth] == pytest.approx(expected, rel=1e-9, abs=1e-9)
    assert np.exp(found.steps[0, end - 2 :]).max() < 1e-300


def test_the_level_before_is_what_generalised_least_squares_finds(irregular, wanders):
    found = changes(irregular, wanders(irregular, SD, CARRY_OVER), np.array([15]))
    noise = covariance(irregular.at, irregular.variance)
    for onset in (0, 6, 14):
        ramp = np.maximum(irregular.at - irregular.at[onset], 0.0)
        for nth, pace in enumerate(PACES):
            reference = sm.GLS(irregular.level + pace * ramp, np.ones(16), sigma=noise).fit().params[0]
            assert found.before[0, onset, nth] == pytest.approx(reference, rel=1e-9, abs=1e-9)


def test_the_filter_agrees_with_statsmodels_also_where_rounds_are_missing(series, wanders):
    rng = np.random.default_rng(2)
    whole, reading = rng.normal(0, 0.15, 18), 0.003
    there = np.ones(18, bool)
    there[[3, 8, 9, 13]] = False
    at = np.arange(18.0)
    short = series(whole[there], at=[at[there]], variance=reading)
    found = changes(short, wanders(short, SD, CARRY_OVER), np.array([len(short.level) - 1]))
    noise = covariance(at[there], short.variance)

    def by_state_space(level):
        middle = sm.GLS(level, np.ones(len(level)), sigma=noise).fit().params[0]
        padded = np.full(18, np.nan)
        padded[there] = level
        model = sm.tsa.SARIMAX(padded, exog=np.ones(18), order=(1, 0, 0), measurement_error=True)
        assert model.param_names == ["const", "ar.L1", "var.measurement_error", "sigma2"]
        return model.loglike([middle, CARRY_OVER, reading, SD**2 * (1.0 - CARRY_OVER**2)])

    nothing = by_state_space(short.level)
    for onset in (1, 7, 12):
        since = short.at[-1] - short.at[onset]
        for nth in (0, 3, 6):
            gain = by_state_space(short.level + PACES[nth] * np.maximum(short.at - short.at[onset], 0.0)) - nothing
            expected = prior(since) + gain - np.log(len(PACES))
            assert found.ramps[0, onset, nth] == pytest.approx(expected, abs=1e-7)


def test_only_the_last_sixty_rounds_tell_what_is_normal_and_only_two_dozen_onsets_are_tried(series, wanders):
    rng = np.random.default_rng(3)
    long = series(rng.normal(0, 0.1, 80), variance=0.002)
    found = changes(long, wanders(long, SD, CARRY_OVER), np.array([79]))
    assert found.ramps.shape == (1, len(_BACK), len(PACES))
    at, level = long.at[20:], long.level[20:]
    noise = covariance(at, long.variance[20:])
    ramp = np.maximum(at - at[-1 - _BACK[0]], 0.0)
    gain = log_likelihood(level + PACES[2] * ramp, noise) - log_likelihood(level, noise)
    assert found.ramps[0, 0, 2] == pytest.approx(
        prior(_BACK[0]) + np.log(_STAND_FOR[0]) + gain - np.log(len(PACES)), rel=1e-9
    )


def test_looking_back_only_and_at_no_other_history(series, wanders):
    rng = np.random.default_rng(4)
    parts = [rng.normal(0, 0.1, length) for length in (3, 30, 12)]
    whole = series(*parts, variance=0.002)
    noise = wanders(whole, SD, CARRY_OVER)
    found, begin = changes(whole, noise), 3
    for length in (1, 2, 4, 11, 30):
        alone = series(parts[1][:length], variance=0.002)
        of_it = changes(alone, wanders(alone, SD, CARRY_OVER), np.array([length - 1]))
        now = changes(whole, noise, np.array([begin + length - 1]))
        for name in ("decline", "step"):
            then = np.exp(getattr(of_it, name)[0])  # odds of nothing may be told as one small number or as another
            assert then == pytest.approx(np.exp(getattr(found, name)[begin + length - 1]), rel=1e-10, abs=1e-300)
            assert then == pytest.approx(np.exp(getattr(now, name)[0]), rel=1e-10, abs=1e-300)


def test_rows_come_back_in_the_order_asked_for(series, wanders):
    rng = np.random.default_rng(5)
    shelf = series(
        *(rng.normal(0, 0.1, 9) for _ in range(90)), variance=0.002
    )  # more rounds than are worked on at once
    noise, asked = wanders(shelf, SD, CARRY_OVER), rng.permutation(810)
    assert changes(shelf, noise, asked).decline == pytest.approx(changes(shelf, noise).decline[asked], abs=1e-12)


def test_where_rounds_are_few_there_is_nothing_to_weigh(series, wanders):
    shelf = series(np.zeros(1), np.zeros(8), variance=0.002)
    found = changes(shelf, wanders(shelf, SD, CARRY_OVER))
    assert np.exp(found.decline[[0, 1]]).max() < 1e-300  # the first round of each
    assert np.exp(found.ramps[2, :-1]).max() < 1e-300  # one onset only at a second round
    assert found.ramps[2, -1].min() > -20.0
    assert np.exp(found.step[:4]).max() < 1e-300


def test_nothing_to_weigh_is_no_fault(series, wanders):
    nothing = series(np.empty(0))
    found = changes(nothing, wanders(nothing, SD, CARRY_OVER))
    assert found.decline.shape == found.step.shape == (0,)
    some = series(np.zeros(6))
    assert changes(some, wanders(some, SD, CARRY_OVER), np.empty(0, int)).decline.shape == (0,)


def test_moments_that_coincide_and_years_without_a_round_are_no_fault(series, wanders):
    at = np.array([0.0, 1.0, 2.0, 2.0, 3.0, 150.0, 151.0, 151.0])
    odd = series(np.array([0.0, 0.1, -0.1, 0.05, 0.0, 0.1, -0.1, 0.0]), at=[at], variance=0.002)
    found = changes(odd, wanders(odd, SD, CARRY_OVER), np.array([7]))
    noise = covariance(at, odd.variance)
    gain = log_likelihood(odd.level + PACES[1] * np.maximum(at - 1.0, 0.0), noise) - log_likelihood(odd.level, noise)
    expected = prior(150.0) + gain - np.log(len(PACES))
    assert found.ramps[0, 1, 1] == pytest.approx(max(expected, NOTHING), rel=1e-9)


def test_odds_are_summed_as_scipy_does():
    terms = np.random.default_rng(6).normal(0, 30, (5, 4, 3))
    assert log_sum(terms) == pytest.approx(scipy.special.logsumexp(terms, axis=(1, 2)), rel=1e-12)
    assert log_sum(np.full((2, 3, 3), NOTHING)).max() < -600.0


def test_a_ramp_is_told_from_a_step_and_both_from_nothing(series, wanders):
    at = np.arange(20.0)
    ramp, step, nothing = (
        -0.08 * np.maximum(at - 10, 0),
        -0.4 * (at > 10),
        0.05 * np.sin(7 * at),
    )
    shelf = series(ramp, step, nothing, variance=0.002)
    found = changes(shelf, wanders(shelf, SD, CARRY_OVER), np.array([19, 39, 59]))
    assert found.decline[0] > found.step[0] + 2.0
    assert found.step[1] > found.decline[1] + 2.0
    assert max(found.decline[2], found.step[2]) < 0.0
    likeliest = found.ramps[0].max(axis=1).argmax()
    assert found.since[0, likeliest] == pytest.approx(9.0, abs=1.0)
