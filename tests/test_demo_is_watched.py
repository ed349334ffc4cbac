"""The invented house through the whole way, against what is really true of it.

Only the plain cases are asserted: the truth stands in data_demo/README.md, and the tool is not tuned to it.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import pandas as pd
import pytest

from leavenbench.cli import main
from leavenbench.columns import RESULTS

DEMO = Path(__file__).parent.parent / "data_demo"


def fingerprints():
    return {path: hashlib.sha256(path.read_bytes()).hexdigest() for path in DEMO.rglob("*") if path.is_file()}


@pytest.fixture(scope="module")
def listed(tmp_path_factory):
    before = fingerprints()
    out = tmp_path_factory.mktemp("demo") / "list.parquet"
    assert main(["watch", str(DEMO), "--out", str(out)]) == 0
    assert fingerprints() == before
    return pd.read_parquet(out).set_index("culture")


def test_every_living_culture_is_on_the_list_and_one_restored_but_not_the_lost_one(listed):
    assert [listed.index.name, *listed.columns] == [
        "culture",
        *(n for n in RESULTS["watch_list"].names if n != "culture"),
    ]
    assert len(listed) == 47  # of 48: one was lost with its flour
    assert "Tansy" not in listed.index
    assert "Fennock" in listed.index  # lost, and restored from a frozen portion


def test_the_dead_jar_that_nobody_noticed_stands_first(listed):
    assert listed.loc["Drover", ["rank", "standing"]].tolist() == [1, "urgent"]
    assert "no activity" in listed.loc["Drover", "evidence"]
    assert listed.loc["Drover", "act_by"] == listed.loc["Drover", "as_of"]


def test_the_steep_decline_is_named_and_the_jar_that_only_sours_is_not(listed):
    assert listed.loc["Thistle", "standing"] in ("urgent", "slipping")
    assert listed.loc["Pearl", "standing"] == "steady"


def test_a_short_look_back_says_that_it_cannot_know_yet(tmp_path):
    out = tmp_path / "list.csv"
    assert main(["watch", str(DEMO), "--as-of", "2021-04-30", "--out", str(out)]) == 0
    early = pd.read_csv(out)
    assert len(early) == 48
    assert set(early["standing"]) == {"unknown"}
    assert early["evidence"].str.contains("rounds with sound readings").all()
    assert early["rounds_left"].isna().all()
