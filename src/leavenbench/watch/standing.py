"""How one culture stands: its numbers, its standing, and the named checks that spoke."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import erf

import numpy as np
import pandas as pd

from .alert import in_alert
from .trend import mean_error, own_noise, trend

#: Rounds with sound readings before anything is said of a trend.
FEWEST_ROUNDS = 4
#: Half-width of an 80 % interval in standard errors.
_Z80 = 1.2815515655446004
#: A level is settled under the baseline when the last so many rounds together lie surely under this share of it.
_LOW_ROUNDS, _LOW_PCT = 4, 90.0
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


def stand(levels: pd.DataFrame, yardstick: Yardstick, *, lifeless: bool) -> Standing:
    """Judge one culture from its rounds.

    Parameters
    ----------
    levels : pandas.DataFrame
        Its rounds with sound readings in its present history, from `levels.round_levels`; may be empty.
    yardstick : Yardstick
        What the shelf is judged by.
    lifeless : bool
        Nothing rose or soured at the last two steps read.

    Returns
    -------
    Standing
        With every number that the records allow; what is missing is said in the evidence.
    """
    found = Standing()
    if len(levels):
        _state_level(found, levels)
    if len(levels) >= FEWEST_ROUNDS:
        _judge_trend(found, levels, yardstick)
    else:
        missing = FEWEST_ROUNDS - len(levels)
        found.evidence.append(
            f"history too short: {len(levels)} of {FEWEST_ROUNDS} rounds with sound readings, {missing} missing"
        )
    if lifeless:
        found.standing = "urgent"
        found.evidence.insert(0, "no activity: neither rise nor souring at the last two steps read")
    return found


def _state_level(found: Standing, levels: pd.DataFrame) -> None:
    last = levels.iloc[-1]
    found.numbers |= {
        "vigour_pct": 100.0 * np.exp(last["level"]),
        "vigour_low_pct": 100.0 * np.exp(last["level"] - _Z80 * last["level_se"]),
        "vigour_high_pct": 100.0 * np.exp(last["level"] + _Z80 * last["level_se"]),
        "refeeds_used": int(levels["refeeds"].sum()),
    }


def _judge_trend(found: Standing, levels: pd.DataFrame, yardstick: Yardstick) -> None:
    level = levels["level"].to_numpy()
    at = ((levels["fed_at"] - levels["fed_at"].iloc[0]) / pd.Timedelta(days=1)).to_numpy() / yardstick.round_days
    noise = own_noise(level, yardstick.noise)
    falls = trend(level, at, noise)
    slope, error = float(falls.slope[-1]), float(falls.slope_se[-1])
    loudness, window = float(falls.loudness[-1]), int(falls.window[-1])
    left, soonest, latest = _rounds_left(level[-window:], at[-window:], slope, error, noise[-1], yardstick)
    found.numbers |= {
        "change_per_round_pct": 100.0 * np.expm1(slope),
        "change_per_round_pct_low": 100.0 * np.expm1(slope - _Z80 * error),
        "change_per_round_pct_high": 100.0 * np.expm1(slope + _Z80 * error),
        "decline_probability": _normal_cdf(loudness),
        "rounds_left": left,
        "rounds_left_low": soonest,
        "rounds_left_high": latest,
    }
    speaks = (
        f"falling trend: {100.0 * np.expm1(slope):+.1f} % a round over {window} rounds, "
        f"{loudness:.1f} standard errors (alert at {yardstick.threshold:.1f}; Theil-Sen slope)"
    )
    if in_alert(falls.loudness, yardstick.threshold)[-1]:
        half_now = level[-1] < np.log(yardstick.half_pct / 100.0)
        urgent = half_now or left <= _URGENT_ROUNDS
        found.standing = "urgent" if urgent else "slipping"
        found.evidence.append(speaks)
        if urgent:
            found.evidence.append(
                f"under {yardstick.half_pct:g} % now"
                if half_now
                else f"forecast: {yardstick.half_pct:g} % within {_URGENT_ROUNDS:g} rounds"
            )
        return
    settled, settled_error = _recent(level, noise[-1])
    surely_low = settled + _Z80 * settled_error < np.log(_LOW_PCT / 100.0)
    found.standing = "low" if surely_low else "steady"
    if surely_low:
        found.evidence.append(
            f"settled low: {100.0 * np.exp(settled):.0f} % over the last {_LOW_ROUNDS} rounds, surely under "
            f"{_LOW_PCT:g} % (mean and 80 % interval)"
        )


def _recent(level: np.ndarray, noise: float) -> tuple[float, float]:
    """Return the mean of the last rounds and its standard error."""
    last = level[-_LOW_ROUNDS:]
    return float(last.mean()), noise * mean_error(len(last))


def _rounds_left(
    level: np.ndarray, at: np.ndarray, slope: float, error: float, noise: float, yardstick: Yardstick
) -> tuple[float, float, float]:
    """Return rounds until the fall's line passes half strength, with the ends of an 80 % interval.

    The line so many rounds ahead is normal about its prolongation, with the error of its middle and of its slope; the
    chance that it has passed half strength by then gives the interval.
    """
    middle_at = at.mean()
    middle = float(np.median(level - slope * (at - middle_at)))
    ahead = np.linspace(0.0, yardstick.most_rounds, 1001)
    distance = at[-1] - middle_at + ahead
    line = middle + slope * distance
    line_error = np.hypot(noise * mean_error(len(level)), error * distance)
    passed = (np.log(yardstick.half_pct / 100.0) - line) / line_error  # in standard errors; rises as the line falls

    def first(at_least: float) -> float:
        there = passed >= at_least
        return float(ahead[there.argmax()]) if there.any() else yardstick.most_rounds

    return first(0.0), first(-_Z80), first(_Z80)


def _normal_cdf(z: float) -> float:
    return 0.5 * (1.0 + erf(z / np.sqrt(2.0)))
