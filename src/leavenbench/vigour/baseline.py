"""A culture's own normal: its first sound rounds, step by step and signal by signal."""

from __future__ import annotations

import numpy as np
import pandas as pd

#: Rounds that make a baseline; later ones, and so a later decline, do not move it.
BASELINE_ROUNDS = 6
#: A signal that moved in fewer of the first refeeds than this is no signal of that culture.
_MOSTLY_ACTIVE = 0.5
#: Spread of a log slope between refeeds of one culture and step where a shelf cannot tell (common practice, no source).
_USUAL_SPREAD, _LEAST_SPREAD, _FEWEST_DIFFERENCES = 0.12, 0.05, 12
_SERIES = ["culture", "history", "signal"]
_PLACE = [*_SERIES, "step"]


def spreads(rates: pd.DataFrame) -> pd.Series:
    """Return how much a log slope varies between refeeds of one culture and step, by signal.

    Parameters
    ----------
    rates : pandas.DataFrame
        From `rates.reference_rates`, with history.

    Returns
    -------
    pandas.Series of float
        Standard deviation, from the median successive difference over the shelf, which a decline does not inflate.
    """
    ordered = rates[~rates["at_least"]].sort_values("fed_at", kind="stable")
    differences = ordered.groupby(_PLACE)["log_rate"].diff().abs()
    by_signal = differences.groupby(ordered["signal"])
    spread = (1.4826 / np.sqrt(2.0) * by_signal.median()).clip(lower=_LEAST_SPREAD)
    return spread.where(by_signal.count() >= _FEWEST_DIFFERENCES, _USUAL_SPREAD)


def baselines(rates: pd.DataFrame, spread: pd.Series) -> pd.DataFrame:
    """Return the baseline of each culture, history, signal and step.

    Parameters
    ----------
    rates : pandas.DataFrame
        From `rates.reference_rates`, with history and purpose.
    spread : pandas.Series
        From `spreads`.

    Returns
    -------
    pandas.DataFrame
        Columns culture, history, signal, step, base (log slope), base_se and baseline_rounds; only signals that
        usually move in that culture.
    """
    usable = rates[(rates["purpose"] == "round") & ~rates["at_least"]].sort_values("fed_at", kind="stable")
    nth_round = usable.groupby(_SERIES)["round"].transform(lambda rounds: pd.factorize(rounds)[0])
    first = usable[nth_round < BASELINE_ROUNDS]
    moves = first["log_rate"].notna().groupby([first[name] for name in _SERIES]).transform("mean") >= _MOSTLY_ACTIVE
    found = first[moves & first["log_rate"].notna()].groupby(_PLACE)["log_rate"]
    table = found.agg(base="median", baseline_rounds="size").reset_index()
    table["base_se"] = table["signal"].map(spread).astype(float) / np.sqrt(table["baseline_rounds"])
    return table


def with_baseline(rates: pd.DataFrame, found: pd.DataFrame) -> pd.DataFrame:
    """Add each slope's baseline; a step beyond those known is held against the last known one.

    Parameters
    ----------
    rates, found : pandas.DataFrame
        Slopes and baselines.

    Returns
    -------
    pandas.DataFrame
        Those slopes that have a baseline, with base, base_se and baseline_rounds.
    """
    last_known = found.groupby(_SERIES)["step"].max().rename("last_known").reset_index()
    held = rates.merge(last_known, how="inner", on=_SERIES)
    held["compared_step"] = held[["step", "last_known"]].min(axis=1).astype("Int64")
    found = found.rename(columns={"step": "compared_step"})
    return held.merge(found, how="inner", on=[*_SERIES, "compared_step"]).drop(columns=["last_known", "compared_step"])
