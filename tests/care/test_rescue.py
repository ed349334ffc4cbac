"""A case from readings: what the curves say, what changed, the test that tells, and the steps of the trade."""

from __future__ import annotations

import dataclasses
import datetime as dt

import matplotlib as mpl
import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from scipy import stats

import leavenbench
from leavenbench.care.rescue import (
    Practice,
    accounted,
    after_rescues,
    branch_of,
    case_of,
    changed,
    rescue_steps,
    split_feeding,
    suspects,
    verdict,
)
from leavenbench.care.rescue.branches import FEW_LEFT, IDENTITY, NOT_SLOW, READ_FIRST, YEAST_SHORT, discard_signs
from leavenbench.care.rescue.split import _outcomes_of_reading
from leavenbench.care.rescue.suspects import NOTHING
from leavenbench.columns import RESULTS
from leavenbench.report.figures import plot_case
from leavenbench.temperature import YEAST, relative_rate

mpl.use("Agg")
ON = dt.date(2024, 12, 1)
ROUNDS, SLOW_FROM = 9, 7


def slow_down(folder, signals=("height", "ph"), factor=0.5):
    """Let Alba work at a part of its pace in its last two rounds: its readings are those of earlier hours."""
    readings = pd.read_csv(folder / "readings.csv").astype({"height": float, "elapsed": float})
    number = readings["refeed"].str.split("-").str[1].astype(int)
    struck = readings["refeed"].str.startswith("Alba") & (number >= SLOW_FROM)
    for _, own in readings[struck].groupby("refeed"):
        for name in signals:
            readings.loc[own.index, name] = np.interp(factor * own["elapsed"], own["elapsed"], own[name]).round(2)
    readings.to_csv(folder / "readings.csv", index=False)


def change_refeeds(folder, where, **values):
    refeeds = pd.read_csv(folder / "refeeds.csv", dtype="str")
    for name, value in values.items():
        refeeds.loc[where(refeeds), name] = value
    refeeds.to_csv(folder / "refeeds.csv", index=False)


def look(folder, culture="Alba"):
    collection = leavenbench.read_collection(folder, as_of=ON)
    curves = leavenbench.trace_collection(collection)
    vigour, causes = leavenbench.vigour_of(collection, curves), leavenbench.causes_of(collection, curves)
    listed = leavenbench.watch_list(collection, curves, vigour, ON, causes)
    return collection, curves, vigour, causes, case_of(collection, curves, vigour, causes, listed, culture, ON)


def lately(of):
    return of["refeed"].str.contains(f"Alba-[{SLOW_FROM}-{ROUNDS - 1}]-")


@pytest.fixture(scope="module")
def sluggish(tmp_path_factory, write_shelf):
    """Alba, slow in both signals since its round of 1 September, from when on it stood in another room."""
    folder = write_shelf(tmp_path_factory.mktemp("rescue") / "shelf", rounds=ROUNDS)
    slow_down(folder)
    change_refeeds(folder, lambda of: of["refeed"].notna(), room="bakehouse", person="Ada")
    change_refeeds(folder, lately, room="loft", hooch="9", smell="of solvent")
    (folder / "backups.csv").write_text(
        "backup,culture,kind,made_on,units\nD1,Alba,whole_dried,2024-01-05,4\nF1,Alba,whole_frozen,2023-11-05,6\n"
        "I1,Alba,isolates_frozen,2023-11-05,6\n"
    )
    return look(folder)


def test_both_signals_are_slow_since_the_round_that_was_slowed(sluggish):
    case = sluggish[-1]
    assert case.says == {"rise": "slow", "acid": "slow"}
    assert case.onset.stands_out
    # slowed from 1 September on, 60 days before the last round; a fall, as the watch sees it, begins before it shows
    assert case.onset.on in (pd.Timestamp("2024-07-03"), pd.Timestamp("2024-09-01"))
    # readings of half the hours are half the pace
    assert case.rounds["vigour_pct"].iloc[-1] == pytest.approx(50.0, abs=12.0)
    assert list(case.rounds.columns) == RESULTS["rescue_rounds"].names
    assert "Alba, as known on 2024-12-01" in case._repr_html_()
    assert case.summary().set_index("what").loc["rise", "told"].startswith("slow: ")


