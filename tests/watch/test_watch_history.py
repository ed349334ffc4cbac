"""The list of every past month, and the shelf's own record of warnings."""

from __future__ import annotations

import dataclasses
import datetime as dt

import numpy as np
import pandas as pd
import pytest

from leavenbench.columns import RESULTS
from leavenbench.vigour.causes import Causes
from leavenbench.watch.watch_history import standing_history, warnings_of, watch_history
from leavenbench.watch.watch_list import watch_list

pytestmark = pytest.mark.usefixtures("fixed_threshold")


def nothing_shared():
    return Causes(
        pd.DataFrame(columns=RESULTS["shared_causes"].names), pd.DataFrame(columns=["refeed", "cause"], dtype="str")
    )


def told(own):
    """Return a history of months of standings, from January 2022 on: (standing, vigour) or None when not living."""
    rows = [
        {"culture": culture, "as_of": pd.Timestamp(2022, 1, 31) + pd.offsets.MonthEnd(number), "vigour_pct": month[1]}
        | {"standing": month[0]}
        for culture, months in own.items()
        for number, month in enumerate(months)
        if month is not None
    ]
    made = RESULTS["watch_history"]
    return pd.DataFrame(rows, columns=made.names).astype(made.dtypes())


@pytest.fixture
def record(make_collection):
    """Return a function that gives the record of warnings of months told, by culture, with what happened."""

    def make(own, *events):
        happened = {
            "event": [str(number) for number in range(len(events))],
            "culture": [of[0] for of in events],
            "happened_on": [pd.Timestamp(of[1]) for of in events],
            "kind": [of[2] for of in events],
        }
        return warnings_of(told(own), make_collection(events=happened))

    return make


STEADY, LOW, SLIPPING, URGENT = ("steady", 100.0), ("low", 80.0), ("slipping", 75.0), ("urgent", 60.0)


def only(table):
    assert len(table) == 1
    return table.iloc[0]


def test_an_alert_that_a_rescue_follows_was_caught(record):
    row = only(record({"Alba": [STEADY, SLIPPING, URGENT, STEADY, STEADY]}, ("Alba", "2022-04-10", "rescued")))
    assert row["outcome"] == "caught"
    assert row["warned_on"] == pd.Timestamp("2022-02-28")
    assert row["over_on"] == pd.Timestamp("2022-03-31")
    assert row["standing"] == "urgent"
    assert row["lowest_pct"] == 60.0
    assert row["ended_on"] == pd.Timestamp("2022-04-10")


def test_an_alert_under_half_strength_was_no_false_one(record):
    row = only(record({"Alba": [SLIPPING, ("urgent", 48.0), STEADY]}))
    assert row["outcome"] == "caught"
    assert pd.isna(row["ended_on"])


def test_an_alert_that_lasts_is_open_and_one_that_went_without_harm_was_passed_over(record):
    found = record({"Alba": [STEADY, SLIPPING, SLIPPING], "Bran": [SLIPPING, LOW, STEADY]}).set_index("culture")
    assert found["outcome"].to_dict() == {"Alba": "open", "Bran": "passed over"}
    assert pd.isna(found.loc["Alba", "over_on"])
    assert found.loc["Bran", "over_on"] == pd.Timestamp("2022-01-31")
    assert set(found["standing"]) == {"slipping"}


def test_a_loss_without_an_alert_was_missed(record):
    row = only(record({"Alba": [STEADY, LOW, None], "Bran": [STEADY] * 3}, ("Alba", "2022-03-15", "lost")))
    assert (row["culture"], row["outcome"], row["lowest_pct"]) == ("Alba", "missed", 80.0)
    assert pd.isna(row["warned_on"])
    assert row["ended_on"] == pd.Timestamp("2022-03-15")


def test_a_loss_after_an_alert_was_caught_and_not_missed_as_well(record):
    months = {"Alba": [STEADY, URGENT, URGENT, None], "Bran": [STEADY] * 4}
    row = only(record(months, ("Alba", "2022-04-02", "lost")))
    assert row["outcome"] == "caught"
    assert row["over_on"] == pd.Timestamp("2022-03-31")  # a culture that is lost is on the list no longer


def test_each_alert_has_its_own_row_and_a_late_rescue_belongs_to_the_later(record):
    months = [SLIPPING, STEADY, *[STEADY] * 20, SLIPPING, STEADY]
    found = record({"Alba": months}, ("Alba", "2024-01-10", "rescued"))
    assert found["outcome"].tolist() == ["passed over", "caught"]


def test_a_culture_withdrawn_in_alert_is_not_on_the_list_any_more(record):
    found = record({"Alba": [STEADY, SLIPPING, None, None], "Bran": [STEADY] * 4}, ("Alba", "2022-03-05", "withdrawn"))
    assert only(found)["outcome"] != "open"


