"""Read the hard cases: `tests/curves/test_hard_cases.py` and `tests/benchmarks/hard_cases.py` look at the same."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from leavenbench.curves import signals
from leavenbench.curves.composed import LEVELS

HERE = Path(__file__).parent
_LOGGED = "lid lifted"
_SHAPE = ("extent", "max_rate", "lag_h", "half_gone_after_h", "fall_sharpness")


class Truth(NamedTuple):
    """What a jar truly did: a curve of a model in ``composed.LEVELS``; without a model it stood still."""

    model: str
    start_mm: float
    shape: np.ndarray

    def height_mm(self, elapsed_h: np.ndarray) -> np.ndarray:
        """Return the true height [mm] at hours since feeding."""
        hours = np.asarray(elapsed_h, float)
        if not self.model:
            return np.full(hours.shape, self.start_mm)
        of_start = np.where(np.arange(len(self.shape)) < 2, 0.01 * self.start_mm, 1.0)
        return LEVELS[self.model].value(hours, np.append(self.start_mm, self.shape * of_start))


def observed() -> pd.DataFrame:
    """Return the readings as `curves.signals` gives them; a case is a refeed."""
    tables = []
    for name in ("readings.csv", "lid_lifted.csv"):
        read = pd.read_csv(HERE / name)
        tables.append(read.assign(file=name, row=np.arange(len(read)) + 2))
    read = pd.concat(tables, ignore_index=True)
    read["refeed"] = read.pop("case").fillna(_LOGGED)
    return signals(
        read, pd.DataFrame({"refeed": read["refeed"].unique(), "fed_at": pd.Timestamp("2025-06-01", tz="UTC")})
    )


def truths() -> dict[str, Truth]:
    """Return the truth of every case."""
    table = pd.read_csv(HERE / "truth.csv", keep_default_na=False, na_values=dict.fromkeys(("start_mm", *_SHAPE), ""))
    shapes = table[list(_SHAPE)].to_numpy(float)
    return {
        case: Truth(model, start, shape[~np.isnan(shape)])
        for case, model, start, shape in zip(table["case"], table["model"], table["start_mm"], shapes, strict=True)
    }


def prior() -> pd.DataFrame:
    """Return what the earlier refeeds of each case's culture let expect, as `curves.history_prior` gives it."""
    return pd.read_csv(HERE / "prior.csv")
