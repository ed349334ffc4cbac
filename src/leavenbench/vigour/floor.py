"""Whether a jar soured far enough in time: a matter of food safety, whatever its vigour."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..records.collection import Collection
from ..records.settings import Settings

#: A pH still above the floor counts as a miss from so far into the time allowed.
_READ_LONG_ENOUGH = 0.9
_READ_OFF_PH = 4.6


def floors(collection: Collection, curves: pd.DataFrame) -> pd.Series:
    """Tell for each refeed whether its pH passed ``floor_ph`` within ``floor_h``.

    The limits are settings; 4.6 is the pH of acid foods in 21 CFR 114.3, the day is common practice, no source.
    Between readings the fitted curve tells; nothing is extrapolated.

    Parameters
    ----------
    collection : Collection
        Its settings and readings.
    curves : pandas.DataFrame
        The curves table.

    Returns
    -------
    pandas.Series of str
        met, missed or not measured, by refeed.
    """
    settings = collection.settings
    readings = collection["readings"]
    ph = readings[readings["ph"].notna() & readings["elapsed_h"].notna()].sort_values("elapsed_h", kind="stable")
    # A pH that has fallen stays down: the last reading in time tells, whatever a single one before it said.
    last_in_time = ph[ph["elapsed_h"] <= settings.floor_h].groupby("refeed")["ph"].last()
    still_high = ph[(ph["elapsed_h"] >= _READ_LONG_ENOUGH * settings.floor_h) & (ph["ph"] > settings.floor_ph)]
    acid = curves[curves["signal"] == "acid"].set_index("refeed")
    met = (last_in_time.reindex(acid.index) <= settings.floor_ph) | _curve_passes(acid, settings)
    missed = acid.index.isin(still_high["refeed"])
    verdict = np.where(met, "met", np.where(missed, "missed", "not measured"))
    return pd.Series(verdict, index=acid.index, dtype="str")


def _curve_passes(acid: pd.DataFrame, settings: Settings) -> pd.Series:
    """Tell where a sound curve passes the floor in time, between readings; curves are read off at pH 4.6 only."""
    sound = acid["status"].isin(("fitted", "peak not reached")) & (settings.floor_ph == _READ_OFF_PH)
    bound = acid["lower_bounds"].fillna("").str.contains("time_to_ph_4_6_h")
    return sound & ~bound & (acid["time_to_ph_4_6_h"] <= settings.floor_h)
