"""Each refeed says something of a trait, or stands in the table of those that do not, with its reason."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from leavenbench.columns import RESULTS
from leavenbench.compare.observations import COMPARED, every_trait, left_out, observations
from leavenbench.errors import CannotRead
from leavenbench.temperature import LACTIC, YEAST, rate_against_reference

AT = pd.Timestamp("2025-03-03 08:00", tz="UTC")


def test_every_refeed_stands_in_one_of_the_two_tables(shelf):
    changes = {
        1: {"status": "no activity"},
        2: {"status": "peak not reached", "lower_bounds": "extent, time_to_peak_h"},
        3: {"status": "poor fit"},
        4: {"extent_se": 400.0},
        6: {"status": "too few readings"},
    }
    purposes = {"purpose": ["round"] * 5 + ["test", "round", "round"]}
    records = shelf(8, curves=changes, vigour=(7,), refeeds=purposes)
    kept, out = observations(*records, "rise extent"), left_out(*records, "rise extent")
    assert kept["refeed"].tolist() == ["r0"]
    assert out.set_index("refeed")["reason"].to_dict() == {
        "r1": "nothing moved",
        "r2": "its readings say only 'at least'",
        "r3": "its curve: poor fit",
        "r4": "its readings, without what history lent them, do not tell it",
        "r5": "fed for a test, not in a round",
        "r6": "its curve: too few readings",
        "r7": "too good to be the culture that it was: it may no longer be itself",
    }
    for table, name in ((kept, "observations"), (out, "left_out_of_comparison")):
        assert list(table) == RESULTS[name].names
        assert table.dtypes.astype(str).to_dict() == RESULTS[name].dtypes("UTC")


def test_all_traits_at_once_are_those_one_by_one(shelf):
    records = shelf(curves={1: {"lag_h": 3.0}})
    together = every_trait(*records)
    assert list(together) == list(COMPARED)
    for trait in ("rise lag_h", "rise time_to_peak_h", "acid ph_end"):
        pd.testing.assert_frame_equal(together[trait], observations(*records, trait))
    assert together["acid ph_end"].empty


@pytest.mark.parametrize("degC", [20.0, 25.0, 30.0])
def test_rates_and_hours_are_those_of_the_reference_temperature(shelf, degC):
    """At one temperature all along, an hour counts as the cardinal model says (Rosso et al. 1995, equation 1)."""
    records = shelf(refeeds={"room_temperature_degC": degC})
    pace = float(rate_against_reference(degC, YEAST))
    for trait, value in (
        ("max_rate", 20.0 / pace),
        ("extent", 120.0),
        ("lag_h", 2.0 * pace),
        ("time_to_peak_h", 9.0 * pace),
    ):
        table = observations(*records, f"rise {trait}")
        assert np.exp(table["value"]).tolist() == pytest.approx([value] * 4, rel=1e-6), trait
        assert set(table["scale"]) == {"log"}
        assert set(table["unit"]) == {COMPARED[f"rise {trait}"].unit}


def test_acid_goes_by_lactic_bacteria(shelf):
    records = shelf(signal="acid", refeeds={"room_temperature_degC": 20.0}, curves={0: {"time_to_ph_4_6_h": 10.0,
                    "time_to_ph_4_6_h_se": 0.5}})  # fmt: skip
    table = observations(*records, "acid time_to_ph_4_6_h")
    assert np.exp(table["value"]).tolist() == pytest.approx([10.0 * float(rate_against_reference(20.0, LACTIC))])


def test_errors_are_those_of_reading_and_of_warmth(shelf):
    """Without a temperature the pace is unknown; an extent has no pace: its relative error alone."""
    records = shelf()
    assert observations(*records, "rise extent")["se"].tolist() == pytest.approx([6.0 / 120.0] * 4)
    assert (observations(*records, "rise max_rate")["se"] > 1.0 / 20.0 + 0.02).all()


def test_what_was_borrowed_makes_hours_less_sure(shelf):
    plain, lent = (
        observations(*shelf(refeeds={"room_temperature_degC": 25.0}, curves=curves), "rise time_to_peak_h")
        for curves in (None, {0: {"lag_h_prior_share": 0.75}, 1: {"extent_prior_share": 0.99}})
    )
    assert lent["refeed"].tolist() == ["r0", "r2", "r3"]
    warm = plain["se"].iloc[0] ** 2 - (0.3 / 9.0) ** 2
    assert lent["se"].iloc[0] == pytest.approx(np.sqrt(warm + (0.3 / 9.0) ** 2 / 0.25))


def test_a_ph_is_what_a_good_probe_would_show(shelf):
    """A probe that shows 4.25 in buffer 4.0 and 7.1 in buffer 7.0 shows 4.0 where pH 3.7368 is: by hand."""
    checks = {"probe": "p", "checked_at": [AT] * 2, "buffer_ph": [4.0, 7.0], "reading_ph": [4.25, 7.1]}
    readings = {"refeed": ["r0"], "ph": [4.0], "probe": ["p"], "elapsed_h": [20.0]}
    table = observations(*shelf(signal="acid", probe_checks=checks, readings=readings), "acid ph_end")
    assert table["value"].tolist() == pytest.approx([7.0 + (4.0 - 7.1) / 0.95, 4.0, 4.0, 4.0])
    assert table["se"].iloc[0] == pytest.approx(0.03 / 0.95)
    assert set(table["scale"]) == {"linear"}


def test_flour_and_grain_go_by_the_lots_and_else_by_the_culture(shelf):
    tables = {
        "cultures": {"culture": ["Alba", "Brine"], "flour": ["rye", None], "origin": ["hill", None]},
        "flours": {"flour": ["rye", "spelt", "whole rye"], "grain": ["rye", "spelt", "rye"]},
        "flour_lots": {"lot": ["s1", "w1", "r1"], "flour": ["spelt", "whole rye", "rye"]},
        "refeed_flours": {"refeed": ["r2", "r2"], "lot": ["w1", "r1"], "mass_g": [10.0, 30.0]},
    }
    records = shelf(refeeds={"lot": [None, "s1", None, None]}, **tables)
    table = observations(*records, "rise extent").set_index("refeed")
    assert table["flour"].dropna().to_dict() == {"r0": "rye", "r1": "spelt", "r2": "rye + whole rye"}
    assert table["grain"].dropna().to_dict() == {"r0": "rye", "r1": "spelt", "r2": "rye"}
    assert observations(*records, "rise extent", "grain")["refeed"].tolist() == ["r0", "r1", "r2"]
    assert left_out(*records, "rise extent", "origin")["reason"].tolist() == ["its origin is not noted"] * 2


def test_a_lag_of_nothing_has_no_logarithm(shelf):
    out = left_out(*shelf(curves={2: {"lag_h": -0.1}}), "rise lag_h")
    assert out["refeed"].tolist() == ["r2"]


def test_unknown_traits_and_groups_are_named(shelf):
    with pytest.raises(CannotRead, match="there are rise max_rate"):
        observations(*shelf(), "rise vigour")
    with pytest.raises(CannotRead, match="use culture, flour, grain, origin"):
        observations(*shelf(), "rise extent", "colour")
