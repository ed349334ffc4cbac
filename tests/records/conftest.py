"""Small folders for the reader, and short ways to see what it found."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from leavenbench.records.collection import Collection, read_collection

REFEEDS = "refeed,culture,fed_at\n1,Alba,2025-03-01 08:00\n"
READINGS = "refeed,elapsed,height\n1,0,45\n1,6,110\n"

Content = str | bytes | Callable[[Path], object] | None


@pytest.fixture
def write(tmp_path):
    """Write files over a folder of one refeed with two readings; None takes a file away."""

    def write(files: dict[str, Content]) -> Path:
        for name, content in {"refeeds.csv": REFEEDS, "readings.csv": READINGS, **files}.items():
            path = tmp_path / name
            path.parent.mkdir(parents=True, exist_ok=True)
            if callable(content):
                content(path)
            elif isinstance(content, bytes):
                path.write_bytes(content)
            elif content is not None:
                path.write_text(content, encoding="utf-8")
        return tmp_path

    return write


@pytest.fixture
def read(write):
    """Write such a folder and read it; what holds for every collection is checked on the way."""

    def read(files: dict[str, Content] | None = None, **more: object) -> Collection:
        collection = read_collection(write(files or {}), **more)
        assert_nothing_is_lost(collection)
        return collection

    return read


@pytest.fixture
def listed():
    """Return the problems of a collection as (rule, row, column, severity), of one rule or of all."""

    def listed(collection: Collection, *rules: str) -> list[tuple[str, int | None, str, str]]:
        found = collection.problems
        if rules:
            found = found[found["rule"].isin(rules)]
        rows = [None if pd.isna(row) else int(row) for row in found["row"]]
        return list(zip(found["rule"], rows, found["column"], found["severity"], strict=True))

    return listed


@pytest.fixture(scope="session")
def nothing_is_lost():
    """Return the check that every row is kept, or listed as left out."""
    return assert_nothing_is_lost


def assert_nothing_is_lost(collection: Collection) -> None:
    """Rows in are rows kept and rows left out, and there is a problem for every row left out."""
    for count in collection.counts.itertuples():
        assert count.rows_in == count.rows_kept + count.rows_left_out
        assert count.rows_kept == len(collection[count.table])
        errors = collection.problems[
            (collection.problems["table"] == count.table) & (collection.problems["severity"] == "error")
        ]
        orphans = errors.loc[errors["rule"] == "refeed left out", "message"].str.extract(r": (\d+)$")[0].astype(int)
        whole_files = errors.loc[errors["message"].str.startswith("there is no column"), "message"]
        without_column = whole_files.str.extract(r"; (\d+) rows are left out")[0].astype(int)
        kept = pd.MultiIndex.from_frame(collection[count.table][["file", "row"]])
        places = pd.MultiIndex.from_frame(errors[["file", "row"]]).drop_duplicates()
        told = len(places.difference(kept)) + orphans.sum() - len(orphans) + without_column.sum()
        assert told >= count.rows_left_out
