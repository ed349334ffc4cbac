"""Planted mistakes: each changes one cell, and the list says which."""

import numpy as np
import pandas as pd
import pytest

from leavenbench.simulate import simulate_shelf
from leavenbench.simulate.house.typing_faults import FAULTS, plant_faults


@pytest.fixture(scope="module")
def tables():
    return simulate_shelf(seed=5, cultures=8, years=2).tables


@pytest.mark.parametrize("fault", sorted(FAULTS))
def test_each_mistake_changes_the_one_cell_it_names(tables, fault):
    typed, planted = plant_faults(tables, [(fault, 2022)], np.random.default_rng(1))
    (row,) = planted.to_dict("records")
    for name in tables:
        changed = ~((typed[name] == tables[name]) | (typed[name].isna() & tables[name].isna()))
        expected = [(row["row"], row["column"])] if name == row["table"] else []
        assert [(at, column) for at, column in changed.stack()[lambda cell: cell].index] == expected
    assert tables[row["table"]].at[row["row"], row["column"]] == row["right"]
    assert typed[row["table"]].at[row["row"], row["column"]] == row["typed"] != row["right"]


def test_the_mistakes_are_those_that_people_make(tables):
    typed, planted = plant_faults(tables, [(fault, 2022) for fault in FAULTS], np.random.default_rng(2))
    rows = planted.set_index("fault")
    assert rows.at["decimal point left out", "typed"] == pytest.approx(10 * rows.at["decimal point left out", "right"])
    assert rows.at["centimetres among millimetres", "typed"] * 10 == pytest.approx(
        rows.at["centimetres among millimetres", "right"]
    )
    assert len(rows.at["name misspelt", "typed"]) == len(rows.at["name misspelt", "right"]) - 1
    assert rows.at["name misspelt", "typed"] not in set(tables["cultures"]["culture"])
    assert typed["refeeds"]["refeed"].duplicated().sum() == 1
    moved = rows.at["month before", "right"] - rows.at["month before", "typed"]
    assert pd.Timedelta(days=28) <= moved <= pd.Timedelta(days=31)
