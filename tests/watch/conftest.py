"""Levels of invented shelves, and how they wander, for the tests of the early warning."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from leavenbench.columns import RESULTS
from leavenbench.records.settings import Settings
from leavenbench.watch import outlook
from leavenbench.watch.calibration.law import Law
from leavenbench.watch.calibration.threshold import _LEFT_ON_A_SHELF, Threshold
from leavenbench.watch.scatter import Scatter
from leavenbench.watch.series import Series

BEGIN = pd.Timestamp("2020-01-01", tz="UTC")


@pytest.fixture(scope="session")
def wander():
    """Return a function that draws stationary AR(1) noise along the last axis."""

    def draw(rng, shape, sd, carry_over):
        noise = rng.normal(size=shape)
        for one in range(1, shape[-1]):
            noise[..., one] = carry_over * noise[..., one - 1] + np.sqrt(1.0 - carry_over**2) * noise[..., one]
        return sd * noise

    return draw


@pytest.fixture(scope="session")
def series():
    """Return a function that makes a series of histories, each an array of levels, and of their times if given."""

    def make(*levels, at=None, variance=0.0):
        lengths = [len(level) for level in levels]
        at = [np.arange(float(length)) for length in lengths] if at is None else at
        first = np.repeat(np.cumsum([0, *lengths[:-1]]), lengths)
        level = np.concatenate(levels).astype(float)
        return Series(level, np.full(len(level), variance), np.concatenate(at), first)

    return make


@pytest.fixture(scope="session")
def wanders():
    """Return a function that says of every round of a series that levels wander by so much."""

    def make(series, sd, carry_over):
        return Scatter(*(np.full(len(series.level), of) for of in (sd, carry_over, sd)))

    return make


@pytest.fixture(scope="session")
def levels():
    """Return a function that makes the levels table of one history."""

    def make(level, *, at=None, culture="Alba", history=0, round_days=60.0, error=0.04, extra_steps=pd.NA):
        at = np.arange(len(level)) if at is None else np.asarray(at)
        fed_at = BEGIN + pd.to_timedelta(round_days * at, unit="D").as_unit("us")
        table = pd.DataFrame({"fed_at": fed_at, "level": np.asarray(level, float), "level_se": error, "refeeds": 3})
        table = table.assign(culture=culture, history=history, round=np.arange(len(level)) + 1, extra_steps=extra_steps)
        return table.astype({"culture": "str", "history": "int64", "round": "Int64", "extra_steps": "Int64"})

    return make


@pytest.fixture
def fixed_threshold(monkeypatch):
    """Let an alert begin at log odds of 1, whatever the shelf: near what the dial at 1 asks for."""
    law = Law(np.full(4, 1.0), np.full(4, 1.0))  # a threshold of 1 at one false alert per 100 rounds
    monkeypatch.setattr(outlook, "threshold_for", lambda *_: Threshold(law, _LEFT_ON_A_SHELF, "fixed for this test"))


@pytest.fixture
def house(make_collection):
    """Return a function that makes records, curves and vigour of a shelf from the vigour [%] of each round.

    A round is one refeed, every 60 days (or so many) from the first of January 2020; a missing vigour was not read.
    """

    def make(vigour_pct, *, every=60, **tables):
        rows = [
            {
                "refeed": f"{culture}-{number}",
                "culture": culture,
                "fed_at": BEGIN + pd.Timedelta(days=every * number),
                "round": number + 1,
                "step": 1,
                "vigour_pct": pct,
            }
            for culture, rounds in vigour_pct.items()
            for number, pct in enumerate(rounds)
        ]
        told = pd.DataFrame(rows, columns=["refeed", "culture", "fed_at", "round", "step", "vigour_pct"])
        own = {name: told[name] for name in ("refeed", "culture", "fed_at", "round", "step")}
        settings = Settings(title="test", round_days=float(every), steps_per_round=1.0)
        collection = make_collection(settings, refeeds={**own, "purpose": "round"}, **tables)
        vigour = told.assign(vigour_pct_own=told["vigour_pct"], vigour_pct_se=4.0, vigour_pct_own_se=4.0)
        vigour = vigour.assign(floor="met", extra_steps=0, too_good=False)
        made = RESULTS["vigour"]
        vigour = vigour.reindex(columns=made.names).astype(made.dtypes())
        made = RESULTS["curves"]
        curves = [pd.DataFrame(own).assign(signal=signal, status="fitted") for signal in ("rise", "acid")]
        curves = pd.concat(curves, ignore_index=True).reindex(columns=made.names).astype(made.dtypes())
        return collection, curves, vigour

    return make
