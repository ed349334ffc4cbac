"""Invent the hard cases: `python tests/curves/hard_cases/invent.py` writes the tables beside it anew."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from leavenbench.curves import history_prior, noise_by_kind, trace_shelf
from leavenbench.curves.composed import LEVELS

SEED = 7
HERE = Path(__file__).parent
START_MM, START_PH = 40.0, 5.9
#: Noise (sd) and finest step of a ruler [mm], of a logger [mm] and of a pH probe.
RULER, LOGGER, PROBE = (1.5, 0), (0.3, 1), (0.04, 2)
#: What a culture's refeeds stray by from its usual self: log extent, log steepest slope, lag [h].
STRAY = np.array([0.06, 0.08, 0.15])
EARLIER, EARLIER_READ_AT_H = 8, np.array([0.0, 1, 2, 3, 4, 5, 6, 7, 8, 10])
#: A reading is written down so much too low [mm]. A lid, with the logger in it, is off for so many minutes from an hour
#: on, and shows about that height [mm].
SLIP_MM, LIFTS = 30.0, ((4.2, 7, 12.0), (11.0, 4, 7.0))


class Case(NamedTuple):
    """A culture's usual extent [%], steepest slope [%/h] and lag [h]; how its jar went, and when it was read [h].

    A fall is told by its half_gone_after_h and its fall_sharpness.
    """

    usual: tuple[float, float, float]
    read_at_h: np.ndarray
    growth: str
    fall: tuple[float, ...] = ()

    @property
    def model(self) -> str:
        return self.growth + " with collapse" * bool(self.fall)


CASES = {
    "sparse": Case((95.0, 30.0, 2.4), np.array([0.0, 3, 5, 10]), "logistic"),
    "cut off": Case((110.0, 28.0, 2.6), np.array([0.0, 1, 2, 2.5, 3, 3.5, 4, 4.5]), "gompertz"),
    "wild reading": Case((120.0, 34.0, 2.0), EARLIER_READ_AT_H, "logistic"),
    "dead": Case((100.0, 30.0, 2.3), np.array([0.0, 2, 3, 4, 5, 6, 8, 10, 22]), "logistic"),
    "late collapse": Case(
        (130.0, 36.0, 1.8), np.array([0.0, 1, 2, 3, 4, 5, 6, 8, 10, 12, 20, 22, 24]), "logistic", (16.5, 6.0)
    ),
    "whole rise between two readings": Case((105.0, 33.0, 3.0), np.array([0.0, 1, 2, 9, 10, 11, 12]), "logistic"),
    "smear line only": Case((115.0, 31.0, 2.2), np.array([0.0, 22]), "gompertz", (15.0, 5.0)),
    "lid lifted": Case((125.0, 29.0, 2.5), np.arange(20 * 60 + 1) / 60.0, "gompertz", (13.0, 4.0)),
}


def _strayed(case: Case, rng: np.random.Generator) -> np.ndarray:
    """Return extent [%], steepest slope [%/h] and lag [h] of one refeed of a culture."""
    extent, rate, lag = STRAY * rng.normal(size=3)
    return np.array([case.usual[0] * np.exp(extent), case.usual[1] * np.exp(rate), case.usual[2] + lag])


def _height(model: str, t: np.ndarray, truth: np.ndarray, fall: tuple[float, ...] = ()) -> np.ndarray:
    """Return the true height [mm] at hours since feeding."""
    return LEVELS[model].value(t, np.array([START_MM, *(truth[:2] * START_MM / 100.0), truth[2], *fall]))


def _by(instrument: tuple[float, int], truth: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    noise, digits = instrument
    return np.round(truth + rng.normal(0.0, noise, len(truth)), digits)


def _read(name: str, truth: np.ndarray, rng: np.random.Generator) -> pd.DataFrame:
    """Read the jar of a case."""
    case = CASES[name]
    t = case.read_at_h
    height = _height(case.model, t, truth, case.fall) if name != "dead" else np.full(len(t), START_MM)
    read = pd.DataFrame({"case": name, "elapsed_h": t.round(4), "height_mm": _by(RULER, height, rng)})
    read = read.assign(ph=np.nan, high_mark_mm=np.nan)
    if name == "wild reading":
        read.loc[read["elapsed_h"] == 5.0, "height_mm"] -= SLIP_MM
    if name == "dead":
        read["ph"] = _by(PROBE, np.full(len(t), START_PH), rng)
    if name == "smear line only":
        peak = _height(case.model, np.linspace(0.0, t[-1], 10_000), truth, case.fall).max(keepdims=True)
        read.loc[len(t) - 1, "high_mark_mm"] = _by(RULER, peak, rng)
    if name == "lid lifted":
        read["height_mm"] = _by(LOGGER, height, rng)
        for hour, minutes, shown in LIFTS:
            off = (t > hour) & (t < hour + minutes / 60.0)
            read.loc[off, "height_mm"] = np.round(shown + rng.uniform(-2.0, 2.0, off.sum()), 1)
    return read


def _earlier(name: str, rng: np.random.Generator) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the log of a case's culture, and the readings of its earlier refeeds."""
    case, read = CASES[name], []
    for number in range(EARLIER):
        height = _by(RULER, _height(case.model, EARLIER_READ_AT_H, _strayed(case, rng), case.fall), rng)
        read.append(pd.DataFrame({"refeed": f"{name} {number}", "elapsed_h": EARLIER_READ_AT_H, "value": height}))
    refeeds = [*(f"{name} {number}" for number in range(EARLIER)), name]
    fed = pd.date_range("2024-01-10 08:00", periods=len(refeeds), freq="60D", tz="UTC")
    log = pd.DataFrame({"refeed": refeeds, "culture": name, "fed_at": fed, "step": 3, "signal": "rise"})
    return log, pd.concat(read).assign(signal="rise", kind="height_mm")


