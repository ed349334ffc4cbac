"""The floor: pH 4.6 within a day, by readings, by the curve with its error, and by a probe that was held to buffers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from leavenbench.records.settings import Settings
from leavenbench.vigour.floor import floors

FED = pd.Timestamp("2025-01-10 08:00", tz="UTC")
#: pH 4.6: 21 CFR 114.3; within a day: common practice, no source (checks.md).
USUAL = Settings(floor_ph=4.6, floor_h=24.0)


@pytest.fixture
def verdict(make_collection, make_curves):
    """Return a function that judges one refeed by its readings, what its curve says, and the checks of its probe."""

    def judge(hours=(), ph=(), curve=None, checks=None, settings=USUAL, probe="one"):
        collection = make_collection(
            settings,
            refeeds={"refeed": ["F"], "culture": ["C"], "fed_at": [FED]},
            readings={
                "refeed": ["F"] * len(hours), "elapsed_h": list(hours), "ph": list(ph), "probe": [probe] * len(hours)
            },
            probe_checks=checks or {},
        )  # fmt: skip
        told = {"status": "too few readings", "lower_bounds": "", **(curve or {})}
        curves = make_curves({"refeed": ["F"], "signal": ["acid"], **{name: [value] for name, value in told.items()}})
        return floors(collection, curves)["F"]

    return judge


def passes(hour, se=0.0, **more):
    return {"status": "fitted", "time_to_ph_4_6_h": hour, "time_to_ph_4_6_h_se": se, **more}


def held(slope, offset, **more):
    """Return a check of the probe on the day of feeding: it shows 7 + slope (pH - 7) + offset."""
    return {
        "probe": ["one"] * 2,
        "checked_at": [FED.floor("D")] * 2,
        "buffer_ph": [4.0, 7.0],
        "reading_ph": [7.0 - 3.0 * slope + offset, 7.0 + offset],
        **more,
    }


# By readings


@pytest.mark.parametrize(
    ("hours", "ph", "expected"),
    [
        ([0, 6, 12], [5.9, 5.0, 4.4], "met"),
        ([0, 6, 12], [5.9, 5.0, 4.6], "met"),
        ([0, 6, 24], [5.9, 5.5, 5.1], "missed"),
        ([0, 6, 24], [5.9, 5.5, 4.61], "missed"),
        ([0, 6, 24], [5.9, 5.5, 4.6], "met"),
        ([0, 6, 10], [5.9, 5.5, 5.1], "not measured"),
        ([0, 6, 21.6], [5.9, 5.5, 5.1], "missed"),
        ([0, 6, 21.5], [5.9, 5.5, 5.1], "not measured"),
        ([0, 6, 30], [5.9, 5.5, 4.4], "not measured"),
        ([0, 6, 30], [5.9, 5.5, 5.0], "missed"),
        ([0, 26], [5.9, 4.2], "not measured"),
        ([0, 3, 6, 24], [5.9, 4.0, 5.5, 5.1], "missed"),
        ([24, 0, 6], [4.4, 5.9, 5.5], "met"),
        ([], [], "not measured"),
        ([np.nan], [4.0], "not measured"),
        ([5], [np.nan], "not measured"),
    ],
)
def test_by_readings(verdict, hours, ph, expected):
    assert verdict(hours, ph) == expected


def test_a_collection_may_set_another_floor(verdict):
    strict = replace(USUAL, floor_ph=4.2, floor_h=12.0)
    assert verdict([0, 11], [5.9, 4.4], settings=strict) == "missed"
    assert verdict([0, 11], [5.9, 4.2], settings=strict) == "met"
    assert verdict([0, 6], [5.9, 4.4], settings=strict) == "not measured"
    assert verdict([0, 6], [5.9, 5.4], passes(8.0), settings=strict) == "not measured"  # read off at 4.6 only


# By the curve, with its error


def test_between_readings_the_curve_tells(verdict):
    assert verdict([0, 10, 34], [5.9, 5.0, 3.9], passes(15.0, 1.0)) == "met"
    assert verdict([0, 10, 34], [5.9, 5.0, 3.9], passes(30.0, 1.0)) == "not measured"


@pytest.mark.parametrize(
    ("se", "expected"), [(0.5, "met"), (1.2, "met"), (1.23, "not measured"), (9.0, "not measured")]
)
def test_a_curve_must_pass_surely(verdict, se, expected):
    """22 h and 1.645 standard errors (one-sided 95 % of a normal) within 24 h: up to 1.2158 h."""
    assert verdict([0, 10, 34], [5.9, 5.0, 3.9], passes(22.0, se)) == expected


@pytest.mark.parametrize(
    "curve",
    [
        passes(12.0, status="poor fit"),
        passes(12.0, status="too few readings"),
        passes(12.0, status="no activity"),
        passes(12.0, lower_bounds="extent, time_to_ph_4_6_h"),
        passes(np.nan),
    ],
)
def test_a_curve_that_is_not_sound_tells_nothing(verdict, curve):
    assert verdict([0, 10], [5.9, 5.0], curve) == "not measured"


def test_a_bound_on_another_number_does_not_matter(verdict):
    assert verdict([0, 10], [5.9, 5.0], passes(12.0, lower_bounds="extent")) == "met"
    assert verdict([0, 10], [5.9, 5.0], passes(12.0, status="peak not reached")) == "met"


# By the probe


def test_a_probe_with_an_offset_is_read_for_what_it_stands_for(verdict):
    hours, shown = [0, 10, 24], [6.0, 5.2, 4.5]
    assert verdict(hours, shown) == "met"
    assert verdict(hours, shown, checks=held(1.0, -0.2)) == "missed"  # it shows .2 too little: there was 4.7
    assert verdict(hours, [6.0, 5.2, 4.7]) == "missed"
    assert verdict(hours, [6.0, 5.2, 4.7], checks=held(1.0, 0.2)) == "met"


def test_a_probe_that_has_lost_slope_hides_acid(verdict):
    """At 90 % of its slope it shows 4.78 where there is 7 + (4.78 - 7) / .9 = 4.533."""
    assert verdict([0, 24], [6.1, 4.78], checks=held(0.9, 0.0)) == "met"
    assert verdict([0, 24], [6.1, 4.85], checks=held(0.9, 0.0)) == "missed"


def test_a_curve_through_a_probe_that_is_off_tells_nothing(verdict):
    assert verdict([0, 10], [6.0, 5.0], passes(12.0)) == "met"
    assert verdict([0, 10], [6.0, 5.0], passes(12.0), checks=held(1.0, 0.1)) == "not measured"
    assert verdict([0, 10], [6.0, 5.0], passes(12.0), checks=held(1.0, 0.03)) == "met"


def test_checks_of_another_probe_say_nothing(verdict):
    assert verdict([0, 24], [6.0, 4.5], checks=held(1.0, -0.2), probe="other") == "met"
    assert verdict([0, 24], [6.0, 4.5], checks=held(1.0, -0.2), probe=None) == "met"


def test_refeeds_do_not_mix(make_collection, make_curves):
    collection = make_collection(
        USUAL,
        refeeds={"refeed": ["a", "b"], "culture": ["C", "C"], "fed_at": [FED, FED]},
        readings={"refeed": ["a", "a", "b", "b"], "elapsed_h": [0, 20, 0, 24], "ph": [6, 4.2, 6, 5.4]},
    )
    signals = {"refeed": ["a", "b", "a", "b"], "signal": ["acid", "acid", "rise", "rise"], "lower_bounds": [""] * 4}
    curves = make_curves({**signals, "status": ["fitted"] * 4, "time_to_ph_4_6_h": [15.0, np.nan, 1.0, 1.0]})
    assert floors(collection, curves).to_dict() == {"a": "met", "b": "missed"}
