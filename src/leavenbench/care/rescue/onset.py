"""Since when a culture is slow: by the watch's own evidence, else by its largest drop."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from ...records.as_of import days_of
from .ground import BEFORE, ONSETS, Ground
from .last_curves import SLOW

#: A drop smaller than so many standard errors is none (common practice, no source).
_SEEN = 1.5
_FEWEST_BEFORE = 2
#: A drop is told by so many rounds from it on, and lasts when this share of it is left until now.
_FIRST, _LASTS = 2, 0.5


class Onset(NamedTuple):
    """Since when it is slow.

    Attributes
    ----------
    on : pandas.Timestamp
        The day on which the first slow round began; where none stands out, the last round.
    stands_out : bool
        Whether a slow round stands out at all.
    words : str
        What tells it.
    """

    on: pd.Timestamp
    stands_out: bool
    words: str


def onset_of(ground: Ground, signals: pd.DataFrame, judged: dict[str, Any]) -> Onset:
    """Find since when a culture is slow.

    Parameters
    ----------
    ground : Ground
        The shelf's refeeds.
    signals : pandas.DataFrame
        What the last curves say: where one signal alone is slow, it alone tells.
    judged : dict
        What the watch says of the culture, as a row of `watch.watch_list.judge`; empty where it says nothing.

    Returns
    -------
    Onset
    """
    slow = signals.loc[signals["says"] == SLOW, "signal"].tolist()
    told_by = slow[0] if len(slow) == 1 else "log_vigour"
    own = ground.values.loc[ground.own].assign(square=lambda of: of[f"{told_by}_se"] ** 2)
    rounds = own.groupby("of_round", sort=False).agg(
        begun=("fed_at", "min"), level=(told_by, "mean"), square=("square", "sum"), refeeds=(told_by, "count")
    )
    rounds = rounds.dropna(subset="level")
    days = days_of(rounds["begun"])
    since = judged.get("since_on")
    if len(slow) != 1 and _told_by_watch(judged) and not pd.isna(since):
        after = days[days > since]  # the watch names the last round before the fall
        return Onset(after.iloc[0] if len(after) else days.iloc[-1], True, "by the watch's evidence of a decline")
    variance = rounds["square"].to_numpy(float) / rounds["refeeds"] ** 2 + ground.wander.round_sd**2
    place, z, drop = _largest_drop(rounds["level"].to_numpy(float), variance.to_numpy(float))
    if z > -_SEEN:
        return Onset(days.iloc[-1], False, "no drop stands out; its last round is compared with those before")
    of = f" of {told_by}" if len(slow) == 1 else ""
    words = f"by its largest drop{of} that lasts: {100.0 * np.expm1(drop):+.0f} %, {-z:.1f} standard errors"
    return Onset(days.iloc[place], True, words)


def _told_by_watch(judged: dict[str, Any]) -> bool:
    return bool(judged.get("alert")) or (judged.get("standing") == "low" and bool(judged.get("stepped")))


def _largest_drop(level: np.ndarray, variance: np.ndarray) -> tuple[int, float, float]:
    """Return the round that a drop begins with that is largest against its error, that ratio, and the drop [log]."""
    best = (len(level) - 1, 0.0, 0.0)
    for place in range(max(len(level) - ONSETS, _FEWEST_BEFORE), len(level)):
        before, first = slice(max(place - BEFORE, 0), place), slice(place, place + _FIRST)
        normal = float(level[before].mean())
        drop, left = float(level[first].mean()) - normal, float(level[place:].mean()) - normal
        z = drop / float(np.sqrt(_of_mean(variance[before]) + _of_mean(variance[first])))
        if z < best[1] and left <= _LASTS * drop:
            best = (place, z, drop)
    return best


def _of_mean(variance: np.ndarray) -> float:
    return float(variance.mean()) / len(variance)
