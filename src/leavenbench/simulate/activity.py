"""From true vigour to the true curve of every refeed: step, days in the cold, day, lot, chance, temperature.

Effects add up in the logarithm of activity. Activity multiplies the steepest rates one for one; a weak dough also
waits longer and goes less far, by powers of its activity. Temperature multiplies rates and divides lags, by the
cardinal temperatures of yeast for the rise and of lactic acid bacteria for the pH.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from ..temperature import LACTIC, YEAST, Cardinal, rate_against_reference
from .calendar import USUAL_DAYS_COLD
from .dough import acid_shape, rise_shape, stretch
from .noise import Noise

#: Loss of log activity per day in the cold beyond the usual, at step 1, 2 and later (assumed, no source).
_COLD_LOSS_A_DAY = (0.0015, 0.0007, 0.0003)


class _Signal(NamedTuple):
    """How one signal answers: at steps 1 to 5 as a share of the third, and to activity by powers of it."""

    organism: Cardinal
    rate_at_step: tuple[float, ...]
    lag_at_step: tuple[float, ...]
    extent_at_step: tuple[float, ...]
    lag_power: float
    extent_power: float


#: Out of the cold a culture is slow; extra steps wake it a little further (assumed, no source).
_SIGNALS = {
    "rise": _Signal(
        YEAST, (0.60, 0.88, 1.0, 1.04, 1.06), (1.6, 1.15, 1.0, 1.0, 1.0), (0.78, 0.94, 1.0, 1.0, 1.0), -0.5, 0.35
    ),
    "acid": _Signal(
        LACTIC, (0.75, 0.93, 1.0, 1.02, 1.03), (1.4, 1.1, 1.0, 1.0, 1.0), (0.96, 0.99, 1.0, 1.0, 1.0), -0.5, 0.1
    ),
}


def add_activity(steps: pd.DataFrame, noise: Noise, rng: np.random.Generator) -> pd.DataFrame:
    """Return the steps with their log activity and the parts that make it up.

    Parameters
    ----------
    steps : pandas.DataFrame
        With step, days_cold, log_vigour, log_day and log_lot.
    noise : Noise
        Sizes of chance.
    rng : numpy.random.Generator
        Where it comes from.

    Returns
    -------
    pandas.DataFrame
        The columns of `steps` with log_cold, log_refeed and log_activity.
    """
    later = np.minimum(steps["step"].to_numpy(), 3) - 1
    cold = -np.array(_COLD_LOSS_A_DAY)[later] * (steps["days_cold"] - USUAL_DAYS_COLD)
    refeed = rng.standard_normal(len(steps)) * np.array(noise.refeed_sd)[later]
    whole = steps[["log_vigour", "log_day", "log_lot"]].sum(axis=1) + cold + refeed
    return steps.assign(log_cold=cold, log_refeed=refeed, log_activity=whole)


def add_traits(steps: pd.DataFrame, strengths: pd.DataFrame) -> pd.DataFrame:
    """Return the steps with the true traits of both signals, by the clock.

    Parameters
    ----------
    steps : pandas.DataFrame
        With culture, step, log_activity and room_temperature_degC.
    strengths : pandas.DataFrame
        As from `strength.draw_strengths`.

    Returns
    -------
    pandas.DataFrame
        The columns of `steps` with rise_extent [%], rise_max_rate [%/h], rise_lag_h, acid_extent [pH],
        acid_max_rate [pH/h], acid_lag_h, and the culture's leak and ph_start.
    """
    own = strengths.loc[steps["culture"]].reset_index(drop=True)
    starts = {
        "rise": own["leak"].map(lambda leak: rise_shape(leak).starts),
        "acid": acid_shape().starts,
    }
    activity = np.exp(steps["log_activity"].to_numpy())
    at = steps["step"].to_numpy() - 1
    traits = own[["leak", "ph_start"]].copy()
    for name, signal in _SIGNALS.items():
        pace = rate_against_reference(steps["room_temperature_degC"], signal.organism)
        extent = own[f"{name}_extent"] * np.array(signal.extent_at_step)[at] * activity**signal.extent_power
        rate = own[f"{name}_max_rate"] * np.array(signal.rate_at_step)[at] * activity * pace
        lag = own[f"{name}_lag_h"] * np.array(signal.lag_at_step)[at] * activity**signal.lag_power / pace
        traits[f"{name}_extent"], traits[f"{name}_max_rate"] = extent, rate
        traits[f"{name}_lag_h"] = np.maximum(lag, -starts[name] * extent / rate)
    return pd.concat([steps.reset_index(drop=True), traits], axis=1)


def true_rise(looks: pd.DataFrame, hours: np.ndarray | None = None) -> np.ndarray:
    """Return the true rise at every look.

    Parameters
    ----------
    looks : pandas.DataFrame
        With elapsed_h and, of the refeed looked at, leak and the traits of the rise.
    hours : numpy.ndarray, shape (n,), optional
        Hours since feeding, in place of elapsed_h.

    Returns
    -------
    numpy.ndarray, shape (n,)
        Rise over the starting height [%].
    """
    asked = looks["elapsed_h"].to_numpy() if hours is None else hours
    extent, rate, lag = (looks[f"rise_{trait}"].to_numpy() for trait in ("extent", "max_rate", "lag_h"))
    rise = np.empty(len(looks))
    for leak, at in looks.groupby("leak").indices.items():
        rise[at] = stretch(rise_shape(leak), asked[at], extent[at], rate[at], lag[at])
    return rise


def highest_rise(looks: pd.DataFrame) -> np.ndarray:
    """Return how high the dough of each look has been by then: where it left its smear on the glass [%]."""
    peaks = looks["leak"].map(lambda leak: rise_shape(leak).peaks)
    peak_h = looks["rise_lag_h"] + peaks * looks["rise_extent"] / looks["rise_max_rate"]
    return true_rise(looks, np.minimum(looks["elapsed_h"], peak_h).to_numpy())


def true_ph(looks: pd.DataFrame) -> np.ndarray:
    """Return the true pH at every look, from elapsed_h, ph_start and the traits of the acid."""
    extent, rate, lag = (looks[f"acid_{trait}"].to_numpy() for trait in ("extent", "max_rate", "lag_h"))
    fall = stretch(acid_shape(), looks["elapsed_h"].to_numpy(), extent, rate, lag)
    return looks["ph_start"].to_numpy() - fall
