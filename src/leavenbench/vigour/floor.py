"""Whether a jar soured far enough in time: a matter of food safety, whatever its vigour."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..records.collection import Collection

#: The last pH reading must be at least so far into the time allowed for a miss to be stated.
_READ_LONG_ENOUGH = 0.9


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
    ph = readings[readings["ph"].notna() & readings["elapsed_h"].notna()]
    within = ph[ph["elapsed_h"] <= settings.floor_h]
    lowest = within.groupby("refeed")["ph"].min()
    last_h = ph.groupby("refeed")["elapsed_h"].max()
    acid = curves[curves["signal"] == "acid"].set_index("refeed")
    if settings.floor_ph == 4.6:
        crossed_h = acid["time_to_ph_4_6_h"].where(~_only_at_least(acid))
    else:
        crossed_h = pd.Series(np.nan, index=acid.index)
    met = (lowest.reindex(acid.index) <= settings.floor_ph) | (crossed_h <= settings.floor_h)
    read_to_the_end = last_h.reindex(acid.index) >= _READ_LONG_ENOUGH * settings.floor_h
    verdict = np.where(met, "met", np.where(read_to_the_end, "missed", "not measured"))
    return pd.Series(verdict, index=acid.index, dtype="str")


def _only_at_least(acid: pd.DataFrame) -> pd.Series:
    return acid["lower_bounds"].fillna("").str.contains("time_to_ph_4_6_h")
