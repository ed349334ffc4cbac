"""A new, empty collection, and the page that documents the tables."""

import csv

import pytest

from leavenbench.columns import TABLES
from leavenbench.errors import CannotRead, Refused
from leavenbench.records.collection import read_collection
from leavenbench.records.template import new_collection, tables_page


def test_a_new_collection_is_headed_and_empty(tmp_path):
    folder = new_collection(tmp_path / "new" / "shelf")
    assert {path.stem for path in folder.glob("*.csv")} == set(TABLES)
    collection = read_collection(folder)
    assert collection.problems.empty
    assert collection.counts["rows_in"].tolist() == [0, 0]
    assert all(table.empty for table in collection.tables.values())


def test_every_header_of_a_new_collection_is_read(tmp_path):
    """A row under every header: no column is unknown, and no unit does not fit."""
    folder = new_collection(tmp_path / "shelf")
    for name in TABLES:
        path = folder / f"{name}.csv"
        header = next(csv.reader([path.read_text(encoding="utf-8")]))
        path.write_text(",".join(header) + "\n" + ",".join("-" for _ in header) + "\n", encoding="utf-8")
    rules = read_collection(folder).problems["rule"]
    assert not set(rules) & {"known column", "unit", "one column", "known table"}


def test_a_new_collection_can_be_filled_in(tmp_path):
    """The tables that are still empty make no unknown reference."""
    folder = new_collection(tmp_path / "shelf")
    rows = {
        "refeeds": {"refeed": "1", "culture": "Alba", "fed_at": "2025-03-01 08:00", "lot": "L1", "vessel": "V"},
        "readings": {"refeed": "1", "elapsed": "1", "ph": "5"},
    }
    for name, cells in rows.items():
        with (folder / f"{name}.csv").open("a", encoding="utf-8") as file:
            file.write(",".join(cells.get(column.name, "") for column in TABLES[name].columns) + "\n")
    collection = read_collection(folder)
    assert collection.problems.empty
    assert collection.present == ("refeeds", "readings")


def test_a_folder_that_holds_something_is_refused(tmp_path):
    (tmp_path / "letter.txt").write_text("dear")
    with pytest.raises(Refused, match="not empty"):
        new_collection(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["letter.txt"]
    with pytest.raises(CannotRead, match="is a file"):
        new_collection(tmp_path / "letter.txt")
    with pytest.raises(CannotRead, match="cannot be written"):
        new_collection(tmp_path / "letter.txt" / "shelf")


def test_the_page_documents_every_table_and_column():
    page = tables_page()
    for name, table in TABLES.items():
        section = page.split(f"\n## {name}\n")[1].split("\n## ")[0]
        for column in table.columns:
            mark = "†" if column.needed else "|"
            assert f"| **{column.name}** †" in section if column.key else f"| {column.name} {mark}" in section
            assert column.meaning in section
