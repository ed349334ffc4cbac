"""One number per refeed, against factor scores, least squares and shelves whose activity is known."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from statsmodels.multivariate.factor import Factor

from leavenbench.vigour.together import LEAST, MOST, _least_squares, together
from leavenbench.vigour.traits import TRAITS
from leavenbench.vigour.worth import Worth

NOBODY = pd.Series(dtype="str")
RATES = ["rise max_rate", "acid max_rate"]


def worth(loading, alone, correlation=None):
    told = np.array([loading.get(trait, 0.0) for trait in TRAITS])
    strays = np.array([alone.get(trait, 0.1) for trait in TRAITS])
    correlation = np.eye(len(TRAITS)) if correlation is None else correlation
    return Worth(told, strays, correlation, pd.Series(0.1, TRAITS))


RATES_ONLY = worth(dict.fromkeys(RATES, 1.0), dict.fromkeys(RATES, 0.05))


@pytest.fixture
def make_held(make_traits):
    """Return a function that holds traits against a baseline of nothing, as `with_baselines` does."""

    def make(values, se=0.05, base_se=0.0, still=None):
        traits = make_traits({trait: np.asarray(of, float)[:, None, None] for trait, of in values.items()}, se, still)
        return traits.assign(base=0.0, base_se=base_se, baseline_rounds=6)

    return make


def scores(held, of=RATES_ONLY, leading=NOBODY):
    found = together(held, of, leading).set_index("refeed")
    return found.loc[sorted(found.index, key=lambda name: int(name[1:].split("-")[0]))]


# Weights


def test_weights_are_those_of_bartletts_scores():
    """statsmodels.multivariate.factor.Factor, factor_scoring(method="bartlett"), with its own loadings."""
    rng = np.random.default_rng(2)
    loading, alone = np.array([1.0, 0.3, 0.8, 1.0, 0.5]), np.array([0.5, 0.8, 1.5, 0.4, 0.9])
    data = rng.normal(size=(300, 1)) * loading + rng.normal(size=(300, 5)) * alone
    fit = Factor(data, n_factor=1, method="ml").fit()
    standard = (data - data.mean(axis=0)) / data.std(axis=0, ddof=1)
    value = np.full((300, len(TRAITS)), np.nan)
    value[:, :5] = standard
    of = worth(
        dict(zip(TRAITS, fit.loadings[:, 0], strict=False)), dict(zip(TRAITS, np.sqrt(fit.uniqueness), strict=False))
    )
    ours, se = _least_squares(value, np.zeros_like(value), of, np.zeros_like(value))
    assert ours == pytest.approx(fit.factor_scoring(method="bartlett")[:, 0], rel=1e-6, abs=1e-9)
    assert se == pytest.approx(np.sum(fit.loadings[:, 0] ** 2 / fit.uniqueness) ** -0.5)


def test_traits_that_err_together_are_weighed_by_generalised_least_squares(make_held):
    """(L' S^-1 L)^-1 L' S^-1 x by numpy, with S of stray, curve and correlation; its error (L' S^-1 L)^-1/2."""
    correlation = np.eye(len(TRAITS))
    correlation[0, 3] = correlation[3, 0] = 0.6
    of = worth(dict.fromkeys(RATES, 1.0), {RATES[0]: 0.05, RATES[1]: 0.12}, correlation)
    held = make_held({RATES[0]: [0.04, -0.3], RATES[1]: [-0.06, -0.1]}, se=0.08)
    found = scores(held, of)
    sd = np.hypot([0.05, 0.12], 0.08)
    precision = np.linalg.inv(np.outer(sd, sd) * np.array([[1.0, 0.6], [0.6, 1.0]]))
    one = np.ones(2)
    wanted = [one @ precision @ x / (one @ precision @ one) for x in ([0.04, -0.06], [-0.3, -0.1])]
    assert found["log_vigour"].to_numpy() == pytest.approx(wanted)
    assert found["log_vigour_se"].to_numpy() == pytest.approx((one @ precision @ one) ** -0.5)


def test_the_better_read_signal_counts_more(make_held):
    held = make_held({RATES[0]: [-0.2], RATES[1]: [0.1]})
    held["se"] = np.where(held["trait"] == RATES[0], 0.3, 0.02)
    found = scores(held)
    weight = np.array([1 / (0.05**2 + 0.3**2), 1 / (0.05**2 + 0.02**2)])
    assert found["log_vigour"].iloc[0] == pytest.approx(weight @ [-0.2, 0.1] / weight.sum())


def test_a_refeed_with_one_signal_still_counts_and_is_less_sure(make_held):
    held = make_held({RATES[0]: [-0.2, -0.2], RATES[1]: [np.nan, -0.2]})
    found = scores(held)
    assert found["log_vigour"].to_numpy() == pytest.approx([-0.2, -0.2])
    assert found["log_vigour_se"].iloc[0] == pytest.approx(np.sqrt(2.0) * found["log_vigour_se"].iloc[1])
    assert found["traits_used"].tolist() == ["rise max_rate", "rise max_rate, acid max_rate"]
    assert found["acid"].isna().tolist() == [True, False]


def test_how_well_the_baseline_is_known_counts(make_held):
    sure, unsure = (scores(make_held({RATES[0]: [0.1]}, base_se=of))["log_vigour_se"].iloc[0] for of in (0.0, 0.07))
    assert unsure == pytest.approx(np.hypot(sure, 0.07))


def test_a_trait_without_loading_says_nothing_and_none_speaks_without_a_slope(make_held):
    of = worth({**dict.fromkeys(RATES, 1.0), "rise extent": 0.5}, {})
    with_lag = scores(make_held({RATES[0]: [-0.1], "rise lag": [-9.0]}), of)
    assert with_lag["log_vigour"].iloc[0] == pytest.approx(-0.1)
    assert with_lag["traits_used"].iloc[0] == "rise max_rate"
    assert scores(make_held({"rise extent": [-0.1]}), of).empty


def test_other_traits_are_believed_less_the_further_away_it_is(make_held):
    """Half of what they should have moved is uncertain (common practice, no source)."""
    of = worth({RATES[0]: 1.0, "rise lag": 0.8}, {RATES[0]: 0.05, "rise lag": 0.05})
    for slope in (-0.02, -1.0):
        found = scores(make_held({RATES[0]: [slope], "rise lag": [0.0]}, se=0.0), of)["log_vigour"].iloc[0]
        by_lag = np.hypot(0.05, 0.5 * 0.8 * abs(slope))
        weight = np.array([1.0 / 0.05**2, 0.8**2 / by_lag**2])
        assert found == pytest.approx(slope * weight[0] / weight.sum(), rel=1e-6)


# Nothing moves, and signals that contradict each other


def test_a_jar_in_which_nothing_moves_has_the_least_vigour(make_held):
    still = {name: np.ones((1, 1, 1), bool) for name in RATES}
    found = scores(make_held({name: [0.0] for name in RATES}, se=0.5, still=still))
    assert found["log_vigour"].tolist() == pytest.approx([np.log(LEAST)])


@pytest.mark.parametrize(("leading", "speaks", "sd"), [("acid", 0.0, 0.1), ("rise", -1.5, 0.05), (None, -1.5, 0.05)])
def test_where_signals_contradict_each_other_the_leading_one_speaks(make_held, leading, speaks, sd):
    held = make_held({RATES[0]: [-1.5], RATES[1]: [0.0]})
    held["se"] = np.where(held["trait"] == RATES[1], 0.1, 0.05)
    found = scores(held, leading=pd.Series([leading], ["C0"], dtype="str"))
    assert found["log_vigour"].iloc[0] == pytest.approx(speaks)
    assert found["log_vigour_se"].iloc[0] == pytest.approx(np.hypot(0.05, sd))  # as it strays alone, and as it was read
    assert found["traits_used"].iloc[0] == f"{leading or 'rise'} max_rate"
    assert (found["rise"].iloc[0], found["acid"].iloc[0]) == pytest.approx((-1.5, 0.0))


def test_signals_that_differ_as_chance_has_it_are_taken_together(make_held):
    found = scores(make_held({RATES[0]: [-0.2], RATES[1]: [0.0]}), leading=pd.Series(["acid"], ["C0"]))
    assert found["log_vigour"].iloc[0] == pytest.approx(-0.1)


def test_vigour_ends_at_five_times_and_a_fiftieth_of_normal(make_held):
    found = scores(make_held({RATES[0]: [9.0, -9.0]}))
    assert np.exp(found["log_vigour"]).to_numpy() == pytest.approx([MOST, LEAST])


def test_what_is_only_at_least_is_said_to_be(make_held):
    held = make_held({RATES[0]: [0.1], RATES[1]: [0.1]})
    held["at_least"] = held["trait"] == RATES[0]
    assert scores(held)["traits_used"].iloc[0] == "rise max_rate (at least), acid max_rate"


# How sure


def made(rng, many, activity, alone=0.05, se=0.05, too_small=1.0):
    """Return two slopes of many refeeds of one culture each, and their activity."""
    true = activity * rng.normal(size=many)
    return {name: true + rng.normal(0, np.hypot(alone, se) * too_small, many) for name in RATES}, true


def test_errors_are_what_they_say(make_held):
    """2000 refeeds by the model itself: z-scores have sd 1, within its sampling error of 1/sqrt(4000)."""
    values, true = made(np.random.default_rng(3), 2000, 0.2)
    found = scores(make_held(values))
    z = (found["log_vigour"].to_numpy() - true) / found["log_vigour_se"].to_numpy()
    assert z.std() == pytest.approx(1.0, abs=4 / np.sqrt(4000))
    assert (np.abs(z) < 1.96).mean() == pytest.approx(0.95, abs=0.02)


@pytest.mark.parametrize(("too_small", "scaled"), [(1.4, True), (0.6, False)])
def test_the_two_signals_tell_that_errors_are_too_small_never_that_they_are_too_large(make_held, too_small, scaled):
    values, _ = made(np.random.default_rng(4), 2000, 0.2, alone=0.001, se=0.05, too_small=too_small)
    held = make_held(values).assign(culture="one")
    of = worth(dict.fromkeys(RATES, 1.0), dict.fromkeys(RATES, 0.001))
    se = scores(held, of)["log_vigour_se"].median()
    assert se == pytest.approx(0.05 / np.sqrt(2) * (too_small if scaled else 1.0), rel=0.05)


def test_a_steady_difference_of_the_signals_is_the_cultures_own_and_no_error(make_held):
    values, _ = made(np.random.default_rng(5), 1500, 0.1)
    values[RATES[0]] = values[RATES[0]] + 0.12
    held = make_held(values).assign(culture="one")
    plain = scores(make_held(made(np.random.default_rng(5), 1500, 0.1)[0]).assign(culture="one"))
    assert scores(held)["log_vigour_se"].median() == pytest.approx(plain["log_vigour_se"].median(), rel=1e-6)


def test_the_order_of_rows_is_none_of_its_business(make_held):
    values, _ = made(np.random.default_rng(6), 200, 0.2)
    held = make_held(values)
    columns = ["log_vigour", "log_vigour_se", "rise", "acid"]
    pd.testing.assert_frame_equal(scores(held)[columns], scores(held.sample(frac=1.0, random_state=2))[columns])
