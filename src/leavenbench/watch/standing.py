"""How one culture stands: its numbers, its standing, and the named checks that spoke."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import erf

import numpy as np
import pandas as pd

from .alert import LOW_PCT, Z80, alerts, settled_level, sinking
from .levels import LEAST_PCT
from .trend import Trend, longest_trend, mean_error, own_noise, trend

#: Rounds with sound readings before anything is said of a trend.
FEWEST_ROUNDS = 4
#: Half strength within so many rounds is urgent.
_URGENT_ROUNDS = 2.0
_DAYS_A_YEAR = 365.25


def two_years(round_days: float) -> float:
    """Return the rounds in two years; rounds left are capped there, which means 'not within two years'."""
    return 2.0 * _DAYS_A_YEAR / round_days


@dataclass(frozen=True)
class Yardstick:
    """What every culture of a shelf is judged by.

    Attributes
    ----------
    noise : float
        The shelf's round-to-round standard deviation of log vigour.
    threshold : float
        Loudness of a fall, in standard errors, that is an alert.
    round_days : float
        Days [d] between rounds.
    half_pct : float
        The vigour [%] that counts as half strength.
    """

    noise: float
    threshold: float
    round_days: float
    half_pct: float

    @property
    def most_rounds(self) -> float:
        """The cap of rounds left."""
        return two_years(self.round_days)


@dataclass
class Standing:
    """The numbers of one culture, as columns of the watch list, and what was found.

    Attributes
    ----------
    standing : str
        urgent, slipping, low, unknown or steady.
    numbers : dict
        Values of the watch list's columns.
    evidence : list of str
        The named checks that spoke, in words.
    """

    standing: str = "unknown"
    numbers: dict[str, object] = field(default_factory=dict)
    evidence: list[str] = field(default_factory=list)


def stand(levels: pd.DataFrame, yardstick: Yardstick, *, as_of: pd.Timestamp, lifeless: str = "") -> Standing:
    """Judge one culture from its rounds.

    Parameters
    ----------
    levels : pandas.DataFrame
        Its rounds with sound readings in its present history, from `levels.round_levels`; may be empty.
    yardstick : Yardstick
        What the shelf is judged by.
    as_of : pandas.Timestamp
        The day from which rounds left are counted.
    lifeless : str
        What was read and did not move at the last two steps, in words; empty when something did.

    Returns
    -------
    Standing
        With every number that the records allow; what is missing is said in the evidence.
    """
    found = Standing()
    if len(levels):
        _state_level(found, levels)
    if len(levels) >= FEWEST_ROUNDS:
        _judge(found, levels, yardstick, as_of)
    else:
        missing = FEWEST_ROUNDS - len(levels)
        known = f"{len(levels)} of {FEWEST_ROUNDS} rounds with sound readings"
        found.evidence.append(f"history too short: {known}, {missing} missing")
    if lifeless:
        found.standing = "urgent"
        found.evidence.insert(0, f"no activity: {lifeless} at the last two steps read")
    return found


def _state_level(found: Standing, levels: pd.DataFrame) -> None:
    last = levels.iloc[-1]
    low, level, high = (100.0 * np.exp(last["level"] + side * last["level_se"]) for side in (-Z80, 0.0, Z80))
    nothing_left = level < LEAST_PCT * 1.01  # vigour is not told apart from nothing there
    found.numbers |= {
        "vigour_pct": level,
        "vigour_low_pct": 0.0 if nothing_left else low,
        "vigour_high_pct": high,
        "refeeds_used": int(levels["refeeds"].sum()),
    }


def _judge(found: Standing, levels: pd.DataFrame, yardstick: Yardstick, as_of: pd.Timestamp) -> None:
    """Give a culture with enough rounds its standing, and the reasons for it."""
    level = levels["level"].to_numpy()
    days = levels["fed_at"].dt.tz_localize(None)
    at = ((days - days.iloc[0]) / pd.Timedelta(days=1)).to_numpy() / yardstick.round_days
    noise = own_noise(level, yardstick.noise)
    alarmed = bool(alerts(level, at, noise, yardstick.threshold)[-1])
    loudest = trend(level, at, noise)
    told = loudest if loudest.loudness[-1] >= yardstick.threshold else longest_trend(level, at, noise)
    _state_trend(found, told)
    waited = max((as_of - days.iloc[-1]) / pd.Timedelta(days=1) / yardstick.round_days, 0.0)
    left = _rounds_left(level, at, noise[-1], told, waited, yardstick)
    found.numbers |= dict(zip(("rounds_left", "rounds_left_low", "rounds_left_high"), left, strict=True))
    if alarmed:
        half_now = level[-1] < np.log(yardstick.half_pct / 100.0)
        found.standing = "urgent" if half_now or left[0] <= _URGENT_ROUNDS else "slipping"
        found.evidence.append(_falling_words(told, yardstick, low=bool(sinking(level, at, noise)[-1])))
        if half_now:
            found.evidence.append(f"under {yardstick.half_pct:g} % now")
        elif found.standing == "urgent":
            found.evidence.append(f"forecast: {yardstick.half_pct:g} % within {_URGENT_ROUNDS:g} rounds")
        return
    settled, error = (part[-1] for part in settled_level(level, noise))
    low = settled + Z80 * error < np.log(LOW_PCT / 100.0)
    found.standing = "low" if low else "steady"
    if low:
        found.evidence.append(
            f"settled low: {100.0 * np.exp(settled):.0f} % over the last four rounds, surely under {LOW_PCT:g} % "
            "(mean, 80 % interval), and no longer surely falling"
        )


def _state_trend(found: Standing, told: Trend) -> None:
    slope, error = told.slope[-1], told.slope_se[-1]
    found.numbers |= {
        "change_per_round_pct": 100.0 * np.expm1(slope),
        "change_per_round_pct_low": 100.0 * np.expm1(slope - Z80 * error),
        "change_per_round_pct_high": 100.0 * np.expm1(slope + Z80 * error),
        "decline_probability": 0.5 * (1.0 + erf(told.loudness[-1] / np.sqrt(2.0))),
    }


def _falling_words(told: Trend, yardstick: Yardstick, *, low: bool) -> str:
    change, loudness = 100.0 * np.expm1(told.slope[-1]), told.loudness[-1]
    words = (
        f"falling trend: {change:+.1f} % a round over {told.window[-1]:.0f} rounds, {loudness:.1f} standard errors "
        f"(alert at {yardstick.threshold:.1f}; Theil-Sen slope)"
    )
    return words + (f"; low and still falling: surely under {LOW_PCT:g} % (90 % intervals)" if low else "")


def _rounds_left(
    level: np.ndarray, at: np.ndarray, noise: float, told: Trend, waited: float, yardstick: Yardstick
) -> tuple[float, float, float]:
    """Return rounds until the trend's line passes half strength, with the ends of an 80 % interval.

    The line so many rounds ahead is normal about its prolongation, with the error of its middle and of its slope; the
    chance that it has passed half strength by then gives the interval. Counted from today, not from the last reading.
    """
    window, slope, error = int(told.window[-1]), told.slope[-1], told.slope_se[-1]
    level, at = level[-window:], at[-window:]
    middle = float(np.median(level - slope * (at - at.mean())))
    ahead = np.linspace(0.0, yardstick.most_rounds, 1001)
    distance = at[-1] - at.mean() + waited + ahead
    line_error = np.hypot(noise * mean_error(window), error * distance)
    passed = (np.log(yardstick.half_pct / 100.0) - middle - slope * distance) / line_error

    def first(at_least: float) -> float:
        there = passed >= at_least
        return float(ahead[there.argmax()]) if there.any() else yardstick.most_rounds

    return first(0.0), first(-Z80), first(Z80)