def test_restored_begins_anew_an_alert_before_the_loss_is_not_that_after_it(record):
    months = [STEADY, URGENT, None, None, URGENT, STEADY]
    found = record({"Alba": months}, ("Alba", "2022-03-05", "lost"), ("Alba", "2022-05-05", "restored"))
    assert found["warned_on"].tolist() == [pd.Timestamp("2022-02-28"), pd.Timestamp("2022-05-31")]


def test_no_history_no_record(record):
    found = record({})
    assert found.empty
    assert list(found) == RESULTS["warnings"].names


@pytest.fixture
def shelf(house):
    rng = np.random.default_rng(1)
    calm = {f"Calm{one}": 100.0 * np.exp(rng.normal(0, 0.04, 10)) for one in range(4)}
    falls = 100.0 * np.append(np.ones(5), 0.88 ** np.arange(1, 6)) * np.exp(rng.normal(0, 0.03, 10))
    return house({**calm, "Falls": falls}, every=30)


AS_OF = dt.date(2020, 10, 10)  # after the tenth round


def of_day(history, day):
    """Return what a history says of one day."""
    return history[history["as_of"] == pd.Timestamp(day)].reset_index(drop=True)


def with_refeeds(collection, refeeds):
    """Return a collection with other refeeds."""
    return dataclasses.replace(collection, tables=dict(collection.tables) | {"refeeds": refeeds})


def test_every_month_is_what_the_list_said_then_and_the_last_is_the_list(shelf):
    done = []
    history = watch_history(*shelf, AS_OF, progress=lambda *of: done.append(of))
    days = sorted(history["as_of"].unique())
    assert len(days) == len(done) == 10  # January to October 2020
    assert days[0] == pd.Timestamp("2020-01-31")
    assert days[-1] == pd.Timestamp(AS_OF)
    assert (history.groupby("as_of").size() == 5).all()
    shared = [name for name in RESULTS["watch_history"].names if name not in ("culture", "as_of")]
    for day in (AS_OF, dt.date(2020, 8, 31), dt.date(2020, 3, 31)):
        then = of_day(history, day).set_index("culture")
        listed = watch_list(*shelf, day, nothing_shared()).set_index("culture")
        assert set(then.index) == set(listed.index)
        pd.testing.assert_frame_equal(then.loc[listed.index, shared], listed[shared])
    assert of_day(history, AS_OF).set_index("culture").loc["Falls", "standing"] == "urgent"


def test_what_is_recorded_later_does_not_change_what_was_said(shelf):
    collection, curves, vigour = shelf
    day, ends = dt.date(2020, 8, 31), pd.Timestamp("2020-09-01", tz="UTC")
    known = (collection["refeeds"]["fed_at"] < ends).to_numpy()
    cut = with_refeeds(collection, collection["refeeds"][known])
    then = watch_history(cut, curves[curves["fed_at"] < ends], vigour[known], day)
    now = watch_history(collection, curves, vigour, AS_OF)
    pd.testing.assert_frame_equal(of_day(then, day), of_day(now, day))


def test_passing_noted_later_does_not_make_earlier_rounds_speak(shelf):
    collection, curves, vigour = shelf
    vigour["extra_steps"] = (vigour["round"] % 3 == 0).astype("Int64")
    refeeds = collection["refeeds"]
    late = refeeds["fed_at"] > pd.Timestamp("2020-09-01", tz="UTC")
    assert late.any()
    noted = with_refeeds(collection, refeeds.assign(passed=refeeds["passed"].mask(late, True)))
    then, now = (of_day(watch_history(of, curves, vigour, AS_OF), "2020-08-31") for of in (collection, noted))
    pd.testing.assert_frame_equal(then, now)


def test_no_advice_is_given_before_what_it_rests_on_was_fed(shelf):
    collection, curves, vigour = shelf
    refeeds = collection["refeeds"]
    late = (refeeds["culture"] == "Falls") & (refeeds["fed_at"] > pd.Timestamp("2020-09-01", tz="UTC"))
    lot = pd.Series("Usual", refeeds.index, dtype="str").mask(late, "Own")
    history = watch_history(with_refeeds(collection, refeeds.assign(lot=lot)), curves, vigour, AS_OF)
    own = history[history["culture"] == "Falls"].set_index("as_of")
    assert own["standing"].loc["2020-08-31"] in ("slipping", "urgent")
    assert "lot Own" in own["evidence"].loc[pd.Timestamp(AS_OF)]
    assert "lot Own" not in own["evidence"].loc["2020-08-31"]


def test_a_folder_without_records_has_no_months(house):
    found = watch_history(*house({}), AS_OF)
    assert found.empty
    assert list(found) == RESULTS["watch_history"].names


def test_the_short_history_is_the_long_one_in_fewer_columns(shelf):
    long, short = (history(*shelf, AS_OF) for history in (watch_history, standing_history))
    pd.testing.assert_frame_equal(short, long[list(short.columns)])
    assert {"as_of", "culture", "standing", "vigour_pct"} <= set(short.columns)
