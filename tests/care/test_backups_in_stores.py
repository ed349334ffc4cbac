"""If a store fails: what is in it, where the copies are, and what sat through it."""

from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest

from leavenbench.care.backups import if_this_store_fails, sat_through
from leavenbench.care.backups.jars import jars_at
from leavenbench.columns import RESULTS
from leavenbench.errors import CannotRead

ON = dt.date(2025, 6, 30)
STORES = {"store": ["cellar", "pantry", "chest"], "kind": ["cold", "cold", "freezer"]}


def at(*moments):
    return pd.to_datetime(list(moments), utc=True)


def fed(**columns):
    names = columns["culture"]
    jar = {"refeed": [f"r{n}" for n in range(len(names))], "purpose": "round", "seed_g": 66.0, "flour_g": 132.0}
    return jar | {"water_g": 132.0, "fed_at": at(*["2025-06-01 08:00"] * len(names))} | columns


def backups(*rows):
    named = [dict(zip(("backup", "culture", "kind", "store"), row, strict=True)) for row in rows]
    return pd.DataFrame(named).assign(made_on=pd.Timestamp("2025-01-01"), units=4).to_dict("list")


def woken(*names):
    return {"backup": list(names), "used_on": pd.Timestamp("2025-02-01"), "units": 1, "purpose": "test"} | {
        "result": "alive"
    }


@pytest.fixture
def house(make_collection):
    """Six cultures with their jars in the pantry, each with other copies elsewhere; and a lost one in the chest."""
    cultures = ["Alba", "Bruno", "Cato", "Dora", "Elli", "Fritz"]
    return make_collection(
        cultures={"culture": [*cultures, "Lost"]},
        refeeds=fed(culture=cultures, cold_store=["pantry"] * 5 + ["cellar"]),
        stores=STORES,
        events={"event": ["e"], "culture": ["Lost"], "happened_on": pd.to_datetime(["2025-03-01"]), "kind": ["lost"]},
        backups=backups(
            ("K1", "Alba", "whole_frozen", "chest"),
            ("K2", "Bruno", "whole_frozen", "chest"),
            ("K3", "Cato", "isolates_frozen", "chest"),
            ("K4", "Dora", "whole_frozen", "pantry"),
            ("K5", "Fritz", "whole_dried", "pantry"),
            ("K6", "Lost", "whole_dried", "chest"),
        ),
        backup_uses=woken("K1", "K4"),
    )


def test_what_exists_nowhere_else_is_carried_out_first(house):
    made = if_this_store_fails(house, "pantry", ON)
    assert made[["culture", "elsewhere"]].values.tolist() == [
        ["Dora", "nothing"],  # its only back-up lies beside it
        ["Elli", "nothing"],
        ["Cato", "isolates alone"],
        ["Bruno", "unproven"],  # never woken
        ["Alba", "proven"],
        ["Fritz", "proven"],  # its jar stands in the cellar
    ]
    assert made["carry"].tolist() == [1, 2, 3, 4, 5, 6]
    rows = made.set_index("culture")
    assert rows.loc["Dora", ["jar_g", "units_here"]].tolist() == [330.0, 3]  # 66 + 132 + 132 g; one of four was woken
    assert not rows.loc["Fritz", "jar_here"]
    assert rows.loc["Fritz", "copies"] == "jar in cellar"
    assert rows.loc["Cato", "why"].endswith("they bring back organisms, not the community")


def test_back_ups_of_a_lost_culture_are_among_what_to_save(house):
    made = if_this_store_fails(house, "chest", ON).set_index("culture")
    assert made.index[0] == "Lost"
    assert made.loc["Lost", ["living", "elsewhere"]].tolist() == [False, "nothing"]
    assert made.loc["Alba", "elsewhere"] == "proven"  # the jar in the pantry


def test_an_unknown_store_is_named_with_those_that_there_are(house):
    with pytest.raises(CannotRead, match="the stores are cellar, chest, pantry"):
        if_this_store_fails(house, "attic", ON)


