"""How many cells must live for a dough to work so fast: the scale on which vigour is stated.

Vigour is what a keeper sees: log vigour moves one for one with the log of the steepest slope when a culture weakens
as a whole. What acts, though, are the cells that live when the dough is fed: lag, peak and extent follow from them.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from .dough import awake_hours, bubbles, soured

#: Hours at the reference temperature on which curves are drawn; a warm day and night is shorter.
HOURS = np.arange(0.0, 32.0, 0.1)
_LOG_LIVE = np.arange(-10.0, 2.0, 0.2)


def rise_curves(own: pd.DataFrame, live: np.ndarray, wake_h: np.ndarray) -> np.ndarray:
    """Return the rise [%] over `HOURS`, shape (n, hours), of doughs with so many living yeast cells.

    Parameters
    ----------
    own : pandas.DataFrame, n rows
        With rise_growth, rise_appetite, rise_gain and leak of each dough's culture.
    live, wake_h : numpy.ndarray, shape (n,)
        Cells living when fed (1 in a well culture), and the hours in which they wake.
    """
    growth, appetite, gain, leak = own[["rise_growth", "rise_appetite", "rise_gain", "leak"]].to_numpy().T
    awake = awake_hours(HOURS, wake_h[:, None])
    return gain[:, None] * bubbles(awake, live, growth, appetite, leak)


def fall_curves(own: pd.DataFrame, live: np.ndarray, wake_h: np.ndarray) -> np.ndarray:
    """Return the fall of pH over `HOURS`, shape (n, hours), of doughs with so many living lactic acid bacteria.

    Parameters
    ----------
    own : pandas.DataFrame, n rows
        With acid_growth, acid_appetite and acid_extent of each dough's culture.
    live, wake_h : numpy.ndarray, shape (n,)
        Cells living when fed (1 in a well culture), and the hours in which they wake.
    """
    growth, appetite, extent = own[["acid_growth", "acid_appetite", "acid_extent"]].to_numpy().T
    return extent[:, None] * soured(awake_hours(HOURS, wake_h[:, None]), live, growth, appetite)


CURVES = {"rise": rise_curves, "acid": fall_curves}


def steepest(curves: np.ndarray) -> np.ndarray:
    """Return the steepest slope [unit/h] of curves over `HOURS`."""
    return np.diff(curves, axis=1).max(axis=1) / (HOURS[1] - HOURS[0])


def cells_for(log_activity: pd.Series, culture: pd.Series, strengths: pd.DataFrame, signal: str) -> np.ndarray:
    """Return the living cells with which each dough works so fast, as a share of those in a well culture.

    Parameters
    ----------
    log_activity : pandas.Series
        Log of the steepest slope at the reference temperature against that of the culture when well and as awake.
    culture : pandas.Series
        The culture of each.
    strengths : pandas.DataFrame
        As from `strength.draw_strengths`.
    signal : str
        rise or acid.

    Returns
    -------
    numpy.ndarray
        Living cells; 1 in a well culture.
    """
    each = len(_LOG_LIVE)
    own = strengths.loc[strengths.index.repeat(each)]
    live = np.tile(np.exp(_LOG_LIVE), len(strengths))
    rate = steepest(CURVES[signal](own, live, own[f"{signal}_wake_h"].to_numpy())).reshape(-1, each)
    well = np.array([np.interp(0.0, _LOG_LIVE, row) for row in rate])
    log_rate = np.log(rate / well[:, None])
    found = np.empty(len(log_activity))
    for name, at in culture.groupby(culture, sort=False).indices.items():
        row = log_rate[strengths.index.get_loc(name)]
        found[at] = np.interp(log_activity.to_numpy()[at], row, _LOG_LIVE)
    return np.exp(found)
