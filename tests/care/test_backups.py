"""What of each culture is put by, whether it lives, and what is overdue: exact small cases."""

from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest
from statsmodels.stats.proportion import proportion_confint

from leavenbench.care.backups import Standards, cover, forms, revivals
from leavenbench.columns import RESULTS

ON = dt.date(2025, 6, 30)


def day(*days):
    return pd.to_datetime(list(days))


def backup(name="K1", kind="whole_frozen", culture="Alba", made_on="2024-01-10", **more):
    return {"backup": name, "culture": culture, "kind": kind, "made_on": pd.Timestamp(made_on), "units": 8} | more


def use(used_on, result=None, units=1, purpose="test", backup="K1", **more):
    row = {"backup": backup, "used_on": pd.Timestamp(used_on), "units": units, "purpose": purpose, "result": result}
    return row | more


@pytest.fixture
def net(make_collection):
    """Return a function that makes a collection of Alba and Bruno with some back-ups and uses of them."""

    def make(backups=(), uses=(), **tables):
        return make_collection(
            cultures={"culture": ["Alba", "Bruno"]},
            backups=pd.DataFrame(list(backups)).to_dict("list"),
            backup_uses=pd.DataFrame(list(uses)).to_dict("list"),
            **tables,
        )

    return make


def of_k1(collection, on=ON, standards=None):
    return forms(collection, on, standards or Standards()).set_index("backup").loc["K1"]


def test_what_is_left_is_what_was_made_less_what_was_used_up_to_the_day(net):
    uses = [use("2024-05-01", units=2), use("2024-06-01", units=None), use("2025-07-01", units=5)]
    row = of_k1(net([backup()], uses))
    assert row["units_left"] == 5  # 8 - 2 - 1; the last use is after the day
    assert row["age_d"] == 537  # 10 January 2024 to 30 June 2025
    assert row["notice"] == ""


def test_more_taken_than_made_is_a_notice_and_no_error(net):
    row = of_k1(net([backup(units=2)], [use("2024-05-01", units=3)]))
    assert row["units_left"] == 0
    assert row["state"] == "used up"
    assert row["notice"] == "3 portions of K1 were taken, and 2 made"


def test_a_live_duplicate_grows_again_and_is_gone_only_when_discarded(net):
    duplicate = backup(kind="live_duplicate", units=1, restock_level=1)
    tested = net([duplicate], [use("2025-05-01", "alive")])
    assert of_k1(tested)["units_left"] == 1
    assert of_k1(tested)["state"] == "proven"
    assert cover(tested, ON).set_index("culture").loc["Alba", "restock"] == ""
    gone = net([duplicate], [use("2025-05-01", purpose="discard")])
    assert of_k1(gone)["state"] == "used up"
    assert cover(gone, ON).set_index("culture").loc["Alba", ["cover", "restock"]].tolist() == ["none", "live_duplicate"]


@pytest.mark.parametrize(
    ("result", "state", "due"),
    [
        # the first test within 12 months of receipt: FAO 2014 (checks.md, read); 2024-01-10 and 365 days
        (None, "unproven", "2025-01-09"),
        # again after two years (common practice, no source); 2024-09-01 and 730 days
        ("alive", "proven", "2026-09-01"),
        ("doubtful", "doubtful", "2024-09-01"),
        ("dead", "dead", None),
    ],
)
def test_alive_doubtful_and_dead_are_told_apart_and_each_has_its_next_test(net, result, state, due):
    row = of_k1(net([backup()], [use("2024-09-01", result)]))
    assert row["state"] == state
    assert pd.isna(row["test_due_on"]) if due is None else row["test_due_on"] == pd.Timestamp(due)
    assert (row["alive_on"] == pd.Timestamp("2024-09-01")) if result == "alive" else pd.isna(row["alive_on"])


def test_the_standard_says_how_long_a_proof_holds(net):
    alive = net([backup()], [use("2024-09-01", "alive")])
    assert of_k1(alive, dt.date(2026, 9, 1))["state"] == "proven"
    late = of_k1(alive, dt.date(2026, 9, 2))
    assert late["state"] == "unproven"
    assert late["why"] == "K1 (frozen whole) came alive on 2024-09-01, and was due again on 2026-09-01"
    assert of_k1(alive, standards=Standards(test_every_d=100))["state"] == "unproven"


