"""How warm it is: by season, weather and hour, and less when nobody heats."""

from datetime import date

import numpy as np
import pandas as pd
import pytest

from leavenbench.simulate.bakehouse.mishaps import ColdRoom
from leavenbench.simulate.bakehouse.rooms import Room, draw_rooms

BEGIN = date(2022, 1, 1)
COLD = ColdRoom("loft", date(2023, 2, 1), date(2023, 2, 2), 6.0)
ROOMS = (Room("bakehouse"), Room("loft", mean_degC=23.5, season_degC=3.0, swing_degC=1.5))


def drawn(cold=()):
    return draw_rooms(ROOMS, BEGIN, 3 * 365, cold, np.random.default_rng(6))


def at(rooms, name, moments):
    moments = np.atleast_1d(np.array(moments, "datetime64[m]"))
    return rooms.temperature(np.array([name] * len(moments)), moments)


def every_hour(rooms, name):
    hours = pd.date_range("2022-01-02", "2024-12-28", freq="h")
    return pd.Series(rooms.temperature(np.array([name] * len(hours)), hours.to_numpy()), index=hours)


@pytest.mark.parametrize("room", ROOMS, ids=lambda room: room.name)
def test_season_and_hour_are_as_given(room):
    warmth = every_hour(drawn(), room.name)
    by_day = warmth.groupby(warmth.index.date).mean()
    year = 2.0 * np.pi * (pd.DatetimeIndex(by_day.index).day_of_year - 205) / 365.25
    design = np.stack([np.ones(len(by_day)), np.cos(year), np.sin(year)], axis=1)
    mean, season, _ = np.linalg.lstsq(design, by_day.to_numpy(), rcond=None)[0]
    # Weather of sd .8 and lag-1 coefficient .6 leaves a mean of n days uncertain by .8 sqrt((1 + .6) / (1 - .6) / n).
    error = 0.8 * np.sqrt(4.0 / len(by_day))
    assert mean == pytest.approx(room.mean_degC, abs=4.0 * error)
    assert season == pytest.approx(room.season_degC, abs=4.0 * error * np.sqrt(2.0))
    by_hour = warmth.groupby(warmth.index.hour).mean()
    assert by_hour.idxmax() == 15
    assert (by_hour.max() - by_hour.min()) / 2.0 == pytest.approx(room.swing_degC, abs=0.02)


def test_rooms_share_the_weather():
    rooms = drawn()
    apart = every_hour(rooms, "loft") - every_hour(rooms, "bakehouse")
    assert apart.max() < 1.0 + 0.5 + 0.5 + 0.01  # mean, season and swing differ by 1, .5 and .5 degC at most
    assert apart.min() > 1.0 - 0.5 - 0.5 - 0.01


def test_warmth_moves_without_jumps():
    quarter = pd.date_range("2022-06-01", "2022-07-01", freq="15min")
    warmth = drawn().temperature(np.array(["loft"] * len(quarter)), quarter.to_numpy())
    assert np.abs(np.diff(warmth)).max() < 0.2


def test_a_room_without_heating_cools_within_hours_and_warms_again_and_the_others_do_not():
    usual, cold = drawn(), drawn([COLD])
    lost = at(
        usual, "loft", moments := ["2023-01-31T23:00", "2023-02-01T03:00", "2023-02-02T12:00", "2023-02-03T03:00"]
    )
    lost = lost - at(cold, "loft", moments)
    # Half of the 6 degC after three hours, all but nothing left of them after a day and a half, half of it back.
    assert lost == pytest.approx([0.0, 3.0, 6.0, 3.0], abs=0.01)
    assert at(cold, "bakehouse", moments).tolist() == at(usual, "bakehouse", moments).tolist()


def test_many_moments_of_one_refeed_are_read_at_once():
    rooms = drawn()
    moments = np.array(
        [["2022-05-01T08:00", "2022-05-01T15:00"], ["2022-05-02T08:00", "2022-05-02T15:00"]], "datetime64[m]"
    )
    table = rooms.temperature(np.array(["loft", "bakehouse"]), moments)
    assert table[0].tolist() == at(rooms, "loft", moments[0]).tolist()
    assert table[1].tolist() == at(rooms, "bakehouse", moments[1]).tolist()
