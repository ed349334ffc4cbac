"""The keeper's own copy of the notebooks: set to her folder, never overwritten, on this machine alone."""

from __future__ import annotations

import json

import pytest

from leavenbench.errors import CannotRead
from leavenbench.lab import lab_command, prepare_lab, shipped


def folder_line(notebook):
    cells = json.loads(notebook.read_text(encoding="utf-8"))["cells"]
    (line,) = [line for cell in cells for line in cell["source"] if line.startswith("FOLDER = ")]
    return line.strip()


@pytest.fixture
def shelf(tmp_path):
    folder = tmp_path / "records" / "our shelf"
    folder.mkdir(parents=True)
    return folder


def test_a_copy_is_set_to_her_folder(shelf, tmp_path):
    place, kept = prepare_lab(shelf, tmp_path)
    assert place == tmp_path / "leavenbench" / "our shelf"
    assert kept == []
    assert folder_line(place / "start_here.ipynb") == f"FOLDER = {str(shelf.resolve())!r}"
    assert list(shelf.iterdir()) == []


def test_a_copy_is_never_overwritten(shelf, tmp_path):
    place, _ = prepare_lab(shelf, tmp_path)
    (place / "start_here.ipynb").write_text("hers", encoding="utf-8")
    again, kept = prepare_lab(shelf, tmp_path)
    assert again == place
    assert "start_here.ipynb" in kept
    assert (place / "start_here.ipynb").read_text(encoding="utf-8") == "hers"


def test_another_collection_of_the_same_name_has_a_place_of_its_own(shelf, tmp_path):
    other = tmp_path / "elsewhere" / "our shelf"
    other.mkdir(parents=True)
    first, _ = prepare_lab(shelf, tmp_path)
    second, _ = prepare_lab(other, tmp_path)
    assert second == first.with_name("our shelf-2")
    assert str(other.resolve()) in folder_line(second / "start_here.ipynb")
    assert prepare_lab(other, tmp_path)[0] == second


def test_without_a_folder_it_is_a_copy_of_the_demo(tmp_path):
    place, _ = prepare_lab(None, tmp_path)
    copied = {path.relative_to(place / "collection") for path in (place / "collection").rglob("*") if path.is_file()}
    assert copied == {
        path.relative_to(shipped("data_demo")) for path in shipped("data_demo").rglob("*") if path.is_file()
    }
    assert str(place / "collection") in folder_line(place / "start_here.ipynb")
    assert prepare_lab(None, tmp_path)[0] == place


def test_a_folder_that_is_not_there_is_named(tmp_path):
    with pytest.raises(CannotRead, match="nowhere"):
        prepare_lab(tmp_path / "nowhere", tmp_path)
    assert not (tmp_path / "leavenbench").exists()


def test_it_listens_on_loopback_with_its_token(tmp_path):
    command = lab_command(tmp_path)
    assert "--ServerApp.ip=127.0.0.1" in command
    assert not any("token" in word or "password" in word or "0.0.0.0" in word for word in command)
