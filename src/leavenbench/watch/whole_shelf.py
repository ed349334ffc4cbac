"""The shelf's own chart: a decline of everything at once hides in what the cultures share, and must be seen by itself.

Of each month the middle of all cultures' vigour, causes that they share still in, is one level; the same mixture over
onsets and paces of a decline that watches each culture watches it. Its noise is told from its own months alone.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..columns import RESULTS
from .changes import changes
from .forecast import forecast, two_years
from .levels import LEAST_PCT
from .scatter import Scatter, sd_as_known
from .series import Series

_MADE = RESULTS["whole_shelf"]
#: A month says something of the shelf from so many cultures on, and the chart from so many months on.
_FEWEST_CULTURES, _FEWEST_MONTHS = 5, 6
#: How a shelf's months wander where they are too few to tell (sd, log), and for how many differences that counts
#: (assumed, no source); how much is carried over to the next round.
_USUAL_SD, _USUAL_COUNTS, _CARRY_OVER = 0.05, 8.0, 0.35
_LEAST_SD, _MOST = 0.01, 9.0
#: Log odds from which on the shelf is said to fall: reached in four years by one healthy shelf in thirty, by
#: ``python tests/benchmarks/early_warning.py --only shelf``.
THRESHOLD = 0.0


def whole_shelf(vigour: pd.DataFrame, round_days: float, half_pct: float = 50.0) -> pd.DataFrame:
    """Return how the shelf as a whole stood in each month.

    Parameters
    ----------
    vigour : pandas.DataFrame
        The vigour table.
    round_days : float
        Days [d] between rounds.
    half_pct : float
        The vigour [%] that counts as half strength.

    Returns
    -------
    pandas.DataFrame
        One row per month that enough cultures were read in: month, cultures, vigour_pct and its standard error,
        log_odds of a decline, threshold, falling, change_per_round_pct with the ends of its 80 % interval.
    """
    months = _months(vigour)
    at = months["day"].to_numpy(float) / round_days
    level, error = months["level"].to_numpy(float), months["level_se"].to_numpy(float)
    series = Series(level, error**2, at, np.zeros(len(months), int))
    found = changes(series, _scatter(series))
    odds = np.where(series.nth >= _FEWEST_MONTHS - 1, found.decline, np.nan)
    falling = odds >= THRESHOLD
    nothing = np.zeros(len(months))
    ahead = forecast(found, nothing, nothing, falling, half_pct, two_years(round_days))
    change = np.where(falling[:, None], 100.0 * np.expm1(ahead.change), np.nan)
    table = pd.DataFrame(
        {
            "month": months["month"].array,
            "cultures": months["cultures"].array,
            "vigour_pct": 100.0 * np.exp(level),
            "vigour_pct_se": 100.0 * np.exp(level) * error,
            "log_odds": odds,
            "threshold": THRESHOLD,
            "falling": falling,
            "change_per_round_pct": change[:, 1],
            "change_per_round_pct_low": change[:, 0],
            "change_per_round_pct_high": change[:, 2],
        }
    )
    return table[_MADE.names].astype(_MADE.dtypes())


def _months(vigour: pd.DataFrame) -> pd.DataFrame:
    """Return the middle of all cultures in each month, each culture counted once."""
    known = vigour[vigour["vigour_pct"].notna() & vigour["round"].notna()]
    log = np.log(known["vigour_pct"].clip(lower=LEAST_PCT) / 100.0)
    fed = known["fed_at"].dt.tz_localize(None)
    each = pd.DataFrame({"month": fed.dt.strftime("%Y-%m"), "culture": known["culture"], "log": log})
    each["day"] = (fed - pd.Timestamp("2000-01-01")) / pd.Timedelta(days=1)
    of_culture = each.groupby(["month", "culture"], as_index=False).agg(log=("log", "mean"), day=("day", "mean"))
    months = of_culture.groupby("month", as_index=False).agg(
        level=("log", "median"), day=("day", "mean"), cultures=("culture", "size")
    )
    middle = of_culture["log"] - of_culture.groupby("month")["log"].transform("median")
    spread = 1.4826 * middle.abs().groupby(of_culture["month"]).median().reindex(months["month"]).to_numpy()
    months["level_se"] = np.maximum(1.2533 * spread / np.sqrt(months["cultures"]), 1e-3)  # the error of a median
    return months[months["cultures"] >= _FEWEST_CULTURES].reset_index(drop=True)


def _scatter(series: Series) -> Scatter:
    """Return how the months wander, as known at each."""
    usual, carry_over = (np.full(len(series.level), of) for of in (_USUAL_SD, _CARRY_OVER))
    sd = sd_as_known(series, usual, carry_over, _USUAL_COUNTS, _MOST, _LEAST_SD)
    return Scatter(sd, carry_over, sd)
