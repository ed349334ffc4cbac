"""Suspects on shelves of plain numbers: what is planted is found, and every number can be reckoned again."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import integrate, stats

from leavenbench.care.rescue.ground import BY_CHANCE, Ground, Wander
from leavenbench.care.rescue.others import Others
from leavenbench.care.rescue.own_refeeds import OwnRefeeds
from leavenbench.care.rescue.suspects import NOTHING, Beliefs, log_factor, rank_suspects
from leavenbench.care.rescue.verdict import ranking_in_words
from leavenbench.errors import CannotRead
from leavenbench.vigour.circumstances import FACTORS
from leavenbench.vigour.index import Weighed

CULTURES, ROUNDS, SE = 16, 10, 0.05
WANDER = Wander(0.06, 0.3, 0.04)
ON = dt.date(2024, 12, 31)
QUARTER = float(np.log(0.75))


def shelf(seed=1, lots_of=lambda culture, number: f"{'rye' if culture % 2 else 'wheat'}-{number // 2}"):
    """Return values and lots: every second culture on rye, every fourth in the loft, two keepers, a probe each."""
    random = np.random.default_rng(seed)
    rows = []
    for culture in range(CULTURES):
        for number in range(ROUNDS):
            own = random.normal(0.0, WANDER.round_sd)
            begins = pd.Timestamp("2023-03-01 08:00", tz="UTC") + pd.Timedelta(days=60 * number + 2 * (culture % 5))
            person = ("Ada", "Bo")[(culture + number) % 2]
            for step in (1, 2, 3):
                both = own + random.normal(0.0, WANDER.refeed_sd)
                rise, acid = both + random.normal(0.0, SE, 2)
                rows.append(
                    {
                        "refeed": f"{culture}-{number}-{step}",
                        "culture": f"C{culture:02d}",
                        "history": 0,
                        "round": number,
                        "step": step,
                        "purpose": "round",
                        "fed_at": begins + pd.Timedelta(days=step - 1),
                        "rise": rise,
                        "acid": acid,
                        "rise_se": SE,
                        "acid_se": SE,
                        "log_vigour_se": SE / np.sqrt(2.0),
                        "cold_d": 0.0,
                        "log_seed": 0.0,
                        "room": "loft" if culture % 4 == 0 else "bakehouse",
                        "person": person,
                        "probe": {"Ada": "one", "Bo": "two"}[person],
                        "lot": lots_of(culture, number),
                    }
                )
    values = pd.DataFrame(rows)
    values["day"] = values["fed_at"].dt.strftime("%Y-%m-%d")
    for factor in FACTORS:
        if factor not in values:
            values[factor] = pd.Series([None] * len(values), dtype="str")
    return values


def ground_of(values, culture="C05", on=ON):
    values = values.assign(log_vigour=values[["rise", "acid"]].mean(axis=1))
    lots = values[["refeed", "lot"]].assign(share=1.0)
    return Ground(Weighed(values.drop(columns="lot"), lots, None), culture, on, WANDER, 60.0, "UTC")


def slower(values, where, loss=QUARTER, signals=("rise", "acid")):
    return values.assign(**{name: values[name] + np.where(where, loss, 0.0) for name in signals})


def test_the_factor_is_the_integral_that_it_stands_for():
    """Against numerical quadrature of likelihood times half a normal prior (scipy.integrate.quad)."""
    for effect, se, usual in ((-0.3, 0.08, 0.2), (0.1, 0.05, 0.2), (-0.02, 0.3, 0.1), (-2.0, 0.2, 0.2)):

        def weighed(loss, effect=effect, se=se, usual=usual):
            return stats.norm.pdf(effect, -loss, se) * 2.0 * stats.norm.pdf(loss, 0.0, usual)

        peak = max(-effect, 0.0)
        whole = integrate.quad(weighed, 0.0, peak + 4.0, points=[peak / 2 + 1e-9, peak + 1e-6], epsabs=0, epsrel=1e-9)[
            0
        ]
        expected = np.log(whole) - stats.norm.logpdf(effect, 0.0, se)
        assert log_factor(effect, se, usual) == pytest.approx(expected, rel=1e-5, abs=1e-5)


def test_an_effect_is_that_of_generalised_least_squares():
    """Against statsmodels' GLS with the covariance and the normals that the module tells of."""
    values = shelf()
    ground = ground_of(values)
    own = ground.values.loc[ground.own]
    met = np.zeros(len(ground.values))
    met[ground.own[-6:]] = 1.0
    number = np.tile(np.arange(len(own)), 2)
    day = np.tile(own["fed_at"].dt.tz_localize(None).to_numpy("datetime64[s]").astype(float) / 86400.0, 2)
    begun = pd.Series(day).groupby(np.tile(own["of_round"], 2)).transform("min").to_numpy()
    covariance = WANDER.round_sd**2 * WANDER.carry_over ** (np.abs(begun[:, None] - begun) / 60.0)
    covariance += (WANDER.refeed_sd**2 + BY_CHANCE**2) * (number[:, None] == number) + SE**2 * np.eye(len(number))
    place = np.tile(own["step"], 2) + 10 * np.repeat([0, 1], len(own))
    design = np.column_stack([np.tile(met[ground.own], 2), pd.get_dummies(place).to_numpy(float)])
    read = np.concatenate([own["rise"], own["acid"]])
    fitted = sm.GLS(read, design, covariance).fit()
    effect, se = OwnRefeeds(ground).effect(met, (1.0, 1.0))
    assert effect == pytest.approx(fitted.params[0], abs=1e-8)
    assert se == pytest.approx(float(np.sqrt(fitted.normalized_cov_params[0, 0])), rel=1e-6)


