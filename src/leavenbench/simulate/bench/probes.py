"""pH probes: what they show, how they drift, and the buffers they are held against."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

#: A probe is held against two buffers every other Friday afternoon (common practice, no source).
_BUFFERS_PH = (4.01, 7.00)
_CHECKED_EVERY, _CHECKED_AT = "2W-FRI", pd.Timedelta(hours=16)
_CHECK_SD = 0.01
_MONTH = np.timedelta64(round(30.4375 * 86400), "s")


@dataclass(frozen=True)
class Probe:
    """A pH probe.

    Attributes
    ----------
    name : str
        Its name.
    drifts_from, until : datetime.date, optional
        When it begins to drift, and when it is mended; without the first it is true, without the second it is never
        mended.
    offset_a_month : float
        How much further off it reads at pH 7 with every month [pH].
    slope_lost_a_month : float
        Share of its slope that it loses every month.
    """

    name: str
    drifts_from: date | None = None
    until: date | None = None
    offset_a_month: float = 0.0
    slope_lost_a_month: float = 0.0

    def shows(self, ph: np.ndarray, moments: pd.Series) -> np.ndarray:
        """Return what the probe shows, chance aside, in a dough of some pH at some moment.

        Examples
        --------
        >>> probe = Probe("one", date(2024, 1, 1), None, 0.1)
        >>> probe.shows(np.array([4.0, 4.0]), pd.Series(pd.to_datetime(["2023-01-01", "2024-03-02"]))).round(1).tolist()
        [4.0, 4.2]
        """
        if self.drifts_from is None:
            return ph
        since = (moments.to_numpy() - np.datetime64(self.drifts_from)) / _MONTH
        drifting = since > 0.0
        if self.until is not None:
            drifting &= moments.to_numpy() < np.datetime64(self.until)
        months = np.where(drifting, since, 0.0)
        return 7.0 + (ph - 7.0) * (1.0 - self.slope_lost_a_month * months) + self.offset_a_month * months


def check_probes(probes: Sequence[Probe], begin: date, end: pd.Timestamp, rng: np.random.Generator) -> pd.DataFrame:
    """Return what probes showed in buffers.

    Parameters
    ----------
    probes : sequence of Probe
        The probes.
    begin : datetime.date
        The first day.
    end : pandas.Timestamp
        Nothing is checked later.
    rng : numpy.random.Generator
        Where chance comes from.

    Returns
    -------
    pandas.DataFrame
        probe, checked_at (local time), buffer_ph, reading_ph, temperature [degC], two rows a check.
    """
    days = pd.date_range(begin, end, freq=_CHECKED_EVERY) + _CHECKED_AT
    days = pd.Series(days[days <= end])
    checks = []
    for probe in probes:
        warmth = rng.normal(23.0, 1.0, len(days)).round(0)
        for buffer in _BUFFERS_PH:
            shown = probe.shows(np.full(len(days), buffer), days) + rng.normal(0.0, _CHECK_SD, len(days))
            checks.append(
                pd.DataFrame(
                    {
                        "probe": probe.name,
                        "checked_at": days,
                        "buffer_ph": buffer,
                        "reading_ph": shown.round(2),
                        "temperature": warmth,
                    }
                )
            )
    return pd.concat(checks).sort_values(["checked_at", "probe", "buffer_ph"], kind="stable", ignore_index=True)
