"""Tables of which nothing is there but the headers, as a new collection has them."""

from __future__ import annotations

import datetime as dt

from leavenbench import new_collection, read_collection


def test_a_table_without_rows_can_be_merged_with_itself(tmp_path):
    shelf = tmp_path / "shelf"
    new_collection(shelf)
    (shelf / "refeeds.csv").write_text("refeed,culture,fed_at\na,Alba,2024-01-10 08:15\n", encoding="utf-8")
    collection = read_collection(shelf, as_of=dt.date(2024, 12, 31))
    for name, table in collection.tables.items():
        keys = table.select_dtypes("str").columns.tolist()
        assert len(table.merge(table, how="outer", on=keys)) == (1 if name == "refeeds" else 0), name
