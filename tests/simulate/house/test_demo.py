"""The demo in the repository is what its command makes, and its page tells the truth."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from leavenbench import cli
from leavenbench.columns import TABLES
from leavenbench.simulate.__main__ import main
from leavenbench.simulate.house.demo import simulate_demo
from leavenbench.simulate.house.fates import STORIES, TYPING_FAULTS

DEMO = Path(__file__).parents[3] / "data_demo"
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
            books = [pd.read_excel(book, sheet_name=None) for book in (kept, new)]
            assert list(books[0]) == list(books[1])
            for sheet in books[0]:
                pd.testing.assert_frame_equal(books[0][sheet], books[1][sheet], check_exact=True)
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
    assert sum((DEMO / name).stat().st_size for name in files_of(DEMO)) < 5_000_000


def test_a_folder_in_use_is_refused(made, capsys):
    assert main([str(made / "house"), "--seed", "1"]) == 1
    assert "is not empty" in capsys.readouterr().err


def test_the_house_keeps_all_tables_in_several_formats_and_units():
    names = files_of(DEMO)
    assert {name.rsplit(".")[-1] for name in names} >= {"csv", "xlsx", "parquet", "toml"}
    in_workbook = pd.read_excel(DEMO / "collection.xlsx", sheet_name=None)
    kept = {name.split("/")[0].split(".")[0] for name in names} | set(in_workbook)
    assert set(TABLES) <= kept
    assert {"height [cm]", "temperature [degF]"} <= set(pd.read_excel(DEMO / "readings" / "2022.xlsx", nrows=1).columns)
    second_keeper = (DEMO / "refeeds" / "2022.csv").read_text(encoding="utf-8-sig").splitlines()
    assert "room_temperature [degC]" in second_keeper[0].split(";")
    assert any(",5;" in line for line in second_keeper)
    assert '"' in (DEMO / "depositors.csv").read_text(encoding="utf-8")  # names with commas in them


def test_the_named_cultures_have_their_stories(demo):
    rounds = demo.truth["rounds"].query("purpose == 'round'")
    share = np.exp(rounds.pivot(index="culture", columns="round", values="log_story"))
    # The last of 24 rounds, counted from the onset: 14, 10 and 8 losses; 1 + 2 + ... + 8 = 36 of the accelerating one.
    assert share.at["Pewter", 24] == pytest.approx(0.97**14)
    assert share.at["Kettle", 24] == pytest.approx(0.95**10)
    assert share.at["Thistle", 24] == pytest.approx(0.92**8)
    assert share.at["Candlewick", 24] == pytest.approx(0.985**36)
    assert share.loc["Rookery", [18, 19]].tolist() == pytest.approx([1.0, 0.75])
    assert share.loc["Juniper", [12, 13, 17]].tolist() == pytest.approx([1.0, 0.7, 1.0])
    assert share.loc["Mossback", [13, 18, 21]].tolist() == pytest.approx([1.0, 0.88**5, 1.0])
    assert share.loc["Ivyrow", [18, 24]].tolist() == pytest.approx([1.0, 1.25])
    assert share.loc["Tansy", [15, 17]].tolist() == pytest.approx([1.0, 0.55**2])
    steady = share.drop(index=list(STORIES))
    assert len(steady) == 37
    assert (steady == 1.0).all(axis=None)


def test_who_died_is_lost_restored_or_still_on_the_shelf(demo):
    events = demo.tables["events"]
    assert events.loc[events["kind"] == "lost", "culture"].tolist() == ["Fennock", "Tansy"]
    assert events.loc[events["kind"] == "restored", "culture"].tolist() == ["Fennock"]
    fed = demo.tables["refeeds"].groupby("culture")["fed_at"]
    lost = events.loc[events["kind"] == "lost"].set_index("culture")["happened_on"]
    assert fed.max()["Tansy"] < lost["Tansy"] < pd.Timestamp("2024-12-01")
    assert fed.max()["Drover"] > pd.Timestamp("2024-12-01")
    assert fed.max()["Fennock"] > pd.Timestamp("2024-09-01")
    own = demo.tables["refeeds"].query("culture == 'Fennock'")["fed_at"]
    (restored,) = events.loc[events["kind"] == "restored", "happened_on"]
    assert not own.between(lost["Fennock"], restored).any()


def test_the_cold_day_met_half_of_the_shelf(demo):
    refeeds = demo.tables["refeeds"]
    that_day = refeeds.loc[refeeds["fed_at"].dt.normalize() == pd.Timestamp("2024-01-17")]
    assert that_day["culture"].nunique() in range(22, 27)  # half of 48, give or take slips that went missing
    assert that_day["room_temperature"].max() < 15.0


def test_the_page_names_every_story_and_every_mistake(demo):
    page = (DEMO / "README.md").read_text(encoding="utf-8")
    for name in (*STORIES, "Pearl"):
        assert f"\n| {name} |" in page
    assert len(demo.truth["typing_faults"]) == len(TYPING_FAULTS)
    for fault in demo.truth["typing_faults"].itertuples():
        assert f"| {fault.fault} | {fault.table} | {fault.refeed} | {fault.column} |" in page
    for word in ("Lot spelt-8", "no more barley", "No heating in the loft", "The pantry stood still", "Probe blue"):
        assert word in page


def test_a_check_lists_what_was_planted_and_what_follows_from_it(demo, tmp_path, capsys):
    """Each mistake once, and the readings of the two refeeds whose numbers no longer lead to them."""
    out = tmp_path / "problems.csv"
    assert cli.main(["check", str(DEMO), "--out", str(out)]) == 1
    capsys.readouterr()
    listed = pd.read_csv(out, dtype=str)
    faults = demo.truth["typing_faults"].set_index("fault")
    hit = {fault: listed.loc[listed["value"] == _typed(row["typed"])] for fault, row in faults.iterrows()}
    assert {fault: len(rows) for fault, rows in hit.items()} == dict.fromkeys(faults.index, 1)
    rest = listed.drop(index=pd.concat(hit.values()).index)
    orphaned = {faults.at["refeed number used twice", "right"], faults.at["name misspelt", "refeed"]}
    assert set(rest["table"]) == {"readings"}
    assert set(rest["column"]) == {"refeed"}
    assert set(rest["value"]) == orphaned


def _typed(value):
    return f"{value:%Y-%m-%d %H:%M}" if isinstance(value, pd.Timestamp) else str(value)
