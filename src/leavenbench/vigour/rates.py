"""The steepest slope of each curve, as it would be at the reference temperature."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..records.collection import Collection
from ..temperature import LACTIC, YEAST, Cardinal, rate_against_reference

#: The organisms that make each signal.
ORGANISM: dict[str, Cardinal] = {"rise": YEAST, "acid": LACTIC}
#: How far an unknown room may be from the reference temperature [degC] (common practice, no source).
_UNKNOWN_ROOM_DEGC = 2.0
#: Relative standard error of a slope for which none can be had: it was read too coarsely, or the window closed early.
_UNSURE_SE = 0.5
#: What a curve's status must be for its slope to mean something.
SOUND = ("fitted", "peak not reached", "no activity")


def reference_rates(collection: Collection, curves: pd.DataFrame) -> pd.DataFrame:
    """Return each curve's steepest slope at the reference temperature.

    Parameters
    ----------
    collection : Collection
        For the temperatures of its readings and rooms.
    curves : pandas.DataFrame
        The curves table.

    Returns
    -------
    pandas.DataFrame
        One row per sound curve: refeed, culture, fed_at, round, step, signal, status, rate (the signal's unit/h),
        log_rate (missing without activity), log_rate_se, at_least, temperature_degC (missing where none was noted).
        A slope without a standard error counts little.
    """
    at_least = curves["lower_bounds"].fillna("").str.contains("max_rate")
    known = curves["max_rate"].notna() & curves["status"].isin(SOUND)
    sound = curves.assign(at_least=at_least)[known].reset_index(drop=True)
    rates = sound[["refeed", "culture", "fed_at", "round", "step", "signal", "status", "at_least"]].copy()
    rates["temperature_degC"] = rates["refeed"].map(_temperatures(collection))
    factor, factor_se = _temperature_factor(rates, collection.settings.reference_temperature_degC)
    rates["rate"] = sound["max_rate"] / factor
    alive = (rates["rate"] > 0) & (rates["status"] != "no activity")
    rates["log_rate"] = np.log(rates["rate"].where(alive))
    relative_se = (sound["max_rate_se"] / sound["max_rate"].where(alive)).fillna(_UNSURE_SE)
    rates["log_rate_se"] = np.hypot(relative_se.clip(upper=1.0), factor_se)
    return rates


def _temperatures(collection: Collection) -> pd.Series:
    """Return the mean temperature [degC] of each refeed's readings, else that of its room."""
    readings, refeeds = collection["readings"], collection["refeeds"].set_index("refeed")
    measured = readings.groupby("refeed")["temperature_degC"].mean().dropna()
    return measured.reindex(refeeds.index).fillna(refeeds["room_temperature_degC"])


def _temperature_factor(rates: pd.DataFrame, reference_degC: float) -> tuple[pd.Series, pd.Series]:
    """Return the rate at the noted temperature relative to the reference, and the log error where none was noted."""
    factor = pd.Series(1.0, index=rates.index)
    error = pd.Series(0.0, index=rates.index)
    for signal, organism in ORGANISM.items():
        own = rates["signal"] == signal
        noted = rates.loc[own, "temperature_degC"]
        at_noted = pd.Series(rate_against_reference(noted, organism, reference_degC), index=noted.index)
        factor[own] = at_noted.where(at_noted > 0.02, 1.0)
        around = reference_degC + np.array([-_UNKNOWN_ROOM_DEGC, _UNKNOWN_ROOM_DEGC])
        spread = np.abs(np.log(np.maximum(rate_against_reference(around, organism, reference_degC), 0.02))).max()
        error[own] = noted.isna() * float(spread)
    return factor, error
