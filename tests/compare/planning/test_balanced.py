"""Balanced designs in bulk give what the mixed model gives one by one."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from leavenbench.compare.mixed import compared
from leavenbench.compare.planning.balanced import differences
from leavenbench.compare.planning.strata import Design


def observed(values, design, se):
    """Lay the refeeds of one invented shelf out as observations."""
    culture, number, step = (place.ravel() for place in np.indices(values.shape))
    day = number * design.refeeds + step + (0 if design.shared_days else 1000 * culture)
    table = pd.DataFrame({"culture": [f"C{of:02}" for of in culture], "round": number, "step": step + 1, "day": day})
    same = {"vessel": None, "trait": "rise max_rate", "unit": "%/h", "scale": "log", "se": se}
    return table.assign(refeed=np.arange(len(table)), value=values.ravel(), **same)


def drawn(design, shelves, seed, carried=0.6):
    """Draw shelves whose rounds follow each other."""
    rng = np.random.default_rng(seed)
    k, rounds, m = design[:3]
    of_round = rng.normal(size=(shelves, k, rounds))
    for one in range(1, rounds):
        of_round[:, :, one] = carried * of_round[:, :, one - 1] + 0.8 * of_round[:, :, one]
    day = 0.05 * rng.normal(size=(shelves, 1 if design.shared_days else k, rounds, m))
    return 0.1 * of_round[..., None] + day + 0.1 * rng.normal(size=(shelves, k, rounds, m))


@pytest.mark.parametrize("se", [0.05, 0.3], ids=["errors as stated", "errors overstated"])
@pytest.mark.parametrize(
    "design",
    [
        Design(2, 5, 2),
        Design(2, 9, 3),
        Design(2, 9, 3, shared_days=False),
        Design(2, 9, 1),
        Design(3, 8, 1, shared_days=False),
        Design(5, 8, 2),  # from four cultures on each has a scatter of its own
        Design(5, 15, 1, shared_days=False),
    ],
    ids=str,
)
def test_every_number_is_that_of_the_mixed_model(design, se):
    values = drawn(design, 4, seed=sum(design))
    found = differences(design, values, se)
    for shelf, own in enumerate(values):
        told = compared(observed(own, design, se)).fitted.differences(*design.pairs)
        assert found.estimate[shelf] == pytest.approx(told.estimate, abs=1e-10)
        assert found.se[shelf] == pytest.approx(told.se, rel=2e-4)
        assert found.freedom[shelf] == pytest.approx(told.freedom, rel=2e-4)


def test_the_cases_held_against_the_model_have_carry_over_and_own_scatter():
    five = [compared(observed(own, Design(5, 8, 2), 0.05)) for own in drawn(Design(5, 8, 2), 4, seed=15 + 1)]
    assert any(of.carry_over > 0.1 for of in five)
    assert any(np.ptp(of.own_scatter) > 0.01 for of in five)


def test_without_carry_over_it_is_the_two_sample_t_test():
    """Pooled variance on 2 (n - 1) degrees of freedom (scipy.stats.ttest_ind)."""
    from scipy import stats

    design = Design(2, 7, 1, shared_days=False, successive=False)
    values = drawn(design, 3, seed=4)
    found = differences(design, values, 0.0)
    for shelf, (first, second) in enumerate(values[..., 0]):
        told = stats.ttest_ind(first, second)
        assert found.estimate[shelf, 0] / found.se[shelf, 0] == pytest.approx(told.statistic, rel=1e-6)
        assert found.freedom[shelf, 0] == pytest.approx(told.df, rel=1e-6)
