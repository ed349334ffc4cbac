"""Loggers on the lid: the jar, the time, the height and the temperature, every ten minutes."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..bakehouse.calendar import USUAL_STEPS
from ..bakehouse.rooms import Rooms
from ..culture.fermentation import true_levels
from ..noise import Noise

_EVERY_H = 1.0 / 6.0
_STOPS_H = 23.0
_WARMTH_SD_DEGC = 0.1


def under_logger(steps: pd.DataFrame, logged: int, since: pd.Timestamp, rng: np.random.Generator) -> pd.DataFrame:
    """Return the steps that the one logger stood on: the third or later, one jar a day.

    Parameters
    ----------
    steps : pandas.DataFrame
        As from `log_book.write_down`.
    logged : int
        How many, or as many as there are days.
    since : pandas.Timestamp
        When it was bought.
    rng : numpy.random.Generator
        Where chance comes from.
    """
    likely = steps.loc[steps["written"] & (steps["day"] > since) & (steps["step"] >= USUAL_STEPS)]
    one_a_day = likely.iloc[rng.permutation(len(likely))].drop_duplicates("day")
    return one_a_day.head(logged).sort_values("fed_at")


def log_rise(refeeds: pd.DataFrame, rooms: Rooms, noise: Noise, rng: np.random.Generator) -> pd.DataFrame:
    """Return what a logger writes.

    Parameters
    ----------
    refeeds : pandas.DataFrame
        The refeeds it stood on: as from `culture.activity.add_cells`, with vessel, fed_at, cooled_at, room and
        true_start_mm.
    rooms : Rooms
        How warm it is where.
    noise : Noise
        Sizes of chance.
    rng : numpy.random.Generator
        Where it comes from.

    Returns
    -------
    pandas.DataFrame
        vessel, read_at (local time), height [mm, to a tenth], temperature [degC, to a tenth], every ten minutes until
        the next morning or until the jar goes to the cold.
    """
    if refeeds.empty:
        nothing = {"vessel": "str", "read_at": "datetime64[us]", "height": float, "temperature": float}
        return pd.DataFrame(columns=list(nothing)).astype(nothing)
    hours = np.arange(0.0, _STOPS_H, _EVERY_H)
    at = np.repeat(np.arange(len(refeeds)), len(hours))
    seen = refeeds.iloc[at].reset_index(drop=True)
    elapsed_h = np.tile(hours, len(refeeds))
    read_at = seen["fed_at"] + pd.to_timedelta((elapsed_h * 60.0).round(), unit="min")
    height = seen["true_start_mm"] * (1.0 + true_levels(refeeds, at, elapsed_h, rooms)["rise"] / 100.0)
    warmth = rooms.temperature(seen["room"].to_numpy(), read_at.to_numpy())
    logged = pd.DataFrame(
        {
            "vessel": seen["vessel"],
            "read_at": read_at,
            "height": (height + rng.normal(0.0, noise.logger_sd_mm, len(seen))).round(1),
            "temperature": (warmth + rng.normal(0.0, _WARMTH_SD_DEGC, len(seen))).round(1),
        }
    )
    warm = seen["cooled_at"].isna() | (read_at < seen["cooled_at"])
    return logged.loc[warm].reset_index(drop=True)
