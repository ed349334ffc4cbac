"""Vigour against the culture's own baseline, on shelves whose truth is known."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from leavenbench.columns import RESULTS
from leavenbench.temperature import YEAST, rate_against_reference
from leavenbench.vigour.index import vigour_of

START = pd.Timestamp("2023-01-01 08:00", tz="UTC")


def shelf(make_collection, make_curves, strength, *, temperature=None, signal="rise", **tables):
    """Return a shelf whose curves have just the slopes asked for.

    ``strength``, shape (cultures, rounds), is true vigour; each round has three steps of 5, 8 and 10 %/h.
    """
    strength = np.atleast_2d(np.asarray(strength, float))
    rows = [(f"C{c}", r, s) for c in range(strength.shape[0]) for r in range(strength.shape[1]) for s in range(3)]
    culture, number, step = (np.array(part) for part in zip(*rows, strict=True))
    true = np.array([strength[int(c[1:]), r] for c, r in zip(culture, number, strict=True)])
    refeeds = {
        "refeed": [f"F{i}" for i in range(len(rows))],
        "culture": culture,
        "fed_at": START + pd.to_timedelta(60 * number + step, unit="D"),
        "purpose": "round",
        "round": number + 1,
        "step": step + 1,
        "room_temperature_degC": 25.0 if temperature is None else temperature[number],
    }
    rate = np.array([5.0, 8.0, 10.0])[step] * true
    if temperature is not None:
        rate = rate * rate_against_reference(temperature[number], YEAST)
    curves = {
        **{name: refeeds[name] for name in ("refeed", "culture", "fed_at", "round", "step")},
        "signal": signal,
        "status": np.where(rate > 0, "fitted", "no activity"),
        "max_rate": rate,
        "max_rate_se": 0.05 * np.maximum(rate, 0.1),
        "lower_bounds": "",
    }
    collection = make_collection(refeeds=refeeds, **tables)
    return collection, make_curves(curves)


def test_a_hundred_percent_is_the_cultures_own_normal(make_collection, make_curves):
    collection, curves = shelf(make_collection, make_curves, np.ones((2, 8)))
    vigour = vigour_of(collection, curves)
    assert list(vigour.columns) == RESULTS["vigour"].names
    assert len(vigour) == len(collection["refeeds"])
    assert vigour["vigour_pct"].to_numpy() == pytest.approx(100.0)
    assert (vigour["vigour_pct_se"] > 0).all()


def test_a_decline_does_not_drag_its_baseline_along(make_collection, make_curves):
    true = np.concatenate([np.ones(8), 0.95 ** np.arange(1, 13)])
    collection, curves = shelf(make_collection, make_curves, true)
    vigour = vigour_of(collection, curves)
    by_round = vigour.groupby("round")["vigour_pct"].mean()
    assert by_round.to_numpy() == pytest.approx(100 * true, rel=1e-4)
    assert (vigour["baseline_rounds"] == 6).all()


def test_log_vigour_moves_one_for_one_with_the_log_of_the_rate(make_collection, make_curves):
    true = np.concatenate([np.ones(6), np.linspace(1.2, 0.3, 10)])
    collection, curves = shelf(make_collection, make_curves, true)
    found = vigour_of(collection, curves).groupby("round")["vigour_pct"].mean().to_numpy()
    slope = np.polyfit(np.log(true[6:]), np.log(found[6:] / 100), 1)[0]
    assert slope == pytest.approx(1.0, abs=1e-9)


def test_temperature_is_taken_out(make_collection, make_curves):
    temperature = np.array([25, 22, 19, 26, 21, 24, 18, 23], float)
    collection, curves = shelf(make_collection, make_curves, np.ones((1, 8)), temperature=temperature)
    vigour = vigour_of(collection, curves)
    assert vigour["vigour_pct"].to_numpy() == pytest.approx(100.0)
    assert vigour["corrected_for"].str.startswith("temperature").all()


def test_where_no_temperature_was_noted_the_error_is_wider_and_the_row_says_so(make_collection, make_curves):
    noted = shelf(make_collection, make_curves, np.ones((1, 8)))
    without = shelf(make_collection, make_curves, np.ones((1, 8)), temperature=np.full(8, np.nan))
    for name in ("max_rate", "max_rate_se", "status"):
        without[1][name] = noted[1][name]
    known, unknown = vigour_of(*noted), vigour_of(*without)
    assert not unknown["corrected_for"].str.contains("temperature").any()
    assert (unknown["vigour_pct_se"] > known["vigour_pct_se"]).all()


def test_a_jar_that_never_rises_is_judged_by_acid(make_collection, make_curves):
    collection, acid = shelf(make_collection, make_curves, np.ones((1, 8)), signal="acid")
    rise = acid.assign(signal="rise", status="no activity", max_rate=0.0)
    vigour = vigour_of(collection, pd.concat([rise, acid], ignore_index=True))
    assert vigour["vigour_pct"].to_numpy() == pytest.approx(100.0)
    assert vigour["traits_used"].str.startswith("acid").all()


def test_no_activity_is_no_vigour_not_a_missing_number(make_collection, make_curves):
    collection, curves = shelf(make_collection, make_curves, [1, 1, 1, 1, 1, 1, 1, 0])
    vigour = vigour_of(collection, curves)
    # Under 2 % vigour is not told apart from nothing.
    assert vigour.loc[vigour["round"] == 8, "vigour_pct"].to_numpy() == pytest.approx(2.0)
    assert vigour["vigour_pct_se"].notna().all()


def test_what_the_whole_shelf_shares_is_taken_out_of_each_cultures_own(make_collection, make_curves):
    rng = np.random.default_rng(1)
    true = np.exp(rng.normal(0, 0.05, (20, 12)))
    true[:, 9] *= 0.8
    true[0, 6:] *= 0.9 ** np.arange(6)
    collection, curves = shelf(make_collection, make_curves, true)
    vigour = vigour_of(collection, curves)
    slow = vigour[(vigour["round"] == 10) & (vigour["culture"] != "C0")]
    assert slow["vigour_pct"].mean() == pytest.approx(80, abs=4)
    assert slow["vigour_pct_own"].mean() == pytest.approx(100, abs=6)
    last = vigour[(vigour["round"] == 12) & (vigour["culture"] == "C0")]["vigour_pct_own"].mean()
    assert last == pytest.approx(100 * 0.9**5, rel=0.15)  # its own decline stays its own


def test_restored_begins_a_new_history(make_collection, make_curves):
    true = [1.0] * 7 + [0.6] * 7
    restored = START + pd.Timedelta(days=60 * 7 - 10)
    events = {"event": ["e"], "culture": ["C0"], "happened_on": [restored.tz_localize(None)], "kind": ["restored"]}
    collection, curves = shelf(make_collection, make_curves, true, events=events)
    assert vigour_of(collection, curves)["vigour_pct"].to_numpy() == pytest.approx(100.0)


def test_a_jump_beyond_all_it_ever_showed_is_too_good(make_collection, make_curves):
    collection, curves = shelf(make_collection, make_curves, [1, 1, 1, 1, 1, 1, 1, 2.0])
    vigour = vigour_of(collection, curves)
    assert set(vigour.loc[vigour["too_good"], "round"]) == {8}


def test_extra_steps_are_counted_against_what_the_culture_usually_takes(make_collection, make_curves):
    collection, curves = shelf(make_collection, make_curves, np.ones((1, 5)))
    tables = dict(collection.tables)
    extra = tables["refeeds"].tail(2).assign(refeed=["X1", "X2"], step=pd.array([4, 5], "Int64"))
    extra["fed_at"] = extra["fed_at"] + pd.Timedelta(days=2)
    tables["refeeds"] = pd.concat([tables["refeeds"], extra], ignore_index=True)
    vigour = vigour_of(type(collection)(**{**vars(collection), "tables": tables}), curves)
    assert set(vigour.loc[vigour["round"] == 5, "extra_steps"]) == {2}
    assert set(vigour.loc[vigour["round"] < 5, "extra_steps"]) == {0}
    assert vigour.loc[vigour["refeed"] == "X1", "vigour_pct"].isna().all()


def test_an_empty_collection_has_an_empty_table(make_collection, make_curves):
    vigour = vigour_of(make_collection(), make_curves({}))
    assert vigour.empty
    assert list(vigour.columns) == RESULTS["vigour"].names


@pytest.mark.parametrize(
    ("hours", "ph", "verdict"),
    [
        ([0, 6, 12], [5.9, 5.0, 4.4], "met"),
        ([0, 6, 24], [5.9, 5.5, 5.1], "missed"),
        ([0, 6, 10], [5.9, 5.5, 5.1], "not measured"),
        ([0, 6, 30], [5.9, 5.5, 4.4], "not measured"),
        ([0, 6, 30], [5.9, 5.5, 5.0], "missed"),
        ([0, 3, 6, 24], [5.9, 0.0, 5.5, 5.1], "missed"),
        ([0, 26], [5.9, 4.2], "not measured"),
    ],
)
def test_floor(make_collection, make_curves, hours, ph, verdict):
    # pH 4.6: 21 CFR 114.3; within a day: common practice, no source.
    collection, _ = shelf(make_collection, make_curves, np.ones((1, 1)))
    tables = dict(collection.tables)
    readings = tables["readings"]
    tables["readings"] = pd.DataFrame(
        {"refeed": "F0", "elapsed_h": hours, "ph": ph}, columns=list(readings.columns)
    ).astype(readings.dtypes)
    curves = make_curves(
        {"refeed": ["F0"], "culture": ["C0"], "signal": ["acid"], "status": ["too few readings"], "lower_bounds": [""]}
    )
    vigour = vigour_of(type(collection)(**{**vars(collection), "tables": tables}), curves)
    assert vigour.loc[0, "floor"] == verdict
    assert (vigour.loc[1:, "floor"] == "not measured").all()