def test_the_old_jar_stays_in_the_cold_until_the_new_one_has_its_place(make_collection):
    shelf = make_collection(
        cultures={"culture": ["Alba"]},
        stores=STORES,
        refeeds=fed(
            culture=["Alba", "Alba"],
            fed_at=at("2025-06-01 08:00", "2025-06-29 08:00"),
            cooled_at=at("2025-06-02 08:00", None),
            cold_store=["pantry", None],
        ),
    )
    (row,) = if_this_store_fails(shelf, "pantry", ON).to_dict("records")
    assert row["jar_here"]
    assert row["elsewhere"] == "unproven"
    assert row["copies"] == "jar fed on 2025-06-29, place not noted"
    assert pd.isna(jars_at(shelf, pd.Timestamp("2025-06-01 20:00", tz="UTC")).loc["Alba", "store"])  # not yet cooled


def test_a_jar_that_was_moved_is_where_it_was_moved_to(make_collection):
    moved = {"event": ["e"], "culture": ["Alba"], "store": ["cellar"], "kind": ["moved"]}
    shelf = make_collection(
        cultures={"culture": ["Alba"]},
        stores=STORES,
        refeeds=fed(culture=["Alba"], cold_store=["pantry"]),
        events=moved | {"happened_on": pd.to_datetime(["2025-06-10"])},
    )
    assert if_this_store_fails(shelf, "cellar", ON)["jar_here"].tolist() == [True]
    assert if_this_store_fails(shelf, "pantry", ON).empty
    assert jars_at(shelf, pd.Timestamp("2025-06-09 12:00", tz="UTC")).loc["Alba", "store"] == "pantry"


def warm_pantry(make_collection, **tables):
    hours = pd.date_range("2025-06-10", periods=24, freq="h", tz="UTC")
    warm = [12.0 if 2 <= hour <= 9 else 4.0 for hour in range(24)]
    return make_collection(
        cultures={"culture": ["Alba", "Bruno", "Cato"]},
        stores=STORES,
        store_log={"store": ["pantry"] * 24, "read_at": hours, "temperature_degC": warm},
        **tables,
    )


def test_an_excursion_is_told_with_what_sat_through_it(make_collection):
    shelf = warm_pantry(
        make_collection,
        refeeds=fed(
            culture=["Alba", "Bruno", "Cato", "Alba"],
            fed_at=at("2025-06-01 08:00", "2025-06-01 08:00", "2025-06-09 08:00", "2025-06-12 08:00"),
            cooled_at=at("2025-06-01 18:00", "2025-06-01 18:00", "2025-06-10 05:00", "2025-06-12 18:00"),
            cold_store=["pantry", "cellar", "pantry", "pantry"],
        ),
        backups=backups(("K1", "Bruno", "whole_dried", "pantry")),
    )
    made = sat_through(shelf, ON)
    assert made[["culture", "what", "seen_since"]].values.tolist() == [
        ["Alba", "jar", True],  # fed again two days later
        ["Cato", "jar", False],  # put into the warm store while it was warm
        ["Bruno", "back-up", False],
    ]
    assert made["hours"].eq(7.0).all()  # read above 8 degC from 2 to 9 o'clock
    assert made["failed"].all()
    assert list(made.columns) == RESULTS["sat_through"].names


def test_an_excursion_of_an_empty_store_is_told_too(make_collection):
    (row,) = sat_through(warm_pantry(make_collection), ON).to_dict("records")
    assert row["store"] == "pantry"
    assert pd.isna(row["culture"])


def test_a_failure_that_the_log_does_not_show_is_told_by_its_note_and_one_that_it_shows_only_once(make_collection):
    events = {"event": ["e", "f"], "store": ["cellar", "pantry"], "kind": ["store failure"] * 2}
    shelf = warm_pantry(make_collection, events=events | {"happened_on": pd.to_datetime(["2025-06-15", "2025-06-09"])})
    made = sat_through(shelf, ON)
    assert made["store"].tolist() == ["pantry", "cellar"]
    assert pd.isna(made["hours"].iloc[1])
    assert sat_through(shelf, dt.date(2025, 6, 12))["store"].tolist() == ["pantry"]


def test_a_failure_noted_in_a_house_without_a_log(make_collection):
    events = {"event": ["e"], "store": ["pantry"], "kind": ["store failure"]}
    shelf = make_collection(
        cultures={"culture": ["Alba"]},
        refeeds=fed(culture=["Alba"], cold_store=["pantry"]),
        events=events | {"happened_on": pd.to_datetime(["2025-06-15"])},
    )
    (row,) = sat_through(shelf, ON).to_dict("records")
    assert (row["culture"], row["failed"], row["seen_since"]) == ("Alba", True, False)
    assert row["from_at"] == pd.Timestamp("2025-06-15", tz="UTC")
