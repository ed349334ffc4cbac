"""The demo in the repository is what its command makes, and its page tells the truth."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from leavenbench.simulate.__main__ import main
from leavenbench.simulate.house import STORIES, simulate_demo

DEMO = Path(__file__).parents[2] / "data_demo"
SEED = 1


@pytest.fixture(scope="module")
def demo():
    return simulate_demo(SEED)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    place = tmp_path_factory.mktemp("demo")
    assert main([str(place / "house"), "--seed", str(SEED), "--truth", str(place / "README.md")]) == 0
    return place


def files_of(folder):
    return sorted(file.relative_to(folder).as_posix() for file in folder.rglob("*") if file.is_file())


def test_the_demo_is_what_its_command_makes(made):
    again = made / "house"
    assert files_of(DEMO) == sorted([*files_of(again), "README.md"])
    assert (DEMO / "README.md").read_bytes() == (made / "README.md").read_bytes()
    for name in files_of(again):
        kept, new = DEMO / name, again / name
        if kept.suffix == ".xlsx":
            pd.testing.assert_frame_equal(pd.read_excel(kept), pd.read_excel(new), check_exact=True)
        elif kept.suffix == ".parquet":
            pd.testing.assert_frame_equal(pd.read_parquet(kept), pd.read_parquet(new), check_exact=True)
        else:
            assert kept.read_bytes() == new.read_bytes(), name


def test_another_seed_makes_other_records_of_the_same_house(demo):
    other = simulate_demo(SEED + 1)
    assert other.tables["cultures"]["culture"].tolist() == demo.tables["cultures"]["culture"].tolist()
    assert not other.tables["readings"].equals(demo.tables["readings"])


def test_the_truth_is_not_in_the_folder(made, demo):
    everything = b"".join((made / "house" / name).read_bytes() for name in files_of(made / "house"))
    for word in (b"vigour", b"log_", b"ramp", b"onset", b"steady", b"true", b"misread"):
        assert word not in everything.lower()
    assert {"log_vigour", "log_story"} <= set(demo.truth["rounds"].columns)


def test_the_demo_is_small():
    assert sum((DEMO / name).stat().st_size for name in files_of(DEMO)) < 3_000_000


def test_a_folder_in_use_is_refused(made, capsys):
    assert main([str(made / "house"), "--seed", "1"]) == 1
    assert "is not empty" in capsys.readouterr().err


def test_the_named_cultures_have_their_stories(demo):
    rounds = demo.truth["rounds"].pivot(index="culture", columns="round", values="log_story")
    share = np.exp(rounds)
    # The last of 18 rounds, counted from the onset: 11, 10 and 9 losses.
    assert share.at["Pewter", 18] == pytest.approx(0.97**11)
    assert share.at["Kettle", 18] == pytest.approx(0.95**10)
    assert share.at["Thistle", 18] == pytest.approx(0.92**9)
    assert share.at["Rookery", 10] == 1.0
    assert share.at["Rookery", 11] == pytest.approx(0.75)
    assert share.at["Juniper", 9] == pytest.approx(0.7)
    assert share.at["Juniper", 13] == 1.0
    steady = share.drop(index=list(STORIES))
    assert len(steady) == 23
    assert (steady == 1.0).all(axis=None)


def test_who_died_is_lost_or_still_on_the_shelf(demo):
    assert demo.tables["events"]["culture"].tolist() == ["Fennock"]
    last = demo.tables["refeeds"].groupby("culture")["fed_at"].max()
    assert last["Fennock"] < pd.Timestamp("2023-11-27") < pd.Timestamp("2024-12-01") < last["Drover"]


def test_the_page_names_every_story_and_every_mistake(demo):
    page = (DEMO / "README.md").read_text(encoding="utf-8")
    for name in (*STORIES, "Pearl"):
        assert f"\n| {name} |" in page
    assert len(demo.truth["typing_faults"]) == 5
    for fault in demo.truth["typing_faults"].itertuples():
        assert f"| {fault.fault} | {fault.table} | {fault.refeed} | {fault.column} |" in page
