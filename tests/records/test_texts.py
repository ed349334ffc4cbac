"""Cells that repeat are looked at once, and it makes no difference."""

import pandas as pd
import pytest

from leavenbench.records.texts import at_places, distinct, each_once, joined, places_in

REPEATED = pd.Series(["4.5", " 4.5", "", "4.5", "7", "", "4.5 ", "7"] * 3, dtype="str")
SELDOM = pd.Series([f" {number}" for number in range(24)], dtype="str")


@pytest.mark.parametrize(("cells", "kind"), [(REPEATED, "category"), (SELDOM, "str")])
def test_cells_say_the_same_without_the_spaces_around_them(cells, kind):
    told = distinct(cells)
    assert told.dtype == kind
    assert told.tolist() == [cell.strip() for cell in cells]


def test_a_text_with_and_without_a_space_is_one():
    assert distinct(REPEATED).cat.categories.tolist() == ["4.5", "", "7"]


@pytest.mark.parametrize("cells", [REPEATED, SELDOM])
def test_each_text_is_asked_as_often_as_it_is_kept(cells):
    asked = []

    def length(texts):
        asked.extend(texts)
        return texts.str.len()

    index = pd.RangeIndex(100, 100 + len(cells))
    lengths = each_once(distinct(cells).set_axis(index), length)
    assert lengths.tolist() == [len(cell.strip()) for cell in cells]
    assert lengths.index.equals(index)
    assert len(asked) == (3 if cells is REPEATED else 24)


def test_names_are_found_where_they_stand():
    names = pd.Series(["b", None, "x", "a", "b"], index=[9, 7, 5, 3, 1], dtype="str")
    places = places_in(pd.Series(["a", "b"], dtype="str"), names)
    assert places.to_dict() == {9: 1, 7: -1, 5: -1, 3: 0, 1: 1}
    hours = at_places(pd.Series([0.5, 1.5], index=[40, 50]), places)
    assert hours.index.equals(names.index)
    assert hours.fillna(-1.0).tolist() == [1.5, -1.0, -1.0, 0.5, 1.5]


def test_tables_below_each_other_keep_every_cell():
    one = pd.DataFrame({"ph": distinct(pd.Series(["4", "4", "4"])), "note": ["a", "b", "c"]})
    two = pd.DataFrame({"ph": distinct(pd.Series(["5", "5", "4", "5"])), "height": ["45", "45", "45", "45"]})
    both = joined([one, two])
    assert both["ph"].dtype == "category"
    assert both["ph"].tolist() == ["4", "4", "4", "5", "5", "4", "5"]
    assert both["note"].fillna("").tolist() == ["a", "b", "c", "", "", "", ""]
    assert both["height"].fillna("").tolist() == ["", "", "", "45", "45", "45", "45"]
