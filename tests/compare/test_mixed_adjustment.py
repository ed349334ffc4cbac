"""Adjusted p values against the papers and reference libraries."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.multitest import multipletests

from leavenbench.compare import largest
from leavenbench.compare.adjustment import Together, adjusted, studentised_range

#: Benjamini & Hochberg 1995, section 3.2: 15 p values of a study of myocardial infarction (the list from memory; that
#: 4 are rejected at q = .05, and 3 by Bonferroni: checks.md, R).
MYOCARDIAL = np.array(
    [
        0.0001,
        0.0004,
        0.0019,
        0.0095,
        0.0201,
        0.0278,
        0.0298,
        0.0344,
        0.0459,
        0.3240,
        0.4262,
        0.5719,
        0.6528,
        0.7590,
        1.0,
    ]
)


def test_false_discoveries_of_benjamini_and_hochberg():
    assert (adjusted(MYOCARDIAL, "bh") <= 0.05).sum() == 4
    assert (MYOCARDIAL <= 0.05 / 15).sum() == 3


@pytest.mark.parametrize(("ours", "theirs"), [("holm", "holm"), ("bh", "fdr_bh")])
def test_as_statsmodels(ours, theirs):
    p = np.random.default_rng(3).permutation(np.append(MYOCARDIAL, 0.0019))
    assert adjusted(p, ours) == pytest.approx(multipletests(p, method=theirs)[1], rel=1e-12)


def test_an_unknown_adjustment_is_named():
    with pytest.raises(ValueError, match="holm or bh"):
        adjusted(MYOCARDIAL, "none")


@pytest.mark.parametrize("groups", [2, 3, 15, 50])
@pytest.mark.parametrize("freedom", [1.5, 4.0, 12.3, 40.0, 2000.0])
def test_the_studentised_range_is_that_of_scipy(groups, freedom):
    q = np.array([0.5, 2.0, 3.5, 5.0])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # their integral says of itself that it may not converge
        reference = stats.studentized_range.sf(q, groups, freedom)
    assert studentised_range(q, groups, freedom) == pytest.approx(reference, abs=2e-6)


def test_a_single_step_is_tukey_where_all_are_equally_known():
    first, second = np.triu_indices(5, 1)
    drawn = Together.drawn(np.eye(5), first, second, 12.0, seed=1)
    t = np.array([1.0, 2.0, 2.8, 3.5])
    p = 2.0 * stats.t.sf(t, 12.0)
    # 50,000 draws: the sd of a share of one half is .0022
    assert drawn.adjusted(p) == pytest.approx(studentised_range(np.sqrt(2.0) * t, 5, 12.0), abs=0.009)
    assert drawn.single(0.05) == pytest.approx(
        2.0 * stats.t.sf(stats.studentized_range.ppf(0.95, 5, 12.0) / np.sqrt(2.0), 12.0), rel=0.08
    )


def test_the_same_seed_draws_the_same():
    first, second = np.triu_indices(3, 1)
    one, other, third = (Together.drawn(np.eye(3), first, second, 9.0, seed=seed).largest for seed in (1, 1, 2))
    assert (one == other).all()
    assert (one != third).any()


@pytest.mark.parametrize("unlike", [0.0, 0.5, 2.0], ids=["equally known", "unequally", "very unequally"])
@pytest.mark.parametrize("control", [False, True], ids=["all pairs", "against one"])
def test_from_outside_nothing_is_missed(unlike, control):
    """To the last bit what comes out when every difference is looked at, with days that all share and some share."""
    rng = np.random.default_rng(11)
    groups, day = 60, np.arange(60) % 3
    own = np.exp(unlike * rng.normal(size=groups))
    covariance = np.diag(own) + 4.0 + 0.5 * (day[:, None] == day)
    first, second = np.triu_indices(groups, 1)
    if control:
        first, second = np.arange(1, groups), np.zeros(groups - 1, int)
    variance = (own[first] + own[second]) + 1.0 * (day[first] != day[second])
    means = (np.linalg.cholesky(covariance) @ rng.normal(size=(groups, 3000))).astype(np.float32)
    each = largest._OneByOne.of(first, second, variance).largest(means)
    found = largest._FromOutside.of(covariance, first, second, variance).largest(means)
    assert (found == each).all()
