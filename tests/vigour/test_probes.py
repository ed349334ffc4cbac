"""What a probe's state is by the buffers it was held against, and what is there by what it shows."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.constants import R, physical_constants

from leavenbench.simulate.bench.probes import Probe, check_probes
from leavenbench.vigour.probes import state_at, states, true_ph

#: Nernst slope by temperature [degC: mV/pH] (checks.md: C from CODATA R and F).
NERNST = {0: 54.1988, 10: 56.1830, 20: 58.1672, 30: 60.1515, 37: 61.5404, 40: 62.1357}
NERNST_25 = 59.1593
#: pH of the phthalate buffer at 0 to 40 degC by 5: JIS Z 8802 (checks.md: R), and the equation of Hetzer 1977,
#: J Res Natl Bur Stand 81A:21-24, doi 10.6028/jres.081A.005 (checks.md: C).
JIS = [4.01, 4.00, 4.00, 4.00, 4.00, 4.01, 4.01, 4.02, 4.03]
HETZER = [4.0101, 4.0036, 4.0001, 3.9995, 4.0015, 4.0059, 4.0124, 4.0209, 4.0312]
START = pd.Timestamp("2025-01-03 16:00", tz="UTC")


def held(*checks, probe="one"):
    """Return probe checks from (day, buffer pH, reading pH) each."""
    day, buffer, shown = (np.array(part, float) for part in zip(*checks, strict=True))
    at = pd.Series(START + pd.to_timedelta(day, unit="D"))
    return pd.DataFrame({"probe": probe, "checked_at": at, "buffer_ph": buffer, "reading_ph": shown})


def at_days(found, *days, probe="one"):
    moments = pd.Series(START.floor("D") + pd.to_timedelta(np.array(days, float), unit="D"))
    return state_at(found, pd.Series([probe] * len(days), dtype="str"), moments)


def two_buffers(day, slope, offset):
    return [(day, buffer, 7.0 + slope * (buffer - 7.0) + offset) for buffer in (4.01, 7.0)]


# Against outside values


@pytest.mark.parametrize(("degC", "millivolt"), NERNST.items())
def test_a_meter_without_compensation_has_the_slope_of_the_temperature(degC, millivolt):
    """An ideal electrode in a cold dough and cold buffers, read as if it were 25 degC."""
    assert 1000 * np.log(10) * R * (degC + 273.15) / physical_constants["Faraday constant"][0] == pytest.approx(
        millivolt, abs=5e-5
    )
    slope = millivolt / NERNST_25
    found = states(held(*two_buffers(0, slope, 0.0)))
    assert found["slope"].tolist() == pytest.approx([slope], rel=1e-9)
    assert found["offset"].tolist() == pytest.approx([0.0], abs=1e-9)
    dough = np.array([6.1, 4.6, 3.5])
    shown = pd.Series(7.0 + slope * (dough - 7.0))
    assert true_ph(shown, at_days(found, 0, 0, 0)).to_numpy() == pytest.approx(dough, abs=1e-9)


@pytest.mark.parametrize(("table", "exact"), list(zip(JIS, HETZER, strict=True)))
def test_a_true_probe_in_phthalate_is_found_true(table, exact):
    """The probe shows Hetzer's pH; who writes down that of JIS Z 8802 is off by its rounding, .0062 at most, alone."""
    found = states(held((0, table, exact), (0, 7.0, 7.0)))
    slope = (7.0 - exact) / (7.0 - table)
    assert found["slope"].tolist() == pytest.approx([slope], rel=1e-9)
    assert abs(slope - 1.0) < 0.0062 / 2.97
    acid = true_ph(pd.Series([3.4, 4.6]), at_days(found, 0, 0))
    assert acid.to_numpy() == pytest.approx([3.4, 4.6], abs=0.0062 * 3.6 / 2.97)


@pytest.mark.parametrize(("exact", "degC"), list(zip(HETZER, range(0, 41, 5), strict=True)))
def test_the_label_of_the_bottle_in_place_of_the_buffers_ph_does_little_harm(exact, degC):
    """4.01 written whatever the temperature: a dough at 4.6 comes out wrong by the buffer's error times 2.4 / 2.99."""
    found = states(held((0, 4.01, exact), (0, 7.0, 7.0)))
    told = float(true_ph(pd.Series([4.6]), at_days(found, 0)).iloc[0])
    assert told - 4.6 == pytest.approx((4.01 - exact) * 2.4 / 2.99, abs=2e-4)
    assert abs(told - 4.6) < 0.02


# Offset and slope


def test_a_single_buffer_tells_the_offset_only():
    found = states(held((0, 7.0, 7.2)))
    assert found[["slope", "offset"]].iloc[0].tolist() == pytest.approx([1.0, 0.2])


def test_buffers_too_close_tell_no_slope():
    found = states(held((0, 6.86, 6.80), (0, 7.0, 7.2)))
    assert found["slope"].tolist() == [1.0]


@given(st.floats(0.72, 1.08), st.floats(-0.6, 0.6), st.floats(3.0, 7.0))
def test_what_a_probe_shows_is_turned_back_into_what_is_there(slope, offset, ph):
    found = states(held(*two_buffers(0, slope, offset)))
    shown = pd.Series([7.0 + slope * (ph - 7.0) + offset])
    assert float(true_ph(shown, at_days(found, 3)).iloc[0]) == pytest.approx(ph, abs=1e-9)


