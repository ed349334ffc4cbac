"""Whether a jar soured far enough in time: a matter of food safety, whatever its vigour."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..records.collection import Collection
from ..records.settings import Settings
from .probes import state_at, states, true_ph

#: A pH still above the floor counts as a miss from so far into the time allowed.
_READ_LONG_ENOUGH = 0.9
_READ_OFF_PH = 4.6
#: A curve passes in time when it does so many standard errors later as well (one-sided 95 %).
_SURELY = 1.645
#: A probe off by more than this [pH] bends the curve: then the corrected readings alone tell.
_PROBE_IS_OFF = 0.05


def floors(collection: Collection, curves: pd.DataFrame) -> pd.Series:
    """Tell for each refeed whether its pH passed ``floor_ph`` within ``floor_h``.

    The limits are settings; 4.6 is the pH of acid foods in 21 CFR 114.3, the day is common practice, no source.
    Between readings the fitted curve tells, with its error; nothing is extrapolated. Readings of a probe that was
    held against buffers are taken as what they stand for.

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
    ph = _true_readings(collection).sort_values("elapsed_h", kind="stable")
    # A pH that has fallen stays down: the last reading in time tells, whatever a single one before it said.
    last_in_time = ph[ph["elapsed_h"] <= settings.floor_h].groupby("refeed")["true"].last()
    still_high = ph[(ph["elapsed_h"] >= _READ_LONG_ENOUGH * settings.floor_h) & (ph["true"] > settings.floor_ph)]
    off = ph.groupby("refeed")["off"].max() > _PROBE_IS_OFF
    acid = curves[curves["signal"] == "acid"].set_index("refeed")
    by_curve = _curve_passes(acid, settings) & ~acid.index.isin(off.index[off])
    met = (last_in_time.reindex(acid.index) <= settings.floor_ph) | by_curve
    missed = acid.index.isin(still_high["refeed"])
    verdict = np.where(met, "met", np.where(missed, "missed", "not measured"))
    return pd.Series(verdict, index=acid.index, dtype="str")


def _true_readings(collection: Collection) -> pd.DataFrame:
    """Return the pH readings as they would be by a probe that is right, and how far off it was."""
    readings = collection["readings"]
    ph = readings.loc[readings["ph"].notna() & readings["elapsed_h"].notna(), ["refeed", "elapsed_h", "ph", "probe"]]
    ph = ph.astype({"ph": float}).reset_index(drop=True)
    found = states(collection["probe_checks"])
    if not found.empty:
        fed = ph["refeed"].map(collection["refeeds"].set_index("refeed")["fed_at"])
        true = true_ph(ph["ph"], state_at(found, ph["probe"], fed))
    else:
        true = ph["ph"]
    return ph.assign(true=true, off=(true - ph["ph"]).abs())


def _curve_passes(acid: pd.DataFrame, settings: Settings) -> pd.Series:
    """Tell where a sound curve surely passes the floor in time; curves are read off at pH 4.6 only."""
    sound = acid["status"].isin(("fitted", "peak not reached")) & (settings.floor_ph == _READ_OFF_PH)
    bound = acid["lower_bounds"].fillna("").str.contains("time_to_ph_4_6_h")
    latest = acid["time_to_ph_4_6_h"] + _SURELY * acid["time_to_ph_4_6_h_se"].fillna(0.0)
    return sound & ~bound & (latest <= settings.floor_h)
