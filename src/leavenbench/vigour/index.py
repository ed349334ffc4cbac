"""Vigour: one number per refeed, 100 % being the culture's own normal at the same step."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..columns import RESULTS
from ..records.collection import Collection
from ..records.living import history_numbers
from ..records.rounds import STEPPING
from .baseline import baselines, spreads, with_baseline
from .floor import floors
from .rates import reference_rates
from .shared import month_effects

#: Vigour is not told apart from nothing below the first share of the baseline, nor from more above the second.
_LEAST, _MOST = 0.02, 5.0
#: A jump is too good when it lies so many standard errors above everything shown before, over so many rounds.
_TOO_GOOD_SE, _TOO_GOOD_AFTER = 3.0, 4


def vigour_of(collection: Collection, curves: pd.DataFrame) -> pd.DataFrame:
    """Return the vigour of every refeed.

    The steepest slopes of rise and acid, at the reference temperature, each against the culture's own baseline at
    the same step, weighted by what each is worth. A culture that declares its leading signal is judged by that alone
    wherever it was read.

    Parameters
    ----------
    collection : Collection
        The records.
    curves : pandas.DataFrame
        Its curves table.

    Returns
    -------
    pandas.DataFrame
        The vigour table, one row per refeed in the order of the refeeds; vigour is missing where no curve is sound
        or the culture has no baseline at all.
    """
    made, timezone = RESULTS["vigour"], collection.settings.timezone
    if collection["refeeds"].empty:
        return pd.DataFrame(columns=made.names).astype(made.dtypes(timezone))
    refeeds = collection["refeeds"].assign(history=history_numbers(collection))
    rates = reference_rates(collection, curves)
    own = refeeds.set_index("refeed")[["purpose", "history"]]
    rates = rates.join(own, on="refeed")
    spread = spreads(rates)
    held = _relative(with_baseline(rates, baselines(rates, spread)), spread)
    together = _together(_leading(held, collection["cultures"]))
    table = refeeds[["refeed", "culture", "fed_at", "round", "step", "history"]].merge(
        together, how="left", on="refeed"
    )
    shared = month_effects(table["log_vigour"], table["culture"], table["fed_at"])
    table["vigour_pct"] = 100.0 * np.exp(table["log_vigour"])
    table["vigour_pct_se"] = table["vigour_pct"] * table["log_vigour_se"]
    table["vigour_pct_own"] = table["vigour_pct"] * np.exp(-shared)
    table["vigour_pct_own_se"] = table["vigour_pct_se"] * np.exp(-shared)
    table["floor"] = table["refeed"].map(floors(collection, curves)).astype("str").fillna("not measured")
    table["extra_steps"] = _extra_steps(refeeds, collection.settings.steps_per_round)
    table["borrowed_share"] = table["log_vigour"].where(table["log_vigour"].isna(), 0.0)
    table["too_good"] = _too_good(table)
    return table[made.names].astype(made.dtypes(timezone))


def _relative(held: pd.DataFrame, spread: pd.Series) -> pd.DataFrame:
    """Add each log slope relative to its baseline, and its standard error as a sign of the culture's vigour."""
    still = np.log((held["rate"].where(held["status"] == "no activity") / np.exp(held["base"])).clip(lower=_LEAST))
    relative = (held["log_rate"] - held["base"]).fillna(still).clip(np.log(_LEAST), np.log(_MOST))
    # The spread holds the usual error of a fit already; a fit worse than that counts less.
    error = np.maximum(held["log_rate_se"], held["signal"].map(spread).astype(float))
    return held.assign(relative=relative, relative_se=np.hypot(error, held["base_se"]))


def _leading(held: pd.DataFrame, cultures: pd.DataFrame) -> pd.DataFrame:
    """Drop the other signal of a refeed where the leading one, if the culture declares it, was read."""
    declared = held["culture"].map(cultures.set_index("culture")["leading_signal"])
    leads = declared == held["signal"]
    read = leads.groupby(held["refeed"]).transform("any")
    return held[leads | ~read]


def _together(held: pd.DataFrame) -> pd.DataFrame:
    """Return one row per refeed: its signals together, weighted by their standard errors."""
    weight = 1.0 / held["relative_se"] ** 2
    bound = held["at_least"].map({True: " (at least)", False: ""})
    parts = held[["refeed", "baseline_rounds"]].assign(
        weight=weight,
        weighted=weight * held["relative"],
        traits_used=held["signal"] + " max_rate" + bound,
        noted=held["temperature_degC"].notna(),
    )
    refeeds = parts.sort_values("traits_used", ascending=False).groupby("refeed", as_index=False)
    both = refeeds.agg(
        weight=("weight", "sum"),
        weighted=("weighted", "sum"),
        baseline_rounds=("baseline_rounds", "max"),
        traits_used=("traits_used", ", ".join),
        noted=("noted", "all"),
    )
    both["log_vigour"] = both["weighted"] / both["weight"]
    both["log_vigour_se"] = 1.0 / np.sqrt(both["weight"])
    both["corrected_for"] = both["noted"].map({True: "temperature", False: ""})
    return both.drop(columns=["weight", "weighted", "noted"])


def _extra_steps(refeeds: pd.DataFrame, usual_steps: float) -> pd.Series:
    """Return the steps of each round beyond what the culture took in its earlier rounds."""
    stepping = refeeds[refeeds["purpose"].isin(STEPPING)]
    if stepping.empty:
        return pd.Series(pd.NA, index=range(len(refeeds)), dtype="Int64")
    rounds = stepping.groupby(["culture", "history", "round"]).agg(begun=("fed_at", "min"), steps=("step", "max"))
    rounds = rounds.sort_values("begun")
    earlier = rounds.groupby(["culture", "history"])["steps"].transform(
        lambda steps: steps.astype(float).expanding().median().shift()
    )
    extra = (rounds["steps"].astype(float) - earlier.fillna(usual_steps)).clip(lower=0).round()
    joined = refeeds.join(extra.rename("extra_steps"), on=["culture", "history", "round"])
    return joined["extra_steps"].astype("Int64").reset_index(drop=True)


def _too_good(table: pd.DataFrame) -> pd.Series:
    """Mark refeeds whose vigour lies beyond everything that the culture showed in its earlier rounds."""
    place = ["culture", "history", "round"]
    if table["round"].isna().all():
        return pd.Series(False, index=table.index, dtype="boolean")
    rounds = table.groupby(place).agg(begun=("fed_at", "min"), best=("vigour_pct_own", "max")).sort_values("begun")
    so_far = rounds.groupby(["culture", "history"])
    known = pd.DataFrame(
        {
            "best_before": so_far["best"].transform(lambda best: best.cummax().ffill().shift()),
            "rounds_before": so_far.cumcount(),
        }
    ).reset_index()
    before = table[place].merge(known, how="left", on=place).set_index(table.index)
    least = table["vigour_pct_own"] - _TOO_GOOD_SE * table["vigour_pct_own_se"]
    return ((least > before["best_before"]) & (before["rounds_before"] >= _TOO_GOOD_AFTER)).astype("boolean")
