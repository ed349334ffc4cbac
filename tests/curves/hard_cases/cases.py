"""The hard cases as signals to be traced, with their truth and their past; see the README beside it."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from leavenbench.curves import signals
from leavenbench.curves.composed import LEVELS

HERE = Path(__file__).parent
_SHAPE = ["extent", "max_rate", "lag_h", "half_gone_after_h", "fall_sharpness"]


class Truth(NamedTuple):
    """What a jar did: a curve of `composed.LEVELS`, extent in % and slope in %/h; without a model it stood still."""

    model: str
    start_mm: float
    shape: np.ndarray

    def height_mm(self, elapsed_h: np.ndarray) -> np.ndarray:
        """Return the height [mm] at hours since feeding."""
        if not self.model:
            return np.full(elapsed_h.shape, self.start_mm)
        extent, rate, *hours = self.shape
        of_start = 0.01 * self.start_mm
        return LEVELS[self.model].value(
            elapsed_h, np.array([self.start_mm, extent * of_start, rate * of_start, *hours])
        )


def observed() -> pd.DataFrame:
    """Return the readings as `curves.signals` gives them; each case is a refeed."""
    by_hand, logged = (pd.read_csv(HERE / file).assign(file=file) for file in ("readings.csv", "lid_lifted.csv"))
    read = pd.concat([by_hand.rename(columns={"case": "refeed"}), logged.assign(refeed="lid lifted")])
    read["row"] = read.index + 2  # as a spreadsheet shows it
    fed = pd.DataFrame({"refeed": read["refeed"].unique(), "fed_at": pd.Timestamp("2025-06-02 08:00", tz="UTC")})
    return signals(read.reset_index(drop=True), fed)


def truths() -> dict[str, Truth]:
    """Return the truth of every case."""
    table = pd.read_csv(HERE / "truth.csv").fillna({"model": ""})
    shapes = table[_SHAPE].to_numpy()
    known = zip(table["case"], table["model"], table["start_mm"], shapes, strict=True)
    return {case: Truth(model, start_mm, shape[~np.isnan(shape)]) for case, model, start_mm, shape in known}


def prior() -> pd.DataFrame:
    """Return what the culture's earlier refeeds let expect of every case, as `curves.history_prior` gives it."""
    return pd.read_csv(HERE / "prior.csv")
