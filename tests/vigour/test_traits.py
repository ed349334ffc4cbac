"""Traits as logarithms at the reference temperature, without what was borrowed and without the probe's lost slope."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad

from leavenbench.curves import trace_refeed
from leavenbench.curves.models import GROWTH
from leavenbench.records.settings import Settings
from leavenbench.temperature import LACTIC, YEAST, Cardinal, rate_against_reference
from leavenbench.vigour.traits import TRAITS, log_traits

START = pd.Timestamp("2025-01-01 08:00", tz="UTC")
_CURVE = {
    "status": "fitted",
    "lag_h": 2.0,
    "lag_h_se": 0.2,
    "max_rate": 12.0,
    "max_rate_se": 0.6,
    "extent": 60.0,
    "extent_se": 3.0,
    "lower_bounds": "",
}


@pytest.fixture
def traits_of(make_collection, make_curves):
    """Return a function that takes the log traits of one curve, of which some columns are given, by trait."""

    def of(room=25.0, settings=None, checks=None, signal="rise", **columns):
        readings = {"refeed": ["F"] * 2, "elapsed_h": [0.0, 5.0], "ph": [6.0, 5.0], "probe": ["one"] * 2}
        tables = {"readings": readings} if checks is not None else {}
        collection = make_collection(
            settings,
            refeeds={"refeed": ["F"], "culture": ["C"], "fed_at": [START], "room_temperature_degC": [room]},
            probe_checks=checks or {},
            **tables,
        )
        key = {"refeed": ["F"], "culture": ["C"], "fed_at": [START]}
        curve = {name: [value] for name, value in {**_CURVE, **columns}.items()}
        found = log_traits(collection, make_curves({**key, "signal": [signal], **curve}))
        return found.set_index("trait")

    return of


# Temperature


@pytest.mark.parametrize("degC", [18.0, 25.0, 28.0])
@pytest.mark.parametrize(("signal", "organism"), [("rise", YEAST), ("acid", LACTIC)])
def test_at_a_constant_temperature_the_rate_is_over_and_the_lag_times_the_pace(traits_of, signal, organism, degC):
    pace = float(rate_against_reference(degC, organism))
    found = traits_of(room=degC, signal=signal)
    assert found.loc[f"{signal} max_rate", "value"] == pytest.approx(np.log(12.0 / pace))
    assert found.loc[f"{signal} extent", "value"] == pytest.approx(np.log(60.0))
    assert found.loc[f"{signal} lag", "value"] == pytest.approx(-2.0 * pace)
    assert found["noted"].all()


def test_a_collection_may_set_its_own_cardinal_temperatures(traits_of):
    own = Cardinal(2.0, 24.0, 33.0)
    settings = Settings(yeast_cardinal_degC=own, reference_temperature_degC=22.0)
    found = traits_of(room=18.0, settings=settings)
    pace = float(rate_against_reference(18.0, own, 22.0))
    assert found.loc["rise max_rate", "value"] == pytest.approx(np.log(12.0 / pace))
    acid = traits_of(room=18.0, settings=settings, signal="acid")
    assert acid.loc["acid max_rate", "value"] == pytest.approx(
        np.log(12.0 / float(rate_against_reference(18.0, LACTIC, 22.0)))
    )


@pytest.mark.parametrize(("first", "last"), [(19.0, 27.0), (27.0, 18.0), (23.0, 23.0)])
def test_a_dough_whose_warmth_changes_has_the_traits_of_its_own_hours(make_collection, make_curves, first, last):
    """A logistic rise over hours at 25 degC (by scipy.integrate.quad), read by the clock, fitted, turned back.

    The curve fitted by the clock is bent by the warmth, and its rate is one hour's, not the stretch's: a few percent.
    """
    at = np.arange(0.0, 14.0, 0.25)
    warmth = np.interp(at, [0.0, 12.0], [first, last])
    own = [
        quad(lambda h: rate_against_reference(np.interp(h, [0.0, 12.0], [first, last]), YEAST), 0.0, end)[0]
        for end in at
    ]
    truth = {"extent": 120.0, "max_rate": 30.0, "lag": 2.5}
    shape = np.array([[truth["extent"]], [truth["max_rate"]], [truth["lag"]]])
    rise = GROWTH["logistic"].value(np.array(own)[:, None], shape)[:, 0]
    row = trace_refeed(at, 40.0 * (1.0 + rise / 100.0), "height_mm")
    collection = make_collection(
        refeeds={"refeed": ["F"], "culture": ["C"], "fed_at": [START]},
        readings={"refeed": ["F"] * len(at), "elapsed_h": at, "temperature_degC": warmth},
    )
    curve = {name: [row[name]] for name in (*_CURVE, "model")}
    found = log_traits(collection, make_curves({"refeed": ["F"], "culture": ["C"], "signal": ["rise"], **curve}))
    found = found.set_index("trait")["value"]
    assert found["rise max_rate"] == pytest.approx(np.log(truth["max_rate"]), abs=0.05)
    assert found["rise extent"] == pytest.approx(np.log(truth["extent"]), abs=0.03)
    assert found["rise lag"] == pytest.approx(-truth["lag"], abs=0.25)
    if first != last:  # uncorrected it would be further off
        assert abs(np.log(row["max_rate"] / truth["max_rate"])) > 2.0 * abs(
            found["rise max_rate"] - np.log(truth["max_rate"])
        )


# Errors


def test_errors_are_relative_and_carry_that_of_the_temperature(traits_of):
    at_reference = traits_of(room=25.0)
    assert at_reference.loc["rise extent", "se"] == pytest.approx(3.0 / 60.0)
    up, down = (
        float(np.log(rate_against_reference(degC, YEAST))) for degC in (25.5, 24.5)
    )  # a wall's thermometer, read once, may be off a dough by 1 degC
    assert at_reference.loc["rise max_rate", "se"] == pytest.approx(np.hypot(0.05, up - down), rel=1e-3)
    unknown = traits_of(room=np.nan)
    beyond = np.log(float(rate_against_reference(23.0, YEAST)))  # a room that may be 2 degC off
    assert unknown.loc["rise max_rate", "se"] == pytest.approx(np.hypot(0.05, beyond))
    assert unknown.loc["rise lag", "se"] == pytest.approx(np.hypot(0.2, 2.0 * beyond))
    assert not unknown["noted"].any()


def test_what_has_no_error_is_unsure_not_sure(traits_of):
    found = traits_of(max_rate_se=np.nan, lag_h_se=np.nan)
    assert found.loc["rise max_rate", "se"] == pytest.approx(0.5)
    assert found.loc["rise lag", "se"] == pytest.approx(0.5)


def test_what_is_too_unsure_says_nothing(traits_of):
    found = traits_of(max_rate_se=13.0, extent_se=61.0, lag_h_se=3.1)
    assert found.empty
    assert len(traits_of(max_rate_se=11.0, extent_se=59.0, lag_h_se=2.9)) == 3


# What was borrowed


def test_what_the_readings_alone_say_speaks_in_place_of_what_was_borrowed(traits_of):
    found = traits_of(max_rate_prior_share=0.6, max_rate_alone=8.0, max_rate_alone_se=2.0)
    assert found.loc["rise max_rate", "value"] == pytest.approx(np.log(8.0))
    assert found.loc["rise max_rate", "se"] == pytest.approx(0.25, rel=0.03)  # the wall's thermometer adds a little
    assert found.loc["rise extent", "value"] == pytest.approx(np.log(60.0))


def test_where_the_readings_cannot_be_heard_alone_their_share_is_all_that_counts(traits_of):
    """Precisions add up: of se with a share s borrowed, the rest has the variance se^2 / (1 - s)."""
    found = traits_of(extent_prior_share=0.75)
    assert found.loc["rise extent", "se"] == pytest.approx(0.05 / np.sqrt(0.25))
    assert "rise extent" not in traits_of(extent_prior_share=0.99).index
    assert traits_of(extent_prior_share=0.0).loc["rise extent", "se"] == pytest.approx(0.05)


# What a curve allows


@pytest.mark.parametrize("status", ["poor fit", "too few readings", "no readings"])
def test_curves_that_are_not_sound_say_nothing(traits_of, status):
    assert traits_of(status=status).empty


def test_no_activity_is_a_row_without_a_value(traits_of):
    found = traits_of(status="no activity", max_rate=0.0, extent=0.0, lag_h=np.nan, max_rate_se=np.nan)
    assert found.index.tolist() == ["rise max_rate"]
    assert found["still"].all()
    assert found["value"].isna().all()
    assert found["se"].tolist() == pytest.approx([0.5])


def test_a_number_that_is_only_at_least_is_kept_for_the_slope_alone(traits_of):
    found = traits_of(lower_bounds="max_rate, extent, lag_h")
    assert found.index.tolist() == ["rise max_rate"]
    assert found["at_least"].all()
    assert traits_of(lower_bounds="collapse_h").index.tolist() == list(TRAITS[:3])
    assert not traits_of(lower_bounds="collapse_h")["at_least"].any()


# The probe


def test_a_probe_that_has_lost_slope_showed_falls_too_small(traits_of):
    """Shown = slope x true, so that rates and extents are over the slope; an offset alone changes neither."""
    checks = {"probe": ["one"] * 2, "checked_at": [START] * 2, "buffer_ph": [4.0, 7.0], "reading_ph": [4.6, 7.2]}
    slope, right = 2.6 / 3.0, traits_of(signal="acid")
    found = traits_of(signal="acid", checks=checks)
    for trait in ("acid max_rate", "acid extent"):
        assert found.loc[trait, "value"] - right.loc[trait, "value"] == pytest.approx(-np.log(slope))
    assert found.loc["acid lag", "value"] == pytest.approx(right.loc["acid lag", "value"])
    assert found["probed"].all()
    assert not right["probed"].any()
    rise = traits_of(signal="rise", checks=checks)
    assert rise.loc["rise max_rate", "value"] == pytest.approx(np.log(12.0))
    off = {**checks, "reading_ph": [4.5, 7.5]}
    assert traits_of(signal="acid", checks=off).loc["acid extent", "value"] == pytest.approx(np.log(60.0))


def test_a_dough_beyond_the_limits_of_its_yeast_tells_no_rate(traits_of):
    """At 36 degC the yeast stops (checks.md: none at 35-36): what rises there has a pace that nobody knows."""
    assert traits_of(room=36.0).index.tolist() == ["rise extent"]
    assert traits_of(room=36.0, signal="acid").index.tolist() == list(TRAITS[3:6])


# Titration


def test_acid_that_was_titrated_is_a_trait_in_millimoles_a_gram(make_collection, make_curves):
    """An acid degree is 1 mL of .1 M NaOH for 10 g (checks.md: R), so 10 of them are .1 mmol/g; lactic acid has
    90.08 g a mole (checks.md: .009008 g a mL of .1 M, C), and .1 mmol/g of it is .9008 % of the dough."""
    refeeds = ["degrees", "stronger", "early", "other endpoint", "none left", "twice"]
    readings = pd.DataFrame(
        [
            ("degrees", 20.0, 10.0, 10.0, 0.1, 8.5),
            ("stronger", 20.0, 2.0, 10.0, 0.5, 8.5),
            ("early", 6.0, 10.0, 10.0, 0.1, 8.5),
            ("other endpoint", 20.0, 10.0, 10.0, 0.1, 6.6),
            ("none left", 20.0, 0.0, 10.0, 0.1, 8.5),
            ("twice", 23.0, 12.0, 10.0, 0.1, 8.5),
            ("twice", 14.0, 9.0, 10.0, 0.1, 8.5),
        ],
        columns=[
            "refeed",
            "elapsed_h",
            "titration_mL",
            "titration_sample_g",
            "titrant_mol_per_L",
            "titration_endpoint",
        ],
    )
    collection = make_collection(
        refeeds={"refeed": refeeds, "culture": refeeds, "fed_at": [START] * 6}, readings=dict(readings)
    )
    found = log_traits(collection, make_curves({})).set_index("refeed")
    assert (found["trait"] == "acid titration").all()
    told = np.exp(found["value"].astype(float)).to_dict()
    assert told == pytest.approx({"degrees": 0.1, "stronger": 0.1, "twice": 0.12})
    assert 100 * told["degrees"] * 90.08 / 1000 == pytest.approx(100 * 10 * 0.009008 / 10)
