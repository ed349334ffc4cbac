"""One test a trait, adjusted for how many traits were looked at; what cannot be told says why."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from leavenbench.compare.traits_that_differ import traits_that_differ


@pytest.fixture
def records(shelf):
    """Two cultures in six rounds each: one rises faster by half, both rise as far, within a hundredth or so."""
    random = np.random.default_rng(5)
    curves = {}
    for number in range(12):
        fast = 1.5 if number % 2 else 1.0
        rate, extent = np.exp(random.normal(0.0, 0.02, 2)) * (20.0 * fast, 120.0)
        curves[number] = {"max_rate": rate, "max_rate_se": 0.01 * rate, "extent": extent, "extent_se": 0.01 * extent}
    return shelf(12, curves=curves)


def test_what_differs_is_told_from_what_does_not(records):
    table = traits_that_differ(*records, traits=("rise max_rate", "rise extent")).set_index("trait")
    assert table["words"].tolist() == ["differs", "no difference shown"]
    assert table["groups"].tolist() == [2, 2]
    assert table["refeeds"].tolist() == [12, 12]
    p = table["p"].to_numpy()
    assert table["p_adjusted"].tolist() == pytest.approx([2 * p[0], p[1]])  # Benjamini & Hochberg 1995, by hand
    assert table["p_adjusted"].tolist() == pytest.approx(stats.false_discovery_control(p))
    assert table.loc["rise max_rate", "p_plain"] < 1e-6


def test_what_cannot_be_told_says_why(shelf):
    table = traits_that_differ(*shelf(2), traits=("rise max_rate", "acid ph_end"))
    assert table[["F", "p", "p_adjusted"]].isna().all().all()
    assert table["words"].str.contains("it takes two of a culture").all()


def test_the_bar_moves(records):
    seen = []
    traits_that_differ(*records, traits=("rise max_rate",), progress=lambda done, total: seen.append((done, total)))
    assert seen == [(1, 1)]
