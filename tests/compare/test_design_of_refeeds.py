"""Designs that cannot answer are named, each with the few refeeds that would mend it."""

from __future__ import annotations

import pandas as pd
import pytest

from leavenbench.columns import RESULTS
from leavenbench.compare.design import FEWEST_ROUNDS, can_answer


def refeeds(*rows):
    """Return observations from rows of culture, flour, round, day, step and vessel."""
    return pd.DataFrame(rows, columns=["culture", "flour", "round", "day", "step", "vessel"])


def rounds(culture, flour="rye", *, numbers=range(1, 5), days="", steps=(1, 2), vessel=None):
    """Return four rounds of a culture, each on days that all cultures share unless `days` marks its own."""
    return [(culture, flour, number, f"{days}{number}-{step}", step, vessel) for number in numbers for step in steps]


SOUND = [*rounds("Alba"), *rounds("Brine"), *rounds("Cress")]


def rules(table):
    return table.set_index("rule")


def test_a_sound_design_is_not_warned_of():
    table = can_answer(refeeds(*SOUND))
    made = RESULTS["comparison_warnings"]
    assert table.empty
    assert list(table) == made.names
    assert table.dtypes.astype(str).to_dict() == made.dtypes()


def test_one_culture_alone_cannot_be_compared():
    row = rules(can_answer(refeeds(*rounds("Alba")))).loc["one group"]
    assert row["severity"] == "cannot answer"
    assert f"in {FEWEST_ROUNDS} rounds" in row["remedy"]


def test_flour_and_its_only_culture_go_together():
    observed = refeeds(*rounds("Alba"), *rounds("Brine"), *rounds("Cress", "spelt"))
    row = rules(can_answer(observed, "flour")).loc["one culture"]
    assert (row["severity"], row["groups"]) == ("cannot answer", "spelt")
    assert row["remedy"] == "feed Alba on spelt, and Cress on rye, in two rounds each"


def test_a_culture_fed_on_both_flours_tells_them_apart():
    observed = refeeds(*rounds("Alba"), *rounds("Brine"), *rounds("Cress", "spelt"), *rounds("Cress", numbers=(5, 6)))
    assert "one culture" not in set(can_answer(observed, "flour")["rule"])
    assert "flour and culture" not in set(can_answer(observed, "culture")["rule"])


def test_an_origin_takes_a_second_culture():
    observed = refeeds(*SOUND).assign(origin=lambda table: table["culture"].map({"Alba": "hill"}).fillna("shore"))
    row = rules(can_answer(observed, "origin")).loc["one culture"]
    assert (row["groups"], row["remedy"]) == ("hill", "a second culture from hill")


def test_cultures_that_share_no_flour_may_differ_by_it():
    row = rules(can_answer(refeeds(*rounds("Alba"), *rounds("Brine", "spelt")))).loc["flour and culture"]
    assert (row["severity"], row["groups"]) == ("unsure", "Alba; Brine")
    assert row["remedy"].startswith("split one feeding in each of two rounds: half of Alba on spelt and half of Brine")


@pytest.mark.parametrize(("numbers", "severity", "more"), [((1,), "cannot answer", 2), ((1, 2), "unsure", 1)])
def test_refeeds_of_few_rounds_do_not_stand_for_rounds(numbers, severity, more):
    row = rules(can_answer(refeeds(*SOUND, *rounds("Dill", numbers=numbers)))).loc["few rounds"]
    assert (row["severity"], row["groups"]) == (severity, "Dill")
    assert f"Dill {len(numbers)} ({2 * len(numbers)} refeeds)" in row["message"]
    assert row["remedy"].endswith(f"{more} of Dill")


def test_a_single_day_is_all_that_a_culture_shows():
    row = rules(can_answer(refeeds(*SOUND, *rounds("Dill", numbers=(1,), steps=(1,))))).loc["one day"]
    assert (row["severity"], row["groups"]) == ("cannot answer", "Dill")
    assert row["remedy"] == "feed Dill and Alba with them on two further days"


def test_days_that_are_never_shared():
    observed = refeeds(*rounds("Alba"), *rounds("Brine"), *rounds("Cress", days="c"))
    row = rules(can_answer(observed)).loc["days apart"]
    assert (row["severity"], row["groups"]) == ("unsure", "Alba, Brine; Cress")
    assert row["remedy"] == "feed Alba, Cress on the same day, in two rounds"


def test_days_that_are_shared_by_way_of_others_will_do():
    chain = [
        *rounds("Alba", numbers=(1, 2, 3)),
        *rounds("Brine", numbers=(3, 4, 5)),
        *rounds("Cress", numbers=(5, 6, 7)),
    ]
    assert can_answer(refeeds(*chain)).empty


def test_steps_that_are_never_shared():
    observed = refeeds(*rounds("Alba", steps=(1,)), *rounds("Brine", steps=(2,)))
    row = rules(can_answer(observed)).loc["steps apart"]
    assert row["severity"] == "cannot answer"
    assert row["remedy"] == "read Alba at step 2 and Brine at step 1 in two rounds"


def test_jars_of_ones_own_are_noted_after_all_else():
    observed = refeeds(*rounds("Alba", vessel="a"), *rounds("Brine", vessel="b"), *rounds("Cress", numbers=(1,)))
    table = can_answer(observed)
    assert table["rule"].tolist() == ["few rounds", "own jars"]
    assert table["severity"].tolist() == ["cannot answer", "note"]
