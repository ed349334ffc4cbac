"""The safety net and the organisms at a year's end."""

from __future__ import annotations

import pandas as pd
import pytest

from leavenbench.care.year.lives import lives
from leavenbench.care.year.net import tell_net
from leavenbench.care.year.organisms import tell_organisms
from leavenbench.care.year.period import Period

day = pd.Timestamp


@pytest.fixture
def house(make_collection):
    """Return a function that makes a collection of four cultures, each fed once in 2020, with what more is given."""

    def make(**tables):
        names = ["A", "B", "C", "D"]
        fed = {"refeed": names, "culture": names, "fed_at": [day("2020-01-01 08:00", tz="UTC")] * 4}
        return make_collection(
            **{"cultures": {"culture": names, "received": [day("2019-01-01")] * 4}, "refeeds": fed} | tables
        )

    return make


def net(collection, year=2022):
    return tell_net(collection, Period.of(collection, year))


BACKUPS = {
    "backup": ["K1", "K2", "K3"],
    "culture": ["A", "B", "C"],
    "kind": ["whole_frozen", "whole_frozen", "isolates_frozen"],
    "made_on": [day("2021-07-01"), day("2022-07-02"), day("2022-01-01")],
    "units": [5, 4, 3],
}


def test_cover_is_told_for_both_ends_of_the_year(house):
    uses = {"backup": ["K1"], "used_on": [day("2022-05-01")], "units": [1], "purpose": ["test"], "result": ["alive"]}
    tables, _ = net(house(backups=BACKUPS, backup_uses=uses))
    cover = tables["cover"].set_index("cover")
    assert cover["when_it_began"].to_dict() == {"full": 0, "unproven": 1, "partial": 0, "none": 3}
    assert cover["when_it_ended"].to_dict() == {"full": 1, "unproven": 1, "partial": 1, "none": 1}
    assert cover["names"].to_dict() == {"full": "A", "unproven": "B", "partial": "C", "none": "D"}


def test_ages_and_proof_are_told_by_form(house):
    uses = {
        "backup": ["K1", "K2"], "used_on": [day("2022-05-01"), day("2022-09-01")], "units": [1, 1],
        "purpose": ["test", "test"], "result": ["alive", "dead"],
    }  # fmt: skip
    tables, _ = net(house(backups=BACKUPS, backup_uses=uses))
    ages = tables["form_ages"].set_index("kind")
    assert ages.loc["whole_frozen", ["batches", "units_left", "proven", "unproven", "gone"]].tolist() == [1, 4, 1, 0, 1]
    assert ages.loc["whole_frozen", "age_middle_y"] == pytest.approx(548 / 365.25)  # 1 July 2021 to 31 December 2022
    assert ages.loc["whole_dried", "batches"] == 0
    assert pd.isna(ages.loc["whole_dried", "age_middle_y"])


def test_a_restoration_is_joined_with_the_portion_that_it_came_from(house):
    uses = {
        "backup": ["K1", "K1"], "used_on": [day("2022-05-01"), day("2022-05-04")], "units": [1, 1],
        "purpose": ["restore", "restore"], "result": ["dead", "alive"], "steps_to_pass": [None, 6],
    }  # fmt: skip
    events = {
        "event": ["1", "2", "3"], "culture": ["A", "A", "D"], "kind": ["lost", "restored", "restored"],
        "happened_on": [day("2022-04-01"), day("2022-05-04"), day("2022-08-01")], "source": [None, "K1", "a baker"],
    }  # fmt: skip
    tables, _ = net(house(backups=BACKUPS, backup_uses=uses, events=events))
    made = tables["restorations"]
    assert made[["culture", "backup", "back"]].to_numpy().tolist() == [
        ["A", "K1", False], ["A", "K1", True], ["D", "a baker", True],
    ]  # fmt: skip
    assert made.loc[1, ["kind", "age_d", "result", "steps_to_pass"]].tolist() == ["whole_frozen", 307, "alive", 6]


def test_what_was_sent_is_of_the_year_and_the_undated_is_said(house):
    sent = {
        "dispatch": ["1", "2", "3"], "culture": ["A", "B", "C"],
        "sent_on": [day("2021-12-31"), day("2022-01-01"), None], "reason": ["return", "return", "study"],
    }  # fmt: skip
    tables, said = net(house(dispatches=sent))
    assert tables["sent"]["dispatch"].tolist() == ["2"]
    assert "1 dispatch without a day could not be placed in a year" in said


def test_who_hangs_on_a_flour_of_a_single_source(house):
    fed_at = [day("2022-01-01 08:00", tz="UTC")] * 3
    tables, _ = net(
        house(
            refeeds={
                "refeed": ["1", "2", "3"], "culture": ["A", "B", "C"], "fed_at": fed_at, "purpose": ["round"] * 3,
                "round": [1] * 3, "step": [1] * 3, "lot": ["r", "r", "w"], "flour_g": [100.0, 100.0, 50.0],
            },
            flours={"flour": ["rye", "wheat"], "supplier": ["the mill", None], "sole_source": [True, False]},
            flour_lots={"lot": ["r", "w"], "flour": ["rye", "wheat"], "received": [day("2021-12-01")] * 2,
                        "mass_g": [1000.0, 1000.0]},
        )
    )  # fmt: skip
    # 1000 g less 200 fed feed four more rounds of 200 g
    assert tables["sole_flours"].to_numpy().tolist() == [["rye", "the mill", 2, "A, B", 1, 800.0, 4.0]]


