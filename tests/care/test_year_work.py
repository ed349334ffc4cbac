"""Rounds, refeeds, readings and flour of a year, by the calendar."""

from __future__ import annotations

import pandas as pd
import pytest

from leavenbench.care.year.lives import lives
from leavenbench.care.year.period import Period
from leavenbench.care.year.work import tell_work
from leavenbench.columns import RESULTS

NO_CURVES = pd.DataFrame(columns=RESULTS["curves"].names).astype(RESULTS["curves"].dtypes())


@pytest.fixture
def told(make_collection):
    """Return a function that tells the work of 2022 from first steps of rounds (culture, day), a round every 60 d."""

    def make(fed, events=(), **more):
        numbers = pd.Series([name for name, _ in fed], dtype="str")
        collection = make_collection(
            refeeds={
                "refeed": [str(number) for number in range(len(fed))],
                "culture": [name for name, _ in fed],
                "fed_at": [pd.Timestamp(f"{day} 08:00", tz="UTC") for _, day in fed],
                "purpose": ["round"] * len(fed),
                "round": numbers.groupby(numbers).cumcount() + 1,
                "step": [1] * len(fed),
                **more.pop("refeeds", {}),
            },
            events={
                "event": [str(number) for number in range(len(events))],
                "culture": [name for name, _, _ in events],
                "happened_on": [pd.Timestamp(day) for _, day, _ in events],
                "kind": [kind for _, _, kind in events],
            },
            **more,
        )
        return tell_work(collection, NO_CURVES, lives(collection), Period.of(collection, 2022))

    return make


def kept(tables):
    rounds = tables["rounds"]
    days = rounds["begun_on"].fillna(rounds["due_on"]).dt.strftime("%m-%d")
    return list(zip(rounds["culture"], days, rounds["kept"], rounds["late_d"].fillna(-999), strict=True))


def test_a_round_is_on_time_within_a_tenth_of_the_usual_time(told):
    tables, _ = told([("A", "2021-12-01"), ("A", "2022-02-05"), ("A", "2022-04-13"), ("A", "2022-06-05")])
    # due 30 January (6 days late: on time), 6 April (7 late), 12 June (7 early)
    assert kept(tables) == [("A", "02-05", "on time", 6), ("A", "04-13", "late", 7), ("A", "06-05", "early", -7)]


def test_a_first_round_and_one_after_restoration_were_never_due(told):
    tables, _ = told(
        [("A", "2022-01-10"), ("A", "2022-09-10")], [("A", "2022-02-01", "lost"), ("A", "2022-09-01", "restored")]
    )
    assert [row[2] for row in kept(tables)] == ["first", "first"]


def test_a_round_left_out_was_passed_over_once(told):
    tables, _ = told([("A", "2022-01-01"), ("A", "2022-05-01"), ("B", "2022-01-01"), ("B", "2022-03-30")])
    rounds = tables["rounds"].set_index(["culture", "begun_on"])
    assert rounds.loc[("A", "2022-05-01"), ["late_d", "passed_over"]].tolist() == [60, 1]
    assert rounds.loc[("B", "2022-03-30"), ["late_d", "passed_over"]].tolist() == [28, 0]  # less than half of 60


def test_what_is_due_and_not_held_is_told_of_the_living_and_up_to_the_last_record(told):
    fed = [("A", "2022-01-01"), ("B", "2022-01-01"), ("C", "2022-01-01"), ("D", "2022-03-05"), ("E", "2022-03-09")]
    tables, _ = told(fed, [("B", "2022-02-01", "lost")])
    # A and C fell due on 2 March, seven days before the last record, B is gone; D falls due in May only
    assert [row[:3] for row in kept(tables) if row[2] == "not held"] == [
        ("A", "03-02", "not held"),
        ("C", "03-02", "not held"),
    ]
    assert tables["months"].set_index("month")["not_held"].to_dict()["2022-03"] == 2


def test_every_month_is_told_and_adds_up(told):
    tables, said = told(
        [("A", "2021-12-01"), ("A", "2022-02-05"), ("B", "2022-02-05"), ("A", "2022-05-31")],
        refeeds={"flour_g": [10.0, 40.0, None, 20.0], "lot": ["r", "r", None, None]},
        readings={"refeed": ["0", "1", "1", "2", "3"], "elapsed_h": [1.0] * 5},
        refeed_flours={"refeed": ["3", "3"], "lot": ["r", "w"], "mass_g": [12.0, 8.0]},
        flour_lots={"lot": ["r", "w"], "flour": ["rye", "wheat"]},
    )
    months = tables["months"].set_index("month")
    assert list(months.index) == [f"2022-{month:02d}" for month in range(1, 13)]
    assert months.loc["2022-02", ["rounds", "refeeds", "readings", "flour_g", "unweighed"]].tolist() == [2, 2, 3, 40, 1]
    assert months.loc["2022-05", ["rounds", "refeeds", "readings", "flour_g", "unweighed"]].tolist() == [1, 1, 1, 20, 0]
    assert months[["rounds", "refeeds", "readings"]].sum().tolist() == [3, 3, 4]
    assert (months[["on_time", "early", "late", "first"]].sum(axis=1) == months["rounds"]).all()
    # of a blend each flour has its part
    assert tables["flour"].to_numpy().tolist() == [["rye", 52.0, 2, 1], ["wheat", 8.0, 1, 1]]
    assert said == (
        "Months without a refeed: 2022-01, 2022-03 to 2022-04, 2022-06 to 2022-12; "
        "the last record of the year is of 31 May."
    )


def test_gaps_say_where_they_lie(told):
    tables, _ = told([("A", "2022-03-01"), ("A", "2022-05-31")])
    assert tables["gaps"].to_numpy().tolist() == [
        ["2022-01", "2022-02", 2, "before the first refeed"],
        ["2022-04", "2022-04", 1, "between refeeds"],
        ["2022-06", "2022-12", 7, "after the last refeed"],
    ]


def test_a_year_without_a_refeed_is_a_year_all_the_same(told):
    tables, said = told([("A", "2021-03-01")])
    assert tables["rounds"].empty
    assert tables["months"][["rounds", "refeeds", "readings", "flour_g"]].sum().sum() == 0
    assert len(tables["months"]) == 12
    assert said == "No refeed was written down in 2022."
