"""Who can be sent, what went out, and whom to write to."""

from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest

from leavenbench.care.backups import cover, irreplaceable, letters, portions, sent
from leavenbench.care.cautions import DEEP_COLD, DRY_ICE, allergens_in

ON = dt.date(2025, 6, 30)


def fed(culture="Alba", **columns):
    jar = {"refeed": ["a"], "culture": [culture], "purpose": ["round"], "passed": [True], "cold_store": ["cellar"]}
    jar |= {"seed_g": [66.0], "flour_g": [132.0], "water_g": [132.0], "round": [1], "step": [1]}
    return jar | {"fed_at": pd.to_datetime(["2025-06-01 08:00"], utc=True)} | columns


def listed(**columns):
    row = {"culture": ["Alba"], "standing": ["steady"], "floor": ["met"], "identity_doubt": [False]}
    return pd.DataFrame(row | columns)


@pytest.fixture
def offer(make_collection):
    """Return a function that tells of the portion of a shelf of one."""

    def make(seen, refeeds=None, **tables):
        shelf = make_collection(cultures={"culture": ["Alba"], "flour": ["rye"]}, refeeds=refeeds or fed(), **tables)
        (row,) = portions(shelf, seen, ON).to_dict("records")
        return row

    return make


def test_a_jar_that_passed_is_offered_with_what_belongs_on_the_label(offer):
    row = offer(listed())
    assert row["offered"]
    assert row["jar_g"] == 330.0
    assert row["allergens"] == "rye"
    assert row["remark"] == ""


def test_a_jar_whose_floor_was_missed_is_not_offered_whatever_else_is_well(offer):
    row = offer(listed(floor=["missed"]))
    assert not row["offered"]
    assert row["why_not"] == "did not sour far enough in time"


def test_not_measured_blocks_nothing_and_is_printed(offer):
    row = offer(listed(floor=["not measured"]))
    assert row["offered"]
    assert row["remark"] == "whether it soured far enough was not measured"


@pytest.mark.parametrize(
    ("seen", "refeeds", "why"),
    [
        ({}, {"passed": [False]}, "its last jar has not passed"),
        ({}, {"passed": [None]}, "whether its last jar passed is not noted"),
        ({}, {"signs": ["pink streak"]}, "signs noted: pink streak"),
        ({"identity_doubt": [True]}, {}, "perhaps not itself"),
    ],
)
def test_a_jar_that_did_not_pass_or_is_suspect_is_not_offered(offer, seen, refeeds, why):
    row = offer(listed(**seen), fed(**refeeds))
    assert not row["offered"]
    assert row["why_not"] == why


def test_a_jar_whose_store_failed_since_is_fed_first(offer):
    def failed(on):
        return {"event": ["e"], "store": ["cellar"], "kind": ["store failure"], "happened_on": pd.to_datetime([on])}

    assert offer(listed(), events=failed("2025-06-10"))["why_not"] == "cellar failed on 2025-06-10: feed it first"
    assert offer(listed(), events=failed("2025-05-10"))["offered"]


def test_a_slipping_culture_may_be_sent_and_the_receiver_is_told(offer):
    assert offer(listed(standing=["slipping"]))["remark"] == "its standing is slipping"


def test_the_label_names_what_the_last_round_was_fed_too(offer):
    flours = {"flour": ["rye", "light"], "grain": ["rye", "Spelt"]}
    row = offer(listed(), fed(lot=["l1"]), flours=flours, flour_lots={"lot": ["l1"], "flour": ["light"]})
    assert row["allergens"] == "spelt, rye"


def test_labelled_grains_and_the_cold_ones():
    # wheat, rye, barley, oats: EU 1169/2011 Annex II (checks.md, from memory); buckwheat is no wheat
    assert allergens_in(["wholemeal wheat flour", "oat", "Barley", "rye", "buckwheat", "rice", "teff"]) == [
        "wheat", "rye", "barley", "oat",
    ]  # fmt: skip
    assert "-78.5" in DRY_ICE  # checks.md, read: ventilate, never airtight
    assert "airtight" in DRY_ICE
    assert "-80" in DEEP_COLD  # checks.md: gloves and eye protection, common practice
    assert "gloves" in DEEP_COLD


