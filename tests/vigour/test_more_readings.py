"""More readings make a refeed's vigour surer, as far as its traits do not stray by themselves."""

from __future__ import annotations

import pandas as pd
import pytest

from leavenbench.vigour.more_readings import variance_by_readings


def shelf(make_collection, make_curves, se):
    fed = pd.date_range("2024-01-01", periods=30, freq="10D", tz="UTC")
    names = [f"F{of}" for of in range(30)]
    refeeds = {"refeed": names, "culture": "Ida", "fed_at": fed, "step": 1, "purpose": "round", "round": range(30)}
    collection = make_collection(cultures={"culture": ["Ida"]}, refeeds=refeeds)
    rate = [30.0 + (7 * of) % 5 for of in range(30)]
    curves = {"refeed": names, "culture": "Ida", "fed_at": fed, "signal": "rise", "status": "fitted"}
    traits = {"max_rate": rate, "max_rate_se": se, "extent": 100.0, "extent_se": se, "lag_h": 2.0, "lag_h_se": 0.2}
    return collection, make_curves(curves | traits | {"lower_bounds": "", "model": "logistic", "step": 1})


def test_half_as_many_readings_make_it_less_sure(make_collection, make_curves):
    found = variance_by_readings(*shelf(make_collection, make_curves, 3.0), times=(0.5, 1.0, 2.0, 1e9))
    assert found[1.0] == 0.0
    assert found[1e9] < found[2.0] < 0.0 < found[0.5]
    # errors of slope and temperature go as one over the number: half as many add as much as there is, and no more than
    # that can go
    assert found[0.5] == pytest.approx(-found[1e9], rel=1e-6)


def test_better_curves_gain_less(make_collection, make_curves):
    rough, fine = (variance_by_readings(*shelf(make_collection, make_curves, se))[2.0] for se in (4.0, 1.0))
    assert rough < fine < 0.0


def test_a_shelf_without_curves_gains_nothing(make_collection, make_curves):
    assert variance_by_readings(make_collection(), make_curves({})) == {0.5: 0.0, 1.0: 0.0, 2.0: 0.0}
