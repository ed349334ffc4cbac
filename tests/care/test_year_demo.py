"""The years of the invented house, against the truths that its README tells."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pandas as pd
import pytest

import leavenbench
from leavenbench.care.year import year_in_figures
from leavenbench.care.year.collection import tell_collection
from leavenbench.care.year.lives import lives
from leavenbench.care.year.period import Period
from leavenbench.care.year.punctual import rounds_kept
from leavenbench.care.year.warnings import tell_warnings
from leavenbench.care.year.work import tell_work
from leavenbench.columns import RESULTS
from leavenbench.vigour.causes import vigour_and_causes

DEMO = Path(__file__).parents[2] / "data_demo"
#: The cultures with a story, and those that only sour; the other 31 are steady (README).
STORIES = [
    "Pewter", "Fennock", "Juniper", "Mossback", "Kettle", "Tansy", "Candlewick", "Thistle", "Ivyrow", "Rookery",
    "Drover", "Pearl", "Lantern", "Linnet", "Saffron", "Teasel", "Weir",
]  # fmt: skip


def read(year):
    return leavenbench.read_collection(DEMO, as_of=dt.date(year, 12, 31))


@pytest.fixture(scope="module")
def of_2022():
    return read(2022)


@pytest.fixture(scope="module")
def told():
    collection = read(2024)
    curves = leavenbench.trace_collection(collection)
    vigour, causes = vigour_and_causes(collection, curves)
    history = leavenbench.watch_history(collection, curves, vigour, dt.date(2024, 12, 31))
    return year_in_figures(collection, curves, vigour, history, causes, 2024)


@pytest.mark.parametrize(
    ("year", "began", "moved", "ended"),
    [
        (2021, 48, [], 48),
        (2022, 48, [["Fennock", "lost", "2022-12-02"]], 47),  # entered as lost on 02 December 2022
        (2023, 47, [["Fennock", "restored", "2023-07-10"]], 48),  # restored on 10 July 2023
        (2024, 48, [["Tansy", "lost", "2024-03-28"]], 47),  # entered as lost on 28 March 2024
    ],
)
def test_who_was_lost_and_restored_in_which_year(year, began, moved, ended):
    collection = read(year)
    tables, _ = tell_collection(collection, lives(collection), Period.of(collection, year))
    counts = tables["balance"].set_index("what")["cultures"]
    assert [counts["living when it began"], counts["living when it ended"]] == [began, ended]
    rows = tables["movements"].assign(happened_on=lambda table: table["happened_on"].dt.strftime("%Y-%m-%d"))
    assert rows[["culture", "kind", "happened_on"]].to_numpy().tolist() == moved


def test_group_b_went_without_its_round_of_august_2022(of_2022):
    period = Period.of(of_2022, 2022)
    rounds = rounds_kept(of_2022, lives(of_2022), period)
    assert not rounds["begun_on"].dt.strftime("%Y-%m").eq("2022-08").any()
    october = rounds[rounds["begun_on"].dt.strftime("%Y-%m") == "2022-10"]
    assert set(october["group"]) == {"B"}
    assert (october["kept"] == "late").all()
    assert (october["passed_over"] >= 1).all()
    others = rounds[(rounds["group"] == "A") & rounds["begun_on"].notna()]
    assert (others["passed_over"] > 0).mean() < 0.1  # 3 % of rounds were not held


def test_the_house_tells_its_missing_month(of_2022):
    none = pd.DataFrame(columns=RESULTS["curves"].names).astype(RESULTS["curves"].dtypes())
    tables, said = tell_work(of_2022, none, lives(of_2022), Period.of(of_2022, 2022))
    assert tables["gaps"].to_numpy().tolist() == [["2022-08", "2022-08", 1, "between refeeds"]]
    assert said == "Months without a refeed: 2022-08."


def test_two_first_lives_were_lost_of_48_all_received_before_the_records(told):
    row = told.lives.iloc[0]
    assert row[["cultures", "late", "lost", "living", "withdrawn", "unknown"]].tolist() == [48, 48, 2, 46, 0, 0]
    assert told.survival["lost"].sum() == 2
    assert told.losses["in_year"].sum() == 1
    assert told.losses["in_records"].sum() == 2


def test_those_that_decline_are_lower_than_the_year_before(told):
    own = told.vigour.set_index("culture")
    # README: Thistle loses 8 % a round from October 2023 on, Candlewick faster and faster, Kettle 5 % a round
    assert (own.loc[["Thistle", "Candlewick", "Kettle"], "verdict"] == "lower").all()
    steady = own.index.difference(STORIES)
    assert len(steady) == 31
    assert (own.loc[steady, "verdict"] == "cannot tell").mean() > 0.9
    assert "Tansy" not in own.index


def test_what_became_of_tansy_is_told(told):
    tansy = told.watched[told.watched["culture"] == "Tansy"]
    assert tansy[["quarter", "became"]].to_numpy().tolist() == [["2023-Q4", "lost"]]
    assert tansy["became_on"].tolist() == [pd.Timestamp("2024-03-28")]
    assert "Tansy" in told.score.set_index("outcome").loc["caught", "names"]


def test_the_score_owns_to_the_rescue_that_no_alert_came_before():
    collection = read(2023)
    curves = leavenbench.trace_collection(collection)
    history = leavenbench.watch_history(
        collection, curves, leavenbench.vigour_of(collection, curves), dt.date(2023, 12, 31)
    )
    score = tell_warnings(collection, history, Period.of(collection, 2023))[0]["score"].set_index("outcome")
    assert score.loc["rescued unwarned", "names"] == "Mossback"  # rescued from 20 November 2023 on (README)
    assert score.loc["caught", "names"] == "Tansy"


def test_the_score_names_those_called_wrongly(told):
    wrongly = set(told.score.set_index("outcome").loc["passed over", "names"].split(", "))
    # Candlewick was in truth well until September 2023; Bramble is among the steady (README)
    assert wrongly == {"Candlewick", "Bramble"}


def test_the_books_of_2024_end_with_their_last_feeding(told):
    assert "The last record of the year is of 14 December." in told.said["work"]  # read the morning after the 13th
    # the log of the year holds no faulty row (README)
    rows = (DEMO / "refeeds" / "2024.csv").read_text(encoding="utf-8").splitlines()
    assert told.months["refeeds"].sum() == len(rows) - 1
