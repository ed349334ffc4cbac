"""The year in figures as a whole: every table as declared, and whatever is missing."""

from __future__ import annotations

import dataclasses
import datetime as dt
import shutil

import pandas as pd
import pytest

import leavenbench
from leavenbench.care.year import SECTIONS, YearInFigures, year_in_figures
from leavenbench.columns import RESULTS
from leavenbench.vigour.causes import vigour_and_causes

#: Tables that are those of another verb, for the days of the year.
_AS_ELSEWHERE = {
    "causes": "shared_causes",
    "warnings": "warnings",
    "forms": "backup_forms",
    "sent": "sent",
    "diversity": "diversity",
}


def figures(folder, year):
    last = dt.date(year, 12, 31)
    collection = leavenbench.read_collection(folder, as_of=last)
    curves = leavenbench.trace_collection(collection)
    vigour, causes = vigour_and_causes(collection, curves)
    history = leavenbench.watch_history(collection, curves, vigour, last)
    return year_in_figures(collection, curves, vigour, history, causes, year)


def holds_together(made):
    """Hold every table against its declaration, and the parts against the whole."""
    tables = made.tables()
    for name, table in tables.items():
        declared = RESULTS[_AS_ELSEWHERE.get(name, f"year_{name}")]
        assert list(table.columns) == declared.names, name
        assert {column: str(dtype) for column, dtype in table.dtypes.items()} == declared.dtypes(), name
        assert table.attrs["caption"], name
        assert "\n" not in table.attrs["caption"], name
        for column in declared.columns:
            if column.choices:
                assert set(table[column.name].dropna()) <= {*column.choices, ""}, (name, column.name)
    counts = made.balance.set_index("what")["cultures"]
    assert made.by_grain["cultures"].sum() == counts["living when it ended"] == len(made.ages)
    assert made.cover["when_it_ended"].sum() == counts["living when it ended"]
    assert made.months["rounds"].sum() == made.rounds["begun_on"].notna().sum()
    assert made.months["flour_g"].sum() == pytest.approx(made.flour["mass_g"].sum())
    assert len(made.months) == 12
    assert set(made.said) == set(SECTIONS)
    scored = made.score.set_index("outcome")["warnings"]
    assert scored.drop("rescued unwarned").sum() == len(made.warnings)


@pytest.fixture(scope="module")
def year(folder):
    return figures(folder, 2024)


def test_every_field_is_in_a_section_and_the_other_way_round():
    fields = [field.name for field in dataclasses.fields(YearInFigures)]
    assert fields == ["period", "said", *(name for names in SECTIONS.values() for name in names)]


def test_a_small_shelf_is_told_whole(year):
    holds_together(year)
    # rounds of three cultures begin on 3 March, 2 May, 1 July, 30 August and 31 October 2024 (tests/care/conftest.py)
    assert year.months["rounds"].sum() == 3 * len(year.months.query("rounds > 0"))
    assert (year.rounds["kept"].isin(["on time", "first"])).all()
    assert set(year.flour["flour"]) == {"rye", "wheat", "rice"}
    assert year.period.records_until == pd.Timestamp("2024-11-02")


def test_the_calls_leave_the_tables_as_they_were(folder):
    last = dt.date(2024, 12, 31)
    collection = leavenbench.read_collection(folder, as_of=last)
    curves = leavenbench.trace_collection(collection)
    vigour, causes = vigour_and_causes(collection, curves)
    history = leavenbench.watch_history(collection, curves, vigour, last)
    given = [curves, vigour, history, causes.table, *collection.tables.values()]
    before = [table.copy() for table in given]
    year_in_figures(collection, curves, vigour, history, causes, 2024)
    for table, copy in zip(given, before, strict=True):
        pd.testing.assert_frame_equal(table, copy)


@pytest.mark.parametrize("year_told", [2023, 2024, 2025])
def test_with_nothing_but_refeeds_and_readings(folder, tmp_path, year_told):
    for name in ("refeeds.csv", "readings.csv"):
        shutil.copy(folder / name, tmp_path / name)
    made = figures(tmp_path, year_told)
    holds_together(made)
    assert "There is no cultures table" in made.said["collection"] or made.balance["cultures"].sum() == 0
    assert made.said["net"] == (
        "No back-up is recorded; which flour has a single source is not recorded; no dispatch is recorded."
    )
    assert made.said["organisms"] == "No living culture was ever sampled for its organisms."


@pytest.mark.parametrize("missing", ["cultures", "flours", "flour_lots", "stores", "vessels"])
def test_any_table_may_be_missing(folder, tmp_path, missing):
    without = tmp_path / "shelf"
    shutil.copytree(folder, without)
    (without / f"{missing}.csv").unlink()
    made = figures(without, 2024)
    holds_together(made)
    assert made.balance.set_index("what").loc["living when it ended", "cultures"] == 3


def test_a_single_culture(tmp_path):
    (tmp_path / "refeeds.csv").write_text("refeed,culture,fed_at\na,Alba,2024-01-02 08:00\nb,Alba,2024-03-02 08:00\n")
    (tmp_path / "readings.csv").write_text("refeed,elapsed,height\na,0,40\na,3,70\nb,0,40\nb,3,70\n")
    made = figures(tmp_path, 2024)
    holds_together(made)
    assert made.movements[["culture", "kind"]].to_numpy().tolist() == [["Alba", "first seen"]]
    assert made.rounds["kept"].tolist() == ["first", "on time"]


def test_a_year_in_which_nothing_was_written_down(folder):
    made = figures(folder, 2026)
    holds_together(made)
    assert made.months["refeeds"].sum() == 0
    assert made.gaps.to_numpy().tolist() == [["2026-01", "2026-12", 12, "after the last refeed"]]
    assert made.said["work"] == "No refeed was written down in 2026."
    assert made.said["health"].startswith("No vigour can be told")


def test_empty_tables(tmp_path):
    (tmp_path / "refeeds.csv").write_text("refeed,culture,fed_at\n")
    (tmp_path / "readings.csv").write_text("refeed,elapsed,height\n")
    made = figures(tmp_path, 2024)
    holds_together(made)
    assert made.balance["cultures"].sum() == 0
    assert made.said["collection"] == "No culture lived in the collection at the year's end."
