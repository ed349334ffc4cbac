"""A folder of files is there whole, or not at all."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from leavenbench.errors import CannotRead, Refused
from leavenbench.report.annual.file_names import file_names
from leavenbench.report.annual.table_files import table_files
from leavenbench.report.new_folder import check_new_folder, write_folder

FILES = {"a.txt": b"a", "in/b.txt": b"b"}


def written(folder):
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_a_new_folder_and_an_empty_one_are_filled_and_nothing_is_left_beside(tmp_path):
    (tmp_path / "empty").mkdir()
    for name in ("new", "empty"):
        write_folder(tmp_path / name, FILES)
        assert written(tmp_path / name) == FILES
    assert sorted(path.name for path in tmp_path.iterdir()) == ["empty", "new"]
    assert (tmp_path / "new").stat().st_mode == (tmp_path / "empty").stat().st_mode


def test_the_folder_that_one_is_in_is_filled(tmp_path, monkeypatch):
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    write_folder(Path(), FILES)
    assert written(Path.cwd()) == FILES


def test_a_folder_that_was_filled_meanwhile_stays_as_it_is(tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "hers.txt").write_text("hers")
    with pytest.raises(Refused, match="is not empty"):
        write_folder(tmp_path / "out", FILES)
    assert written(tmp_path / "out") == {"hers.txt": b"hers"}
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_when_writing_fails_nothing_is_there(tmp_path, monkeypatch):
    (tmp_path / "empty").mkdir()
    rename = Path.rename

    def fail_on_the_second(path, target):
        if path.name == "in":
            raise OSError(28, "No space left on device")
        return rename(path, target)

    monkeypatch.setattr(Path, "rename", fail_on_the_second)
    with pytest.raises(CannotRead, match="No space left"):
        write_folder(tmp_path / "empty", FILES)
    assert written(tmp_path) == {}


def test_a_place_in_the_collection_is_refused_also_by_a_detour(tmp_path):
    shelf = tmp_path / "shelf"
    shelf.mkdir()
    (tmp_path / "link").symlink_to(shelf)
    for out in (shelf, shelf / "out", tmp_path / "link" / "out", shelf / ".." / "shelf" / "out"):
        with pytest.raises(Refused, match="lies inside the collection's folder"):
            check_new_folder(out, shelf)
    (tmp_path / "file").write_text("")
    with pytest.raises(CannotRead, match="is no folder"):
        check_new_folder(tmp_path / "file", shelf)
    check_new_folder(tmp_path / "shelf_report", shelf)


def test_every_name_is_a_files_name_of_its_own():
    names = [
        "é",
        "e\u0301",
        "E\u0301",
        "a/b",
        "a\\b",
        "",
        "   ",
        ".",
        "con",
        "x" * 400,
        "x" * 401,
        "日本",
        "a\nb",
        "-rf",
    ]
    found = file_names(names, ".html")
    assert len({name.casefold() for name in found.values()}) == len(set(names))
    for name in found.values():
        assert len(name.encode()) <= 255
        assert not set(name) & set('/\\:*?"<>|\n')
        assert not name.startswith((".", " "))


def test_only_text_that_looks_like_a_formula_is_marked():
    table = pd.DataFrame({"name": ["=1", "a=1", None, "-x", "\tx"], "change": [-1.5, 2.0, None, -3.0, 0.0]})
    table["when"] = pd.to_datetime(["2024-01-02"] * 5)
    (csv,) = (content.decode() for name, content in table_files({"t": table}).items() if name == "tables/t.csv")
    assert csv.splitlines() == [
        "name,change,when",
        "'=1,-1.5,2024-01-02",
        "a=1,2.0,2024-01-02",
        ",,2024-01-02",
        "'-x,-3.0,2024-01-02",
        "'\tx,0.0,2024-01-02",
    ]
