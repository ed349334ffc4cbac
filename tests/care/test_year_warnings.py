"""The watch list of a year's quarters, what became of those on it, and the score."""

from __future__ import annotations

import pandas as pd
import pytest

from leavenbench.care.year.period import Period
from leavenbench.care.year.warnings import tell_warnings
from leavenbench.columns import RESULTS

_MADE = RESULTS["watch_history"]
WELL, SLIPPING, URGENT = ("steady", 100.0), ("slipping", 75.0), ("urgent", 60.0)


@pytest.fixture
def told(make_collection):
    """Return a function that tells the warnings of 2022 from standings month by month, December 2021 first."""

    def make(own, *events):
        rows = [
            {"culture": name, "as_of": pd.Timestamp(2021, 12, 31) + pd.offsets.MonthEnd(number)}
            | {"standing": month[0], "vigour_pct": month[1]}
            for name, months in own.items()
            for number, month in enumerate(months)
        ]
        history = pd.DataFrame(rows, columns=_MADE.names).astype(_MADE.dtypes())
        happened = {
            "event": [str(number) for number in range(len(events))],
            "culture": [of[0] for of in events],
            "happened_on": [pd.Timestamp(of[1]) for of in events],
            "kind": [of[2] for of in events],
        }
        collection = make_collection(events=happened)
        return tell_warnings(collection, history, Period.of(collection, 2022))

    return make


def became(tables):
    rows = tables["watched"]
    return list(zip(rows["quarter"], rows["became"], rows["became_on"].dt.strftime("%m-%d").fillna(""), strict=True))


def test_one_that_left_the_list_is_told_with_the_month(told):
    tables, _ = told({"A": [WELL] * 2 + [SLIPPING] * 3 + [WELL] * 8})  # February to April
    assert became(tables) == [("2022-Q1", "off the list", "05-31")]
    assert tables["score"].set_index("outcome")["warnings"].to_dict() == {
        "caught": 0, "missed": 0, "rescued unwarned": 0, "passed over": 1, "open": 0,
    }  # fmt: skip


def test_one_that_was_lost_is_caught_when_it_was_on_the_list(told):
    tables, _ = told({"A": [WELL] * 2 + [SLIPPING] * 2 + [URGENT] * 3}, ("A", "2022-07-10", "lost"))
    assert became(tables) == [("2022-Q1", "lost", "07-10"), ("2022-Q2", "lost", "07-10")]
    caught = tables["score"].set_index("outcome").loc["caught"]
    assert caught[["warnings", "names"]].tolist() == [1, "A"]
    assert caught["lead_d"] == 132  # from 28 February to 10 July


def test_one_that_was_rescued_counts_as_caught(told):
    tables, _ = told({"A": [SLIPPING] * 6 + [WELL] * 7}, ("A", "2022-05-10", "rescued"))
    assert became(tables) == [("2021-Q4", "rescued", "05-10"), ("2022-Q1", "rescued", "05-10")]
    assert tables["warnings"][["outcome"]].to_numpy().tolist() == [["caught"]]


def test_what_came_first_is_told(told):
    ends = ("A", "2022-09-10", "lost"), ("A", "2022-05-10", "rescued")
    tables, _ = told({"A": [WELL] + [SLIPPING] * 8}, *ends)
    assert became(tables) == [("2022-Q1", "rescued", "05-10"), ("2022-Q2", "lost", "09-10")]


def test_one_that_was_lost_without_an_alert_is_missed(told):
    tables, _ = told({"A": [WELL] * 5}, ("A", "2022-05-10", "lost"))
    assert tables["watched"].empty
    assert tables["score"].set_index("outcome").loc["missed", ["warnings", "names"]].tolist() == [1, "A"]


def test_one_that_its_keeper_rescued_unwarned_is_told(told):
    tables, _ = told(
        {"A": [WELL] * 5, "B": [WELL] * 2 + [SLIPPING] + [WELL] * 2}, *[(c, "2022-05-10", "rescued") for c in "AB"]
    )
    score = tables["score"].set_index("outcome")
    assert score.loc["rescued unwarned", ["warnings", "names"]].tolist() == [1, "A"]
    assert score.loc["caught", "names"] == "B"


def test_what_still_stands_is_open(told):
    tables, _ = told({"A": [WELL] * 11 + [SLIPPING] * 2})
    assert became(tables) == [("2022-Q4", "still on the list", "")]
    assert tables["score"].set_index("outcome").loc["open", "warnings"] == 1


def test_quarters_count_every_standing(told):
    tables, said = told({"A": [WELL] * 13, "B": [WELL] * 3 + [URGENT] * 10})
    counts = tables["standings"].pivot(index="quarter", columns="standing", values="cultures")
    assert list(counts.index) == ["2021-Q4", "2022-Q1", "2022-Q2", "2022-Q3", "2022-Q4"]
    assert counts["urgent"].tolist() == [0, 1, 1, 1, 1]
    assert counts.sum(axis=1).tolist() == [2] * 5
    assert said == ""


def test_an_alert_that_was_over_before_the_year_is_not_of_the_year(make_collection):
    rows = [
        {"culture": "A", "as_of": pd.Timestamp(2021, 1, 31) + pd.offsets.MonthEnd(month), "standing": standing}
        for month, standing in enumerate(["slipping"] * 3 + ["steady"] * 21)
    ]
    history = pd.DataFrame(rows, columns=_MADE.names).astype(_MADE.dtypes())
    collection = make_collection()
    assert tell_warnings(collection, history, Period.of(collection, 2022))[0]["warnings"].empty
    assert len(tell_warnings(collection, history, Period.of(collection, 2021))[0]["warnings"]) == 1


def test_without_a_history_it_says_so(told):
    tables, said = told({})
    assert all(table.empty for name, table in tables.items() if name != "score")
    assert tables["score"]["warnings"].sum() == 0
    assert said == "No watch list can be told: no refeed was written down up to the end of 2022."