def test_the_last_test_counts_and_what_came_alive_before_is_still_told(net):
    uses = [
        use("2024-03-01", "alive", steps_to_pass=4, log_cfu_yeast=6.1, log_cfu_lactic=8.2),
        use("2025-03-01", "dead"),
    ]
    row = of_k1(net([backup()], uses))
    assert row["state"] == "dead"
    assert row[["steps_to_pass", "log_cfu_yeast", "log_cfu_lactic"]].tolist() == [4, 6.1, 8.2]
    assert row["tested_on"] == pd.Timestamp("2025-03-01")


def test_a_discard_and_a_use_without_a_result_prove_nothing(net):
    uses = [use("2024-09-01"), use("2024-09-02", "alive", purpose="discard")]
    assert of_k1(net([backup()], uses))["state"] == "unproven"


def test_a_failure_of_its_store_takes_the_proof_back_until_it_is_woken_again(net):
    events = {"event": ["e"], "store": ["chest"], "happened_on": day("2025-02-01"), "kind": ["store failure"]}
    batch = backup(store="chest")
    before = of_k1(net([batch], [use("2025-01-15", "alive")], events=events))
    assert before["state"] == "unproven"
    assert before["test_due_on"] == pd.Timestamp("2025-02-01")
    assert before["why"].endswith("since then chest failed on 2025-02-01")
    assert of_k1(net([batch], [use("2025-02-03", "alive")], events=events))["state"] == "proven"
    elsewhere = net([backup(store="school")], [use("2025-01-15", "alive")], events=events)
    assert of_k1(elsewhere)["state"] == "proven"


def test_what_is_frozen_is_kept_below_70_degrees_of_frost(net):
    at = pd.to_datetime(["2025-06-20 08:00", "2025-06-21 08:00"], utc=True)
    log = {"store": ["chest"] * 2, "read_at": at, "temperature_degC": [-19.0, -21.0]}
    batches = [backup(store="chest"), backup("K2", "whole_dried", store="chest")]
    told = forms(net(batches, store_log=log), ON).set_index("backup")["notice"]
    assert told["K1"] == "K1 is kept at -20 °C, not below -70 °C"  # CABRI 1998 (checks.md, read)
    assert told["K2"] == ""  # what is dried need not be


@pytest.mark.parametrize(
    ("backups", "uses", "verdict"),
    [
        ([], [], "none"),
        ([backup(kind="isolates_frozen")], [use("2025-01-01", "alive")], "partial"),
        ([backup()], [], "unproven"),
        ([backup()], [use("2025-01-01", "doubtful")], "unproven"),
        ([backup()], [use("2025-01-01", "dead")], "none"),
        ([backup(), backup("K2", "isolates_frozen")], [use("2025-01-01", "dead")], "partial"),
        ([backup(), backup("K2", "whole_dried")], [use("2025-01-01", "alive", backup="K2")], "full"),
        ([backup(units=1)], [use("2025-01-01", "alive")], "none"),  # it was the last portion
    ],
)
def test_cover_is_full_unproven_partial_or_none(net, backups, uses, verdict):
    covered = cover(net(backups, uses), ON).set_index("culture")
    assert covered.loc["Alba", "cover"] == verdict
    assert covered.loc["Bruno", "cover"] == "none"
    assert list(covered.columns) == RESULTS["backup_cover"].names[1:]


def test_isolates_alone_say_why_that_is_only_partial(net):
    covered = cover(net([backup(kind="isolates_frozen")]), ON).set_index("culture")
    assert "bring back organisms, not the community" in covered.loc["Alba", "why"]


def test_the_wide_table_tells_of_each_form(net):
    batches = [
        backup(site="dairy school", store="school"),
        backup("K2", made_on="2024-12-31", units=3, site="dairy school", store="school"),
        backup("K3", "whole_dried", units=2, made_on="2025-01-01"),
    ]
    uses = [use("2024-09-01", "alive", steps_to_pass=5), use("2025-02-01", "alive", steps_to_pass=3, backup="K3")]
    row = cover(net(batches, uses), ON).set_index("culture").loc["Alba"]
    assert row["whole_frozen_units"] == 7 + 3
    assert row["whole_frozen_made_on"] == pd.Timestamp("2024-12-31")
    assert row["whole_frozen_age_d"] == 181
    assert row["whole_frozen_where"] == "school, dairy school"
    assert row["whole_frozen_alive_on"] == pd.Timestamp("2024-09-01")
    assert row["whole_frozen_state"] == "proven"
    assert row["live_duplicate_state"] == "none"
    assert row[["alive_on", "steps_to_pass", "rests_on"]].tolist() == [pd.Timestamp("2025-02-01"), 3, "K3"]
    assert row["restock"] == "whole_dried"  # one is left, and the level is two (common practice, no source)
    assert row["to_test"] == ""


