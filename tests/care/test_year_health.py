"""The vigour of a year against the year before, on shelves whose truth is known."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from leavenbench.care.year.health import tell_health
from leavenbench.care.year.lives import lives
from leavenbench.care.year.period import Period
from leavenbench.columns import RESULTS
from leavenbench.vigour.causes import Causes

_CAUSES = RESULTS["shared_causes"]


def causes(*months):
    table = pd.DataFrame({"month": months}, columns=_CAUSES.names).astype(_CAUSES.dtypes())
    return Causes(table, pd.DataFrame(columns=["refeed", "cause"], dtype="str"))


def shelf_of(make_collection, logs, events=None, first="2021-01-10", rounds_apart=60):
    """Return a collection and its vigour: logs is the log level of each culture and round, two steps of each read."""
    rows = []
    for number, levels in enumerate(logs):
        for place, level in enumerate(levels):
            for step in (1, 2):
                fed = pd.Timestamp(first, tz="UTC") + pd.Timedelta(days=rounds_apart * place + step)
                rows.append((f"C{number:03d}", fed, place + 1, step, 100.0 * np.exp(level)))
    told = pd.DataFrame(rows, columns=["culture", "fed_at", "round", "step", "pct"])
    told["refeed"] = told.index.astype("str")
    feeds = {name: told[name].to_numpy() for name in ("refeed", "culture", "round", "step")}
    collection = make_collection(
        refeeds=feeds | {"fed_at": list(told["fed_at"])}, **({"events": events} if events else {})
    )
    made = RESULTS["vigour"]
    table = told.assign(vigour_pct=told["pct"], vigour_pct_se=told["pct"] * 0.03)
    table = table.assign(vigour_pct_own=table["vigour_pct"], vigour_pct_own_se=table["vigour_pct_se"])
    return collection, table.reindex(columns=made.names).astype(made.dtypes())


def tell(collection, vigour, year=2022, found=None):
    return tell_health(collection, vigour, found or causes(), lives(collection), Period.of(collection, year))


def wandering(random, cultures, rounds, sd=0.10, carry_over=0.35):
    """Return levels that wander about nothing as an AR(1) series."""
    levels = np.empty((cultures, rounds))
    levels[:, 0] = random.normal(0.0, sd, cultures)
    for place in range(1, rounds):
        fresh = random.normal(0.0, sd * np.sqrt(1.0 - carry_over**2), cultures)
        levels[:, place] = carry_over * levels[:, place - 1] + fresh
    return levels


@pytest.fixture(scope="module")
def random():
    return np.random.default_rng(20)


def test_the_error_of_a_change_is_as_large_as_changes_by_chance(make_collection, random):
    collection, vigour = shelf_of(make_collection, wandering(random, 300, 12))
    own = tell(collection, vigour)[0]["vigour"]
    assert len(own) == 300
    log_change = np.log1p(own["change_pct"] / 100.0)
    error = own["change_pct_se"] / (100.0 + own["change_pct"])
    # sd of 300 standard normal numbers: 1 within 3 / sqrt(600) = .12
    assert (log_change / error).std() == pytest.approx(1.0, abs=0.12)


def test_of_a_shelf_that_is_well_hardly_any_is_said_to_have_changed(make_collection, random):
    called = 0
    for _ in range(10):
        collection, vigour = shelf_of(make_collection, wandering(random, 40, 12))
        called += tell(collection, vigour)[0]["vigour"]["verdict"].isin(["higher", "lower"]).any()
    assert called <= 3  # of 10 shelves; more than three has a chance of .001 at 5 % each (binomial)


def test_one_that_lost_a_third_is_found_among_many(make_collection, random):
    levels = wandering(random, 40, 12)
    levels[7, 6:] += np.log(0.67)
    levels[8, 6:] += np.log(1.5)
    collection, vigour = shelf_of(make_collection, levels)
    own = tell(collection, vigour)[0]["vigour"].set_index("culture")
    assert own["verdict"].drop(["C007", "C008"]).eq("cannot tell").mean() > 0.9
    assert own.loc[["C007", "C008"], "verdict"].tolist() == ["lower", "higher"]
    assert own.loc["C007", "change_pct"] == pytest.approx(-33.0, abs=3.0 * own.loc["C007", "change_pct_se"])


def test_levels_are_those_of_the_last_round_and_the_middle_of_the_year(make_collection):
    levels = np.log([[0.8] * 6 + [1.0, 1.0, 1.0, 1.0, 1.0, 0.9]])
    collection, vigour = shelf_of(make_collection, levels)
    row = tell(collection, vigour)[0]["vigour"].iloc[0]
    # rounds every 60 days from 11 January 2021 on: the sixth begins on 7 November, the seventh on 6 January
    assert row[["rounds_before", "rounds"]].tolist() == [6, 6]
    assert row[["year_before_pct", "year_pct"]].tolist() == pytest.approx([80.0, 100.0 * 0.9 ** (1 / 6)])
    assert row["level_pct"] == pytest.approx(90.0)


def test_the_shelf_is_compared_in_points_and_by_pairs(make_collection):
    # of three cultures the differences are -10, -20 and -30 points: mean -20, sd 10, se 10 / sqrt 3
    levels = np.log([[1.0, 0.9], [1.0, 0.8], [1.0, 0.7]])
    collection, vigour = shelf_of(make_collection, levels, first="2021-11-20")
    own, seen = tell(collection, vigour)[0]["vigour_change"].to_dict("records")
    assert own["cultures"] == 3
    assert [own["year_before_pct"], own["year_pct"]] == pytest.approx([100.0, 80.0])
    assert [own["change_points"], own["change_points_se"]] == pytest.approx([-20.0, 10.0 / np.sqrt(3.0)])
    reach = 4.30265272975 * 10.0 / np.sqrt(3.0)  # t of 2 degrees of freedom, .975: R's qt, computed
    assert [own["change_points_low"], own["change_points_high"]] == pytest.approx([-20.0 - reach, -20.0 + reach])
    assert [own["verdict"], seen["verdict"]] == ["cannot tell", "not judged"]


def test_a_shelf_that_fell_together_is_lower(make_collection, random):
    levels = wandering(random, 40, 12) + np.repeat([[0.0, -0.2]], 6, axis=1)
    collection, vigour = shelf_of(make_collection, levels)
    own = tell(collection, vigour)[0]["vigour_change"].iloc[0]
    assert own["verdict"] == "lower"
    assert own["change_points_low"] < 100.0 * (np.exp(-0.2) - 1.0) < own["change_points_high"]


def test_a_restored_culture_is_not_compared_with_the_life_before(make_collection):
    events = {
        "event": ["1", "2"], "culture": ["C000", "C000"], "kind": ["lost", "restored"],
        "happened_on": [pd.Timestamp("2021-12-20"), pd.Timestamp("2022-01-05")],
    }  # fmt: skip
    collection, vigour = shelf_of(make_collection, np.zeros((2, 12)), events)
    own = tell(collection, vigour)[0]["vigour"].set_index("culture")
    assert own.loc["C000", ["rounds_before", "verdict"]].tolist() == [0, "nothing to compare"]
    assert own.loc["C001", "verdict"] == "cannot tell"


def test_the_lost_are_not_among_the_living_and_stay_in_the_shelfs_change(make_collection):
    events = {"event": ["1"], "culture": ["C000"], "kind": ["lost"], "happened_on": [pd.Timestamp("2022-11-20")]}
    collection, vigour = shelf_of(make_collection, np.zeros((3, 12)), events)
    tables, _ = tell(collection, vigour)
    assert tables["vigour"]["culture"].tolist() == ["C001", "C002"]
    assert tables["vigour_change"].loc[0, "cultures"] == 3


def test_only_causes_of_the_year_are_told(make_collection):
    collection, vigour = shelf_of(make_collection, np.zeros((1, 12)))
    tables, _ = tell(collection, vigour, found=causes("2021-12", "2022-03", "2023-01"))
    assert tables["causes"]["month"].tolist() == ["2022-03"]


def test_a_first_year_has_nothing_to_compare_with(make_collection):
    collection, vigour = shelf_of(make_collection, np.zeros((2, 3)), first="2022-02-01")
    tables, said = tell(collection, vigour)
    assert tables["vigour"]["verdict"].tolist() == ["nothing to compare"] * 2
    assert tables["vigour_change"]["verdict"].tolist() == ["nothing to compare"] * 2
    assert said == "There is no round of 2021 to compare with."
