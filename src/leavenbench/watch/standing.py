"""How cultures stand after some of their rounds: their numbers, and which of the five standings they have."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..records.settings import Settings
from .alert import FEWEST_ROUNDS, STEP_SEEN, Z80
from .forecast import forecast, two_years
from .levels import LEAST_PCT
from .outlook import Outlook
from .series import Array
from .settled import LOW_PCT, settled_level, surely_low
from .trend import recent_trend

#: Half strength within so many rounds is urgent.
URGENT_ROUNDS = 2.0
#: A culture that was in alert within so many rounds, and is steady again, has recovered.
_LATELY = 6
_INTERVAL = ("_low", "", "_high")
_SIDES = np.array([-1.0, 0.0, 1.0])


def stand(seen: Outlook, rows: Array, waited: Array, settings: Settings) -> pd.DataFrame:
    """Judge cultures after some of their rounds.

    Parameters
    ----------
    seen : Outlook
        What the rounds of the shelf say.
    rows : numpy.ndarray of int, shape (m,)
        The last round known of each culture.
    waited : numpy.ndarray, shape (m,)
        Rounds of the calendar from each until today.
    settings : Settings
        Of the collection.

    Returns
    -------
    pandas.DataFrame
        One row for each of `rows`: columns of the watch list from standing to rounds_left, and the statistics behind
        them: decline, threshold, step (log odds), stepped, alert, half_now, settled_pct, settled_low, since (rounds
        since the decline or step began), recovered, rounds_known, refeeds_used.
    """
    known = seen.series.nth[rows] + 1
    enough = known >= FEWEST_ROUNDS
    alert = seen.alert[rows]
    level, error = seen.series.level[rows], np.sqrt(seen.series.variance[rows])
    found = type(seen.found)(*(of[rows] for of in seen.found))
    most = two_years(settings.round_days)
    ahead = forecast(found, seen.of_extra_steps[rows], waited, alert, settings.half_strength_pct, most)
    slope, slope_se = recent_trend(seen.series, seen.scatter, rows)
    by_trend = np.stack([slope + side * Z80 * slope_se for side in _SIDES], axis=1)
    change = np.where(alert[:, None], ahead.change, by_trend)
    settled, settled_error = (of[rows] for of in settled_level(seen.series, seen.scatter))
    half = np.log(settings.half_strength_pct / 100.0)
    half_now = level < half
    left = np.where(half_now[:, None] & (_SIDES * Z80 * error[:, None] + level[:, None] < half), 0.0, ahead.rounds_left)
    step = seen.evidence.step[rows]
    stepped = (step >= STEP_SEEN) & (settled < np.log(LOW_PCT / 100.0))  # a dip that healed is no step
    low = surely_low(settled, settled_error) | stepped
    urgent = alert & (half_now | (left[:, 1] <= min(URGENT_ROUNDS, 0.9 * most)))
    standing = np.select([urgent, alert, ~enough, low], ["urgent", "slipping", "unknown", "low"], "steady")
    nothing_left = level < np.log(LEAST_PCT * 1.01 / 100.0)  # vigour is not told apart from nothing there
    table = {
        "standing": standing,
        "vigour_pct": 100.0 * np.exp(level),
        "vigour_low_pct": np.where(nothing_left, 0.0, 100.0 * np.exp(level - Z80 * error)),
        "vigour_high_pct": 100.0 * np.exp(level + Z80 * error),
        "decline_probability": np.where(enough, ahead.probability, np.nan),
    }
    for nth, side in enumerate(_INTERVAL):
        table[f"change_per_round_pct{side}"] = np.where(enough, 100.0 * np.expm1(change[:, nth]), np.nan)
        table[f"rounds_left{side}"] = np.where(enough, left[:, nth], np.nan)
    return pd.DataFrame(table).assign(
        decline=seen.evidence.decline[rows],
        threshold=seen.threshold[rows],
        step=step,
        stepped=stepped,
        alert=alert,
        half_now=half_now,
        settled_pct=100.0 * np.exp(settled),
        settled_low=surely_low(settled, settled_error),
        since=np.where(alert, _since(found.since, found.ramps), _since(found.since, found.steps)),
        recovered=~alert & _lately(seen.alert, seen.series.nth)[rows],
        rounds_known=known,
        refeeds_used=_refeeds_so_far(seen)[rows],
    )


def _since(since: Array, odds: Array) -> Array:
    """Return the rounds since the likeliest onset."""
    if not odds.shape[1]:
        return np.zeros(len(odds))
    likeliest = odds.max(axis=2).argmax(axis=1)
    return since[np.arange(len(since)), likeliest]


def _lately(alert: Array, nth: Array) -> Array:
    """Tell at which rounds a culture had been in alert within the rounds before."""
    found = np.zeros(len(alert), bool)
    for back in range(1, min(_LATELY, len(alert) - 1) + 1):
        found[back:] |= alert[:-back] & (nth[back:] >= back)
    return found


def _refeeds_so_far(seen: Outlook) -> Array:
    summed = seen.levels["refeeds"].to_numpy().cumsum()
    return summed - summed[seen.series.first] + seen.levels["refeeds"].to_numpy()[seen.series.first]