def _past(log: pd.DataFrame, earlier: pd.DataFrame) -> pd.DataFrame:
    """Return what the earlier refeeds of each culture let expect of its case."""
    curves = trace_shelf(earlier)
    curves = trace_shelf(earlier, noise=noise_by_kind(curves))
    prior = history_prior(log.merge(curves, how="left", on=["refeed", "signal"]).fillna({"status": "no readings"}))
    return prior[prior["refeed"].isin(CASES)].round(4)


def _truth_table(truths: dict[str, np.ndarray]) -> pd.DataFrame:
    rows = []
    for name, case in CASES.items():
        of_curve = dict(zip(("extent", "max_rate", "lag_h"), truths[name].round(4), strict=True))
        of_fall = dict(zip(("half_gone_after_h", "fall_sharpness"), case.fall, strict=False))
        if name == "dead":
            rows.append({"case": name, "model": "", "start_mm": START_MM})
        else:
            rows.append({"case": name, "model": case.model, "start_mm": START_MM, **of_curve, **of_fall})
    return pd.DataFrame(rows)


def tables() -> dict[str, pd.DataFrame]:
    """Return truths, readings and what each culture's past lets expect, by the names of their files."""
    rngs = [np.random.default_rng([SEED, place]) for place in range(len(CASES))]
    truths = {name: _strayed(case, rng) for (name, case), rng in zip(CASES.items(), rngs, strict=True)}
    *by_hand, logged = (_read(name, truths[name], rng) for name, rng in zip(CASES, rngs, strict=True))
    log, earlier = zip(*map(_earlier, CASES, rngs), strict=True)
    return {
        "truth.csv": _truth_table(truths),
        "readings.csv": pd.concat(by_hand, ignore_index=True),
        "lid_lifted.csv": logged[["elapsed_h", "height_mm"]],
        "prior.csv": _past(pd.concat(log), pd.concat(earlier)),
    }


if __name__ == "__main__":
    for file, table in tables().items():
        table.to_csv(HERE / file, index=False)
