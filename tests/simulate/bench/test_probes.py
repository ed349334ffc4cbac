"""pH probes drift from a day to a day, and their checks tell by how much."""

from datetime import date

import numpy as np
import pandas as pd
import pytest

from leavenbench.simulate.bench.probes import Probe, check_probes

DRIFTING = Probe("blue", date(2023, 9, 1), date(2024, 6, 15), offset_a_month=0.02, slope_lost_a_month=0.01)
MONTH = pd.Timedelta(days=30.4375)


def test_a_true_probe_shows_what_is_there():
    moments = pd.Series(pd.to_datetime(["2023-01-01", "2024-01-01"]))
    assert Probe("white").shows(np.array([3.9, 6.0]), moments).tolist() == [3.9, 6.0]


def test_a_drifting_probe_shows_offset_and_lost_slope_until_it_is_mended():
    moments = pd.Series(
        [pd.Timestamp("2023-08-31"), pd.Timestamp("2023-09-01") + 6 * MONTH, pd.Timestamp("2024-06-16")]
    )
    # After six months: 7 + (4 - 7) (1 - .06) + .12 = 4.30, and 7.12 at pH 7.
    assert DRIFTING.shows(np.full(3, 4.0), moments) == pytest.approx([4.0, 4.30, 4.0])
    assert DRIFTING.shows(np.full(3, 7.0), moments) == pytest.approx([7.0, 7.12, 7.0])


def test_checks_tell_the_drift_to_a_hundredth_or_two():
    checks = check_probes(
        [Probe("white"), DRIFTING], date(2023, 1, 2), pd.Timestamp("2024-12-01"), np.random.default_rng(1)
    )
    assert set(checks["buffer_ph"]) == {4.01, 7.0}
    assert (checks["checked_at"] <= pd.Timestamp("2024-12-01")).all()
    assert checks["checked_at"].drop_duplicates().diff().dropna().eq(pd.Timedelta(days=14)).all()
    for probe in (Probe("white"), DRIFTING):
        own = checks.loc[checks["probe"] == probe.name]
        off = own["reading_ph"] - probe.shows(own["buffer_ph"].to_numpy(), own["checked_at"])
        sd = np.sqrt(0.01**2 + 0.01**2 / 12.0)  # the check, and the display's hundredth
        assert off.std() == pytest.approx(sd, abs=4.0 * sd / np.sqrt(2.0 * len(off)))
        assert off.mean() == pytest.approx(0.0, abs=4.0 * sd / np.sqrt(len(off)))
