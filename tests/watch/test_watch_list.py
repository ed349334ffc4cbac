"""What the list says of identity, death, floor and calendar, on folders as people keep them."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

import leavenbench

HOURS = np.array([0, 2, 3, 4, 5, 6, 8, 12, 24.0])
START = pd.Timestamp("2023-01-10 08:00")


def log(strengths, *, culture="Alba", ph=True, rise=True, purpose="round", begin=START, name="R"):
    """Return refeeds and readings of rounds every 60 days, three steps each, of the strengths asked for."""
    refeeds, readings = [], []
    for number, strength in enumerate(strengths):
        for step in range(3):
            refeed = f"{name}{number}-{step}"
            fed = begin + pd.Timedelta(days=60 * number + step)
            refeeds.append(
                {"refeed": refeed, "culture": culture, "fed_at": f"{fed:%Y-%m-%d %H:%M}", "purpose": purpose}
            )
            jitter = 0.5 * np.sin(5 * HOURS + 3 * number + step)
            moved = strength if np.isfinite(strength) else None
            if moved is None:
                continue
            height = 40 + (60 / (1 + np.exp(-1.4 * moved * (HOURS - 4 / moved))) if moved else 0) + jitter
            acid = 5.9 - (2.0 / (1 + np.exp(-1.0 * moved * (HOURS - 5 / moved))) if moved else 0) + jitter / 30
            readings.append(
                pd.DataFrame(
                    {"refeed": refeed, "elapsed": HOURS, "height": height if rise else None, "ph": acid if ph else None}
                )
            )
    return pd.DataFrame(refeeds), pd.concat(readings) if readings else pd.DataFrame(columns=["refeed", "elapsed", "ph"])


@pytest.fixture
def watched(tmp_path):
    """Return a function that writes logs and other tables, and gives the list by culture."""

    def watch(*logs, as_of=None, **tables):
        for name, parts in (("refeeds", [one[0] for one in logs]), ("readings", [one[1] for one in logs])):
            pd.concat(parts).to_csv(tmp_path / f"{name}.csv", index=False)
        for name, text in tables.items():
            (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
        last = max(pd.Timestamp(one[0]["fed_at"].max()) for one in logs)
        as_of = as_of or (last + pd.Timedelta(days=1)).date()
        collection = leavenbench.read_collection(tmp_path, as_of=as_of)
        curves = leavenbench.trace_collection(collection)
        vigour = leavenbench.vigour_of(collection, curves)
        return leavenbench.watch_list(collection, curves, vigour, as_of).set_index("culture")

    return watch


def test_a_jar_stronger_than_it_ever_was_is_doubted_whatever_its_last_step(watched):
    row = watched(log([1, 1, 1, 1, 1, 1, 1, 2.2])).loc["Alba"]
    assert row["identity_doubt"]
    assert "too good" in row["evidence"]


@pytest.mark.parametrize(
    ("result", "proven"),
    [("itself, ITS", True), ("confirmed", True), ("NOT itself: foreign yeast", False), ("failed", False), ("", False)],
)
def test_only_a_check_that_says_so_proves_identity(watched, result, proven):
    checks = f'culture,checked_on,kind,result\nAlba,2023-05-05,identity,"{result}"\nAlba,2023-06-06,purity,ok\n'
    row = watched(log([1, 1, 1, 1, 1]), identity_checks=checks).loc["Alba"]
    assert (row["identity_proven_on"] == pd.Timestamp("2023-05-05")) if proven else pd.isna(row["identity_proven_on"])


def test_tests_that_do_not_move_are_no_death(watched):
    still = log([0.0], purpose="test", begin=START + pd.Timedelta(days=310), name="T")
    assert watched(log([1, 1, 1, 1, 1, 1]), still).loc["Alba", "standing"] == "steady"


def test_a_restored_culture_is_not_called_dead_by_its_old_history(watched):
    events = "event,culture,happened_on,kind\n1,Alba,2023-11-20,lost\n2,Alba,2023-12-20,restored\n"
    row = watched(log([1, 1, 1, 1, 1, 0.0, np.nan]), events=events).loc["Alba"]
    assert row["standing"] == "unknown"
    assert "no activity" not in row["evidence"]


@pytest.mark.parametrize(
    ("read", "words"),
    [({}, "neither rise nor souring"), ({"ph": False}, "no rise (pH was not read)"), ({"rise": False}, "no souring")],
)
def test_death_is_told_by_what_was_read(watched, read, words):
    row = watched(log([1, 1, 1, 1, 1, 0.0], **read)).loc["Alba"]
    assert row["standing"] == "urgent"
    assert words in row["evidence"]


def test_rounds_left_run_out_while_nobody_reads(watched):
    falling = [1, 1, 1, 1, 1, 1, 0.9, 0.81, 0.73, 0.66]
    then = watched(log(falling)).loc["Alba"]
    later = watched(log(falling), as_of=dt.date(2026, 1, 1)).loc["Alba"]
    assert then["standing"] in ("slipping", "urgent")
    assert 0 < then["rounds_left"] < 6
    assert later["rounds_left"] == 0
    assert later["standing"] == "urgent"
    assert later["act_by"] == pd.Timestamp("2026-01-01")
    assert "late:" in later["evidence"]


def test_act_by_is_the_last_due_date_before_rounds_left_low_runs_out(watched):
    row = watched(log([1, 1, 1, 1, 1, 1, 0.93, 0.87, 0.8, 0.75])).loc["Alba"]
    runs_out = row["as_of"] + pd.Timedelta(days=60 * row["rounds_left_low"])
    fed_on = row["last_fed_at"].tz_localize(None).normalize()
    assert row["as_of"] <= row["act_by"] <= max(runs_out, row["as_of"])
    if row["act_by"] > row["as_of"]:
        assert (row["act_by"] - fed_on).days % 60 == 0
        assert runs_out < row["act_by"] + pd.Timedelta(days=60)


def test_what_was_not_read_for_rounds_is_said(watched):
    row = watched(log([1, 1, 1, 1, 1, np.nan, np.nan, np.nan])).loc["Alba"]
    assert "unread: no sound readings since 2023-09-09" in row["evidence"]


def test_extra_steps_speak_only_where_passing_is_recorded(watched):
    refeeds, readings = log([1, 1, 1, 1, 1])
    extra = refeeds.tail(1).assign(refeed="X", fed_at=f"{START + pd.Timedelta(days=243):%Y-%m-%d %H:%M}")
    more = pd.concat([refeeds, extra])
    silent = watched((more, readings)).loc["Alba"]
    assert silent["extra_steps"] == 1
    assert "extra steps" not in silent["evidence"]
    assert "extra steps: 1" in watched((more.assign(passed="yes"), readings)).loc["Alba", "evidence"]
