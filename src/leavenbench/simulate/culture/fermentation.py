"""A refeed by the clock on the wall: warmth sets the pace at which its dough rises and sours."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from ...temperature import LACTIC, YEAST, relative_rate
from ..bakehouse.rooms import Rooms
from .cells import CURVES, HOURS

#: The temperature at which vigour is stated; a clock hour there is an hour.
REFERENCE_DEGC = 25.0
_CLOCK = np.arange(0.0, 25.0, 0.5)
#: Refeeds whose curves are held in memory at once.
_AT_ONCE = 4000
_ORGANISMS = {"rise": YEAST, "acid": LACTIC}


def true_levels(refeeds: pd.DataFrame, at: np.ndarray, elapsed_h: np.ndarray, rooms: Rooms) -> pd.DataFrame:
    """Return what is true of each dough at the moments it is looked at.

    Parameters
    ----------
    refeeds : pandas.DataFrame
        As from `activity.add_cells`, with fed_at and room.
    at : numpy.ndarray of int, shape (n,)
        Position of the refeed that each look is at, in rising order.
    elapsed_h : numpy.ndarray, shape (n,)
        Hours since feeding.
    rooms : Rooms
        How warm it is where.

    Returns
    -------
    pandas.DataFrame
        rise [%], highest (rise so far, where the smear line is) [%], fall [pH] and ph, one row per look.
    """
    parts = []
    for first, chunk in _chunks(refeeds):
        begin, end = np.searchsorted(at, [first, first + len(chunk)])
        row, hours = at[begin:end] - first, elapsed_h[begin:end]
        rise, fall = curves_of(chunk, "rise"), curves_of(chunk, "acid")
        by_yeast, by_bacteria = (_own_hours(chunk, row, hours, rooms, signal) / HOURS[1] for signal in CURVES)
        parts.append(
            pd.DataFrame(
                {
                    "rise": _between(rise, row, by_yeast),
                    "highest": _between(np.maximum.accumulate(rise, axis=1), row, by_yeast),
                    "fall": _between(fall, row, by_bacteria),
                    "ph_start": chunk["ph_start"].to_numpy()[row],
                }
            )
        )
    levels = pd.concat(parts, ignore_index=True)
    return levels.assign(ph=levels.pop("ph_start") - levels["fall"])


def curves_of(refeeds: pd.DataFrame, signal: str) -> np.ndarray:
    """Return the curves of refeeds over `cells.HOURS` at the reference temperature, shape (refeeds, hours)."""
    live, wake_h = refeeds[f"{signal}_live"].to_numpy(), refeeds[f"{signal}_wake_h"].to_numpy()
    return CURVES[signal](refeeds, live, wake_h)


def add_traits(refeeds: pd.DataFrame) -> pd.DataFrame:
    """Return the refeeds with the true traits of both curves, in hours at the reference temperature.

    Parameters
    ----------
    refeeds : pandas.DataFrame
        As from `activity.add_cells`.

    Returns
    -------
    pandas.DataFrame
        The columns of `refeeds` with rise_peak [%], rise_max_rate [%/h], rise_lag_h, acid_max_rate [pH/h] and
        acid_lag_h; the lag is where the steepest tangent crosses zero.
    """
    traits = []
    for _, chunk in _chunks(refeeds):
        found = {}
        for signal in CURVES:
            curves = curves_of(chunk, signal)
            slope = np.gradient(curves, HOURS, axis=1)
            steepest = slope.argmax(axis=1)
            row = np.arange(len(chunk))
            found[f"{signal}_max_rate"] = slope[row, steepest]
            found[f"{signal}_lag_h"] = HOURS[steepest] - curves[row, steepest] / slope[row, steepest]
            if signal == "rise":
                found["rise_peak"] = curves.max(axis=1)
        traits.append(pd.DataFrame(found))
    return pd.concat([refeeds.reset_index(drop=True), pd.concat(traits, ignore_index=True)], axis=1)


def _chunks(refeeds: pd.DataFrame) -> Iterator[tuple[int, pd.DataFrame]]:
    for first in range(0, len(refeeds), _AT_ONCE):
        yield first, refeeds.iloc[first : first + _AT_ONCE]


def _own_hours(refeeds: pd.DataFrame, row: np.ndarray, elapsed_h: np.ndarray, rooms: Rooms, signal: str) -> np.ndarray:
    """Return hours at the reference temperature, for hours by the clock in rooms whose temperature moves.

    Cardinal temperatures that lie higher by some degrees make the same of a dough that is warmer by as much.
    """
    moments = refeeds["fed_at"].to_numpy()[:, None] + np.round(_CLOCK * 3600.0).astype("timedelta64[s]")
    off = refeeds[f"{signal}_off_degC"].to_numpy()[:, None]
    warmth = rooms.temperature(refeeds["room"].to_numpy(), moments)
    organism = _ORGANISMS[signal]
    pace = relative_rate(warmth - off, organism) / relative_rate(REFERENCE_DEGC - off, organism)
    passed = np.zeros_like(pace)
    passed[:, 1:] = np.cumsum(0.5 * (pace[:, 1:] + pace[:, :-1]) * _CLOCK[1], axis=1)
    return _between(passed, row, elapsed_h / _CLOCK[1])


def _between(table: np.ndarray, row: np.ndarray, place: np.ndarray) -> np.ndarray:
    """Return values between the columns of a table's rows, by straight lines; beyond the last column, the last."""
    place = np.clip(place, 0.0, table.shape[1] - 1.0)
    left = np.minimum(place.astype(int), table.shape[1] - 2)
    share = place - left
    return (1.0 - share) * table[row, left] + share * table[row, left + 1]
