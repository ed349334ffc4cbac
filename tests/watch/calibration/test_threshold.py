"""Where a threshold comes from: the ready table, the cache, or a simulation; and how a law is kept."""

from __future__ import annotations

import json

import numpy as np
import pytest

from leavenbench.watch.calibration import cache, threshold
from leavenbench.watch.calibration.cache import keep_law, kept_law
from leavenbench.watch.calibration.conditions import Conditions
from leavenbench.watch.calibration.law import SEED, Law
from leavenbench.watch.calibration.threshold import _LEFT_ON_A_SHELF, threshold_for

COMMON = Conditions(0.5, 0.35, 0.0, 0.03, 150)
UNCOMMON = Conditions(0.6, 0.35, 0.02, 0.3, 10)
LAW = Law(np.array([-1.5, -0.8, -0.7, -0.6]), np.array([1.1, 0.8, 0.75, 0.7]))


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    """Give each test a cache folder of its own."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    return tmp_path


@pytest.fixture
def simulated(monkeypatch):
    """Note each simulation that is asked for, instead of making it."""
    asked = []
    monkeypatch.setattr(threshold, "simulate_law", lambda conditions: asked.append(conditions) or LAW)
    return asked


def written(folder):
    return [path for path in folder.rglob("*") if path.is_file()]


def test_common_conditions_need_neither_simulation_nor_cache(simulated, folder):
    found = threshold_for(COMMON, 1.0, 60.0)
    assert found.source == f"ready table, simulated with seed {SEED}"
    assert not simulated
    assert not written(folder)


def test_others_are_simulated_once(simulated):
    first, again = threshold_for(UNCOMMON, 1.0, 60.0), threshold_for(UNCOMMON, 2.0, 60.0)
    assert simulated == [UNCOMMON]
    assert first.source == f"simulated for this shelf with seed {SEED}"
    assert again.source == f"kept from an earlier run, simulated with seed {SEED}"
    assert all((a == b).all() for a, b in zip(first.law, again.law, strict=True))
    threshold_for(UNCOMMON._replace(carry_over=0.4), 1.0, 60.0)
    assert len(simulated) == 2


def test_a_kept_law_comes_back_as_it_was(folder):
    keep_law(UNCOMMON, LAW)
    found = kept_law(UNCOMMON)
    assert all((a == b).all() for a, b in zip(found, LAW, strict=True))
    assert kept_law(UNCOMMON._replace(cultures=20)) is None
    (path,) = written(folder)
    assert json.loads(path.read_text(encoding="utf-8"))["seed"] == SEED


@pytest.mark.parametrize(
    "rubbish",
    [
        b"",
        b"{",
        b"\xff\xfe\x00",
        b"[]",
        b"7",
        b"null",
        b"{}",
        b'{"at_zero": [1, 2, 3], "falls": [1, 1, 1]}',
        b'{"at_zero": [1, 2, 3, "x"], "falls": [1, 1, 1, 1]}',
        b'{"at_zero": [1, 2, 3, NaN], "falls": [1, 1, 1, 1]}',
        b'{"at_zero": [1, 2, 3, 4], "falls": [1, 1, 1, 0]}',
        b'{"at_zero": [1, 2, [3], 4], "falls": [1, 1, 1, 1]}',
        b'{"at_zero": {"a": 1}, "falls": null}',
    ],
)
def test_rubbish_in_the_cache_is_simulated_anew_and_replaced(simulated, folder, rubbish):
    keep_law(UNCOMMON, LAW)
    (path,) = written(folder)
    path.write_bytes(rubbish)
    assert kept_law(UNCOMMON) is None
    assert "simulated for this shelf" in threshold_for(UNCOMMON, 1.0, 60.0).source
    assert kept_law(UNCOMMON) is not None
    assert written(folder) == [path]


def test_a_cache_that_cannot_be_written_only_costs_time(simulated, folder, monkeypatch):
    (folder / "occupied").write_text("a file where a folder should be", encoding="utf-8")
    monkeypatch.setenv("XDG_CACHE_HOME", str(folder / "occupied"))
    for asked in (1, 2):
        assert "simulated for this shelf" in threshold_for(UNCOMMON, 1.0, 60.0).source
        assert len(simulated) == asked


def test_a_write_that_fails_half_way_leaves_nothing_behind(simulated, folder, monkeypatch):
    def full(*_, **__):
        raise OSError("no space left")

    monkeypatch.setattr(cache.json, "dump", full)
    threshold_for(UNCOMMON, 1.0, 60.0)
    assert not written(folder)


def test_a_folder_where_the_file_should_be_is_passed_over(simulated, folder):
    keep_law(UNCOMMON, LAW)
    (path,) = written(folder)
    path.unlink()
    path.mkdir()
    assert "simulated for this shelf" in threshold_for(UNCOMMON, 1.0, 60.0).source
    assert not written(folder)


@pytest.mark.usefixtures("simulated")
def test_the_dial_is_in_false_alerts_per_hundred_culture_years():
    found = threshold_for(UNCOMMON, 2.0, 60.0)
    # 2 per 100 years of 365.25 / 60 rounds each.
    assert found.per_100_rounds == pytest.approx(2.0 * 60.0 / 365.25)
    age = np.array([5.0])
    assert np.exp(-1.5 - 1.1 * found.of(age)) == pytest.approx(found.per_100_rounds / _LEFT_ON_A_SHELF)


@pytest.mark.usefixtures("simulated")
def test_the_dial_turns_one_way_and_stops_at_its_ends():
    ages = np.arange(60.0)
    told = [threshold_for(UNCOMMON, dial, 60.0).of(ages) for dial in (0.0, 0.5, 1.0, 5.0, 10.0, 1e9)]
    assert (told[0] == told[1]).all()
    assert (told[4] == told[5]).all()
    assert (np.diff(told[1:5], axis=0) < 0.0).all()
