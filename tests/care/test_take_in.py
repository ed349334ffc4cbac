"""Sheets that come back: taken in once, whole or not at all, whatever was typed into them."""

from __future__ import annotations

import datetime as dt
import multiprocessing
import os
import random
import shutil
import signal
import time
import zipfile

import openpyxl
import pandas as pd
import pytest

from leavenbench.care.bench.plan import bench_sheets
from leavenbench.care.rounds import due_list, fed_now
from leavenbench.care.take_in import take_in
from leavenbench.care.take_in.clock import clock_time, moment_after
from leavenbench.cli import main
from leavenbench.errors import CannotRead, Refused
from leavenbench.records.collection import read_collection
from leavenbench.report.sheets import write_sheets

ON = dt.date(2024, 12, 31)
NOBODY = pd.DataFrame({"culture": pd.Series(dtype="str"), "standing": pd.Series(dtype="str")})


@pytest.fixture(scope="module")
def sheets(shelf):
    return bench_sheets(shelf, NOBODY, fed_now(due_list(shelf, NOBODY, ON)), ON)


@pytest.fixture(scope="module")
def blank(sheets, tmp_path_factory):
    book = tmp_path_factory.mktemp("sheets") / "round.xlsx"
    write_sheets(sheets, book)
    return book


@pytest.fixture
def copy(folder, tmp_path):
    return shutil.copytree(folder, tmp_path / "test_shelf")


@pytest.fixture
def book(blank, tmp_path):
    return shutil.copy(blank, tmp_path / "round.xlsx")


