"""A culture's own normal: its first sound rounds, trait by trait and step by step, shrunk to the shelf while few."""

from __future__ import annotations

import numpy as np
import pandas as pd

from .numbered import HISTORY, nth_round

#: Rounds that make a baseline; later ones, and so a later decline, do not move it.
BASELINE_ROUNDS = 6
#: A trait that moved in fewer of the first refeeds than this is no trait of that culture.
_MOSTLY_ACTIVE = 0.5
#: How many rounds of its own the shelf's usual difference between steps is worth.
_SHELF_WORTH = 1.0
SERIES = [*HISTORY, "trait"]
PLACE = [*SERIES, "step"]


def with_baselines(traits: pd.DataFrame, spread: pd.Series) -> pd.DataFrame:
    """Add to each trait what is normal for the culture at that step.

    Parameters
    ----------
    traits : pandas.DataFrame
        From `traits.log_traits`, with culture, history, step, round, purpose and fed_at.
    spread : pandas.Series
        By trait, how much it varies between refeeds of one culture and step.

    Returns
    -------
    pandas.DataFrame
        Those rows whose culture has a baseline of the trait, with base, base_se and baseline_rounds. A step that was
        not among the first rounds stands where the shelf's usual difference between steps puts it.
    """
    first = _first_rounds(traits)
    of_step = first[first["value"].notna()].groupby(PLACE, observed=True)["value"]
    own = of_step.agg(own="median", n="size").reset_index()
    usual = _usual_differences(own)
    own = own.merge(usual, how="left", on=["trait", "step"])
    level = (own["own"] - own["off"]).groupby([own[name] for name in SERIES], observed=True).mean().rename("level")
    rounds = own.groupby(SERIES, observed=True)["n"].max().rename("rounds")
    found = traits.merge(pd.concat([level, rounds], axis=1).reset_index(), how="inner", on=SERIES)
    found = found.merge(own[[*PLACE, "own", "n"]], how="left", on=PLACE)
    found = found.merge(usual, how="left", on=["trait", "step"])
    last = usual.sort_values("step").groupby("trait", observed=True)["off"].last()  # for a step beyond those known
    found["off"] = found["off"].fillna(found["trait"].map(last).astype(float).fillna(0.0))
    n = found["n"].fillna(0.0)
    predicted = found["level"] + found["off"]
    weight = n / (n + _SHELF_WORTH * (n < found["rounds"].clip(upper=2)))
    found["base"] = np.where(n > 0, weight * found["own"].fillna(0.0) + (1.0 - weight) * predicted, predicted)
    found["base_se"] = found["trait"].map(spread).astype(float) / np.sqrt(np.maximum(n, 1.0))
    found["baseline_rounds"] = found["rounds"].astype(int)
    return found.drop(columns=["level", "rounds", "own", "n", "off"])


def _first_rounds(traits: pd.DataFrame) -> pd.DataFrame:
    """Return the first rounds of each series, of traits that usually move in that culture."""
    told = (traits["purpose"] == "round") & ~traits["at_least"] & traits["step"].notna()
    usable = traits.loc[told, [*PLACE, "round", "fed_at", "value"]].sort_values("fed_at", kind="stable")
    nth = nth_round(usable, SERIES)
    first = usable[nth < BASELINE_ROUNDS]
    moves = first["value"].notna().groupby([first[name] for name in SERIES], observed=True).transform("mean")
    return first[moves >= _MOSTLY_ACTIVE]


def _usual_differences(own: pd.DataFrame) -> pd.DataFrame:
    """Return how each step usually differs from the mean over a culture's steps, trait by trait."""
    away = own["own"] - own.groupby(SERIES, observed=True)["own"].transform("mean")
    complete = own.groupby(SERIES, observed=True)["step"].transform("size")
    full = complete == complete.groupby(own["trait"], observed=True).transform("max")
    off = away[full].groupby([own.loc[full, "trait"], own.loc[full, "step"]], observed=True).median()
    return off.rename("off").reset_index()
