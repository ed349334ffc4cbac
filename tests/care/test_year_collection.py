"""Who lives in a collection, who came and who went in a year."""

from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest

from leavenbench.care.year.collection import tell_collection
from leavenbench.care.year.lives import lives, living_on
from leavenbench.care.year.period import Period
from leavenbench.records.living import living_cultures


@pytest.fixture
def house(make_collection):
    """Return a function that makes a collection from rows of cultures, events and first feedings."""

    def make(known=(), events=(), fed=(), **more):
        tables = {
            "refeeds": {
                "refeed": [str(number) for number in range(len(fed))],
                "culture": [name for name, _ in fed],
                "fed_at": [pd.Timestamp(day, tz="UTC") for _, day in fed],
            },
            "events": {
                "event": [str(number) for number in range(len(events))],
                "culture": [event[0] for event in events],
                "happened_on": [pd.Timestamp(event[1]) for event in events],
                "kind": [event[2] for event in events],
            },
        }
        if known:
            received = [pd.Timestamp(day) for _, day in known]
            tables["cultures"] = {"culture": [name for name, _ in known], "received": received}
        for name, columns in more.items():
            tables.setdefault(name, {}).update(columns)
        return make_collection(**tables)

    return make


def balance(collection, year=2022):
    tables, _ = tell_collection(collection, lives(collection), Period.of(collection, year))
    counts = tables["balance"].set_index("what")["cultures"]
    went = counts["lost"] + counts["withdrawn"]
    came = counts[["received", "first seen", "restored"]].sum()
    assert counts["living when it began"] + came - went == counts["living when it ended"]
    living = living_cultures(collection, dt.date(year, 12, 31))
    assert counts["living when it ended"] == len(living)
    return {name: number for name, number in counts.items() if number}


def test_each_that_came_or_went_is_counted_once(house):
    shelf = house(
        [("old", "2015-01-01"), ("new", "2022-03-01"), ("dead", "2015-01-01"), ("back", "2015-01-01"), ("off", None)],
        [
            ("new", "2022-03-02", "received"),  # the same arrival, entered twice
            ("dead", "2022-05-01", "lost"),
            ("dead", "2022-05-08", "lost"),  # and the same loss
            ("back", "2021-05-01", "lost"),
            ("back", "2022-06-01", "restored"),
            ("off", "2022-07-01", "withdrawn"),
        ],
    )
    assert balance(shelf) == {
        "living when it began": 3,  # old, dead, off
        "received": 1,
        "restored": 1,
        "lost": 1,
        "withdrawn": 1,
        "living when it ended": 3,  # old, new, back
    }


def test_lost_and_restored_within_a_year_is_both(house):
    shelf = house([("A", "2015-01-01")], [("A", "2022-02-01", "lost"), ("A", "2022-08-01", "restored")])
    assert balance(shelf) == {"living when it began": 1, "restored": 1, "lost": 1, "living when it ended": 1}


def test_without_a_day_of_receipt_it_is_first_seen_when_first_fed(house):
    shelf = house(fed=[("A", "2021-03-01"), ("B", "2022-03-01"), ("B", "2022-05-01")])
    assert balance(shelf) == {"living when it began": 1, "first seen": 1, "living when it ended": 2}


def test_a_restoration_of_what_was_not_lost_moves_nobody(house):
    shelf = house([("A", "2015-01-01")], [("A", "2022-08-01", "restored")])
    assert balance(shelf) == {"living when it began": 1, "living when it ended": 1}
    assert len(lives(shelf)) == 1


def test_a_life_lasts_from_its_day_of_receipt_and_not_over_its_day_of_loss(house):
    lived = lives(house([("A", "2022-03-01")], [("A", "2022-05-01", "lost")]))
    days = [pd.Timestamp(day) for day in ("2022-02-28", "2022-03-01", "2022-04-30", "2022-05-01")]
    assert [bool(living_on(lived, day).iloc[0]) for day in days] == [False, True, True, False]


def test_shares_are_of_those_that_live_and_the_unknown_stand_last(house):
    names = ["A", "B", "C", "D"]
    shelf = house(
        [(name, "2020-01-01") for name in names],
        [("D", "2022-02-01", "lost")],
        cultures={"flour": ["dark", None, "light", "dark"], "country": ["AT", "AT", None, "IT"]},
        flours={"flour": ["dark"], "grain": ["rye"]},
    )
    tables, said = tell_collection(shelf, lives(shelf), Period.of(shelf, 2022))
    # of a flour whose grain is not noted its name is told
    assert tables["by_grain"][["grain", "cultures"]].to_numpy().tolist() == [["light", 1], ["rye", 1], ["not noted", 1]]
    assert tables["by_country"][["country", "cultures"]].to_numpy().tolist() == [["AT", 2], ["not noted", 1]]
    assert tables["by_country"]["share_pct"].to_numpy() == pytest.approx([200 / 3, 100 / 3])
    assert said == "Not noted of any living culture: latitude and longitude."


def test_ages_are_since_receipt_and_the_unknown_told_apart(house):
    shelf = house([("A", "2022-07-01"), ("B", "2017-12-31"), ("C", "2012-12-30"), ("D", None)])
    tables, _ = tell_collection(shelf, lives(shelf), Period.of(shelf, 2022))
    ages = tables["ages"].set_index("culture")
    assert ages["age"].to_dict() == {
        "A": "under 1 year",
        "B": "1 to 5 years",  # five calendar years are 1826 days, and 5 x 365.25 are 1826.25
        "C": "10 years or more",
        "D": "not noted",
    }
    assert ages.loc["A", "age_y"] == pytest.approx(183 / 365.25)


def test_places_are_as_recorded(house):
    shelf = house(
        [("A", "2020-01-01"), ("B", "2020-01-01")],
        cultures={"latitude": [48.2, None], "longitude": [16.4, None]},
    )
    places = tell_collection(shelf, lives(shelf), Period.of(shelf, 2022))[0]["places"]
    assert places.to_numpy().tolist() == [["A", 48.2, 16.4, "not noted"]]
    assert places.attrs["caption"].startswith("1 of 2 cultures living on 31 December 2022")
