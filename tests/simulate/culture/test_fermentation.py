"""A dough by the clock: warmth sets its pace, by the cardinal temperatures of who makes the signal."""

from datetime import date

import numpy as np
import pandas as pd
import pytest

from leavenbench.simulate.bakehouse.rooms import Room, Rooms
from leavenbench.simulate.culture.activity import add_cells
from leavenbench.simulate.culture.cells import HOURS
from leavenbench.simulate.culture.fermentation import curves_of, true_levels
from leavenbench.simulate.culture.strength import draw_strengths
from leavenbench.simulate.noise import Noise

STRENGTHS = draw_strengths(
    pd.DataFrame({"culture": ["Ash"], "flour": ["white"]}),
    pd.DataFrame({"flour": ["white"], "grain": ["wheat"]}),
    Noise(cardinal_off_degC=0.0),
    np.random.default_rng(3),
)
FED = pd.Timestamp("2024-01-02 08:00")


def refeeds(count=1):
    steps = pd.DataFrame({"culture": ["Ash"] * count, "step": 3, "log_activity": 0.0, "log_activity_acid": 0.0})
    return add_cells(steps, STRENGTHS).assign(room="room", fed_at=FED)


def room(first_degC, later_degC=None, swing_degC=0.0):
    """Return a room whose mean moves from one noon to the next."""
    noon = np.array([[first_degC], [first_degC], *[[later_degC or first_degC]] * 3])
    begin = np.datetime64(date(2024, 1, 1), "s")
    return Rooms((Room("room", swing_degC=swing_degC),), begin, noon, np.zeros((5 * 24, 1)))


def at_hours(rooms, hours):
    return true_levels(refeeds(), np.zeros(len(hours), int), np.array(hours), rooms)


def rosso(t, low, best, high):
    """Rosso et al. 1995, Appl Environ Microbiol 61:610, equation 1, written out here once more."""
    inner = (best - low) * (t - best) - (best - high) * (best + low - 2.0 * t)
    return (t - high) * (t - low) ** 2 / ((best - low) * inner)


# Gaenzle et al. 1998: yeast 8/27-28/35-36 degC, lactobacilli 4/32-33/41 degC.
CARDINAL = {"rise": (8.0, 27.5, 35.5), "acid": (4.0, 32.5, 41.0)}


def test_at_the_reference_temperature_the_clock_is_the_culture_s_own():
    seen = at_hours(room(25.0), [0.0, 3.0, 7.5, 23.0])
    places = np.searchsorted(HOURS, np.array([0.0, 3.0, 7.5, 23.0]) - 1e-9)
    assert seen["rise"].to_numpy() == pytest.approx(curves_of(refeeds(), "rise")[0, places], rel=1e-6)
    assert seen["fall"].to_numpy() == pytest.approx(curves_of(refeeds(), "acid")[0, places], rel=1e-6)
    assert seen["ph"].to_numpy() == pytest.approx(STRENGTHS.at["Ash", "ph_start"] - seen["fall"].to_numpy())


@pytest.mark.parametrize("degC", [14.0, 18.0, 27.0])
@pytest.mark.parametrize("signal", ["rise", "acid"])
def test_warmth_stretches_the_clock(signal, degC):
    pace = rosso(degC, *CARDINAL[signal]) / rosso(25.0, *CARDINAL[signal])
    column = "rise" if signal == "rise" else "fall"
    at_25 = at_hours(room(25.0), [2.0 * pace, 4.0 * pace, 6.0 * pace])
    here = at_hours(room(degC), [2.0, 4.0, 6.0])
    assert here[column].to_numpy() == pytest.approx(at_25[column].to_numpy(), rel=1e-6)


@pytest.mark.parametrize("signal", ["rise", "acid"])
def test_an_organism_whose_cardinal_temperatures_lie_higher_is_slower_in_the_cold(signal):
    own = CARDINAL[signal]
    shifted = [degC + 1.5 for degC in own]
    pace = rosso(18.0, *shifted) / rosso(25.0, *shifted)
    assert pace < rosso(18.0, *own) / rosso(25.0, *own)
    column = "rise" if signal == "rise" else "fall"
    here = true_levels(refeeds().assign(**{f"{signal}_off_degC": 1.5}), np.zeros(1, int), np.array([5.0]), room(18.0))
    assert here[column].item() == pytest.approx(at_hours(room(25.0), [5.0 * pace])[column].item(), rel=1e-6)


def test_a_night_that_cools_counts_by_what_passes_hour_by_hour():
    """The hours that count are the integral of the pace over the temperature curve, here by a fine sum."""
    rooms = room(24.0, 16.0, swing_degC=2.0)
    clock = np.arange(0.0, 20.0, 0.001) + 0.0005
    moments = FED.to_datetime64() + np.round(clock * 3.6e9).astype("timedelta64[us]")
    warmth = rooms.temperature(np.array(["room"] * len(moments)), moments)
    assert warmth.max() - warmth.min() > 4.0
    own = (rosso(warmth, *CARDINAL["rise"]) / rosso(25.0, *CARDINAL["rise"])).sum() * 0.001
    assert at_hours(rooms, [20.0])["rise"].item() == pytest.approx(at_hours(room(25.0), [own])["rise"].item(), rel=2e-3)


def test_the_smear_is_where_the_dough_has_been():
    seen = at_hours(room(25.0), [2.0, 6.0, 12.0, 23.0])
    peak = STRENGTHS.at["Ash", "rise_extent"]
    assert seen["highest"].iloc[0] == seen["rise"].iloc[0]
    assert seen["rise"].iloc[-1] < 0.8 * peak
    assert seen["highest"].iloc[2:].to_numpy() == pytest.approx([peak, peak], rel=1e-3)


def test_many_refeeds_are_followed_in_parts_with_the_same_result():
    many = refeeds(9000)  # more than are held in memory at once
    at = np.array([0, 3999, 4000, 8999])
    seen = true_levels(many, at, np.full(4, 5.0), room(25.0))
    assert seen["rise"].to_numpy() == pytest.approx(np.full(4, at_hours(room(25.0), [5.0])["rise"].item()))
