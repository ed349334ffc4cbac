"""What all jars handled on one day have in common, whatever the room: the water, the hands, the hurry."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..noise import Noise


def draw_days(days: pd.Series, noise: Noise, rng: np.random.Generator) -> pd.DataFrame:
    """Return what each day does to every jar handled on it.

    Parameters
    ----------
    days : pandas.Series of datetime64
        Days on which jars are fed; they may repeat.
    noise : Noise
        Sizes of chance.
    rng : numpy.random.Generator
        Where it comes from.

    Returns
    -------
    pandas.DataFrame
        day, log_day (the day's effect on log activity by handling alone).

    Examples
    --------
    >>> draw_days(pd.Series(pd.to_datetime(["2024-01-15", "2024-01-15"])), Noise(), np.random.default_rng(1)).shape
    (1, 2)
    """
    day = pd.Series(np.sort(days.unique()), name="day")
    return pd.DataFrame({"day": day, "log_day": rng.normal(0.0, noise.day_sd, len(day))})
