"""Whether a jar soured far enough in time: a matter of food safety, whatever its vigour."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..records.collection import Collection
from ..records.settings import Settings
from ..records.texts import at_places, places_in, stretches
from .probes import state_at, states, true_ph

#: A pH still above the floor counts as a miss from so far into the time allowed.
_READ_LONG_ENOUGH = 0.9
_READ_OFF_PH = 4.6
#: A curve passes in time when it does so many standard errors later as well (one-sided 95 %).
_SURELY = 1.645
#: A probe off by more than this [pH] bends the curve: then the corrected readings alone tell.
_PROBE_IS_OFF = 0.05
_OF_CURVES = ["refeed", "status", "lower_bounds", "time_to_ph_4_6_h", "time_to_ph_4_6_h_se"]


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
    settings, refeeds = collection.settings, pd.Index(collection["refeeds"]["refeed"])
    ph = _true_readings(collection)
    last_in_time, missed, off = np.full(len(refeeds), np.nan), *np.zeros((2, len(refeeds)), bool)
    # A pH that has fallen stays down: the last reading in time tells, whatever a single one before it said.
    in_time = ph["elapsed_h"].where(ph["elapsed_h"] <= settings.floor_h)
    last = ph[in_time == in_time.groupby(ph["fed"]).transform("max")]
    last_in_time[last["fed"]] = last["true"]
    still_high = (ph["elapsed_h"] >= _READ_LONG_ENOUGH * settings.floor_h) & (ph["true"] > settings.floor_ph)
    missed[ph.loc[still_high, "fed"]] = True
    off[ph.loc[(ph["true"] - ph["ph"]).abs() > _PROBE_IS_OFF, "fed"]] = True
    acid = curves.loc[curves["signal"] == "acid", _OF_CURVES].set_index("refeed")
    place = places_in(refeeds, acid.index.to_series())
    met = (last_in_time[place] <= settings.floor_ph) | (_curve_passes(acid, settings) & ~off[place])
    verdict = np.where(met, "met", np.where(missed[place], "missed", "not measured"))
    return pd.Series(verdict, index=acid.index, dtype="str")


def _true_readings(collection: Collection) -> pd.DataFrame:
    """Return the pH readings, and as they would be by a probe that is right, with the places of their refeeds."""
    readings, refeeds = collection["readings"], collection["refeeds"]
    found = states(collection["probe_checks"])
    begins = stretches(readings["refeed"])
    if len(found):  # a probe's state is asked for once for each stretch of readings of a refeed by one probe
        begins = np.union1d(begins, stretches(readings["probe"]))
    fed = places_in(refeeds["refeed"], readings["refeed"].iloc[begins])
    state = state_at(found, readings["probe"].iloc[begins], at_places(refeeds["fed_at"], fed))
    stretch = np.repeat(np.arange(len(begins)), np.diff(begins, append=len(readings)))
    ph = readings[["elapsed_h", "ph"]].assign(fed=fed.to_numpy()[stretch])
    ph["true"] = true_ph(ph["ph"], state.take(stretch).set_axis(ph.index))
    return ph[ph["ph"].notna() & ph["elapsed_h"].notna() & (ph["fed"] >= 0)]


def _curve_passes(acid: pd.DataFrame, settings: Settings) -> pd.Series:
    """Tell where a sound curve surely passes the floor in time; curves are read off at pH 4.6 only."""
    sound = acid["status"].isin(("fitted", "peak not reached")) & (settings.floor_ph == _READ_OFF_PH)
    bound = acid["lower_bounds"].fillna("").str.contains("time_to_ph_4_6_h")
    latest = acid["time_to_ph_4_6_h"] + _SURELY * acid["time_to_ph_4_6_h_se"].fillna(0.0)
    return sound & ~bound & (latest <= settings.floor_h)
