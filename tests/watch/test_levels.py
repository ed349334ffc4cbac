"""One level per round from its refeeds."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from leavenbench.watch.levels import LEAST_PCT, round_levels

BEGIN = pd.Timestamp("2020-01-01", tz="UTC")


def vigour(own_pct, *, culture="Alba", error_pct=5.0, begin=BEGIN):
    """Return a vigour table of rounds of some steps each: `own_pct` has a row per round."""
    rows = [
        {
            "culture": culture,
            "round": number + 1,
            "fed_at": begin + pd.Timedelta(days=60 * number + step),
            "vigour_pct_own": pct,
            "vigour_pct_own_se": error_pct,
            "extra_steps": 0,
        }
        for number, steps in enumerate(own_pct)
        for step, pct in enumerate(steps)
    ]
    columns = {"culture": "str", "round": "Int64", "vigour_pct_own": float, "extra_steps": "Int64"}
    return pd.DataFrame(rows, columns=["culture", "round", "fed_at", *list(columns)[2:], "vigour_pct_own_se"]).astype(
        columns | {"vigour_pct_own_se": float, "fed_at": "datetime64[us, UTC]"}
    )


def levels_of(*tables, history=0):
    table = pd.concat(tables, ignore_index=True)
    return round_levels(table, pd.Series(history, index=table.index))


def test_steps_that_agree_are_their_mean_and_one_that_does_not_counts_less():
    assert levels_of(vigour([[80, 80, 80]]))["level"].tolist() == pytest.approx([np.log(0.8)])
    found = levels_of(vigour([[100, 100, 40]]))["level"][0]
    assert np.log(40 / 100) / 3 < found < 0.0
    assert abs(found) < 0.15 * abs(np.log(0.4))


def test_more_steps_make_it_surer():
    one, three = levels_of(vigour([[100.0]])), levels_of(vigour([[100.0] * 3]))
    assert three["level_se"][0] == pytest.approx(one["level_se"][0] / np.sqrt(3.0))


def test_the_stated_error_is_the_true_spread():
    rng = np.random.default_rng(1)
    table = vigour(100.0 * np.exp(rng.normal(0, np.hypot(0.05, 0.08), (2000, 3))))
    found = levels_of(table)
    # The error is stated for Student tails of 5 degrees of freedom, under which a weight is 1.2 times that of its
    # variance at most; standard deviation of 2,000 values: 1.6 %, four of them.
    assert found["level"].std() == pytest.approx(found["level_se"].median(), rel=0.10)


def test_rounds_stand_by_culture_history_and_time_with_their_last_step():
    late = vigour([[90, 90], [80, 80]], culture="Zeta", begin=BEGIN + pd.Timedelta(days=3))
    early = vigour([[70, 70]], culture="Alba")
    table = pd.concat([late.iloc[::-1], early], ignore_index=True)
    history = pd.Series([1, 1, 0, 0, 0, 0])
    found = round_levels(table, history)
    assert found["culture"].tolist() == ["Alba", "Zeta", "Zeta"]
    assert found["history"].tolist() == [0, 0, 1]
    assert found["fed_at"].tolist() == [BEGIN + pd.Timedelta(days=of) for of in (1, 4, 64)]
    assert found["refeeds"].tolist() == [2, 2, 2]
    assert np.exp(found["level"]).tolist() == pytest.approx([0.7, 0.9, 0.8])


def test_what_was_not_read_makes_no_round_and_what_is_dead_is_held_at_the_least():
    found = levels_of(vigour([[np.nan, np.nan], [np.nan, 90], [0.0, 0.0]]))
    assert found["round"].tolist() == [2, 3]
    assert found["refeeds"].tolist() == [1, 2]
    assert found["level"].iloc[-1] == pytest.approx(np.log(LEAST_PCT / 100.0))
    assert np.isfinite(found[["level", "level_se"]]).all(axis=None)


def test_extra_steps_are_the_most_of_the_round_and_missing_where_not_told():
    table = vigour([[100, 100], [100, 100]])
    table["extra_steps"] = pd.array([0, 2, pd.NA, pd.NA], "Int64")
    assert levels_of(table)["extra_steps"].tolist() == [2, pd.NA]


def test_one_error_that_is_missing_spoils_no_other_round():
    rng = np.random.default_rng(2)
    table = vigour(100.0 * np.exp(rng.normal(0, 0.1, (20, 3))))
    table.loc[4, "vigour_pct_own_se"] = np.nan
    found = levels_of(table)
    assert found["level"].drop(index=1).notna().all()
    assert found["level_se"].drop(index=1).notna().all()


def test_no_refeed_no_level():
    found = levels_of(vigour([[100.0]]).iloc[:0])
    assert found.empty
    assert {"culture", "history", "round", "fed_at", "level", "level_se", "refeeds", "extra_steps"} <= set(found)
