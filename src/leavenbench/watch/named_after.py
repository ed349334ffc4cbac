"""How many rounds a decline goes on until the watch list names the culture, at a shelf's own noise and dial.

Levels are invented as healthy shelves wander, some cultures lose so many percent a round from one round on, and all are
watched as real ones are: by the same evidence, thresholds and rules. Extra steps are left out, which would only help.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

import numpy as np
import pandas as pd

from ..columns import RESULTS
from ..errors import CannotRead
from ..records.settings import Settings
from ..simulate.levels import simulate_healthy_levels
from .alert import DIAL, Evidence, in_alert
from .calibration.conditions import conditions_of
from .calibration.threshold import threshold_for
from .changes import changes
from .levels import LEAST_PCT
from .outlook import Outlook
from .scatter import USUAL_CARRY_OVER, USUAL_SD, scatter_of
from .series import Array, Series

#: Variance of a single refeed's level where a shelf has none (log; common practice, no source), and the least.
_USUAL_VARIANCE, _LEAST_VARIANCE = 0.0072, 0.02**2
#: Healthy rounds before a decline: as many as the shelf's histories have, within this; and the most rounds missing, up
#: to which thresholds are at hand.
_BEFORE, _MOST_MISSING = (8, 40), 0.2
#: Rounds before the decline from which evidence is weighed, so that who is called already is known.
_LOOK_BACK = 6
#: A decline is followed until so much vigour is left, but no longer than so many rounds.
_LEFT, _LONGEST = 0.3, 30
#: Healthy cultures beside each that declines: how levels wander is told by all of them.
_HEALTHY = 3
_Z95 = 1.959964


class _Shelf(NamedTuple):
    """What is invented: how levels wander, are missed, and how old histories are."""

    sd: float
    carry_over: float
    missing: float
    before: int

    @classmethod
    def of(cls, seen: Outlook) -> _Shelf:
        series, scatter = seen.series, seen.scatter
        if not len(series.level):
            return cls(USUAL_SD, USUAL_CARRY_OVER, 0.0, _BEFORE[0])
        latest = int(np.argmax(series.at))
        missing = conditions_of(series, scatter, np.full(len(series.level), np.nan)).missing
        before = int(np.clip(np.median(series.nth[series.last]) + 1, *_BEFORE))
        return cls(float(scatter.shelf_sd[latest]), float(scatter.carry_over[latest]), missing, before)


def noise_of_levels(seen: Outlook) -> pd.DataFrame:
    """Say how far the levels of rounds scatter, as the watch list takes them.

    Parameters
    ----------
    seen : Outlook
        From `watch_list.outlook_of`.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["planning_noise"]``.
    """
    shelf, told = _Shelf.of(seen), len(seen.levels) > 0
    source = f"watch list, {len(seen.levels)} rounds" if told else "usual value (common practice, no source): no rounds"
    rows = [
        ("vigour", "one refeed about its round, its readings included", 100.0 * _single(seen) ** 0.5, "%"),
        ("vigour", "levels of a culture's rounds", 100.0 * shelf.sd, "%"),
        ("vigour", "left of a round's deviation in the next", shelf.carry_over, "1"),
    ]
    made = RESULTS["planning_noise"]
    table = pd.DataFrame(rows, columns=["trait", "quantity", "value", "unit"])
    return table.assign(low=np.nan, high=np.nan, source=source, told=told)[made.names].astype(made.dtypes())


def _single(seen: Outlook) -> float:
    """Return the variance of a single refeed about its round."""
    if not len(seen.levels):
        return _USUAL_VARIANCE
    return float((seen.levels["level_se"] ** 2 * seen.levels["refeeds"]).median())


def rounds_until_named(
    seen: Outlook,
    settings: Settings,
    paces: Sequence[float] = (3.0, 5.0, 8.0, 12.0),
    refeeds: Sequence[int] = (1, 2, 3),
    readings: Mapping[float, float] | None = None,
    *,
    certainty: float = 80.0,
    declines: int = 60,
    seed: int = 0,
    progress: Callable[[int, int], None] | None = None,
) -> pd.DataFrame:
    """Say how long declines go on until they are named.

    Parameters
    ----------
    seen : Outlook
        From `watch_list.outlook_of`: how the shelf's levels wander and how well they are read.
    settings : Settings
        Of the collection: its dial, and the days between rounds.
    paces : sequence of float
        Vigour lost per round [%].
    refeeds : sequence of int
        Refeeds read in each round.
    readings : mapping of float to float, optional
        By the number of readings of a refeed, over those made now, what that adds to its variance: as from
        `vigour.more_readings.variance_by_readings`. As now when not given.
    certainty : float
        Share of declines [%] that shall have been named.
    declines : int
        Invented declines of each pace.
    seed : int
        The same seed gives the same.
    progress : callable, optional
        Called as ``progress(done, total)``.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["rounds_until_named"]``. Numbers of rounds are missing where so many declines were not
        named before 30 rounds or 70 % of the vigour were gone.

    Raises
    ------
    CannotRead
        A pace or a number of refeeds makes no sense.
    """
    if not paces or min(paces) <= 0.0 or max(paces) >= 100.0 or not refeeds or min(refeeds) < 1:
        raise CannotRead(f"paces of {list(paces)} % and {list(refeeds)} refeeds a round: none of that can be planned")
    readings = {1.0: 0.0} if readings is None else readings
    shelf, single = _Shelf.of(seen), _single(seen)
    plans = [(steps, times, more) for times, more in readings.items() for steps in refeeds]
    rows = []
    for done, (steps, times, more) in enumerate(plans, 1):
        variance = max(single + more, _LEAST_VARIANCE) / steps
        rng = np.random.default_rng([seed, steps, round(100 * times)])
        after = _named_after(shelf, variance, np.log1p(-np.array(paces) / 100.0), declines, settings, rng)
        for pace, rounds in zip(paces, after, strict=True):
            rows.append(
                {
                    "pace_pct": pace,
                    "refeeds_per_round": steps,
                    "readings_times": times,
                    "level_se_pct": 100.0 * np.sqrt(variance),
                    **_summed_up(rounds, certainty),
                    "certainty_pct": certainty,
                    "vigour_left_pct": 100.0 * (1.0 - pace / 100.0) ** _middle(rounds, 0.5),
                    "false_alerts": float(np.clip(settings.false_alerts, *DIAL)),
                    "declines": len(rounds),
                }
            )
        if progress is not None:
            progress(done, len(plans))
    made = RESULTS["rounds_until_named"]
    return pd.DataFrame(rows, columns=made.names).astype(made.dtypes())


def _named_after(
    shelf: _Shelf, variance: float, paces: Array, declines: int, settings: Settings, rng: np.random.Generator
) -> list[Array]:
    """Return, pace by pace, after how many rounds each decline was named; infinite where it was not.

    Who stands in alert before the decline begins was called for nothing, and is left out.
    """
    longest = np.minimum(np.ceil(np.log(_LEFT) / paces), _LONGEST).astype(int)
    falling = declines * len(paces)
    drawn = simulate_healthy_levels(
        rng,
        falling * (1 + _HEALTHY),
        shelf.before + int(longest.max()),
        reading_error=float(np.sqrt(variance) / shelf.sd),
        carry_over=shelf.carry_over,
        missing=min(shelf.missing, _MOST_MISSING),
    )
    culture = np.unique(drawn.first, return_inverse=True)[1]
    since = drawn.at - (shelf.before - 1)
    of_pace = np.where(culture < falling, culture % len(paces), -1)
    loss = np.where(of_pace < 0, 0.0, paces[of_pace] * np.maximum(since, 0.0))
    level = np.maximum(shelf.sd * drawn.level + np.maximum(loss, np.log(LEAST_PCT / 100.0)), np.log(LEAST_PCT / 100.0))
    series = Series(level, shelf.sd**2 * drawn.variance, drawn.at, drawn.first)
    rows = np.flatnonzero((of_pace >= 0) & (since > -_LOOK_BACK) & (since <= longest[of_pace]))
    alert = _alerts(series, rows, settings)
    last = np.full(falling, -1)
    healthy = np.flatnonzero((of_pace >= 0) & (since <= 0.0))
    last[culture[healthy]] = healthy
    called = (last >= 0) & alert[last]
    named, told = np.full(falling, np.inf), rows[(since[rows] > 0.0) & alert[rows]]
    np.minimum.at(named, culture[told], since[told])
    return [named[place :: len(paces)][~called[place :: len(paces)]] for place in range(len(paces))]


def _alerts(series: Series, rows: Array, settings: Settings) -> Array:
    """Tell at which of some rounds there is an alert, by the shelf's own thresholds."""
    scatter = scatter_of(series)
    found = changes(series, scatter, rows)
    decline, step = (np.full(len(series.level), -np.inf) for _ in range(2))
    decline[rows], step[rows] = found.decline, found.step
    conditions = conditions_of(series, scatter, np.full(len(series.level), np.nan))
    threshold = threshold_for(conditions, settings.false_alerts, settings.round_days)
    return in_alert(Evidence(decline, step, series.first), threshold.of(series.nth))


def _summed_up(rounds: Array, certainty: float) -> dict[str, float]:
    """Return the middle of the rounds with its 95 % interval by ranks, and that of the certainty."""
    wide = 0.5 * _Z95 / np.sqrt(max(len(rounds), 1))
    at = {"rounds": 0.5, "rounds_low": 0.5 - wide, "rounds_high": 0.5 + wide, "rounds_certain": certainty / 100.0}
    return {name: _middle(rounds, share) for name, share in at.items()}


def _middle(rounds: Array, share: float) -> float:
    """Return the rounds by which a share of the declines was named; NaN where it was not."""
    if not len(rounds):
        return float("nan")
    place = int(np.clip(np.ceil(share * len(rounds)) - 1, 0, len(rounds) - 1))
    found = float(np.sort(rounds)[place])
    return found if np.isfinite(found) else float("nan")
