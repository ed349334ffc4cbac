"""Letters: two groups share none exactly when they differ."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pandas as pd
import pytest

from leavenbench.compare.letters import shared_letters


@pytest.mark.parametrize("seed", range(12))
def test_groups_share_no_letter_exactly_when_they_differ(seed):
    random = np.random.default_rng(seed)
    names = [f"g{number}" for number in range(8)]
    pairs = pd.DataFrame(combinations(names, 2), columns=["first", "second"])
    pairs["verdict"] = np.where(random.random(len(pairs)) < 0.3, "differ", "cannot tell")
    means = pd.DataFrame({"group": names, "mean": random.normal(size=8)})
    told = shared_letters(means, pairs)
    for pair in pairs.itertuples():
        assert bool(set(told[pair.first]) & set(told[pair.second])) == (pair.verdict != "differ")
    assert told.index[0] == means.loc[means["mean"].idxmax(), "group"]
    assert "a" in told.iloc[0]


def test_no_letter_is_one_too_many():
    """A and B alike, C apart from both: two letters do (by hand)."""
    means = pd.DataFrame({"group": ["C", "A", "B"], "mean": [1.0, 3.0, 2.0]})
    pairs = pd.DataFrame({"first": ["A", "B", "A"], "second": ["C", "C", "B"]})
    pairs["verdict"] = ["differ", "differ", "the same within 15 %"]
    assert shared_letters(means, pairs).to_dict() == {"A": "a", "B": "a", "C": "b"}
