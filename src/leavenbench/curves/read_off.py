"""What the fitted curves of many refeeds say at given hours."""

from __future__ import annotations

import numpy as np
import pandas as pd

from .misread import trace_without_misread
from .models import Array
from .noise import INSTRUMENTS
from .rows import Shelf

#: A curve says nothing beyond its last reading by more than this [h]: a dough may have fallen since.
_BEYOND_H = 1.0


def levels_at(read: pd.DataFrame, hours: Array, pace: pd.Series | None = None) -> pd.DataFrame:
    """Return the level of each signal at hours since feeding, by its fitted curve.

    Parameters
    ----------
    read : pandas.DataFrame
        Readings as `signals.signals` gives them.
    hours : numpy.ndarray, shape (n,)
        Hours since feeding [h].
    pace : pandas.Series, optional
        By refeed and signal, the hours of that refeed that stand for one hour asked for; 1 where it says nothing.

    Returns
    -------
    pandas.DataFrame
        One row per signal with a curve and hour within its readings: refeed, signal, elapsed_h, level (a height or
        volume over that at 0 h, or a pH) and noise (sd of a single reading, in the same measure).

    Examples
    --------
    >>> rise = {"refeed": "a", "signal": "rise", "kind": "height_mm", "sd": np.nan, "high_mark": False}
    >>> read = pd.DataFrame({"elapsed_h": [0, 1, 2, 3, 4, 5, 6, 8], "value": [40, 40, 46, 58, 70, 77, 79, 80]})
    >>> levels_at(read.assign(**rise), np.array([0.0, 4.0]))["level"].round(1).tolist()
    [1.0, 1.8]
    """
    shelf, hours = Shelf.of(read), np.asarray(hours, float)
    if not len(shelf.observed.first):
        return pd.DataFrame(columns=["refeed", "signal", "elapsed_h", "level", "noise"])
    found = trace_without_misread(shelf.observed, keep_curves=True)
    paces = {} if pace is None else pace.dropna().to_dict()
    known = shelf.signals.iloc[shelf.known]
    names = known[["refeed", "signal", "kind"]].to_numpy(dtype=object)
    parts = []
    for signals, choice in found.choices:
        for place, one in enumerate(signals):
            refeed, signal, kind = names[one]
            instrument, parameters = INSTRUMENTS[kind], choice.fits.parameters[:, place]
            own_hours = hours * paces.get((refeed, signal), 1.0)
            told = np.flatnonzero(own_hours <= found.until_h[one] + _BEYOND_H)
            value = choice.fits.model.value(np.append(own_hours[told], 0.0), parameters)
            start = instrument.sign * float(value[-1]) if signal == "rise" else 1.0
            if start > 0.0:
                level = instrument.sign * value[:-1] / start
                parts.append((np.full(len(told), one), told, level, np.full(len(told), instrument.noise / start)))
    one, hour, level, noise = (np.concatenate(of) for of in zip(*parts, strict=True)) if parts else np.zeros((4, 0))
    told = known[["refeed", "signal"]].iloc[one.astype(int)].reset_index(drop=True)
    return told.assign(elapsed_h=hours[hour.astype(int)], level=level, noise=noise)