def test_a_batch_may_have_a_restock_level_of_its_own(net):
    row = cover(net([backup(restock_level=8)]), ON).set_index("culture").loc["Alba"]
    assert row["restock"] == "whole_frozen"
    assert cover(net([backup(restock_level=7)]), ON).set_index("culture").loc["Alba", "restock"] == ""


def test_tests_that_are_overdue_are_named_with_the_day_of_the_first(net):
    row = cover(net([backup(), backup("K2", "whole_dried", made_on="2023-05-01")]), ON).set_index("culture").loc["Alba"]
    assert row["to_test"] == "K2, K1"
    assert row["test_overdue_since"] == pd.Timestamp("2024-04-30")  # 2023-05-01 and 365 days, through a leap year


def test_identity_must_be_proven_again_after_some_years(net):
    checks = {"culture": ["Alba", "Bruno"], "checked_on": day("2022-07-01", "2022-06-30"), "kind": "identity"}
    checks |= {"result": ["as before", "as before"]}
    covered = cover(net(identity_checks=checks), ON).set_index("culture")
    # three years: common practice, no source; 30 June 2022 and 1095 days is 29 June 2025
    assert covered["identity_overdue"].to_dict() == {"Alba": False, "Bruno": True}
    failed = cover(net(identity_checks=checks | {"result": ["not as before", "as before"]}), ON).set_index("culture")
    assert pd.isna(failed.loc["Alba", "identity_proven_on"])
    assert failed.loc["Alba", "identity_overdue"]


def test_a_lost_culture_has_no_cover_but_its_batches_are_still_told(net):
    events = {"event": ["e"], "culture": ["Alba"], "happened_on": day("2025-01-01"), "kind": ["lost"]}
    shelf = net([backup()], events=events)
    assert list(cover(shelf, ON)["culture"]) == ["Bruno"]
    assert list(forms(shelf, ON)["culture"]) == ["Alba"]


def test_revivals_by_form_and_age_with_wilsons_interval(net):
    ages = [100, 400, 400, 400, 400, 400, 400, 900]
    results = ["alive", "alive", "alive", "alive", "alive", "doubtful", "dead", "dead"]
    begun = pd.Timestamp("2020-01-01")
    uses = [
        use(begun + pd.Timedelta(days=age), result, steps_to_pass=4) for age, result in zip(ages, results, strict=True)
    ]
    made = revivals(net([backup(made_on=begun, units=20)], uses), ON).set_index("age")
    assert list(made.index) == ["under 1 year", "1 to 2 years", "2 to 5 years", "all ages"]
    assert made.loc["1 to 2 years", ["woken", "alive", "doubtful", "dead"]].tolist() == [6, 4, 1, 1]
    for age, alive, woken in (("1 to 2 years", 4, 6), ("all ages", 5, 8)):
        low, high = proportion_confint(alive, woken, alpha=0.05, method="wilson")  # statsmodels
        assert made.loc[age, "alive_pct"] == pytest.approx(100 * alive / woken)
        assert made.loc[age, "alive_low_pct"] == pytest.approx(100 * low, abs=1e-6)
        assert made.loc[age, "alive_high_pct"] == pytest.approx(100 * high, abs=1e-6)
    assert made.loc["all ages", "steps_middle"] == 4


def test_fewer_than_five_are_too_few_to_say(net):
    four = [use(f"2024-0{month}-01", "alive") for month in (2, 3, 4, 5)]
    row = revivals(net([backup()], four), ON).iloc[-1]
    assert row["words"] == "too few to say"
    assert pd.isna(row["alive_pct"])
    assert row["woken"] == 4
    assert pd.notna(revivals(net([backup()], [*four, use("2024-06-01", "dead")]), ON).iloc[-1]["alive_pct"])


def test_a_collection_without_back_ups_has_tables_all_the_same(make_collection):
    shelf = make_collection(cultures={"culture": ["Alba"]})
    assert cover(shelf, ON)["cover"].tolist() == ["none"]
    for table, name in ((forms(shelf, ON), "backup_forms"), (revivals(shelf, ON), "revivals")):
        assert table.empty
        assert table.dtypes.astype(str).to_dict() == RESULTS[name].dtypes()


def test_a_batch_whose_form_is_not_noted_counts_as_no_cover_and_says_so(net):
    row = cover(net([backup(kind=None)]), ON).set_index("culture").loc["Alba"]
    assert row["cover"] == "none"
    assert row["why"] == "K1 (form not noted) was never woken"
    assert "in what form K1 was made is not noted" in row["notice"]