def test_a_neighbour_is_its_normal_self(sluggish):
    collection, curves, vigour, causes, _ = sluggish
    listed = leavenbench.watch_list(collection, curves, vigour, ON, causes)
    case = case_of(collection, curves, vigour, causes, listed, "Bruno", ON)
    assert case.says == {"rise": "normal", "acid": "normal"}
    assert branch_of(case) == NOT_SLOW
    steps = rescue_steps(case, collection, suspects(case))
    assert steps["step"].tolist() == ["set aside", "check the instrument", "nothing yet"]


def test_what_changed_is_told_with_its_day(sluggish):
    table = changed(sluggish[-1], sluggish[0])
    assert list(table.columns) == RESULTS["changed"].names
    table = table.set_index("circumstance")
    assert {"room", "smell"} <= set(table.index[table["differs"]]) <= {"room", "smell", "hooch [mm]"}
    assert table.loc["room", "before"] == "bakehouse"
    assert "loft" in table.loc["room", "since"]
    assert table.loc["room", "changed_on"] == pd.Timestamp("2024-09-01")  # exact, whenever it slowed
    assert table.loc["days in the cold", ["before", "since"]].tolist() == ["58.0", "58.0"]
    assert table.loc["seed in the dough [%]", "before"] == "20.0"  # exact: 1:2:2
    assert table.loc["dough temperature [degC]", "since"] == "20.0"
    assert table.loc["store failure", "since"] == "none"


def test_the_room_that_it_moved_to_alone_cannot_be_told_from_itself(sluggish):
    ranked = suspects(sluggish[-1])
    assert list(ranked.columns) == RESULTS["suspects"].names
    assert set(ranked["suspect"].head(2)) == {"its own decline", "room loft"}
    assert "cannot be told apart" in verdict(sluggish[-1], ranked)


def test_the_test_puts_the_same_jar_into_both_rooms(sluggish):
    collection, *_, case = sluggish
    test = split_feeding(case, collection, suspects(case))
    assert set(test.between) == {"its own decline", "room loft"}
    assert (test.one, test.other) == ("stands in loft", "stands in bakehouse")
    ratio = test.plan[["seed_g", "flour_g", "water_g"]].iloc[0]
    assert ratio["flour_g"] == ratio["water_g"] == 2.0 * ratio["seed_g"]  # exact: the culture is fed 1:2:2
    error = float(case.ground.values.loc[case.ground.own, "log_vigour_se"].median())
    single = np.hypot(error, case.ground.wander.refeed_sd)
    # one-sided 5 % and 80 % power: quantiles of the normal distribution (scipy.stats.norm)
    seen = (stats.norm.ppf(0.95) + stats.norm.ppf(0.80)) * np.sqrt(2.0) * single / np.sqrt([1.0, 2.0, 3.0])
    assert test.least_seen["least_seen_pct"].to_numpy() == pytest.approx(-100.0 * np.expm1(-seen), rel=1e-3)
    assert test.feedings == 1
    assert test.outcomes["means"].iloc[0] == "room loft"
    assert "stands in bakehouse" in test._repr_html_()


def test_a_jar_that_is_read_twice_needs_no_feeding():
    assert _outcomes_of_reading(0.1)["outcome"].str.contains("0.1 pH").all()