def test_three_buffers_lie_about_a_line():
    """Least squares by numpy.polyfit."""
    buffer, shown = np.array([4.01, 7.0, 9.18]), np.array([4.2, 7.05, 9.0])
    found = states(held(*((0, *both) for both in zip(buffer, shown, strict=True))))
    slope, at_zero = np.polyfit(buffer, shown, 1)
    assert found["slope"].iloc[0] == pytest.approx(slope)
    assert found["offset"].iloc[0] == pytest.approx(at_zero + 7.0 * slope - 7.0)


def test_buffers_that_were_mixed_up_are_no_check():
    mixed = held((0, 4.01, 7.0), (0, 7.0, 4.01))
    assert states(mixed).empty
    assert at_days(states(mixed), 0).isna().all(axis=None)
    found = states(pd.concat([mixed, held(*two_buffers(30, 0.95, 0.1))]))
    assert found["slope"].tolist() == pytest.approx([0.95])
    assert found["offset"].tolist() == pytest.approx([0.1])


# Over time


def test_between_checks_evenly_and_beyond_them_as_then():
    found = states(held(*two_buffers(0, 1.0, 0.0), *two_buffers(100, 0.9, 0.3)))
    told = at_days(found, -50, 0, 25, 50, 100, 500)
    assert told["slope"].to_numpy() == pytest.approx([1.0, 1.0, 0.975, 0.95, 0.9, 0.9])
    assert told["offset"].to_numpy() == pytest.approx([0.0, 0.0, 0.075, 0.15, 0.3, 0.3])


def test_a_single_odd_check_among_those_of_some_weeks_is_outvoted():
    found = states(held(*two_buffers(0, 0.98, 0.1), *two_buffers(14, 0.98, 0.1), *two_buffers(28, 0.8, 0.7)))
    told = at_days(found, 28)
    assert told["slope"].iloc[0] == pytest.approx(0.98)
    assert told["offset"].iloc[0] == pytest.approx(0.1)


def test_a_slope_once_known_is_kept_by_checks_against_one_buffer():
    found = states(held(*two_buffers(0, 0.9, 0.0), (70, 7.0, 7.2)))
    assert found["slope"].tolist() == pytest.approx([0.9, 0.9])
    assert found["offset"].tolist() == pytest.approx([0.0, 0.2])


def test_a_slope_that_is_mended_leaves_no_offset_behind():
    checks = [one for day in range(0, 168, 14) for one in two_buffers(day, 0.85 if day < 84 else 1.0, 0.0)]
    found = states(held(*checks))
    assert found["offset"].to_numpy() == pytest.approx(0.0, abs=1e-9)
    assert found["slope"].iloc[-1] == pytest.approx(1.0)


def test_probes_and_the_order_of_rows_do_not_mix():
    one = held(*two_buffers(0, 0.9, 0.0), *two_buffers(60, 0.8, 0.2))
    other = held(*two_buffers(30, 1.05, -0.3), probe="other")
    apart = states(one), states(other)
    mixed = pd.concat([one, other]).sample(frac=1.0, random_state=3)
    pd.testing.assert_frame_equal(states(mixed), pd.concat(apart, ignore_index=True))
    assert at_days(states(mixed), 45, probe="other")["slope"].tolist() == pytest.approx([1.05])


def test_what_is_not_known_leaves_what_is_shown():
    found = states(held(*two_buffers(0, 0.9, 0.2)))
    unknown = at_days(found, 0, probe="never checked")
    assert unknown.isna().all(axis=None)
    assert true_ph(pd.Series([4.5]), unknown).tolist() == [4.5]
    none = state_at(found, pd.Series([None], dtype="str"), pd.Series([START]))
    assert none.isna().all(axis=None)
    unfinished = held((0, np.nan, 4.2), (0, 7.0, np.nan))
    assert states(unfinished).empty
    assert states(unfinished).columns.tolist() == ["probe", "checked_at", "slope", "offset"]


def test_a_probe_that_drifts_is_followed():
    """The simulator's own probe: it loses 2 % of its slope and .05 pH a month, checked every other week, sd .01 pH."""
    probe = Probe("one", date(2024, 3, 1), None, offset_a_month=0.05, slope_lost_a_month=0.02)
    checks = check_probes([probe], date(2024, 1, 1), pd.Timestamp("2024-12-31"), np.random.default_rng(4))
    checks = checks.assign(checked_at=checks["checked_at"].dt.tz_localize("UTC"))
    found = states(checks.rename(columns={"temperature": "temperature_degC"}))
    moments = pd.Series(pd.date_range("2024-02-01", "2024-12-20", freq="5D"))
    shown = pd.Series(probe.shows(np.full(len(moments), 4.2), moments))
    told = true_ph(shown, state_at(found, pd.Series(["one"] * len(moments)), moments.dt.tz_localize("UTC")))
    assert (shown - 4.2).abs().max() > 0.6  # what the drift does uncorrected: .5 of offset, and of slope as much again
    # The median looks back three weeks: .035 of offset, and of slope .014 times 2.8; then what two buffers scatter.
    assert (told - 4.2).abs().max() < 0.035 + 0.014 * 2.8 + 0.03
