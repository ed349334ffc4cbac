"""Who is due: the calendar by itself, and what brings a culture forward."""

from __future__ import annotations

import datetime as dt
import shutil

import pandas as pd
import pytest

from leavenbench.care.calendar import round_calendar
from leavenbench.care.rounds import due_list, fed_now
from leavenbench.errors import CannotRead
from leavenbench.records.collection import read_collection

NOBODY = pd.DataFrame({"culture": pd.Series(dtype="str"), "standing": pd.Series(dtype="str")})


def due_on(shelf, listed=NOBODY, on=dt.date(2024, 12, 31)):
    return due_list(shelf, listed, on).set_index("culture")


def changed(folder, tmp_path, **tables):
    copy = shutil.copytree(folder, tmp_path / "copy")
    for name, text in tables.items():
        (copy / f"{name}.csv").write_text(text)
    return read_collection(copy)


def test_a_round_is_due_so_many_days_after_the_last_began(shelf):
    due = due_on(shelf)
    assert (due["last_round_on"] == "2024-10-31").all()
    assert (due["due_on"] == "2024-12-30").all()  # exact: 31 October and 60 days
    assert (due["overdue_d"] == 1).all()
    assert (due["state"] == "due").all()
    assert (due_on(shelf, on=dt.date(2024, 12, 29))["state"] == "waiting").all()


def test_the_slipping_and_the_urgent_come_sooner_and_the_list_says_so(shelf):
    listed = pd.DataFrame({"culture": ["Alba", "Bruno", "Rika"], "standing": ["urgent", "slipping", "steady"]})
    due = due_on(shelf, listed)
    # exact: fed last on 2 November; a quarter and a half of 60 days
    assert due["due_on"].astype(str).to_dict() == {"Alba": "2024-11-17", "Bruno": "2024-12-02", "Rika": "2024-12-30"}
    assert due.loc["Alba", "why"] == "urgent: fed sooner"
    assert due.index[0] == "Alba"


def test_a_store_that_failed_brings_its_jars_forward_once(folder, tmp_path):
    header = "event,culture,store,happened_on,kind\n"
    shelf = changed(folder, tmp_path, events=header + "e1,,pantry,2024-11-20,store failure\n")
    due = due_on(shelf, on=dt.date(2024, 11, 21))
    assert due.loc["Rika", "state"] == "due"
    assert "pantry failed on 2024-11-20" in due.loc["Rika", "why"]
    assert due.loc["Alba", "state"] == "waiting"


def test_a_store_log_tells_a_failure_too_but_not_an_open_door(folder, tmp_path):
    def log(*rows):
        return "store,read_at,temperature\n" + "".join(f"{row}\n" for row in rows)

    warm = [f"cellar,2024-11-10 {hour:02}:00,{12 if 2 <= hour <= 9 else 4}" for hour in range(24)]
    door = [f"pantry,2024-11-10 {hour:02}:00,{12 if hour == 2 else 4}" for hour in range(24)]
    due = due_on(changed(folder, tmp_path, store_log=log(*warm, *door)), on=dt.date(2024, 11, 11))
    assert due.loc[["Alba", "Bruno"], "state"].eq("due").all()
    assert "7 h" in due.loc["Alba", "why"]  # read above the limit from 2 to 9 o'clock
    assert due.loc["Rika", "state"] == "waiting"


def test_a_round_that_has_begun_is_not_due_and_one_that_never_passed_is(folder, tmp_path):
    rows = (
        (folder / "refeeds.csv")
        .read_text()
        .replace(
            "Alba-5-3,Alba,2024-11-02 08:04,3,rye-1,66,132,132,A3,53,20,yes",
            "Alba-5-3,Alba,2024-11-02 08:04,3,rye-1,66,132,132,A3,53,20,no",
        )
    )
    shelf = changed(folder, tmp_path, refeeds=rows)
    shelf.tables["refeeds"].loc[shelf["refeeds"]["refeed"] == "Alba-5-3", "cold_store"] = None
    assert not shelf["refeeds"].set_index("refeed").loc["Alba-5-3", "passed"]
    assert due_on(shelf, on=dt.date(2024, 11, 3)).loc["Alba", "state"] == "running"
    later = due_on(shelf, on=dt.date(2024, 11, 20))
    assert later.loc["Alba", "state"] == "due"
    assert later.loc["Alba", "why"] == "its last round ended without passing"


def test_who_is_nearly_due_goes_along_with_its_group(folder, tmp_path):
    rows = (folder / "refeeds.csv").read_text().splitlines()
    late = [row.replace("2024-10-31 08:08", "2024-11-03 08:08") if row.startswith("Bruno-5-1") else row for row in rows]
    late = [row for row in late if not row.startswith(("Bruno-5-2", "Bruno-5-3"))]
    due = due_on(changed(folder, tmp_path, refeeds="\n".join(late) + "\n"), on=dt.date(2024, 12, 30))
    assert due.loc["Bruno", "due_on"] == pd.Timestamp("2025-01-02")
    assert due.loc["Bruno", "state"] == "along"
    assert due.loc["Bruno", "why"] == "taken along with its group; due 2025-01-02"


def test_a_group_can_be_asked_for_and_an_unknown_one_is_named(shelf):
    due = due_list(shelf, NOBODY, dt.date(2024, 12, 31))
    assert set(fed_now(due, "A")["culture"]) == {"Alba", "Bruno"}
    assert len(fed_now(due)) == 3
    with pytest.raises(CannotRead, match="groups are A, B"):
        fed_now(due, "C")


def test_the_calendar_feeds_everyone_at_the_usual_pace_and_evens_out_the_days():
    cultures = [f"c{number}" for number in range(24)]
    due = pd.DataFrame({"culture": cultures, "group": "", "due_on": pd.Timestamp("2025-03-10")})
    made = round_calendar(due, dt.date(2025, 3, 1), 60, 3)
    assert made["jars"].sum() / 3 == pytest.approx(24 * 365 / 60, rel=0.1)
    load = made.groupby("day")["jars"].sum()
    alike = round_calendar(due.assign(group="A"), dt.date(2025, 3, 1), 60, 3).groupby("day")["jars"].sum()
    assert alike.max() == 24  # one group stays together
    assert load.max() <= 8  # 24 jars, three days each, over the 13 days around the date: 5.5 a day at best
    assert made["moved_d"].abs().max() <= 6  # exact: a tenth of 60 days
