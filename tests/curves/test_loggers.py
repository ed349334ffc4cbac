"""Logs with faults planted in them give the curves of the same logs without, and sound logs are left as they are.

All logs are simulated, so that the truth is known. The sizes of noise and faults are assumed, no source; what a test
allows is what was measured, rounded up.
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
RISE, COLLAPSE = "height_mm", "logistic with collapse"
KINDS = (RISE, "ph_direct")


class Logs(NamedTuple):
    """Invented logs of one kind, one in each row of `y`, all read at the hours `t`."""

    kind: str
    t: np.ndarray
    y: np.ndarray
    steepest_h: np.ndarray
    extent: np.ndarray

    @property
    def observed(self) -> Observed:
        many, readings = self.y.shape
        signal, kinds = np.repeat(np.arange(many), readings), np.full(many, self.kind)
        return observe(signal, np.tile(self.t, many), self.y.ravel(), kinds)[0]

    def near_the_steepest(self, rng, hours):
        """Draw the reading of each log from which on something is wrong, that close to its steepest hour."""
        first_h = self.steepest_h + rng.uniform(-hours, hours, len(self.y))
        return np.searchsorted(self.t, np.maximum(first_h, 0.7))

    def sizes(self, rng, low, high):
        """Draw the size of a fault in each log, up or down: in mm, or as many fortieths of a pH."""
        size = rng.choice([-1.0, 1.0], len(self.y)) * rng.uniform(low, high, len(self.y))
        return size if self.kind == RISE else size / 40.0


def invent(kind=RISE, minutes=1.0, logs=40, seed=1, hours=23.0, wanders_h=0.1, step=None, noise=None, rates=(0.15, 0.5)):
    """Invent rises, half of which collapse, or falls of pH: extents per hour, noise (0.4 mm, 0.01 pH) that wanders."""
    rng, t = np.random.default_rng(seed), np.arange(0.0, hours, minutes / 60.0)
    rises = kind == RISE
    start, extent = (40.0, rng.uniform(30, 80, logs)) if rises else (-6.0, rng.uniform(1.6, 2.3, logs))
    rate, lag = rng.uniform(*rates, logs) * extent, rng.uniform(0.8, 4.0, logs)
    growth = np.array([np.full(logs, start), extent, rate, lag])
    up = LEVELS["logistic"].value(t[:, None], growth)
    if rises:
        middle, width = extent / rate * rng.uniform(1.5, 2.5, logs) + 1.0, np.exp(rng.uniform(-2.0, 0.4, logs))
        fall = np.array([width * np.logaddexp(np.log(2.0), middle / width), middle / width])
        up[:, ::2] = LEVELS[COLLAPSE].value(t[:, None], np.concatenate([growth, fall]))[:, ::2]
    sd = noise if noise is not None else 0.4 if rises else 0.01
    finest = step if step is not None else 0.1 if rises else 0.01
    y = (up if rises else -up).T + sd * wandering(rng, (logs, len(t)), minutes / 60.0, wanders_h)
    return Logs(kind, t, np.round(y / finest) * finest, lag + 0.5 * extent / rate, extent)


def wandering(rng, shape, every_h, wanders_h):
    """Give noise of sd 1 whose correlation falls to 1 / e within some hours."""
    kept = np.exp(-every_h / wanders_h) if wanders_h else 0.0
    noise = rng.normal(size=shape)
    for place in range(1, shape[1]):
        noise[:, place] = kept * noise[:, place - 1] + np.sqrt(1.0 - kept**2) * noise[:, place]
    return noise


def lid_lifted(logs, rng):
    """Lift the lid three times, for 1 to 15 minutes each."""
    y = logs.y.copy()
    for _ in range(3):
        for log, size, first in zip(y, logs.sizes(rng, 15, 100), rng.integers(0, len(logs.t), len(y)), strict=True):
            these = log[first : first + 1 + int(rng.uniform(1, 15) / 60.0 / logs.t[1])]
            these += size * rng.uniform(0.8, 1.2, len(these))
    return y


def dropped_out(logs, rng):
    """Lose one reading in a hundred, and all of half an hour to three hours, to a constant that is no reading."""
    y = logs.y.copy()
    for log, first_h in zip(y, rng.uniform(0.0, logs.t[-1] - 3.0, len(y)), strict=True):
        constant = rng.choice([0.0, 250.0] if logs.kind == RISE else [0.0, 7.0, 14.0])
        log[(logs.t >= first_h) & (logs.t < first_h + rng.uniform(0.5, 3.0))] = constant
        log[rng.random(len(log)) < 0.01] = 0.0
    return y


def stuck(logs, rng):
    """Let the sensor stick for one to four hours while the dough is moving."""
    y = logs.y.copy()
    for log, first in zip(y, logs.near_the_steepest(rng, 0.5), strict=True):
        log[first : np.searchsorted(logs.t, logs.t[first] + rng.uniform(1.0, 4.0))] = log[first]
    return y


def moved(logs, rng):
    """Move the jar, or the probe, by 10 to 30 mm while the dough is moving."""
    y = logs.y.copy()
    for log, first, size in zip(y, logs.near_the_steepest(rng, 1.0), logs.sizes(rng, 10, 30), strict=True):
        log[first:] += size
    return y


def put_back(logs, rng):
    """Move it at any hour, and put it back after one to three hours."""
    y = logs.y.copy()
    first_h = rng.uniform(0.7, logs.t[-1] - 4.0, len(y))
    for log, first, size in zip(y, first_h, logs.sizes(rng, 10, 30), strict=True):
        log[(logs.t >= first) & (logs.t < first + rng.uniform(1.0, 3.0))] += size
    return y


#: How far extent and max_rate may be off those of the sound log, in %, and the lag, in hours.
FAULTS = {
    lid_lifted: (0.3, 0.5, 0.03),
    dropped_out: (1.0, 3.0, 0.1),
    stuck: (2.0, 5.0, 0.1),
    moved: (3.0, 5.0, 0.2),
    put_back: (1.0, 3.0, 0.1),
}


def traced(observed):
    return trace_signals(observed, ("logistic",))


def differences(found, sound):
    """Return by how much traits are off those of the sound logs: extent and max_rate in %, the lag in hours."""
    traits = [(found.traits[name].value, sound.traits[name].value) for name in ("extent", "max_rate", "lag_h")]
    off = np.array([np.abs(one - two) for one, two in traits])
    off[:2] *= 100.0 / np.array([two for _, two in traits[:2]])
    return np.where(np.isnan(off), np.inf, off)


if __name__ == "__main__":
    for kind in KINDS:
        for minutes in (1.0, 10.0):
            logs = invent(kind, minutes)
            sound = traced(logs.observed)
            for plant, limits in FAULTS.items():
                bad = logs._replace(y=plant(logs, np.random.default_rng(2))).observed
                fixed = sift(bad, BEYOND)
                a, b = (differences(traced(it), sound) for it in (bad, fixed.observed))
                w = [np.mean((x <= np.array(limits)[:, None]).all(axis=0)) for x in (a, b)]
                se = np.abs(traced(fixed.observed).traits["extent"].value - sound.traits["extent"].value) / sound.traits["extent"].se
                print(kind, minutes, plant.__name__, "within", w, np.quantile(b, 0.9, axis=1).round(3), "bad median", np.median(a, axis=1).round(2), "se", np.quantile(se, [.5, .9, 1]).round(2), (fixed.said != "").mean())
