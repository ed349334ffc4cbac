"""The named checks behind a standing: each with its statistic, its threshold, whether it spoke, and its source.

In words that a baker understands, with the numbers that a statistician can check.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import pandas as pd

from .alert import FEWEST_ROUNDS, STEP_SEEN
from .settled import LOW_PCT
from .standing import URGENT_ROUNDS

_MIXTURE = "mixture over onsets and paces of a decline (Shiryaev 1963; Roberts 1966)"
_TRADE = "common practice, no source"


class Check(NamedTuple):
    """One check of one culture.

    Attributes
    ----------
    check : str
        Its name.
    statistic : float
        What was found; missing where it cannot be had.
    unit : str
        Of statistic and threshold.
    threshold : float
        From which on it speaks.
    spoke : bool
        Whether it did.
    words : str
        What it says, also where it did not speak.
    source : str
        Where the check comes from.
    """

    check: str
    statistic: float
    unit: str
    threshold: float
    spoke: bool
    words: str
    source: str


def checks_of(row: dict[str, Any]) -> list[Check]:
    """Return the checks of one culture.

    Parameters
    ----------
    row : dict
        Its row of the watch list with the statistics of `standing.stand` and of `care.add_care`.

    Returns
    -------
    list of Check
        Those that can be made, in the order in which they are told.
    """
    made = [_activity(row), _history(row)]
    if not pd.isna(row["rounds_known"]) and row["rounds_known"] >= FEWEST_ROUNDS:
        made += [_falling(row), _half_now(row), _half_soon(row), _came_to_rest(row), _low(row), _recovered(row)]
    made += [_floor(row), _extra_steps(row), _identity(row), _split_feeding(row), _late(row), _unread(row)]
    return [check for check in made if check is not None]


def _activity(row: dict[str, Any]) -> Check | None:
    still = row["lifeless"]
    words = f"no activity: {still} at the last two steps read" if still else "something moved at the last steps read"
    return Check("activity", 2.0 if still else 0.0, "steps without", 2.0, bool(still), words, _TRADE)


def _history(row: dict[str, Any]) -> Check:
    known = 0 if pd.isna(row["rounds_known"]) else int(row["rounds_known"])
    short = known < FEWEST_ROUNDS
    told = f"{known} of {FEWEST_ROUNDS} rounds with sound readings"
    words = f"history too short: {told}, {FEWEST_ROUNDS - known} missing" if short else f"{known} rounds known"
    return Check("history", known, "rounds", FEWEST_ROUNDS, short, words, _TRADE)


def _falling(row: dict[str, Any]) -> Check:
    spoke, odds, threshold = bool(row["alert"]), row["decline"], row["threshold"]
    numbers = f"log odds {odds:.1f}, alert at {threshold:.1f}"
    pace = f"{row['change_per_round_pct']:+.1f} % a round since about {row['since_on']:%B %Y}" if spoke else ""
    words = f"falling: {pace} ({numbers})" if spoke else f"no decline seen ({numbers})"
    if spoke and odds < threshold:
        words = f"falling: {pace}, and not yet clear of it ({numbers})"
    return Check("falling", odds, "log odds", threshold, spoke, words, f"{_MIXTURE}; {row['calibrated']}")


def _half_now(row: dict[str, Any]) -> Check:
    half, level = row["half_pct"], row["vigour_pct"]
    spoke = bool(row["half_now"] and row["alert"])
    words = f"under {half:g} % now" if row["half_now"] else f"above {half:g} % now"
    return Check("half strength now", level, "%", half, spoke, words, _TRADE)


def _half_soon(row: dict[str, Any]) -> Check:
    soon = bool(row["alert"] and not row["half_now"] and row["rounds_left"] <= URGENT_ROUNDS)
    words = f"forecast: {row['half_pct']:g} % within {URGENT_ROUNDS:g} rounds" if soon else "half strength is not near"
    return Check("half strength soon", row["rounds_left"], "rounds", URGENT_ROUNDS, soon, words, _MIXTURE)


def _came_to_rest(row: dict[str, Any]) -> Check:
    spoke = bool(row["standing"] == "low" and row["stepped"])
    numbers = f"log odds of a step {row['step']:.1f}, told from {STEP_SEEN:g} on"
    words = f"stepped down about {row['since_on']:%B %Y} and came to rest ({numbers})" if spoke else numbers
    return Check("stepped down", row["step"], "log odds", STEP_SEEN, spoke, words, _MIXTURE)


def _low(row: dict[str, Any]) -> Check:
    spoke = bool(row["standing"] == "low" and row["settled_low"])
    told = f"{row['settled_pct']:.0f} % over the last four rounds"
    words = f"low: {told}, surely under {LOW_PCT:g} % (80 % interval), and no longer surely falling" if spoke else told
    return Check("low", row["settled_pct"], "%", LOW_PCT, spoke, words, "mean and its error")


def _recovered(row: dict[str, Any]) -> Check:
    spoke = bool(row["recovered"] and row["standing"] == "steady")
    words = "recovered: it was slipping lately, and is back" if spoke else "no alert that ended lately"
    return Check("recovered", float(bool(row["recovered"])), "", 1.0, spoke, words, _MIXTURE)


def _floor(row: dict[str, Any]) -> Check:
    missed = row["floor"] == "missed"
    told = "did not sour far enough in time at its last step; do not pass it on or cool it"
    words = f"floor missed: {told}" if missed else f"floor {row['floor']} at its last step"
    return Check(
        "floor", float(missed), "", 1.0, missed, words, "21 CFR 114.3 for the pH; the hours are common practice"
    )


def _extra_steps(row: dict[str, Any]) -> Check | None:
    if not row["passing_noted"] or pd.isna(row["extra_steps"]):
        return None
    extra = int(row["extra_steps"])
    words = f"extra steps: {extra} more than it usually takes in its last round" if extra else "no extra steps"
    return Check("extra steps", extra, "steps", 1.0, extra > 0, words, _TRADE)


def _identity(row: dict[str, Any]) -> Check:
    doubt = bool(row["identity_doubt"])
    told = "too good: stronger than ever, or rising as ever while its acid lags; check that it is still itself"
    return Check("identity", float(doubt), "", 1.0, doubt, told if doubt else "nothing too good to be true", _TRADE)


def _split_feeding(row: dict[str, Any]) -> Check | None:
    if not row["split_feeding"] or row["standing"] not in ("urgent", "slipping", "low"):
        return None
    return Check("flour or culture", float("nan"), "", float("nan"), True, row["split_feeding"], "split feeding")


def _late(row: dict[str, Any]) -> Check:
    if pd.isna(row["last_fed_at"]):
        return Check("late", float("nan"), "rounds", 1.0, True, "never fed in these records", _TRADE)
    missed = int(row["rounds_missed"])
    words = f"late: {missed} {'round' if missed == 1 else 'rounds'} without a feeding" if missed else "fed in time"
    return Check("late", missed, "rounds", 1.0, missed > 0, words, _TRADE)


def _unread(row: dict[str, Any]) -> Check | None:
    missed, unread = (0 if pd.isna(row[of]) else int(row[of]) for of in ("rounds_missed", "rounds_unread"))
    if unread <= missed:
        return None
    words = f"unread: no sound readings since {row['last_read']:%Y-%m-%d}; what is said here is of that day"
    return Check("unread", unread, "rounds", missed + 1.0, True, words, _TRADE)
