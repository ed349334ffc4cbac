"""Logs with faults planted in them give the curves of the same logs without; sound logs are left as they are.

All logs are simulated, so that the truth is known. Sizes of noise and faults are assumed, no source; limits that a
test asserts are measured ones, rounded up.
"""

from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leavenbench.curves.blocks import Observed, observe
from leavenbench.curves.composed import LEVELS
from leavenbench.curves.loggers import sift
from leavenbench.curves.traces import trace_signals

BEYOND = 60
#: What is read off a curve, and how large it is at least.
TRAITS = ("extent", "max_rate", "lag_h")


class Logs(NamedTuple):
    """Invented logs of one kind, read together: hours, readings, and when each was half risen."""

    kind: str
    t: np.ndarray
    y: np.ndarray
    rising_h: np.ndarray

    def observed(self) -> Observed:
        many, n = self.y.shape
        return observe(np.repeat(np.arange(many), n), np.tile(self.t, many), self.y.ravel(), np.full(many, self.kind))[
            0
        ]


def invent(kind="height_mm", every_min=1.0, many=40, seed=1, until_h=23.0, wander_h=0.0, step=None, noise=None):
    """Invent logs: half of the rises collapse; noise of 0.4 mm or 0.01 pH, white or wandering over some hours."""
    rng, t = np.random.default_rng(seed), np.arange(0.0, until_h, every_min / 60.0)
    rises = kind == "height_mm"
    extent = rng.uniform(30, 80, many) if rises else rng.uniform(1.6, 2.3, many)
    start = np.full(many, 40.0) if rises else rng.uniform(-6.2, -5.7, many)
    rate, lag = rng.uniform(0.15, 0.5, many) * extent, rng.uniform(0.8, 4, many)
    up = LEVELS["logistic"].value(t[:, None], np.array([start, extent, rate, lag]))
    if rises:
        middle, width = extent / rate * rng.uniform(1.5, 2.5, many) + 1.0, np.exp(rng.uniform(-2.0, 0.4, many))
        fall = np.array([width * np.logaddexp(np.log(2.0), middle / width), middle / width])
        falling = LEVELS["logistic with collapse"].value(t[:, None], np.array([start, extent, rate, lag, *fall]))
        up[:, ::2] = falling[:, ::2]
    sd = (0.4 if rises else 0.01) if noise is None else noise
    y = (up if rises else -up).T + sd * wandering(rng, (many, len(t)), every_min / 60.0, wander_h)
    finest = (0.1 if rises else 0.01) if step is None else step
    return Logs(kind, t, np.round(y / finest) * finest, lag + 0.5 * extent / rate)


def wandering(rng, shape, every_h, wander_h):
    """Give noise of sd 1 whose correlation falls to 1 / e within some hours."""
    keeps = np.exp(-every_h / wander_h) if wander_h else 0.0
    noise = rng.normal(size=shape)
    for place in range(1, shape[1]):
        noise[:, place] = keeps * noise[:, place - 1] + np.sqrt(1.0 - keeps**2) * noise[:, place]
    return noise


def off_by(rng, kind, low, high, many=None):
    """Give sizes of faults in either direction, a low and a high one in mm; a pH is 40 times finer."""
    return rng.choice([-1.0, 1.0], many) * rng.uniform(low, high, many) / (1.0 if kind == "height_mm" else 40.0)


def with_lid_lifted(logs, rng):
    """Lift the lid one to four times for 1 to 15 minutes."""
    y = logs.y.copy()
    for log in y:
        for _ in range(rng.integers(1, 5)):
            first = rng.integers(0, len(logs.t) - 1)
            these = slice(first, first + 1 + int(rng.uniform(1, 15) / 60.0 / logs.t[1]))
            log[these] += off_by(rng, logs.kind, 15, 100) * rng.uniform(0.8, 1.2, len(log[these]))
    return y


def with_dropouts(logs, rng):
    """Lose one reading in a hundred, and all of half an hour to three hours, to a constant that is no reading."""
    y, rises = logs.y.copy(), logs.kind == "height_mm"
    for log in y:
        first = rng.uniform(0.0, logs.t[-1] - 3.0)
        none = rng.choice([0.0, 250.0] if rises else [0.0, 7.0, 14.0])
        log[(logs.t >= first) & (logs.t < first + rng.uniform(0.5, 3.0))] = none
        log[rng.random(len(log)) < 0.01] = 0.0
    return y


def with_stuck_sensor(logs, rng):
    """Let the sensor stick for one to four hours, from somewhere on the slope."""
    y = logs.y.copy()
    for log, rising_h in zip(y, logs.rising_h, strict=True):
        first = np.searchsorted(logs.t, rising_h + rng.uniform(-0.5, 0.5))
        log[first : np.searchsorted(logs.t, logs.t[first] + rng.uniform(1.0, 4.0))] = log[first]
    return y


def with_jar_moved(logs, rng):
    """Move the jar, or the probe, while it rises, by 8 to 30 mm."""
    y = logs.y.copy()
    for log, rising_h in zip(y, logs.rising_h, strict=True):
        log[logs.t >= max(rising_h + rng.uniform(-1.0, 1.0), 0.7)] += off_by(rng, logs.kind, 8, 30)
    return y


def with_jar_moved_and_put_back(logs, rng):
    """Move it, and put it back after one to three hours."""
    y = logs.y.copy()
    for log in y:
        first = rng.uniform(0.7, logs.t[-1] - 4.0)
        log[(logs.t >= first) & (logs.t < first + rng.uniform(1.0, 3.0))] += off_by(rng, logs.kind, 8, 30)
    return y


FAULTS = (with_lid_lifted, with_dropouts, with_stuck_sensor, with_jar_moved, with_jar_moved_and_put_back)


def changes(found, sound):
    """Return by how much traits differ from those of the sound logs: in %, hours for the lag, and standard errors."""
    for name in TRAITS:
        one, two = found.traits[name], sound.traits[name]
        off = np.abs(one.value - two.value)
        yield np.where(np.isnan(off), np.inf, off) * (1.0 if name == "lag_h" else 100.0 / np.abs(two.value)), off / two.se


if __name__ == "__main__":
    for kind in ("height_mm", "ph_direct"):
        for every in (1.0, 10.0):
            logs = invent(kind, every, wander_h=0.1)
            sound = trace_signals(logs.observed(), ("logistic",))
            for plant in FAULTS:
                y = plant(logs, np.random.default_rng(2))
                bad = logs._replace(y=y).observed()
                fixed = sift(bad, BEYOND)
                print(kind, every, plant.__name__, "silent", (fixed.said == "").mean())
                for what, o in (("bad", bad), ("sift", fixed.observed)):
                    f = trace_signals(o, ("logistic",))
                    print("   ", what, "status", (f.status == sound.status).mean(), [np.round(np.quantile(x, [0.5, 0.9, 1.0]), 2).tolist() for pair in changes(f, sound) for x in pair])
