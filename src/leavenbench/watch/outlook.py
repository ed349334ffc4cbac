"""Everything that the rounds of a shelf say about its cultures: evidence, threshold, alerts."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from ..records.settings import Settings
from .alert import Evidence, in_alert
from .calibration.conditions import conditions_of
from .calibration.threshold import Threshold, threshold_for
from .changes import Changes, changes
from .extra_steps import evidence_of_extra_steps
from .scatter import Scatter, scatter_of
from .series import Array, Series, series_of


class Outlook(NamedTuple):
    """What is known at each round of a shelf; arrays have shape (n,), row by row those of `levels`.

    Attributes
    ----------
    levels : pandas.DataFrame
        As from `levels.round_levels`.
    series : Series
        The same as numbers.
    scatter : Scatter
        How they wander.
    found : Changes
        What may have happened.
    of_extra_steps : numpy.ndarray
        Log odds that extra steps add to a decline.
    evidence : Evidence
        What all of it says.
    calibrated : Threshold
        Where the threshold comes from.
    threshold : numpy.ndarray
        Log odds of a decline from which on it is an alert, by the age of the history.
    alert : numpy.ndarray of bool
        Whether the culture stood in alert after that round.
    """

    levels: pd.DataFrame
    series: Series
    scatter: Scatter
    found: Changes
    of_extra_steps: Array
    evidence: Evidence
    calibrated: Threshold
    threshold: Array
    alert: Array


def outlook(levels: pd.DataFrame, settings: Settings, passing_noted: Array | None = None) -> Outlook:
    """Weigh the rounds of a shelf.

    Parameters
    ----------
    levels : pandas.DataFrame
        As from `levels.round_levels`.
    settings : Settings
        Of the collection: its dial, and the days between rounds.
    passing_noted : numpy.ndarray of bool, shape (n,), optional
        Whether the culture's keepers note when a jar passes; without that extra steps say nothing.

    Returns
    -------
    Outlook
    """
    series = series_of(levels, settings.round_days)
    scatter = scatter_of(series)
    found = changes(series, scatter)
    extra = levels["extra_steps"].to_numpy(dtype=float, na_value=np.nan)
    extra = np.full(len(levels), np.nan) if passing_noted is None else np.where(passing_noted, extra, np.nan)
    of_extra_steps = evidence_of_extra_steps(series, extra)
    evidence = Evidence.of(series, found, of_extra_steps)
    calibrated = threshold_for(conditions_of(series, scatter, extra), settings.false_alerts, settings.round_days)
    threshold = calibrated.of(series.nth)
    alert = in_alert(evidence, threshold)
    return Outlook(levels, series, scatter, found, of_extra_steps, evidence, calibrated, threshold, alert)