def everything(folder):
    """Return all that stands in a folder, byte by byte."""
    return {path.relative_to(folder): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def test_a_sheet_becomes_records_and_the_collection_reads_them(copy, book, sheets, fill, fed):
    fill(
        book,
        sheets[0],
        fed(1) | fed(2, "08:25", passed="no") | {(0, "person", 0): "Ada", (0, "room_temperature", 0): 19.5},
    )
    before = everything(copy)
    taken = take_in(copy, book)
    identity = sheets[0].identity
    assert [path.name for path in taken.folders] == [identity]
    assert taken.sheets["what"].tolist() == ["taken in", "blank", "blank"]
    after = everything(copy)
    assert {path: content for path, content in after.items() if path in before} == before
    assert {path.parent.as_posix() for path in set(after) - set(before)} == {f"taken_in/{identity}"}
    shelf = read_collection(copy)
    new = shelf["refeeds"][shelf["refeeds"]["refeed"].str.startswith(identity)].set_index("refeed")
    assert list(new.index) == [f"{identity}-1", f"{identity}-2"]
    first = new.loc[f"{identity}-1"]
    assert first[["culture", "lot", "vessel", "person"]].tolist() == ["Rika", "rice-1", "R1", "Ada"]
    assert first[["seed_g", "flour_g", "water_g", "step", "bench_order"]].tolist() == [20, 40, 40, 1, 1]
    assert str(first["fed_at"]) == "2024-12-31 08:15:00+01:00"
    assert new["passed"].tolist() == [True, False]
    read = shelf["readings"][shelf["readings"]["refeed"] == f"{identity}-1"]
    assert read[["elapsed_h", "height_mm", "ph"]].values.tolist() == [[2.25, 52, 5.1], [4.25, 70, 4.6], [6.25, 95, 4.1]]
    assert (shelf.problems["severity"] != "error").all()


def test_typed_by_hand_as_people_do(copy, book, sheets, fill):
    typed = {
        (1, "fed_at", 0): "8.15",
        (1, "look", 1): dt.time(10, 30),
        (1, "height", 1): "5,2 cm",
        (1, "ph", 1): "5,61",
        (1, "temperature", 1): "70F",
        (1, "look", 2): "1430",
        (1, "height", 2): "71",
        (0, "bench_look", 3): "7h40",
        (1, "ph", 3): 3.9,
        (1, "high_mark", 0): "118 mm",
        (1, "flour", 0): "41 g",
        (1, "passed", 0): "x",
        (1, "cooled_at", 0): "18:00",
        (1, "smell", 0): "of pears",
        (3, "fed_at", 0): "2024-12-31 09:00",
    }
    fill(book, sheets[0], typed)
    take_in(copy, book)
    shelf, name = read_collection(copy), f"{sheets[0].identity}-1"
    fed = shelf["refeeds"].set_index("refeed").loc[name]
    assert fed[["flour_g", "seed_g", "smell", "passed"]].tolist() == [41, 20, "of pears", True]
    assert str(fed["cooled_at"]) == "2024-12-31 18:00:00+01:00"
    read = shelf["readings"][shelf["readings"]["refeed"] == name]
    assert read["elapsed_h"].round(3).tolist() == [2.25, 6.25, 23.417]  # the last one next morning
    assert read["height_mm"].tolist()[:2] == [52.0, 71.0]
    assert read["high_mark_mm"].tolist()[-1] == 118.0
    assert read["temperature_degC"].iloc[0] == pytest.approx(21.11, abs=0.01)  # exact: (70 - 32) / 1.8
    assert f"{sheets[0].identity}-2" not in set(shelf["refeeds"]["refeed"])  # a row that was skipped


def test_what_is_wrong_is_told_by_its_cell_and_nothing_is_taken_in(copy, book, sheets, fill, fed):
    wrong = fed(1) | {
        (1, "height", 2): "smells of pears",
        (1, "look", 3): "25:70",
        (2, "height", 1): 50,
        (3, "fed_at", 0): "soon",
    }
    fill(book, sheets[0], wrong)
    before = everything(copy)
    with pytest.raises(Refused, match="5 boxes are wrong") as refused:
        take_in(copy, book)
    assert everything(copy) == before
    told = refused.value.evidence
    page = openpyxl.load_workbook(book)[sheets[0].identity]
    for row in told.to_dict("records"):
        assert str(page[row["cell"]].value or "") == row["value"], row
        assert row["row"] == page[row["cell"]].row
        assert row["message"].startswith(row["cell"])
        assert row["remedy"]
    assert sorted(told["value"]) == ["", "25:70", "50", "smells of pears", "soon"]


def test_all_but_the_faulty_jars_can_be_taken_in_and_those_stay_open(copy, book, sheets, fill, fed):
    fill(book, sheets[0], fed(1) | fed(2) | {(2, "ph", 1): "sour"})
    with pytest.raises(Refused, match="1 box is wrong"):
        take_in(copy, book)
    taken = take_in(copy, book, leave_faulty=True)
    assert taken.sheets[["jars", "open_jars"]].values.tolist()[0] == [1, 1]
    assert len(taken.problems) == 1
    with pytest.raises(Refused, match="nothing is left"):
        take_in(copy, book, leave_faulty=True)
    fill(book, sheets[0], {(2, "ph", 1): 5.1})
    taken = take_in(copy, book)  # the open jar comes to it; nothing that was taken in changes
    assert [path.name for path in taken.folders] == [f"{sheets[0].identity}.2"]
    shelf = read_collection(copy)
    assert shelf["refeeds"]["refeed"].str.startswith(sheets[0].identity).sum() == 2
    assert not shelf["refeeds"]["refeed"].duplicated().any()


def test_the_same_sheet_twice_is_recognised_and_a_changed_one_says_what_it_would_change(copy, book, sheets, fill, fed):
    fill(book, sheets[0], fed(1) | fed(2))
    take_in(copy, book)
    before = everything(copy)
    for allowed in ({}, {"correct": True}, {"leave_faulty": True}):
        with pytest.raises(Refused, match="nothing is left to take in; already taken in"):
            take_in(copy, book, **allowed)
    fill(book, sheets[0], {(1, "height", 2): 73})
    with pytest.raises(Refused, match=r"would change 1 value.*--correct") as refused:
        take_in(copy, book)
    change = refused.value.evidence.iloc[0]
    assert (change["what"], change["was"], change["becomes"]) == ("height [mm]", "70", "73")
    assert everything(copy) == before
    taken = take_in(copy, book, correct=True)
    assert [path.name for path in taken.folders] == [f"{sheets[0].identity}.2"]
    assert {path: it for path, it in everything(copy).items() if path in before} == before  # beside the first
    shelf = read_collection(copy)
    own = shelf["readings"][shelf["readings"]["refeed"] == f"{sheets[0].identity}-1"]
    assert own["height_mm"].tolist() == [52, 73, 95]
    fill(book, sheets[0], {(1, "height", 2): None})
    take_in(copy, book, correct=True)
    assert (copy / "taken_in" / f"{sheets[0].identity}.3").is_dir()


def test_a_faulty_box_in_a_correction_loses_nothing_that_was_taken_in(copy, book, sheets, fill, fed):
    fill(book, sheets[0], fed(1) | fed(2))
    take_in(copy, book)
    fill(book, sheets[0], {(1, "ph", 1): "sour", (2, "ph", 1): 5.33})
    take_in(copy, book, leave_faulty=True, correct=True)
    shelf = read_collection(copy)
    by_jar = shelf["readings"].set_index("refeed")["ph"]
    assert by_jar[f"{sheets[0].identity}-1"].tolist() == [5.1, 4.6, 4.1]
    assert by_jar[f"{sheets[0].identity}-2"].tolist() == [5.33, 4.6, 4.1]


def test_each_filled_tab_is_a_folder_and_blank_ones_wait(copy, book, sheets, fill, fed):
    fill(book, sheets[0], fed(1))
    take_in(copy, book)
    fill(book, sheets[1], fed(1) | fed(2))
    fill(book, sheets[2], fed(3))
    taken = take_in(copy, book)
    assert taken.sheets["what"].tolist() == ["already taken in", "taken in", "taken in"]
    assert sorted(path.name for path in (copy / "taken_in").iterdir()) == sorted(sheet.identity for sheet in sheets)


def test_a_blank_workbook_is_nothing_to_take_in(copy, book):
    with pytest.raises(Refused, match="nothing is filled in"):
        take_in(copy, book)
    assert not (copy / "taken_in").exists()


def test_a_sheet_of_another_collection_is_refused(copy, book, sheets, fill, fed):
    fill(book, sheets[0], fed(1))
    settings = (copy / "collection.toml").read_text()
    (copy / "collection.toml").write_text(settings.replace("Test shelf", "Another shelf"))
    with pytest.raises(Refused, match="belongs to the collection 'Test shelf'"):
        take_in(copy, book)


@pytest.mark.parametrize("printed", ["Alba", "20.0", "rice-1"])
def test_what_is_printed_cannot_be_altered_unseen(copy, book, sheets, fill, fed, printed):
    fill(book, sheets[0], fed(1))
    opened = openpyxl.load_workbook(book)
    for row in opened[sheets[0].identity].iter_rows(max_col=9):
        for cell in row:
            if str(cell.value) == printed or cell.value == (float(printed) if printed == "20.0" else None):
                cell.value = "30"
    opened.save(book)
    with pytest.raises(Refused, match="was altered"):
        take_in(copy, book)


class TestNoBenchSheet:
    """A clear word, nothing changed, and no other error than our own."""

    @pytest.fixture(autouse=True)
    def nothing_changes(self, copy):
        before = everything(copy)
        yield
        assert everything(copy) == before

    def check(self, copy, path, words, kind=CannotRead):
        with pytest.raises(kind, match=words):
            take_in(copy, path)

    def test_not_there(self, copy, tmp_path):
        self.check(copy, tmp_path / "none.xlsx", "no file")

    def test_another_ending(self, copy, tmp_path):
        for name in ("round.html", "round.xlsm", "round.ods", "round.csv"):
            (tmp_path / name).write_bytes(b"x")
            self.check(copy, tmp_path / name, "only .xlsx")

    def test_a_password_or_an_old_workbook(self, copy, tmp_path):
        (tmp_path / "a.xlsx").write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600))
        self.check(copy, tmp_path / "a.xlsx", "password")

    def test_damage(self, copy, tmp_path, book):
        (tmp_path / "a.xlsx").write_bytes(b"hello")
        self.check(copy, tmp_path / "a.xlsx", "damaged")
        whole = book.read_bytes()
        (tmp_path / "b.xlsx").write_bytes(whole[: len(whole) // 2])
        self.check(copy, tmp_path / "b.xlsx", "damaged")

    def test_another_workbook(self, copy, tmp_path):
        pd.DataFrame({"refeed": ["a"]}).to_excel(tmp_path / "a.xlsx")
        self.check(copy, tmp_path / "a.xlsx", "holds no bench sheet", Refused)

    def test_a_chart_for_a_tab(self, copy, tmp_path):
        opened = openpyxl.Workbook()
        opened.create_chartsheet("picture")
        opened.remove(opened["Sheet"])
        opened.save(tmp_path / "a.xlsx")
        self.check(copy, tmp_path / "a.xlsx", "bench sheet|workbook", (Refused, CannotRead))

    def test_merged_cells(self, copy, book, sheets, fill, fed):
        fill(book, sheets[0], fed(1))
        opened = openpyxl.load_workbook(book)
        opened[sheets[0].identity].merge_cells("B40:C40")
        opened.save(book)
        self.check(copy, book, "B40:C40", Refused)

    def test_macros(self, copy, book):
        with zipfile.ZipFile(book, "a") as parts:
            parts.writestr("xl/vbaProject.bin", b"macro")
        self.check(copy, book, "macros")

    def test_a_bomb(self, copy, book):
        with zipfile.ZipFile(book, "a", zipfile.ZIP_DEFLATED) as parts:
            parts.writestr("xl/media/bomb.xml", bytes(150_000_000))
        assert book.stat().st_size < 1_000_000
        self.check(copy, book, "unpacks to 1")

    def test_a_cell_at_the_end_of_the_world(self, copy, tmp_path):
        opened = openpyxl.Workbook()
        opened.active["XFD1048576"] = 1
        opened.save(tmp_path / "a.xlsx")
        self.check(copy, tmp_path / "a.xlsx", "holds no bench sheet", Refused)

    def test_a_formula_that_was_never_computed_is_a_fault(self, copy, book, sheets, fill, fed):
        fill(book, sheets[0], fed(1) | {(1, "height", 1): "=B2+1"})
        self.check(copy, book, "1 box is wrong", Refused)


def test_the_command_prints_the_cells_and_says_1(copy, book, sheets, fill, fed, capsys):
    fill(book, sheets[0], fed(1) | {(1, "ph", 1): "sour"})
    assert main(["take-in", str(copy), str(book)]) == 1
    told = capsys.readouterr()
    assert "is not a number" in told.out
    assert "1 box is wrong" in told.err
    assert main(["take-in", str(copy), str(book), "--leave-faulty"]) == 1  # the only jar is faulty
    fill(book, sheets[0], {(1, "ph", 1): 5.0})
    assert main(["take-in", str(copy), str(book)]) == 0
    assert main(["take-in", str(copy), str(book)]) == 1
    assert main(["take-in", str(copy), str(book) + "x"]) == 2


#: Takes in, and is killed as it touches a path under ``taken_in`` in one of some ways for the n-th time; 0: never.
_DIES = """
import os, signal, sys
from leavenbench.care.take_in import take_in
touched = 0
def hook(event, args):
    global touched
    if event in {ways} and "taken_in" in str(args):
        touched += 1
        if touched == {touch}:
            os.kill(os.getpid(), signal.SIGKILL)
sys.addaudithook(hook)
take_in({copy!r}, {book!r})
"""
_WAYS = ("open", "os.mkdir", "os.rename", "os.rmdir", "os.remove", "os.listdir")


@pytest.mark.skipif(os.name != "posix", reason="kills a process")
def test_killed_at_any_moment_the_collection_is_as_before_or_complete(copy, book, sheets, fill, fed):
    """Some dozens of kills here; LEAVENBENCH_KILLS=200 for as many as one likes."""
    for sheet in sheets:
        fill(book, sheet, fed(1) | fed(2) | fed(3))
    processes = multiprocessing.get_context("forkserver")
    processes.set_forkserver_preload(["leavenbench.care.take_in.verb"])
    before, whole = everything(copy), shutil.copytree(copy, copy.parent / "whole")
    for _ in range(2):  # the first one waits for the server to start
        shutil.rmtree(whole / "taken_in", ignore_errors=True)
        started = time.perf_counter()
        process = processes.Process(target=take_in, args=(whole, book))
        process.start()
        process.join()
        took = time.perf_counter() - started
    complete = everything(whole)
    new = {path.parent for path in set(complete) - set(before)}
    assert len(new) == 3
    chance, stopped, seen = random.Random(11), 0, set()
    for number in range(int(os.environ.get("LEAVENBENCH_KILLS", "36"))):
        # every other one at a random moment, the others as a tab is put in place or they touch the new folders
        touch, ways = (number // 2 + 1 if number % 2 and number < 80 else 0), _WAYS
        if touch and touch <= len(new):
            ways = ("os.rename",)
            shutil.rmtree(copy / "taken_in", ignore_errors=True)
        dies = _DIES.format(touch=touch, ways=ways, copy=str(copy), book=str(book))
        process = processes.Process(target=exec, args=(dies, {}))
        process.start()
        if not touch:
            time.sleep(chance.uniform(0.3, 1.1) * took)
            process.kill()
        process.join()
        stopped += process.exitcode == -signal.SIGKILL
        now = everything(copy)
        visible = {path: it for path, it in now.items() if not any(part.startswith(".") for part in path.parts)}
        assert {path: it for path, it in visible.items() if path in before} == before
        there = {path.parent for path in set(visible) - set(before)}
        assert there <= new
        assert {path: it for path, it in complete.items() if path.parent in there} == {
            path: it for path, it in visible.items() if path.parent in there
        }
        seen.add(len(there))
        if len(there) == len(new):
            shutil.rmtree(copy / "taken_in")
    assert stopped >= 15
    assert seen >= {0, 1, 2}  # the whole comes below
    shutil.rmtree(copy / "taken_in", ignore_errors=True)
    take_in(copy, book)
    assert everything(copy) == complete  # with what the killed ones had left cleared away
    assert not read_collection(copy)["refeeds"]["refeed"].duplicated().any()


def test_clock_times_that_are_none():
    for text in ("", "soon", "25:00", "8:60", "13:00 pm", "12", "1.5"):
        assert clock_time(text) is None, text
    assert moment_after("never", dt.datetime(2025, 1, 1)) is None
