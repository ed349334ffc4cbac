"""Which cultures live at the end of a day, and which history a refeed belongs to."""

from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest

from leavenbench.records.living import history_numbers, living_cultures
from leavenbench.records.reach import last_sound_day, read_up_to_last_day

CULTURES = "culture,received\nAlba,2024-01-10\nBruno,\nCleo,2025-06-01\n"
EVENTS = """\
event,culture,happened_on,kind
1,Alba,2025-02-01,lost
2,Alba,2025-03-01,restored
3,Bruno,2025-04-01,withdrawn
4,Alba,2025-05-01,moved
"""
REFEEDS = """\
refeed,culture,fed_at
1,Alba,2025-01-01 08:00
2,Alba,2025-02-28 23:30
3,Alba,2025-03-01 08:00
4,Bruno,2025-01-01 08:00
"""


@pytest.fixture
def shelf(read):
    return read({"cultures.csv": CULTURES, "events.csv": EVENTS, "refeeds.csv": REFEEDS})


@pytest.mark.parametrize(
    ("day", "living"),
    [
        ("2023-12-31", ["Bruno"]),
        ("2025-01-31", ["Alba", "Bruno"]),
        ("2025-02-01", ["Bruno"]),
        ("2025-03-01", ["Alba", "Bruno"]),
        ("2025-04-01", ["Alba"]),
        ("2025-06-01", ["Alba", "Cleo"]),
    ],
)
def test_living_at_the_end_of_a_day(shelf, day, living):
    assert sorted(living_cultures(shelf, dt.date.fromisoformat(day))) == living


def test_without_a_cultures_table_those_that_were_fed_live(read):
    assert list(living_cultures(read({}), dt.date(2025, 3, 1))) == ["Alba"]


def test_restored_begins_a_new_history_on_its_day(shelf):
    numbers = history_numbers(shelf).set_axis(shelf["refeeds"]["refeed"])
    assert numbers.to_dict() == {"1": 0, "2": 0, "3": 1, "4": 0}


def test_the_last_sound_day_passes_over_a_slip_of_the_pen(write):
    slip = REFEEDS + "5,Bruno,2052-01-02 08:00\n"
    folder = write({"refeeds.csv": slip, "readings.csv": "refeed,elapsed,ph\n3,30,5\n5,1,5\n"})
    collection, day = read_up_to_last_day(folder, dt.date(2026, 1, 1))
    assert day == dt.date(2025, 3, 2)
    assert collection["refeeds"]["refeed"].tolist() == ["1", "2", "3", "4"]
    assert collection["readings"]["refeed"].tolist() == ["3"]


def test_a_collection_without_records_reaches_today(write):
    folder = write({"refeeds.csv": "refeed,culture,fed_at\n", "readings.csv": "refeed,elapsed,ph\n"})
    collection, day = read_up_to_last_day(folder, dt.date(2026, 1, 1))
    assert day == last_sound_day(collection, dt.date(2026, 1, 1)) == dt.date(2026, 1, 1)
    assert isinstance(collection["refeeds"], pd.DataFrame)


def test_one_whose_receipt_stands_in_the_events_alone_is_not_there_before(read):
    """Doris came by an event; Bruno was withdrawn before it came again, so that it had been there."""
    events = f"{EVENTS}5,Doris,2025-04-10,received\n6,Bruno,2025-05-10,received\n"
    tables = {"cultures.csv": f"{CULTURES}Doris,\n", "events.csv": events, "refeeds.csv": REFEEDS}
    shelf = read(tables)
    for day, there in (("2025-04-09", ["Alba"]), ("2025-04-10", ["Alba", "Doris"]), ("2025-03-01", ["Alba", "Bruno"])):
        on = dt.date.fromisoformat(day)
        assert sorted(living_cultures(shelf, on)) == there
        assert sorted(living_cultures(read(tables, as_of=on), on)) == there
