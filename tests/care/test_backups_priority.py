"""What could not be had again, and whose cover is most needed."""

from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest

from leavenbench.care.backups import Weights, cover, irreplaceable, priority

ON = dt.date(2025, 6, 30)
ORGANISM, FLOUR, ORIGIN = (
    "organism not found in others",
    "flour of a single source",
    "origin cannot be collected again",
)


@pytest.fixture
def told_of(make_collection):
    """Return a function that tells of the cultures of a collection, by culture and reason."""

    def tell(**tables):
        shelf = make_collection(**tables)
        return irreplaceable(shelf, cover(shelf, ON), ON).set_index(["culture", "reason"])

    return tell


def test_an_organism_is_looked_for_in_the_others_under_both_its_names(told_of):
    isolates = {
        "isolate": list("abcde"),
        "culture": ["Alba", "Bruno", "Bruno", "Cato", "Lost"],
        "taxon": [
            "Lactobacillus sanfranciscensis",
            "Fructilactobacillus sanfranciscensis",
            "Kazachstania humilis",
            "Levilactobacillus brevis",
            "Levilactobacillus brevis",
        ],
    }
    events = {"event": ["e"], "culture": ["Lost"], "happened_on": pd.to_datetime(["2025-01-01"]), "kind": ["lost"]}
    told = told_of(cultures={"culture": ["Alba", "Bruno", "Cato", "Dora", "Lost"]}, isolates=isolates, events=events)
    assert not told.loc[("Alba", ORGANISM), "holds"]
    assert told.loc[("Bruno", ORGANISM), "holds"]
    evidence = told.loc[("Bruno", ORGANISM), "evidence"]
    assert evidence == "Kazachstania humilis: not found in 2 other living cultures sampled"
    assert told.loc[("Cato", ORGANISM), "holds"]  # the only other that had it is lost
    assert pd.isna(told.loc[("Dora", ORGANISM), "holds"])
    assert not told["evidence"].str.contains("unique").any()


def test_with_nobody_else_sampled_nothing_can_be_said(told_of):
    told = told_of(
        cultures={"culture": ["Alba", "Bruno"]},
        isolates={"isolate": ["a"], "culture": ["Alba"], "taxon": ["Kazachstania humilis"]},
    )
    assert pd.isna(told.loc[("Alba", ORGANISM), "holds"])


def test_a_flour_that_nobody_else_can_send_is_a_reason(told_of):
    told = told_of(
        cultures={"culture": ["Alba", "Bruno", "Cato"], "flour": ["emmer", "rye", None]},
        flours={"flour": ["emmer", "rye"], "supplier": ["a mill", "another"], "sole_source": [True, None]},
    )
    assert told.loc[("Alba", FLOUR), "holds"]
    assert "emmer from a mill" in told.loc[("Alba", FLOUR), "evidence"]
    assert not told.loc[("Bruno", FLOUR), "holds"]
    assert pd.isna(told.loc[("Cato", FLOUR), "holds"])


@pytest.mark.parametrize(
    ("note", "holds"),
    [
        ("The bakery has closed in 2019", True),
        ("its barn burnt down", True),
        ("It cannot be collected again.", True),
        ("The bakery has not closed", False),
        ("The oven door closed badly", False),
        ("Smells of apples. The mill has closed", True),
    ],
)
def test_an_origin_that_is_gone_is_quoted_and_otherwise_not_recorded(told_of, note, holds):
    row = told_of(cultures={"culture": ["Alba"], "note": [note]}).loc[("Alba", ORIGIN)]
    assert row["evidence"].startswith("noted: ") if holds else row["evidence"] == "not recorded"
    assert row["holds"] == True if holds else pd.isna(row["holds"])  # noqa: E712  (missing is neither)


def listed(**columns):
    nobody = {"culture": ["Alba"], "standing": ["steady"], "decline_probability": [0.0], "rounds_left_low": [9.0]}
    return pd.DataFrame(nobody | {"identity_doubt": [False]} | columns)