def test_where_nothing_is_recorded_it_is_said(house):
    tables, said = net(house())
    assert tables["cover"].set_index("cover")["when_it_ended"].to_dict()["none"] == 4
    assert tables["form_ages"]["batches"].sum() == 0
    assert said == ("No back-up is recorded; which flour has a single source is not recorded; no dispatch is recorded.")


# --- organisms


def organisms(collection):
    return tell_organisms(collection, lives(collection), Period.of(collection, 2022))


def test_an_organism_in_one_alone_is_found_in_one_of_those_sampled(house):
    isolates = {
        "isolate": list("12345"), "culture": ["A", "A", "B", "B", "C"], "sampled_on": [day("2021-05-01")] * 5,
        "taxon": ["Lactobacillus brevis", "Candida humilis", "Levilactobacillus brevis", "Pichia sp.", None],
        "kind": ["lactic", "yeast", "lactic", "yeast", "yeast"], "colonies": [3, 2, 4, 1, None],
    }  # fmt: skip
    tables, said = organisms(house(isolates=isolates))
    # the old and the new name are one species; C was sampled, but none of its organisms was named
    assert tables["species"][["species", "cultures", "sampled", "names", "once", "words"]].to_numpy().tolist() == [
        ["Kazachstania humilis", 1, 2, "A", True, "found in one of 2 sampled"],
        ["Levilactobacillus brevis", 2, 2, "A, B", False, "found in 2 of 2 sampled"],
    ]
    assert tables["sampled"][["culture", "isolates", "colonies", "species", "unnamed"]].to_numpy().tolist() == [
        ["A", 2, 5, 2, 0], ["B", 2, 5, 1, 1], ["C", 1, 0, 0, 1],
    ]  # fmt: skip
    assert said == "1 living culture never sampled."


def test_organisms_of_the_lost_are_not_counted(house):
    isolates = {"isolate": ["1", "2"], "culture": ["A", "B"], "taxon": ["Candida humilis"] * 2}
    events = {"event": ["1"], "culture": ["B"], "kind": ["lost"], "happened_on": [day("2022-05-01")]}
    tables, _ = organisms(house(isolates=isolates, events=events))
    assert tables["species"][["cultures", "sampled", "once"]].to_numpy().tolist() == [[1, 1, True]]


#: First plot of the dune meadow data: richness 5, N1 4.22272959156, N2 3.76744186047 (R's vegan); its coverage by
#: equation 4a of Chao & Jost 2012 is 1 - 1/18 * 17 / (17 + 2).
DUNE = [1, 4, 7, 4, 2]
KINDS = ["Candida humilis", "Lactobacillus brevis", "Pichia anomala", "Weissella cibaria", "Acetobacter malorum"]


def test_kinds_are_told_of_all_together_and_of_each_at_one_coverage(house):
    isolates = {
        "isolate": [str(number) for number in range(8)],
        "culture": ["A"] * 5 + ["B", "B", "D"],
        "taxon": [*KINDS, "Levilactobacillus brevis", "Kazachstania humilis", "Pichia kudriavzevii"],
        "colonies": [*DUNE, 6, None, 50],
    }
    events = {"event": ["1"], "culture": ["D"], "kind": ["lost"], "happened_on": [day("2022-05-01")]}
    table = organisms(house(isolates=isolates, events=events))[0]["diversity"]
    assert table["culture"].fillna("").tolist() == ["", "A", "B"]  # D no longer lives
    assert table["colonies"].tolist() == [25, 18, 7]  # an isolate without a number is one colony
    assert table["organisms"].tolist() == [5, 5, 2]  # the names in B are others for two of those in A
    own = table.set_index("culture").loc["A"]
    assert own[["hill_0", "hill_1", "hill_2"]].tolist() == pytest.approx([5.0, 4.22272959156, 3.76744186047])
    assert own["coverage"] == pytest.approx(1.0 - 1 / 18 * 17 / 19)
    # of A, the least covered, nothing need be taken away
    assert table["common_coverage"].tolist() == pytest.approx([own["coverage"]] * 3)
    assert own["hill_1_common"] == pytest.approx(own["hill_1"])
    assert table["hill_1_common"].iloc[0] < table["hill_1"].iloc[0]
    assert table.attrs["caption"].startswith("2 living cultures and all together, 25 colonies named to the species")


def test_nothing_sampled_is_said(house):
    tables, said = organisms(house())
    assert tables["sampled"].empty
    assert tables["species"].empty
    assert tables["diversity"].empty
    assert tables["diversity"].attrs["caption"].startswith("0 living cultures")
    assert said == "No living culture was ever sampled for its organisms."
