"""The named checks behind a standing: they agree with the list, and say their numbers."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from leavenbench.columns import RESULTS, STANDINGS
from leavenbench.vigour.causes import Causes
from leavenbench.watch.watch_list import watch_checks, watch_list

AS_OF = dt.date(2023, 3, 20)
RNG = np.random.default_rng(1)

pytestmark = pytest.mark.usefixtures("fixed_threshold")


def nothing_shared():
    return Causes(
        pd.DataFrame(columns=RESULTS["shared_causes"].names), pd.DataFrame(columns=["refeed", "cause"], dtype="str")
    )


def falling(pct, rounds=8, normal=12):
    strong = np.concatenate([np.ones(normal), (1.0 - pct / 100.0) ** np.arange(1, rounds + 1)])
    return 100.0 * strong * np.exp(RNG.normal(0, 0.03, normal + rounds))


@pytest.fixture
def shelf(house):
    calm = {f"Calm{one}": 100.0 * np.exp(RNG.normal(0, 0.04, 20)) for one in range(8)}
    step = 100.0 * np.where(np.arange(20) < 10, 1.0, 0.7) * np.exp(RNG.normal(0, 0.03, 20))
    stories = {"Slips": falling(5), "Sinks": falling(9), "Steps": step, "New": np.array([100.0, 98.0])}
    return house({**calm, **stories, "Unread": np.full(3, np.nan)})


def test_evidence_is_the_words_of_the_checks_that_spoke(shelf):
    listed = watch_list(*shelf, AS_OF, nothing_shared()).set_index("culture")
    checks = watch_checks(*shelf, AS_OF)
    assert set(checks["culture"]) == set(listed.index)
    for culture, made in checks.groupby("culture"):
        assert "; ".join(made.loc[made["spoke"], "words"]) == listed.loc[culture, "evidence"]
    assert (checks["words"].str.len() > 0).all()
    assert (checks["source"].str.len() > 0).all()
    assert not checks.duplicated(["culture", "check"]).any()
    assert not np.isinf(checks["statistic"]).any()


def test_each_standing_has_its_check(shelf):
    standing = watch_list(*shelf, AS_OF, nothing_shared()).set_index("culture")["standing"]
    assert standing[["Slips", "Sinks", "Steps", "New", "Unread"]].tolist() == [
        "slipping",
        "urgent",
        "low",
        "unknown",
        "unknown",
    ]
    spoke = watch_checks(*shelf, AS_OF).query("spoke").groupby("culture")["check"].agg(set)
    assert "falling" in spoke["Slips"]
    assert spoke["Sinks"] & {"half strength now", "half strength soon"}
    assert spoke["Steps"] & {"stepped down", "low"}
    assert not spoke["Steps"] & {"falling"}
    assert "history" in spoke["New"]
    assert standing.drop(["Slips", "Sinks", "Steps", "New", "Unread"]).eq("steady").all()
    assert not any(of & {"falling", "low", "history", "activity"} for name, of in spoke.items() if "Calm" in name)


def test_a_check_speaks_when_its_statistic_passes_its_threshold(shelf):
    checks = watch_checks(*shelf, AS_OF).set_index(["culture", "check"])
    sinks = checks.loc[("Sinks", "falling")]
    assert sinks["spoke"]
    assert sinks["statistic"] >= sinks["threshold"] == 1.0
    assert f"log odds {sinks['statistic']:.1f}, alert at 1.0" in sinks["words"]
    assert "fixed for this test" in sinks["source"]
    calm = checks.xs("falling", level="check").filter(like="Calm", axis=0)
    assert len(calm) == 8
    assert (calm["statistic"] < calm["threshold"]).all()
    new = checks.loc[("New", "history")]
    assert (new["statistic"], new["threshold"]) == (2.0, 4.0)
    assert "2 missing" in new["words"]
    assert "4 missing" in checks.loc[("Unread", "history"), "words"]


def test_most_urgent_first(shelf):
    listed = watch_list(*shelf, AS_OF, nothing_shared())
    order = [STANDINGS.split(", ").index(standing) for standing in listed["standing"]]
    assert order == sorted(order)
    assert listed["rank"].tolist() == list(range(1, len(listed) + 1))
    assert listed["culture"].iloc[0] == "Sinks"


def test_what_is_later_than_the_day_is_not_known(house, shelf):
    collection, curves, vigour = shelf
    day = dt.date(2022, 1, 15)  # after the thirteenth round
    past = watch_list(collection, curves, vigour, day, nothing_shared()).set_index("culture")
    assert past.loc["Sinks", "refeeds_used"] == 13
    assert past.loc["Sinks", "last_fed_at"] == pd.Timestamp("2021-12-21", tz="UTC")
    assert past.loc["Sinks", "standing"] != "urgent"


def test_a_day_before_the_first_record_is_no_fault(shelf):
    listed = watch_list(*shelf, dt.date(2019, 1, 1), nothing_shared())
    assert set(listed["standing"]) == {"unknown"}
    assert listed["refeeds_used"].isna().all()
    checks = watch_checks(*shelf, dt.date(2019, 1, 1))
    assert checks.loc[checks["check"] == "history", "spoke"].all()


def test_a_shelf_without_a_culture_has_an_empty_list(house):
    nothing = house({})
    assert watch_list(*nothing, AS_OF, nothing_shared()).empty
    assert watch_checks(*nothing, AS_OF).empty


@pytest.mark.parametrize("rounds", [1, 3, 4])
def test_one_culture_alone_can_be_listed(house, rounds):
    listed = watch_list(*house({"Alba": [100.0] * rounds}), AS_OF, nothing_shared())
    assert listed["standing"].tolist() == ["steady" if rounds > 3 else "unknown"]
    assert listed["vigour_pct"].tolist() == pytest.approx([100.0])


def test_a_culture_of_which_nothing_was_read_stands_among_those_that_were(shelf):
    row = watch_list(*shelf, AS_OF, nothing_shared()).set_index("culture").loc["Unread"]
    assert pd.isna(row["vigour_pct"])
    assert pd.isna(row["rounds_left"])
    assert "0 of 4 rounds" in row["evidence"]


def test_lost_is_off_the_list_and_restored_begins_anew(house):
    lost = {"event": "1", "culture": "Alba", "happened_on": pd.Timestamp("2021-09-01"), "kind": "lost"}
    back = {"event": "2", "culture": "Alba", "happened_on": pd.Timestamp("2021-11-01"), "kind": "restored"}
    vigour_pct = {"Alba": [100, 100, 100, 100, 100, 90, 80, 70, 60, 50, 45, 100, 100], "Bran": [100.0] * 13}
    records = house(vigour_pct, events={name: [lost[name], back[name]] for name in lost})
    days = [dt.date(2021, 8, 31), dt.date(2021, 9, 30), dt.date(2022, 1, 1)]
    before, gone, after = (watch_list(*records, day, nothing_shared()).set_index("culture") for day in days)
    assert before.loc["Alba", "standing"] == "urgent"
    assert "Alba" not in gone.index
    assert after.loc["Alba", "standing"] == "unknown"
    assert after.loc["Alba", "vigour_pct"] == pytest.approx(100.0)
