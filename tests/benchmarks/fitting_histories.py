"""A simulated shelf whose refeeds have a past, for the benchmark of sparse curves. Invented, never a check value.

The cultures' extents lie around 100 % with an sd of .25 (natural logarithm), their steepest rates around 30 %/h with
one of .3, their lags around 2.5 h with one of .5 h; half of them rise by the logistic curve, half by the Gompertz.
From refeed to refeed a culture strays from itself by an sd of .06 in the logarithm of its extent, .08 in that of its
rate, and .15 h in its lag. Every culture was fed 8 to 12 times before, and each time read 8 to 12 times by ruler; every
fifth of those readings ends at 30 to 90 % of the height. All jars stand at 40 mm when fed. Their pH falls from 5.9
alongside, by 1.6 where the rise is 100 %, and may be read instead, with an sd of .04.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from fitting_curves import SD_MM, START_MM

from leavenbench.curves.models import GROWTH, time_of_share

FORMS = ("logistic", "gompertz")
#: Extent [%], rate [%/h] and lag [h] of a usual culture, what cultures differ by, and what their refeeds stray by.
USUAL, APART, STRAY = np.array([100.0, 30.0, 2.5]), np.array([0.25, 0.3, 0.5]), np.array([0.06, 0.08, 0.15])
#: A large rise is a quick one, and quick ones begin early: mildly.
_TOGETHER = np.linalg.cholesky([[1.0, 0.3, 0.0], [0.3, 1.0, -0.2], [0.0, -0.2, 1.0]])
_LEAST_LAG_H = 0.3
_EARLIER, _READ = (8, 12), (8, 12)
#: A full window goes on for so many times as long as a rise takes at its steepest: every curve is past 96 % by then.
_FULL = (1.6, 2.5)
_ENDS_EARLY, _ENDS_AT = 0.2, (0.3, 0.9)
#: Where each kind of reading begins, by how much it moves while the dough rises by 1 %, and its noise (sd).
_INSTRUMENTS = {"height_mm": (START_MM, START_MM / 100.0, SD_MM), "ph_direct": (5.9, -0.016, 0.04)}
_ROUND = pd.Timedelta(days=60)
_LAST_FED = pd.Timestamp("2025-06-01 08:00", tz="UTC")


class Plan(NamedTuple):
    """What the jars are, and how often they are read: evenly over the full window, or until half their height is up.

    A window 'as usual' is the one that would be full at full strength.
    """

    name: str
    readings: int
    cut: bool = False
    strength: tuple[float, float, float] = (1.0, 1.0, 1.0)
    as_usual: bool = False


CUT_12, FULL_6, CUT_6, FULL_3, FULL_12, FULL_40 = NORMAL = (
    Plan("12, cut off at half", 12, cut=True),
    Plan("6, full", 6),
    Plan("6, cut off at half", 6, cut=True),
    Plan("3, full", 3),
    Plan("12, full", 12),
    Plan("40, full", 40),
)
FULL_10 = Plan("10, full", 10)
FULL_6_PH, CUT_6_PH = Plan("6 of pH, full", 6), Plan("6 of pH, cut off at half", 6, cut=True)
#: Jars at half strength: in their rate alone, or in their extent as well; some begin later, too.
HALF = (
    Plan("6, rate halved", 6, strength=(1.0, 0.5, 1.0)),
    Plan("6, rate halved, lag x 1.5", 6, strength=(1.0, 0.5, 1.5)),
    Plan("6, both halved", 6, strength=(0.5, 0.5, 1.0)),
    Plan("6, both halved, lag x 1.5", 6, strength=(0.5, 0.5, 1.5)),
    Plan("6, rate halved, as usual", 6, strength=(1.0, 0.5, 1.0), as_usual=True),
)
#: The same where the past weighs more; nothing was asked of these.
HALF_UNASKED = (
    Plan("12, both halved, cut off", 12, cut=True, strength=(0.5, 0.5, 1.0)),
    Plan("3, both halved", 3, strength=(0.5, 0.5, 1.0)),
)


class Refeeds(NamedTuple):
    """Refeeds as they truly are: culture and rounds ago (m,), extent [%], rate [%/h] and lag [h] (3, m), form (m,)."""

    culture: np.ndarray
    ago: np.ndarray
    truth: np.ndarray
    form: np.ndarray

    def name(self) -> list[str]:
        """Name them: by the culture, how many rounds ago, and which of that day's."""
        of_day = pd.Series(self.culture).groupby([self.culture, self.ago]).cumcount()
        return [f"{c}-{ago}-{n}" for c, ago, n in zip(self.culture, self.ago, of_day, strict=True)]

    def log(self) -> pd.DataFrame:
        """Return what the feeding log knows of them."""
        fed_at = _LAST_FED - self.ago * _ROUND
        return pd.DataFrame({"refeed": self.name(), "culture": self.culture, "fed_at": fed_at, "step": 3})

    def height(self, share: np.ndarray | float) -> np.ndarray:
        """Return when they stand at a share of their extent [h]."""
        extent, rate, lag = self.truth
        after = [time_of_share(form, share) for form in FORMS]
        return lag + extent / rate * np.where(self.form == FORMS[0], *after)