def test_others_are_told_by_those_with_it_against_those_without():
    """Nothing but the planted effect: exact."""
    values = shelf().assign(rise=0.0, acid=0.0)
    ground = ground_of(slower(values, values["lot"] == "rye-4"))
    met = ground.values["refeed"].isin(values.loc[values["lot"] == "rye-4", "refeed"]).to_numpy(float)
    told = Others(ground).told(met, float(ground.days[met > 0.0].min()))
    assert told.effect == pytest.approx(QUARTER, abs=1e-9)
    assert told.met == frozenset(f"C{of:02d}" for of in range(1, CULTURES, 2) if of != 5)
    assert len(told.spared) == CULTURES // 2


def test_the_arithmetic_stands_in_the_columns():
    beliefs = Beliefs()
    values = shelf()
    ranked = rank_suspects(ground_of(slower(values, values["lot"] == "rye-4")), beliefs)
    for row in ranked[ranked["factor"] != NOTHING].to_dict("records"):
        parts = [(row["own_effect"], row["own_effect_se"])]
        if row["others_with"]:
            parts.append((row["others_effect"], row["others_effect_se"]))
        precision = sum(se**-2 for _, se in parts)
        assert row["effect"] == pytest.approx(sum(of * se**-2 for of, se in parts) / precision)
        assert row["effect_se"] == pytest.approx(precision**-0.5)
        assert row["log_factor"] == pytest.approx(log_factor(row["effect"], row["effect_se"], beliefs.usual_loss))
        assert row["log_factor_mean"] <= row["log_factor"] + 1e-9
    odds = ranked["prior"] * np.exp(ranked["log_factor_mean"])
    assert ranked["share"].to_numpy() == pytest.approx((odds / odds.sum()).to_numpy())
    assert ranked["prior"].sum() == pytest.approx(1.0)
    assert ranked.loc[ranked["factor"] == NOTHING, "prior"].iloc[0] == beliefs.nothing
    assert ranked["rank"].tolist() == list(range(1, len(ranked) + 1))


# What is planted is a quarter lost, some five times what a culture here wanders from round to round.
PLANTED = {
    "lot": (lambda of: of["lot"] == "rye-4", ("rise", "acid"), "lot rye-4"),
    "own": (lambda of: (of["culture"] == "C05") & (of["round"] >= 7), ("rise", "acid"), "its own decline"),
    "room": (lambda of: (of["room"] == "bakehouse") & (of["round"] >= 8), ("rise", "acid"), "room bakehouse"),
    "probe": (lambda of: (of["probe"] == "two") & (of["round"] >= 6), ("acid",), "probe two"),
    "taken over": (lambda of: (of["culture"] == "C05") & (of["round"] >= 7), ("acid",), "its acid alone"),
    "yeast short": (lambda of: (of["culture"] == "C05") & (of["round"] >= 7), ("rise",), "its rise alone"),
    "shelf": (lambda of: of["round"] >= 8, ("rise", "acid"), "the whole shelf"),
}


@pytest.mark.parametrize("case", PLANTED)
def test_what_is_planted_is_ranked_first(case):
    where, signals, named = PLANTED[case]
    values = shelf(seed=3)
    culture = "C05" if case != "probe" else "C06"
    ranked = rank_suspects(ground_of(slower(values, where(values), signals=signals), culture))
    assert ranked["suspect"].iloc[0] == named
    assert ranked["share"].iloc[0] > 0.8
    assert ranked["effect"].iloc[0] == pytest.approx(QUARTER, abs=3.0 * ranked["effect_se"].iloc[0])
    assert named in ranking_in_words(ranked)


