"""What the small charts of a bench sheet show: a jar's band, and axes that hold it and the readings to come."""

from __future__ import annotations

from math import ceil, floor
from typing import NamedTuple

import pandas as pd

from ..care.bench.sheet import BenchSheet

#: The signals in the order in which they are drawn, each with the box of its readings.
SIGNALS = {"rise": "height", "acid": "ph"}
HOURS = "Hours since feeding [h]"
#: Where an axis ends when the band does not ask for more: room for whatever dough does (common practice, no source).
_PH, _MM, _PERCENT = (3.0, 7.0), (0.0, 100.0), (-20.0, 100.0)


class Scale(NamedTuple):
    """An axis: its quantity with the unit, its ends, and the distance of its marks."""

    label: str
    low: float
    high: float
    tick: float

    def marks(self) -> list[float]:
        """Return where the marks stand, from the lowest.

        Examples
        --------
        >>> Scale("pH", 3.0, 5.0, 0.5).marks()
        [3.0, 3.5, 4.0, 4.5, 5.0]
        """
        return [self.low + place * self.tick for place in range(round((self.high - self.low) / self.tick) + 1)]


def band_of(sheet: BenchSheet, culture: str, signal: str) -> pd.DataFrame:
    """Return the band of one signal of one jar, hour by hour; empty where its history is too short for one."""
    bands = sheet.bands
    return bands[(bands["culture"] == culture) & (bands["signal"] == signal)].sort_values("elapsed_h")


def hours_scale(sheet: BenchSheet) -> Scale:
    """Return the axis of hours: from 0 to the last usual look.

    Parameters
    ----------
    sheet : BenchSheet
        Whose.

    Returns
    -------
    Scale
    """
    last = max((*sheet.hours, 1.0))
    tick = next((step for step in (1.0, 2.0, 4.0, 6.0) if last / step <= 12.0), 12.0)
    return Scale(HOURS, 0.0, ceil(last / tick) * tick, tick)


def level_scale(band: pd.DataFrame, signal: str) -> Scale:
    """Return the axis of heights [mm], of rise over the start [%] where heights are not known, or of pH.

    Parameters
    ----------
    band : pandas.DataFrame
        As `band_of` gives it.
    signal : str
        rise or acid.

    Returns
    -------
    Scale
        Marks are whole tens of mm or %, or halves of a pH.

    Examples
    --------
    >>> level_scale(pd.DataFrame({"unit": ["mm"], "low": [34.0], "high": [62.0]}), "rise")
    Scale(label='Height [mm]', low=20.0, high=80.0, tick=10.0)
    """
    lowest, highest = float(band["low"].min()), float(band["high"].max())
    if signal == "acid":
        low, high = (min(_PH[0], lowest), max(_PH[1], highest)) if len(band) else _PH
        return _rounded("pH", low, high, 0.5)
    if len(band) == 0:
        return Scale("Height [mm]", *_MM, 20.0)
    if band["unit"].iloc[0] == "%":
        return _rounded("Rise [%]", min(_PERCENT[0], lowest), max(_PERCENT[1], 1.2 * highest), 20.0)
    # a weak jar stays under its band, and dough hardly sinks under where it started
    return _rounded("Height [mm]", 0.7 * lowest, 1.2 * highest, 10.0)


def _rounded(label: str, low: float, high: float, tick: float) -> Scale:
    while (high - low) / tick > 9.0:
        tick *= 2.0
    return Scale(label, floor(low / tick) * tick, ceil(high / tick) * tick, tick)
