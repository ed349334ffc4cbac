"""What slows or speeds the whole shelf in a month, taken out of each culture's own vigour."""

from __future__ import annotations

import numpy as np
import pandas as pd

#: Fewer cultures than this in a month say nothing of the shelf.
FEWEST_CULTURES = 8


def month_effects(log_vigour: pd.Series, culture: pd.Series, fed_at: pd.Series) -> pd.Series:
    """Return the part of each log vigour that the shelf shares in its month.

    The median over the cultures fed in that month, so that a few which decline do not move it, shrunk towards none by
    how well it is known.

    Parameters
    ----------
    log_vigour : pandas.Series
        Log of vigour over 100 %, missing where there is none.
    culture, fed_at : pandas.Series
        Aligned with it.

    Returns
    -------
    pandas.Series
        The shared part, 0 where the month says nothing.
    """
    month = fed_at.dt.tz_localize(None).dt.to_period("M")
    table = pd.DataFrame({"month": month, "culture": culture, "log_vigour": log_vigour}).dropna()
    per_culture = table.groupby(["month", "culture"])["log_vigour"].mean()
    by_month = per_culture.groupby("month")
    many = by_month.size() >= FEWEST_CULTURES
    if not many.any():
        return pd.Series(0.0, index=log_vigour.index)
    median = by_month.median()[many]
    spread = 1.4826 * (per_culture - by_month.transform("median")).abs().groupby("month").median()[many]
    error = 1.2533 * spread / np.sqrt(by_month.size()[many])  # of a median of normal values
    true_variance = max(float(median.var(ddof=0) - (error**2).mean()), 0.0) if len(median) > 1 else 0.0
    shrunk = median * true_variance / (true_variance + error**2).where(lambda total: total > 0, 1.0)
    return month.map(shrunk).astype(float).fillna(0.0)