def test_the_steps_of_the_trade_stand_in_their_order(sluggish):
    """Order and numbers: rescue by what the curves say (common practice, no source)."""
    collection, *_, case = sluggish
    assert branch_of(case) == FEW_LEFT
    steps = rescue_steps(case, collection, suspects(case)).set_index("step")
    assert list(steps.columns) == [name for name in RESULTS["rescue_steps"].names if name != "step"]
    assert steps.index.tolist() == [
        "set aside",
        "check the instrument",
        "warmth",
        "seed share",
        "look after it",
        "from a dried portion",
        "from a frozen portion",
    ]
    assert "26 to 28 °C" in steps.loc["warmth", "do"]
    assert steps.loc["seed share", "do"].startswith("1:1:1 (30 g seed, 30 g flour, 30 g water); the next feeding only")
    assert "while the pH still falls" in steps.loc["seed share", "caution"]
    assert "D1 (made 2024-01-05, 4 left" in steps.loc["from a dried portion", "do"]
    other = Practice(few_left_degC=(25.0, 26.0))
    assert "25 to 26 °C" in rescue_steps(case, collection, suspects(case), other).set_index("step").loc["warmth", "do"]


def saying(case, rise, acid):
    return dataclasses.replace(case, signals=case.signals.assign(says=[rise, acid]))


@pytest.mark.parametrize(
    ("rise", "acid", "branch"),
    [
        # acid normal, rise poor; both slow; rise normal, acid slow (common practice, no source)
        ("slow", "normal", YEAST_SHORT),
        ("none", "normal", YEAST_SHORT),
        ("slow", "slow", FEW_LEFT),
        ("none", "none", FEW_LEFT),
        ("none", "slow", FEW_LEFT),
        ("normal", "slow", IDENTITY),
        ("normal", "none", IDENTITY),
        ("normal", "normal", NOT_SLOW),
        # never dead by rise while the pH still falls: then it must be read
        ("none", "not read", READ_FIRST),
        ("slow", "not read", READ_FIRST),
        ("normal", "not read", NOT_SLOW),
        ("not read", "not read", READ_FIRST),
        ("not read", "slow", FEW_LEFT),
        ("not read", "normal", NOT_SLOW),
        # rice hardly rises: its acid alone tells
        ("hardly moves", "normal", NOT_SLOW),
        ("hardly moves", "slow", FEW_LEFT),
        ("normal", "hardly moves", NOT_SLOW),
        ("slow", "hardly moves", READ_FIRST),
    ],
)
def test_every_pair_of_curves_has_its_branch(sluggish, rise, acid, branch):
    assert branch_of(saying(sluggish[-1], rise, acid)) == branch


def test_where_yeast_is_short_the_share_of_seed_is_halved(sluggish):
    collection, *_, case = sluggish
    case = saying(case, "slow", "normal")
    steps = rescue_steps(case, collection, suspects(case)).set_index("step")
    assert steps.loc["seed share", "do"].startswith("1:4:4 (10 g seed, 40 g flour, 40 g water), fed every 12 h")
    assert "24 to 27 °C" in steps.loc["warmth", "do"]


def test_what_may_be_another_is_not_fed_on_and_comes_back_from_before_it_showed(sluggish):
    collection, *_, case = sluggish
    case = saying(case, "normal", "slow")
    steps = rescue_steps(case, collection, suspects(case))["step"].tolist()
    assert steps[2] == "check identity before feeding on"
    assert "seed share" not in steps
    late = dataclasses.replace(case, onset=case.onset._replace(on=pd.Timestamp("2024-02-01")))
    steps = rescue_steps(late, collection, suspects(case))["step"].tolist()
    # two rounds before that day lies 4 October 2023: neither portion is older
    assert steps[-1] == "no whole back-up"


def test_where_nothing_moves_a_portion_is_woken_now(sluggish):
    collection, *_, case = sluggish
    still = saying(case, "none", "none")
    steps = rescue_steps(still, collection, suspects(case)).set_index("step")
    assert steps.loc["from a dried portion", "why"].startswith("nothing moves: wake it now")


