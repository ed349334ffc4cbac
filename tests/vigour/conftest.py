"""Invented traits and vigour values of whole shelves, for what comes after the curves."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
import pytest

from leavenbench.vigour.circumstances import FACTORS
from leavenbench.vigour.traits import TRAITS

START = pd.Timestamp("2023-01-02 08:00", tz="UTC")


@pytest.fixture
def make_traits():
    """Return a function that lays out traits as `log_traits` gives them, with what the log knows of each refeed."""

    def make(values: Mapping[str, np.ndarray], se: float = 0.05, still: Mapping[str, np.ndarray] | None = None):
        """Take each trait's values, shape (cultures, rounds, steps); missing is a trait that was not told."""
        parts = []
        for trait, given in values.items():
            given = np.asarray(given, float)
            culture, number, step = (place.ravel() for place in np.indices(given.shape))
            quiet = np.zeros(given.size, bool) if still is None or trait not in still else still[trait].ravel()
            parts.append(
                pd.DataFrame(
                    {
                        "refeed": [f"F{c}-{r}-{s}" for c, r, s in zip(culture, number, step, strict=True)],
                        "culture": [f"C{c}" for c in culture],
                        "history": 0,
                        "round": pd.array(number + 1, "Int64"),
                        "step": pd.array(step + 1, "Int64"),
                        "purpose": "round",
                        "fed_at": START + pd.to_timedelta(60 * number + step, unit="D"),
                        "trait": trait,
                        "value": np.where(quiet, np.nan, given.ravel()),
                        "se": se,
                        "at_least": False,
                        "still": quiet,
                        "noted": True,
                        "probed": False,
                    }
                )[quiet | ~np.isnan(given.ravel())]
            )
        table = pd.concat(parts, ignore_index=True)
        return table.assign(trait=pd.Categorical(table["trait"], TRAITS))

    return make


@pytest.fixture
def make_values():
    """Return a function that lays out log vigours with what each refeed met; each culture has a flour of its own four.

    Cultures are fed a quarter a week apart, in two rooms; a lot lasts two rounds.
    """

    def make(log_vigour: np.ndarray, se: float = 0.04) -> tuple[pd.DataFrame, pd.DataFrame]:
        """Take log vigour, shape (cultures, rounds, steps), and return the values and the lots fed."""
        given = np.asarray(log_vigour, float)
        culture, number, step = (place.ravel() for place in np.indices(given.shape))
        fed_at = pd.Series(START + pd.to_timedelta(60 * number + 7 * (culture % 4) + step, unit="D"))
        values = pd.DataFrame(
            {
                "refeed": [f"F{c}-{r}-{s}" for c, r, s in zip(culture, number, step, strict=True)],
                "culture": [f"C{c}" for c in culture],
                "history": 0,
                "round": number + 1,
                "step": step + 1,
                "purpose": "round",
                "fed_at": fed_at,
                "log_vigour": given.ravel(),
                "log_vigour_se": se,
                "cold_d": 0.0,
                "rest_h": 0.0,
                "log_seed": 0.0,
                "month": fed_at.dt.strftime("%Y-%m"),
                **{factor: pd.Series([None] * given.size, dtype="str") for factor in FACTORS},
            }
        )
        values["day"] = fed_at.dt.strftime("%Y-%m-%d")
        values["room"] = np.where(culture % 3 == 0, "loft", "hall")
        lots = pd.DataFrame({"refeed": values["refeed"], "share": 1.0})
        lots["lot"] = [f"flour {(c // 2) % 4} no. {r // 2 + 1}" for c, r in zip(culture, number, strict=True)]
        return values, lots

    return make
