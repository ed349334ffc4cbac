"""A culture's usual curves are taken from its sound ones, its hours from all its readings."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from leavenbench.compare.planning.usual_curves import NothingUsual, usual_curves


def records(make_curves, refeeds=12, **more):
    names = [f"F{of}" for of in range(refeeds)]
    given = {
        "refeed": names, "culture": "Ida", "signal": "rise", "status": "fitted", "model": "logistic", "readings": 6,
        "fed_at": pd.date_range("2025-01-01", periods=refeeds, freq="60D", tz="UTC"), "rms_residual": 1.0,
        "start_height_mm": 40.0, "extent": 100.0, "max_rate": 30.0, "lag_h": 2.0, "time_to_peak_h": 7.0,
        "lower_bounds": "",
    }  # fmt: skip
    hours = [0.0, 2.0, 3.0, 4.0, 6.0, 9.0]
    read = pd.DataFrame({"refeed": np.repeat(names, 6), "elapsed_h": np.tile(hours, refeeds), "value": 40.0})
    return read.assign(signal="rise", kind="height_mm"), make_curves(given | more)


def test_rises_are_told_in_the_unit_read(make_curves):
    found = usual_curves(*records(make_curves), "Ida")
    assert found.parameters[:, 0].tolist() == [40.0, 40.0, 12.0, 2.0]
    assert (found.kind, found.unit, len(found.growth)) == ("height_mm", "mm", 12)
    assert found.kept_h.tolist() == [0.0, 2.0, 3.0, 4.0, 6.0, 9.0]
    assert np.isinf(found.until_h).all()


def test_a_curve_that_falls_counts_up_to_its_peak(make_curves):
    found = usual_curves(*records(make_curves, model="gompertz with collapse"), "Ida")
    assert set(found.growth) == {"gompertz"}
    assert found.until_h.tolist() == [7.0] * 12


def test_a_bound_on_another_trait_leaves_a_curve_usable(make_curves):
    assert len(usual_curves(*records(make_curves, lower_bounds="ripe_until_h"), "Ida").growth) == 12
    with pytest.raises(NothingUsual, match="0 curves of rise"):
        usual_curves(*records(make_curves, lower_bounds="extent, time_to_peak_h"), "Ida")


def test_many_curves_are_thinned_over_the_years(make_curves):
    read, curves = records(make_curves, refeeds=90)
    curves["lag_h"] = np.linspace(1.0, 2.0, 90)
    lag = usual_curves(read, curves, "Ida").parameters[3]
    assert len(lag) == 40
    assert (lag[0], lag[-1]) == (1.0, 2.0)


def test_an_unknown_culture_has_nothing_usual(make_curves):
    with pytest.raises(NothingUsual, match="Bo: 0 curves"):
        usual_curves(*records(make_curves), "Bo")
    with pytest.raises(NothingUsual, match="0 curves of acid"):
        usual_curves(*records(make_curves), "Ida", "acid")