@pytest.mark.parametrize(
    ("signs", "discard"), [("pink spots", True), ("Mould on the rim", True), ("no mould", False), ("tired", False)]
)
def test_mould_or_colour_means_discard(sluggish, signs, discard):
    collection, *_, case = sluggish
    refeeds = collection["refeeds"]
    last = refeeds["refeed"] == f"Alba-{ROUNDS - 1}-3"
    tables = {**collection.tables, "refeeds": refeeds.assign(signs=refeeds["signs"].mask(last, signs))}
    moulded = dataclasses.replace(collection, tables=tables)
    assert bool(discard_signs(case, moulded)) == discard
    steps = rescue_steps(case, moulded, suspects(case))["step"].tolist()
    assert steps[0] == ("discard" if discard else "set aside")
    assert ("seed share" in steps) != discard


def test_a_cold_round_is_told_as_no_weakness(tmp_path, write_shelf):
    folder = write_shelf(tmp_path / "cold", rounds=ROUNDS)
    slow_down(folder)
    change_refeeds(folder, lately, room_temperature="14")
    collection, *_, case = look(folder)
    known = accounted(case, collection).set_index(["what", "signal"])
    # exact: the cardinal temperature model for yeast, at 14 against 20 degC
    expected = float(np.log(relative_rate(14.0, YEAST) / relative_rate(20.0, YEAST)))
    assert known.loc[("warmth", "rise"), "effect"] == pytest.approx(expected, abs=1e-6)
    assert known.loc[("warmth", "rise"), "worth"]
    assert known.loc[("probe", "acid"), "words"] == "its probe was never held against buffers"
    assert "which is no weakness: its doughs stood at 14.0 °C" in verdict(case, suspects(case), known.reset_index())


def test_without_a_rescue_there_is_no_outcome(sluggish):
    collection, curves, vigour, *_ = sluggish
    table = after_rescues(collection, curves, vigour, "Alba", ON)
    assert table.empty
    assert list(table.columns) == RESULTS["rescue_outcome"].names


def test_a_rescue_is_known_by_the_purpose_of_its_refeeds(tmp_path, write_shelf):
    folder = write_shelf(tmp_path / "fed", rounds=ROUNDS)
    change_refeeds(folder, lambda of: of["refeed"].str.startswith("Alba-5-"), purpose="rescue")
    collection, curves, vigour, *_ = look(folder)
    (outcome,) = after_rescues(collection, curves, vigour, "Alba", ON).to_dict("records")
    assert (outcome["kind"], outcome["rescued_on"]) == ("rescued", pd.Timestamp("2024-05-04"))
    assert outcome["level_pct"] == pytest.approx(100.0, abs=12.0)  # nothing was ever wrong with it
    assert outcome["level_low_pct"] < outcome["level_pct"] < outcome["level_high_pct"]
    assert "identity was not proven since" in outcome["words"]


def test_the_page_of_a_case_names_quantities_and_units(sluggish):
    collection, _, vigour, causes, case = sluggish
    ranked = suspects(case)
    figure = plot_case(case, collection, vigour, ranked, causes=causes)
    history, rise, acid, bars = figure.get_axes()
    assert [of.get_ylabel() for of in (history, rise, acid)] == [
        "Vigour [% of its own baseline]", "Rise over the start [%]", "pH",
    ]  # fmt: skip
    assert {of.get_xlabel() for of in (rise, acid)} == {"Time since feeding [h]"}
    widths = [bar.get_width() for bar in bars.patches]
    assert widths == pytest.approx((100.0 * ranked["share"].head(6)).tolist())
    assert any("usual at 20 °C" in text.get_text() for text in rise.get_legend().get_texts())
    plt.close(figure)


def test_nothing_is_named_of_a_shelf_on_which_nothing_is(tmp_path, write_shelf):
    *_, case = look(write_shelf(tmp_path / "well", rounds=ROUNDS))
    assert suspects(case)["factor"].iloc[0] == NOTHING
    assert not case.onset.stands_out
    assert verdict(case, suspects(case)).startswith("Its last curves are not slow. Nothing stands out")
