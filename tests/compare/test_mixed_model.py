"""The mixed model of a trait: what repeats is no further witness, and what cannot be told apart is said."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import sparse

from leavenbench.compare.carry_over import with_carry_over
from leavenbench.compare.mixed import CannotCompare, compared
from leavenbench.compare.own_scatter import Scatter, moderated
from leavenbench.compare.reml import fit_reml
from leavenbench.compare.rounds import Levels, Succession


def shelf(rng, cultures=6, rounds=8, steps=3, own=0.08, day=0.05, refeed=0.05, se=0.03):
    """Return observations of cultures that do not differ, half of them fed on the same days."""
    culture, number, step = (of.ravel() for of in np.indices((cultures, rounds, steps)))
    on = (2 * number + culture % 2) * steps + step
    value = own * rng.normal(size=(cultures, rounds))[culture, number] + day * rng.normal(size=on.max() + 1)[on]
    value += np.hypot(refeed, se) * rng.normal(size=len(culture)) - 0.2 * (step == 0)
    return pd.DataFrame(
        {
            "refeed": np.arange(len(culture)),
            "culture": [f"C{of}" for of in culture],
            "flour": [f"flour {of % 2}" for of in culture],
            "round": number,
            "step": step + 1,
            "day": on.astype(str),
            "vessel": None,
            "value": value,
            "se": se,
            "trait": "rise max_rate",
            "unit": "%/h",
            "scale": "log",
        }
    )


def test_variances_are_found_again():
    found = compared(shelf(np.random.default_rng(1), cultures=40, rounds=20))
    sd = found.variances.set_index("term")["sd"]
    # known truth of the simulation; 800 rounds, 120 days, 2,400 refeeds
    assert sd["round"] == pytest.approx(0.08, rel=0.08)
    assert sd["day"] == pytest.approx(0.05, rel=0.25)
    assert sd["refeed"] == pytest.approx(0.05, rel=0.08)
    assert found.as_stated
    assert found.taken_out == ("step 2", "step 3")


def test_reading_every_refeed_twice_makes_no_new_witnesses():
    """Copies of refeeds, on the same day of the same round, leave errors of means where the rounds put them."""
    once = shelf(np.random.default_rng(2), refeed=0.02)
    twice = pd.concat([once, once.assign(refeed=once["refeed"] + 1000)], ignore_index=True)
    few, many = (compared(of).means().se for of in (once, twice))
    assert many == pytest.approx(few, rel=0.1)  # by root 2 smaller were they new


def test_cultures_are_the_replicates_of_flours():
    """Six cultures on two flours have far fewer degrees of freedom than 144 refeeds."""
    observed = shelf(np.random.default_rng(3))
    observed["value"] += observed["culture"].map({f"C{n}": 0.2 * n for n in range(6)})
    found = compared(observed, "flour")
    assert found.groups["cultures"].tolist() == [3, 3]
    difference = found.fitted.differences(np.array([1]), np.array([0]))
    assert 2.0 < difference.freedom[0] < 6.0
    mean = observed.groupby("culture")["value"].mean()
    by_cultures = np.sqrt((mean.iloc[::2].var() + mean.iloc[1::2].var()) / 3.0)  # two samples of three culture means
    assert difference.se[0] == pytest.approx(by_cultures, rel=0.05)


def test_what_cannot_be_told_apart_is_left_out_and_said():
    observed = shelf(np.random.default_rng(4), steps=1)
    observed = observed.assign(vessel="jar of " + observed["culture"])
    why = compared(observed).variances.set_index("term")["left_out"]
    assert why["round"] == "no level has two refeeds"
    assert why["jar"] == "each group has its own, so that it goes with the group"
    assert why["day"] == ""
    together = observed.assign(day=observed["culture"] + observed["round"].astype(str))
    steps = pd.concat([together, together.assign(refeed=together["refeed"] + 1000, step=2)], ignore_index=True)
    steps["value"] += np.random.default_rng(5).normal(0.0, 0.05, len(steps))
    why = compared(steps).variances.set_index("term")["left_out"]
    assert why["day"] == "the same refeeds share it as share the round"


def test_errors_that_are_stated_too_large_count_in_proportion():
    observed = shelf(np.random.default_rng(6), refeed=0.0, se=0.03).assign(se=0.3)
    found = compared(observed)
    assert not found.as_stated
    assert found.variances.set_index("term").loc["refeed", "sd"] == pytest.approx(0.03, rel=0.15)


@pytest.mark.parametrize(
    ("rows", "message"), [(slice(0, 24), "1 can be told"), ([0, 24], "2 refeeds for 2 means")], ids=["one", "too few"]
)
def test_too_little_is_refused_with_the_counts(rows, message):
    with pytest.raises(CannotCompare, match=message) as refused:
        compared(shelf(np.random.default_rng(7)).iloc[rows])
    assert refused.value.evidence["refeeds"].tolist() in ([24], [1, 1])


def wandering(rng, series, rounds, rho):
    """Return rows, two a round, of series that carry over; the design of their means, and of their rounds."""
    drawn = rng.normal(size=(series, rounds))
    for one in range(1, rounds):
        drawn[:, one] = rho * drawn[:, one - 1] + np.sqrt(1.0 - rho**2) * drawn[:, one]
    number, place = np.repeat(np.arange(series), rounds), np.tile(np.arange(rounds), series)
    level = np.repeat(np.arange(series * rounds), 2)
    y = drawn.ravel()[level] + 0.3 * rng.normal(size=len(level))
    return y, np.eye(series)[number[level]], level, Succession(1, number, place)


@pytest.mark.parametrize("rho", [0.0, 0.3, 0.6])
def test_the_carry_over_is_found_again(rho):
    y, fixed, level, rounds = wandering(np.random.default_rng(8), 60, 12, rho)
    term = sparse.csr_array((np.ones(len(y)), (np.arange(len(y)), level)))
    plain = fit_reml(y, fixed, [term])
    carried, found = with_carry_over(plain, Levels.of(plain, rounds))
    assert found == pytest.approx(rho, abs=0.08)
    # variance of the mean of an AR(1) series of 12, and of two rows a round beside it: exact
    lag = np.abs(np.subtract.outer(np.arange(12), np.arange(12)))
    true = (rho**lag).sum() / 144 + 0.3**2 / 24
    assert np.diag(carried.covariance).mean() == pytest.approx(true, rel=0.15)


def test_alike_series_keep_their_common_scatter():
    rng = np.random.default_rng(9)
    freedom = np.full(200, 6.0)
    alike = moderated(Scatter(rng.chisquare(6.0, 200) / 6.0, freedom))
    assert np.abs(np.log(alike.ratio)).max() < 0.3


def test_rounding_does_not_decide_whether_two_rounds_count():
    """A series of two rounds has exactly one degree of freedom, which comes out a little more or a little less."""
    ratio = np.array([0.2, 0.5, 1.0, 2.0, 4.0, 9.0])
    over, under = (moderated(Scatter(ratio, np.array([6.0, 8.0, 6.0, 8.0, 6.0, of]))) for of in (1 + 1e-15, 1 - 1e-15))
    assert over.ratio[-1] > 1.0
    assert under.ratio == pytest.approx(over.ratio, rel=1e-9)


def test_unlike_series_get_a_scatter_of_their_own():
    """With a prior of 8 degrees of freedom on 4,000 series, the moments find it again (Smyth 2004, section 6.2)."""
    rng = np.random.default_rng(10)
    true = 8.0 / rng.chisquare(8.0, 4000)
    found = moderated(Scatter(true * rng.chisquare(6.0, 4000) / 6.0, np.full(4000, 6.0)))
    assert found.freedom[0] == pytest.approx(6.0 + 8.0, rel=0.15)
    slope = np.polyfit(found.ratio, true, 1)[0]
    assert slope == pytest.approx(1.0, abs=0.15)  # drawn just as far as is right
