"""What came back from a round, against what was expected of each jar."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd

from ...records.collection import Collection
from ..expected import in_mm
from .sheet import BenchSheet

_COLUMNS = ["sheet", "position", "culture", "step", "signal", "elapsed_h", "value", "unit", "low", "high", "lies"]


def came_back(collection: Collection, sheets: Iterable[BenchSheet]) -> pd.DataFrame:
    """Lay the readings of sheets that were taken in over the bands that were printed on them.

    Parameters
    ----------
    collection : Collection
        Read after the sheets were taken in.
    sheets : iterable of BenchSheet
        As they were printed.

    Returns
    -------
    pandas.DataFrame
        One row per jar, signal and look whose hour lies within the hours of its band: sheet, position, culture,
        step, signal, elapsed_h, value, unit, low, high (of the band at that hour, between its printed hours) and
        lies (under, within or over; for pH under means further than expected).
    """
    refeeds = collection["refeeds"].set_index("refeed")
    parts = []
    for sheet in sheets:
        for jar in sheet.rows.to_dict("records"):
            refeed = f"{sheet.identity}-{int(jar['position'])}"
            if refeed in refeeds.index:
                read = collection["readings"][collection["readings"]["refeed"] == refeed]
                parts += _laid(sheet, jar, read, refeeds.loc[refeed, "start_height_mm"])
    return pd.DataFrame(parts, columns=_COLUMNS)


def _laid(sheet: BenchSheet, jar: dict, read: pd.DataFrame, start_mm: float) -> list[dict]:
    bands = sheet.bands[sheet.bands["culture"] == jar["culture"]]
    if not np.isnan(start_mm):
        bands = in_mm(bands, pd.Series({jar["culture"]: start_mm}))
    rows = []
    for signal, name, unit in (("rise", "height_mm", "mm"), ("acid", "ph", "pH")):
        band = bands[(bands["signal"] == signal) & (bands["unit"] == unit)].sort_values("elapsed_h")
        looks = read[read[name].notna()]
        for hour, value in looks[["elapsed_h", name]].itertuples(index=False):
            if len(band) and band["elapsed_h"].iloc[0] <= hour <= band["elapsed_h"].iloc[-1]:
                low, high = (float(np.interp(hour, band["elapsed_h"], band[end])) for end in ("low", "high"))
                lies = "under" if value < low else "over" if value > high else "within"
                told = {"sheet": sheet.identity, "step": sheet.step, "signal": signal, "unit": unit, "lies": lies}
                told |= {"position": jar["position"], "culture": jar["culture"]}
                rows.append(told | {"elapsed_h": hour, "value": value, "low": low, "high": high})
    return rows


def behind(laid: pd.DataFrame) -> pd.DataFrame:
    """Return the jars that stayed behind their band: too low, or not sour enough, at the last look.

    Parameters
    ----------
    laid : pandas.DataFrame
        As `came_back` makes it.

    Returns
    -------
    pandas.DataFrame
        culture, step, signal, elapsed_h, value, unit, low, high of the last look, for those that lie behind.
    """
    last = laid.sort_values("elapsed_h", kind="stable").groupby(["sheet", "culture", "signal"], sort=False).tail(1)
    slow = np.where(last["signal"] == "rise", last["lies"] == "under", last["lies"] == "over").astype(bool)
    return last.loc[slow, ["culture", "step", "signal", "elapsed_h", "value", "unit", "low", "high"]]