def covered(**columns):
    alba = {"culture": ["Alba"], "cover": ["full"], "why": ["K1 came alive"], "rests_on": ["K1"], "to_test": [""]}
    return pd.DataFrame(alba | {"restock": [""]} | columns)


NO_REASONS = pd.DataFrame({"culture": [], "reason": [], "holds": [], "evidence": []}).astype("object")


def test_the_priority_is_the_product_of_its_columns():
    told = pd.DataFrame({"culture": ["Alba"] * 2, "reason": [FLOUR, ORGANISM], "holds": [True, None], "evidence": "x"})
    weights = Weights(accident=0.1, unbacked={"unproven": 0.5}, share_per_reason=1.0)
    row = priority(
        listed(standing=["slipping"], decline_probability=[0.8], rounds_left_low=[3.0]),
        covered(cover=["unproven"]),
        told,
        weights,
    ).iloc[0]
    # by the formula of the module: loss .1 + .9 x .8 / (1 + 3) = .28; times .5; times 1 + 1
    assert row["loss"] == pytest.approx(0.28)
    assert row["reasons"] == 1
    assert row["priority"] == pytest.approx(100 * 0.28 * 0.5 * 2)
    assert row["priority"] == pytest.approx(100 * row["loss"] * row["unbacked"] * row["bound"])
    assert row["words"].endswith("100 x 0.280 x 0.500 x 2.000 = 28.0")


def test_a_standing_counts_where_the_probability_says_nothing_and_an_unlisted_culture_is_unknown():
    urgent = priority(listed(standing=["urgent"], rounds_left_low=[0.0]), covered(), NO_REASONS).iloc[0]
    assert urgent["loss"] == pytest.approx(0.02 + 0.98 * 0.9)  # weights: common practice, no source
    unlisted = priority(listed(culture=["Bruno"]), covered(), NO_REASONS).iloc[0]
    assert unlisted["standing"] == "unknown"
    assert unlisted["nearness"] == 1.0
    assert pd.isna(unlisted["decline_probability"])


def test_a_doubt_of_identity_is_a_loss_whatever_the_vigour():
    row = priority(listed(identity_doubt=[True]), covered(cover=["none"]), NO_REASONS).iloc[0]
    assert row["loss"] == pytest.approx(0.02 + 0.98 * 0.6)  # weights: common practice, no source
    assert row["do"].startswith("check its identity before anything is put by")


@pytest.mark.parametrize(
    ("standing", "cover_columns", "do"),
    [
        ("steady", {"cover": ["none"]}, "freeze or dry it whole at its next round"),
        ("slipping", {"cover": ["partial"]}, "rescue it, and put it by whole once it passes"),
        ("urgent", {"cover": ["unproven"], "to_test": ["K0, K1"]}, "wake K1 now, while its jar can be compared"),
        ("urgent", {"to_test": ["K0"]}, "rescue it; should that fail, bring it back from K1"),
        ("steady", {"to_test": ["K0, K2"]}, "wake K0 to see whether it lives"),
        ("steady", {"restock": ["whole_dried"]}, "make more: whole dried"),
        ("steady", {}, "nothing"),
    ],
)
def test_what_to_do_first_goes_by_standing_and_cover(standing, cover_columns, do):
    assert priority(listed(standing=[standing]), covered(**cover_columns), NO_REASONS).iloc[0]["do"] == do


def test_the_most_needed_comes_first():
    cultures = {"culture": ["Alba", "Bruno"], "cover": ["full", "none"]}
    both = pd.concat([covered(), covered()], ignore_index=True).assign(**cultures)
    seen = pd.concat([listed(), listed(culture=["Bruno"])], ignore_index=True)
    assert priority(seen, both, NO_REASONS)[["rank", "culture"]].values.tolist() == [[1, "Bruno"], [2, "Alba"]]