@pytest.fixture
def went_out(make_collection):
    """Return a function that tells the notice of one dispatch."""

    def make(events=None, **columns):
        well = {"dispatch": ["d"], "culture": ["Alba"], "sent_on": pd.to_datetime(["2025-05-01"]), "to": ["a friend"]}
        well |= {"terms": ["not to be sold on"], "allergen_label": [True], "arrived_alive": [True]}
        shelf = make_collection(
            cultures={"culture": ["Alba", "Rika"], "flour": ["rye", "rice"]},
            dispatches=well | columns,
            events=events or {},
        )
        (row,) = sent(shelf, ON).to_dict("records")
        return row["notice"]

    return make


@pytest.mark.parametrize(
    ("columns", "notice"),
    [
        ({}, ""),
        ({"allergen_label": [None]}, "the label did not name rye"),
        ({"allergen_label": [False]}, "the label did not name rye"),
        ({"allergen_label": [None], "culture": ["Rika"]}, ""),  # rice is no labelled allergen
        ({"terms": [None]}, "no terms noted"),
        ({"arrived_alive": [None]}, "not known whether it arrived alive: ask"),
        ({"arrived_alive": [None], "sent_on": pd.to_datetime(["2025-06-25"])}, ""),  # still under way
        ({"arrived_alive": [False]}, "did not arrive alive"),
    ],
)
def test_what_is_missing_of_a_dispatch_is_a_notice(went_out, columns, notice):
    assert went_out(**columns) == notice


def test_of_a_culture_lost_since_the_receiver_may_hold_the_last_portion(went_out):
    lost = {"event": ["e"], "culture": ["Alba"], "happened_on": pd.to_datetime(["2025-06-01"]), "kind": ["lost"]}
    assert went_out(lost) == "the culture is lost here: ask whether the receiver's lives"


def test_a_depositor_is_written_to_with_every_reason_and_nobody_without_one(make_collection):
    shelf = make_collection(
        cultures={
            "culture": ["Alba", "Bruno", "Cato", "Dora", "Elli"],
            "flour": ["emmer", "rye", "rye", "rye", "rye"],
            "depositor": ["mill", "baker", "baker", None, "baker"],
        },
        depositors={"depositor": ["mill", "baker"], "name": ["A mill", "A baker"], "contact": ["x", "y"]},
        flours={"flour": ["emmer", "rye"], "supplier": ["Hill mill", "Vale mill"], "sole_source": [True, False]},
        backups={
            "backup": ["K1", "K2", "K4"],
            "culture": ["Alba", "Cato", "Dora"],
            "kind": ["live_duplicate", "whole_frozen", "whole_frozen"],
            "made_on": pd.to_datetime(["2025-05-01"] * 3),
            "site": ["at the mill", "here", "here"],
            "units": [1, 8, 8],
        },
        events={"event": ["e"], "culture": ["Bruno"], "happened_on": pd.to_datetime(["2025-06-01"]), "kind": ["lost"]},
    )
    covered = cover(shelf, ON)
    seen = pd.DataFrame(
        {"culture": ["Alba", "Cato", "Dora", "Elli"], "standing": ["steady", "steady", "urgent", "low"]}
    )
    made = letters(shelf, seen, covered, irreplaceable(shelf, covered, ON), ON)
    assert made[["depositor", "culture"]].values.tolist()[:3] == [
        ["baker", "Bruno"],
        ["baker", "Elli"],
        ["mill", "Alba"],
    ]
    why = made.set_index("culture")["why"]
    assert why["Bruno"] == "it was lost on 2025-06-01"
    assert "ask whether its live duplicate lives (at the mill)" in why["Alba"]
    assert "its flour has a single source: emmer from Hill mill" in why["Alba"]
    assert "Cato" not in why  # steady, covered by a whole form, flour to be had elsewhere
    assert why["Elli"] == "no whole form of it is put by"
    assert why["Dora"] == "it is urgent"
    assert pd.isna(made.set_index("culture").loc["Dora", "depositor"])  # nobody to write to, and not forgotten