def test_where_nothing_is_nothing_stands_out():
    first = [rank_suspects(ground_of(shelf(seed))).iloc[0] for seed in range(10, 20)]
    # nine in ten are aimed at; of ten shelves eight at least is what chance allows (binomial, 7 %)
    assert sum(row["factor"] == NOTHING for row in first) >= 8
    assert ranking_in_words(rank_suspects(ground_of(shelf(10)))).startswith("Nothing stands out")


def test_a_lot_that_nobody_else_eats_cannot_be_told_from_the_culture():
    def alone(culture, number):
        return f"durum-{int(number >= 8)}" if culture == 5 else f"rye-{number // 2}"

    values = shelf(4, alone)
    ranked = rank_suspects(ground_of(slower(values, values["lot"] == "durum-1"))).set_index("suspect")
    assert "its own decline" in ranked.loc["lot durum-1", "cannot_tell_from"]
    assert "lot durum-1" in ranked.loc["its own decline", "cannot_tell_from"]
    assert ranked.loc["lot durum-1", "others_with"] == 0
    assert "cannot be told apart" in ranking_in_words(ranked.reset_index())


def test_a_late_round_is_told_by_all_who_were_ever_late():
    values = shelf(6)
    random = np.random.default_rng(2)
    late = pd.Series(random.random(CULTURES * ROUNDS) < 0.08).repeat(3).to_numpy()
    late = late | ((values["culture"] == "C05") & (values["round"] == ROUNDS - 1)).to_numpy()
    values["cold_d"] = np.where(late & (values["step"] == 1), 60.0, 0.0)
    harm = np.where(late, np.array([2.0, 1.0, 0.5])[values["step"] - 1] * QUARTER, 0.0)
    ranked = rank_suspects(ground_of(values.assign(rise=values["rise"] + harm, acid=values["acid"] + harm)))
    assert ranked["factor"].iloc[0] == "late round"
    assert ranked["level"].iloc[0] == "60 d beyond the usual"
    assert pd.isna(ranked["since"].iloc[0])


def test_a_smaller_share_of_seed_is_suspected():
    values = shelf(7)
    small = (values["culture"] == "C05") & (values["round"] == ROUNDS - 1)
    values["log_seed"] = np.where(small, np.log(0.4), 0.0)
    ranked = rank_suspects(ground_of(slower(values, small, 2 * QUARTER)))
    ratio = ranked[ranked["factor"] == "feed ratio"].iloc[0]
    assert ratio["level"] == "60 % less seed"
    assert "its own decline" in ratio["cannot_tell_from"]


def test_what_is_later_is_not_known():
    values = shelf(3)
    struck = slower(values, values["round"] >= 8)
    earlier = struck["fed_at"] < "2024-05-01"
    on = dt.date(2024, 4, 30)
    whole, cut = rank_suspects(ground_of(struck, on=on)), rank_suspects(ground_of(struck[earlier], on=on))
    pd.testing.assert_frame_equal(whole, cut)


def test_beliefs_are_yours_to_set():
    values = shelf(3)
    ground = ground_of(slower(values, (values["culture"] == "C05") & (values["round"] >= 8)))
    sceptic = rank_suspects(ground, Beliefs(nothing=0.999999))
    assert sceptic["factor"].iloc[0] == NOTHING
    narrow = rank_suspects(ground, Beliefs(each={"lot": 1.0, "room": 1.0}))
    assert set(narrow["factor"]) == {NOTHING, "lot", "room"}
    assert narrow["prior"].sum() == pytest.approx(1.0)
    assert narrow.groupby("factor")["prior"].sum().to_dict() == pytest.approx({NOTHING: 0.5, "lot": 0.25, "room": 0.25})


def test_a_young_culture_can_be_asked_about():
    values = shelf(5)
    young = values[(values["culture"] != "C05") | (values["round"] >= ROUNDS - 1)]
    ranked = rank_suspects(ground_of(young))
    assert ranked["share"].sum() == pytest.approx(1.0)
    assert NOTHING in set(ranked["factor"])


def test_a_culture_that_was_never_read_is_refused():
    with pytest.raises(CannotRead, match="Nobody has no refeed with sound readings"):
        ground_of(shelf(), "Nobody")
