"""What a scientist takes away: whole files in a new folder, units in their heads, text in the figures left text."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

from leavenbench.columns import RESULTS
from leavenbench.compare.further import Paragraph
from leavenbench.errors import Refused
from leavenbench.report.figures.style import new_axes
from leavenbench.report.further import write_further


@pytest.fixture
def results():
    made = RESULTS["compared_means"]
    rows = {"trait": ["acid ph_end"], "by": ["culture"], "group": ["A"], "unit": ["pH"], "mean": [3.9]}
    return {"compared_means": pd.DataFrame(rows, columns=made.names).astype(made.dtypes())}


@pytest.fixture
def done():
    return Paragraph("Nothing was done.", ("Nobody 1900",))


def test_tables_figures_and_methods_are_there(make_collection, results, done, tmp_path):
    axes = new_axes()
    axes.set_title("Acid in the end")
    out = write_further(make_collection(), tmp_path / "away", results, done, {"acid": axes.figure})
    assert sorted(path.name for path in out.iterdir()) == ["acid.pdf", "acid.svg", "compared_means.csv", "methods.md"]
    assert (out / "methods.md").read_text(encoding="utf-8") == "Nothing was done.\n\n- Nobody 1900"
    head = (out / "compared_means.csv").read_text(encoding="utf-8").splitlines()[0].split(",")
    assert "mean [pH]" in head
    assert "Acid in the end" in (out / "acid.svg").read_text(encoding="utf-8")
    assert (out / "acid.pdf").read_bytes().startswith(b"%PDF")


def test_a_folder_that_holds_something_is_left_alone(make_collection, results, done, tmp_path):
    (tmp_path / "note.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(Refused, match="not empty"):
        write_further(make_collection(), tmp_path, results, done)
    assert [path.name for path in tmp_path.iterdir()] == ["note.txt"]


def test_nothing_is_written_into_the_collection(make_collection, results, done, tmp_path):
    with pytest.raises(Refused, match="lies inside"):
        write_further(replace(make_collection(), folder=tmp_path), tmp_path / "away", results, done)