def shelf(cultures: int, rng: np.random.Generator) -> Refeeds:
    """Return what each culture is by itself."""
    form = np.array(FORMS)[np.arange(cultures) % 2]
    usual = np.repeat(USUAL[:, None], cultures, axis=1)
    return Refeeds(np.arange(cultures), np.zeros(cultures, int), _strayed(usual, APART, rng), form)


def earlier(cultures: Refeeds, rng: np.random.Generator) -> Refeeds:
    """Feed each culture some rounds in a row, up to the last but one."""
    rounds = rng.integers(_EARLIER[0], _EARLIER[1], len(cultures.culture), endpoint=True)
    which = np.repeat(np.arange(len(rounds)), rounds)
    ago = np.concatenate([np.arange(of_one, 0, -1) for of_one in rounds])
    return Refeeds(cultures.culture[which], ago, _strayed(cultures.truth[:, which], STRAY, rng), cultures.form[which])


def fed_now(cultures: Refeeds, jars: int, plan: Plan, rng: np.random.Generator) -> Refeeds:
    """Feed each culture in so many jars at once, as strong as the plan says."""
    which = np.repeat(np.arange(len(cultures.culture)), jars)
    truth = _strayed(cultures.truth[:, which], STRAY, rng) * np.array(plan.strength)[:, None]
    return Refeeds(cultures.culture[which], np.zeros(len(which), int), truth, cultures.form[which])


def _strayed(truth: np.ndarray, by: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    extent, rate, lag = by[:, None] * (_TOGETHER @ rng.normal(size=truth.shape))
    return np.stack((truth[0] * np.exp(extent), truth[1] * np.exp(rate), np.maximum(truth[2] + lag, _LEAST_LAG_H)))


def as_kept(refeeds: Refeeds, rng: np.random.Generator, kind: str = "height_mm") -> pd.DataFrame:
    """Read refeeds as a keeper does: some windows close early."""
    curves = len(refeeds.culture)
    early = refeeds.height(rng.uniform(*_ENDS_AT, curves))
    until = np.where(rng.uniform(size=curves) < _ENDS_EARLY, early, _full_window(refeeds, rng))
    return _read(refeeds, rng.integers(_READ[0], _READ[1], curves, endpoint=True), until, rng, kind)


def read_by(plan: Plan, jars: Refeeds, rng: np.random.Generator, kind: str = "height_mm") -> pd.DataFrame:
    """Read jars as the plan says."""
    if plan.cut:
        return _read(jars, plan.readings, jars.height(0.5), rng, kind)
    whole = jars._replace(truth=jars.truth / np.array(plan.strength)[:, None])
    return _read(jars, plan.readings, _full_window(whole if plan.as_usual else jars, rng), rng, kind)


def _full_window(refeeds: Refeeds, rng: np.random.Generator) -> np.ndarray:
    extent, rate, lag = refeeds.truth
    return lag + extent / rate * rng.uniform(*_FULL, len(lag))


def _read(
    refeeds: Refeeds, readings: np.ndarray | int, until: np.ndarray, rng: np.random.Generator, kind: str
) -> pd.DataFrame:
    """Read refeeds evenly, so many times each, from 0 h on."""
    times = np.broadcast_to(readings, refeeds.culture.shape)
    which = np.repeat(np.arange(len(times)), times)
    place = np.arange(len(which)) - np.repeat(np.cumsum(times) - times, times)
    t = place / (times - 1)[which] * until[which]
    rises = [GROWTH[form].value(t, refeeds.truth[:, which]) for form in FORMS]
    start, by, sd = _INSTRUMENTS[kind]
    value = start + by * np.where(refeeds.form[which] == FORMS[0], *rises) + rng.normal(0.0, sd, len(t))
    signal = "acid" if kind == "ph_direct" else "rise"
    names = np.array(refeeds.name())[which]
    return pd.DataFrame({"refeed": names, "signal": signal, "kind": kind, "elapsed_h": t, "value": value})


def in_its_unit(truth: np.ndarray, kind: str) -> np.ndarray:
    """Return extent, rate and lag in the unit of the signal: % of the start, or pH."""
    by = 1.0 if kind == "height_mm" else abs(_INSTRUMENTS[kind][1])
    return truth * np.array([[by], [by], [1.0]])
