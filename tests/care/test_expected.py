"""The band that a jar's own history lets expect: it holds nine in ten of what comes, and nothing is made up."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from leavenbench.care.expected import HELD, expected_bands, in_mm, usual_hours, usual_warmth_degC
from leavenbench.records.collection import read_collection


def test_people_read_at_their_usual_hours(shelf):
    assert usual_hours(shelf, 3) == (0.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0)


def test_bands_hold_nine_in_ten_of_the_next_readings(tmp_path, write_shelf):
    """Made and read by the mechanism of the test shelf, not by our curves; 35 rounds that no band knew."""
    folder = write_shelf(tmp_path / "long", rounds=42)
    collection = read_collection(folder)
    hours, inside = (0.0, 2.0, 4.0, 6.0, 8.0), {"rise": [], "acid": []}
    refeeds, readings = collection["refeeds"], collection["readings"]
    for number in range(8, 42, 3):
        known = refeeds[refeeds["round"] < number]
        then = collection.tables | {"refeeds": known, "readings": readings[readings["refeed"].isin(known["refeed"])]}
        earlier = type(collection)(
            folder, collection.settings, then, collection.present, collection.problems, collection.counts
        )
        bands = expected_bands(earlier, ["Alba", "Bruno", "Rika"], 3, hours, 20.0)
        now = refeeds[(refeeds["round"] == number) & (refeeds["step"] == 3)].set_index("culture")
        bands = in_mm(bands, now["start_height_mm"])
        for band in bands.to_dict("records"):
            name = "height_mm" if band["signal"] == "rise" else "ph"
            own = readings[(readings["refeed"] == now.loc[band["culture"], "refeed"])]
            value = own.loc[np.isclose(own["elapsed_h"], band["elapsed_h"]), name].iloc[0]
            inside[band["signal"]].append(band["low"] <= value <= band["high"])
    for signal, held in inside.items():
        assert len(held) > 150
        # binomial error of some 170 readings that belong together in dozens of refeeds: .04
        assert np.mean(held) == pytest.approx(HELD, abs=0.08), signal


def test_a_short_history_has_no_band(tmp_path, write_shelf):
    collection = read_collection(write_shelf(tmp_path / "young", rounds=2))
    assert expected_bands(collection, ["Alba"], 3, (4.0,)).empty


def test_an_hour_that_was_never_reached_has_none(shelf):
    assert expected_bands(shelf, ["Alba"], 3, (4.0, 24.0))["elapsed_h"].unique().tolist() == [4.0]


def test_one_cold_day_widens_no_band(tmp_path, write_shelf):
    folder = write_shelf(tmp_path / "cold", rounds=9)
    usual = expected_bands(read_collection(folder), ["Alba"], 3, (5.0,), 20.0).set_index("signal")
    text = (folder / "readings.csv").read_text().splitlines()
    slow = [",".join([*row.split(",")[:2], "54", "5.8"]) if row.startswith("Alba-4-3,") else row for row in text]
    (folder / "readings.csv").write_text("\n".join(slow) + "\n")
    after = expected_bands(read_collection(folder), ["Alba"], 3, (5.0,), 20.0).set_index("signal")
    before_mm, after_mm = (float(of.loc["rise", "high"] - of.loc["rise", "low"]) for of in (usual, after))
    assert after_mm < 1.6 * before_mm
    assert float(after.loc["rise", "middle"]) == pytest.approx(float(usual.loc["rise", "middle"]), rel=0.05)


def test_a_colder_room_is_expected_to_be_slower(shelf):
    warm, cold = (
        expected_bands(shelf, ["Alba"], 3, (4.0,), degC).set_index("signal")["middle"] for degC in (20.0, 17.0)
    )
    assert cold["rise"] < 0.8 * warm["rise"]
    assert cold["acid"] > warm["acid"]


def test_the_season_tells_how_warm_it_will_be(make_collection):
    fed = pd.to_datetime(["2024-01-10", "2024-01-20", "2024-07-10"]).tz_localize("UTC")
    shelf = make_collection(
        refeeds={"refeed": list("abc"), "culture": "x", "fed_at": fed, "room_temperature_degC": [18.0, 20.0, 26.0]}
    )
    assert usual_warmth_degC(shelf, dt.date(2025, 12, 25)) == 19.0
    assert usual_warmth_degC(shelf, dt.date(2025, 7, 1)) == 26.0
    assert usual_warmth_degC(shelf, dt.date(2025, 4, 15)) == 20.0  # nothing near: the middle of the year
