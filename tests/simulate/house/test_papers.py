"""The papers beside the feeding log: whole, in order, and never later than the last feeding."""

import pandas as pd
import pytest

from leavenbench.columns import TABLES
from leavenbench.simulate.house.demo import simulate_demo

PAPERS = ["backups", "backup_uses", "isolates", "identity_checks", "dispatches"]


@pytest.fixture(scope="module", params=[1, 2])
def demo(request):
    return simulate_demo(request.param)


@pytest.mark.parametrize("name", sorted(TABLES))
def test_every_table_of_the_design_is_filled_as_declared(demo, name):
    table, declared = demo.tables[name], TABLES[name]
    assert len(table) > 0
    assert set(table.columns) <= set(declared.by_name)
    planted = demo.truth["typing_faults"].query("table == @name")["row"]  # the mistakes break the rules on purpose
    table = table.drop(index=planted)
    if declared.key:
        assert table[declared.key].is_unique
    for column in table:
        rule, values = declared.by_name[column], table[column].dropna()
        if rule.kind == "choice":
            assert set(values) <= set(rule.choices)
        if rule.kind == "yes_no":
            assert set(values) <= {"yes", "no"}
        if rule.kind in ("number", "whole"):
            assert values.astype(float).between(*rule.possible).all()
        if rule.needed:
            assert table[column].notna().all()
        if rule.refers_to == "probe_checks":
            assert set(values) <= set(demo.tables["probe_checks"]["probe"])
        elif rule.refers_to:
            known = set(demo.tables[rule.refers_to][TABLES[rule.refers_to].key])
            lost = set(demo.truth["typing_faults"].query("column == 'refeed'")["right"])  # its number was typed wrong
            assert set(values) <= known | lost


@pytest.mark.parametrize("name", PAPERS)
def test_no_paper_is_later_than_the_last_feeding(demo, name):
    moment = TABLES[name].moment
    last = demo.tables["refeeds"]["fed_at"].max()
    assert demo.tables[name][moment].between(pd.Timestamp("2021-01-01"), last).all()


def test_a_back_up_is_used_after_it_was_made_and_not_more_often_than_it_has_portions(demo):
    backups = demo.tables["backups"].set_index("backup")
    uses = demo.tables["backup_uses"]
    assert (uses["used_on"] > backups["made_on"].reindex(uses["backup"]).to_numpy()).all()
    taken = uses.groupby("backup")["units"].sum()
    assert (taken <= backups["units"].reindex(taken.index)).all()


def test_a_culture_restored_came_from_a_portion_of_its_own(demo):
    events = demo.tables["events"]
    (restored,) = events.loc[events["kind"] == "restored"].to_dict("records")
    backup = demo.tables["backups"].set_index("backup").loc[restored["source"]]
    assert backup["culture"] == restored["culture"] == "Fennock"
    (use,) = demo.tables["backup_uses"].query("purpose == 'restore'").to_dict("records")
    assert (use["backup"], use["used_on"]) == (restored["source"], restored["happened_on"])
    assert use["result"] == "alive"


def test_colonies_of_a_plating_add_up_to_those_picked(demo):
    isolates = demo.tables["isolates"]
    by_plating = isolates.groupby(["culture", "sampled_on"])
    assert (by_plating["colonies"].sum() == by_plating["colonies_picked"].first()).all()
    assert set(isolates["kind"]) >= {"yeast", "lactic"}


def test_a_portion_arrives_after_it_was_sent(demo):
    dispatches = demo.tables["dispatches"]
    assert (dispatches["arrived_on"] > dispatches["sent_on"]).all()


def test_some_depositors_are_public_and_some_are_not(demo):
    assert set(demo.tables["depositors"]["public"]) == {"yes", "no"}
    assert set(demo.tables["cultures"]["public"]) == {"yes", "no"}
