"""Vigour: one number per refeed, 100 % being the culture's own normal at the same step."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from ..columns import RESULTS
from ..records.collection import Collection
from ..records.living import history_numbers
from ..records.rounds import STEPPING
from .baseline import BASELINE_ROUNDS, with_baselines
from .circumstances import circumstances, lots_fed
from .floor import floors
from .numbered import HISTORY, ROUND, in_words, nth_round
from .shared import Shared, what_is_shared
from .together import together
from .too_good import too_good
from .traits import log_traits
from .worth import worth_of

#: A shelf with fewer refeeds than this has nothing to share.
_FEWEST = 12
_STEP = [*HISTORY, "step"]
_CORRECTED = {"temperature": "noted", "probe": "probed"}
_COVARIATES = {"days in the cold": "cold_d", "hours since feeding": "rest_h", "feed ratio": "log_seed"}


class Weighed(NamedTuple):
    """What the refeeds of a shelf weigh: their values and circumstances, and what the shelf shares.

    `values` has a row for each refeed with a vigour; `shared` is None where the shelf is too small to share anything.
    """

    values: pd.DataFrame
    lots: pd.DataFrame
    shared: Shared | None


def vigour_of(collection: Collection, curves: pd.DataFrame) -> pd.DataFrame:
    """Return the vigour of every refeed.

    The traits of rise and acid at the reference temperature, each against the culture's own baseline at the same
    step, weighted by what each is worth. Where rise and acid contradict each other the signal speaks that the
    culture declares as its leading one.

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
    return vigour_table(collection, curves, weigh(collection, curves))


def weigh(collection: Collection, curves: pd.DataFrame) -> Weighed:
    """Weigh the refeeds of a shelf, and tell apart what it shares.

    Parameters
    ----------
    collection, curves
        As for `vigour_of`.

    Returns
    -------
    Weighed
    """
    history = history_numbers(collection)
    refeeds = collection["refeeds"][["refeed", "culture", "round", "step", "purpose", "fed_at"]]
    own = refeeds.assign(history=history, culture=refeeds["culture"].astype("category"))
    own["refeed"] = pd.Categorical.from_codes(np.arange(len(own)), own["refeed"])  # numbers are quicker than names
    traits = log_traits(collection, curves).merge(own, how="inner", on="refeed")
    worth = worth_of(traits)
    leading = collection["cultures"].set_index("culture")["leading_signal"]
    values = together(with_baselines(traits, worth.spread), worth, leading)
    met = circumstances(collection, history).drop(columns="refeed")
    values = own.join(met).merge(values, how="inner", on="refeed").astype({"refeed": "str"})
    lots = lots_fed(collection)
    known = values.dropna(subset=["round", "step"]).reset_index(drop=True)
    shared = what_is_shared(known, lots) if len(known) >= _FEWEST else None
    return Weighed(known if shared is not None else values, lots, shared)


def vigour_table(collection: Collection, curves: pd.DataFrame, weighed: Weighed) -> pd.DataFrame:
    """Write the vigour table."""
    made, timezone = RESULTS["vigour"], collection.settings.timezone
    refeeds = collection["refeeds"]
    if refeeds.empty:
        return pd.DataFrame(columns=made.names).astype(made.dtypes(timezone))
    refeeds = refeeds.assign(history=history_numbers(collection))
    told = _own(weighed)
    table = refeeds[["refeed", "culture", "fed_at", "round", "step", "history"]].merge(told, how="left", on="refeed")
    for name in ("vigour_pct", "vigour_pct_own"):
        table[name] = 100.0 * np.exp(table[f"log_{name}"])
        table[f"{name}_se"] = table[name] * table[f"log_{name}_se"]
    table["floor"] = table["refeed"].map(floors(collection, curves)).astype("str").fillna("not measured")
    table["extra_steps"] = _extra_steps(refeeds, collection.settings.steps_per_round)
    table["borrowed_share"] = table["vigour_pct"].where(table["vigour_pct"].isna(), 0.0)
    table["too_good"] = too_good(table, weighed.values)
    return table[made.names].astype(made.dtypes(timezone))


def _own(weighed: Weighed) -> pd.DataFrame:
    """Return log vigour against the culture's first rounds, as it was and with shared causes out."""
    values, shared = weighed.values, weighed.shared
    names = ["refeed", "traits_used", "baseline_rounds"]
    if shared is None:
        covariates = own = np.zeros(len(values))
        own_se = np.zeros(len(values))
    else:
        covariates, own, own_se = shared.covariates, shared.shared, shared.shared_se
    whole = values["log_vigour"] - covariates
    told = values[names].assign(
        log_vigour_pct=whole - _first_rounds_mean(values, whole),
        log_vigour_pct_se=values["log_vigour_se"],
        log_vigour_pct_own=whole - own - _first_rounds_mean(values, whole - own),
        log_vigour_pct_own_se=np.hypot(values["log_vigour_se"], own_se),
    )
    said = [values[name].fillna(False).to_numpy(dtype=bool) for name in _CORRECTED.values()]
    said += [(values[name] != 0.0).to_numpy() & (shared is not None) for name in _COVARIATES.values()]
    told["corrected_for"] = in_words(np.column_stack(said), [[name] for name in (*_CORRECTED, *_COVARIATES)])
    return told


def _first_rounds_mean(values: pd.DataFrame, log_vigour: pd.Series) -> pd.Series:
    """Return how far each culture stands off its baseline over the first rounds, once other causes are out."""
    rounds = values[values["purpose"] == "round"].sort_values("fed_at", kind="stable")
    first = log_vigour.loc[rounds.index[nth_round(rounds, HISTORY) < BASELINE_ROUNDS]]
    middle = first.groupby([values.loc[first.index, name] for name in _STEP]).median().rename("middle").reset_index()
    found = values[_STEP].merge(middle, how="left", on=_STEP)
    return found["middle"].fillna(0.0).set_axis(values.index)


def _extra_steps(refeeds: pd.DataFrame, usual_steps: float) -> pd.Series:
    """Return the steps of each round beyond what the culture took in its earlier rounds."""
    stepping = refeeds[refeeds["purpose"].isin(STEPPING)]
    if stepping.empty:
        return pd.Series(pd.NA, index=range(len(refeeds)), dtype="Int64")
    rounds = stepping.groupby(ROUND).agg(begun=("fed_at", "min"), steps=("step", "max"))
    rounds = rounds.sort_values("begun").astype({"steps": float})
    so_far = rounds.groupby(HISTORY)["steps"].expanding().median().droplevel([0, 1])
    earlier = so_far.groupby(HISTORY).shift().fillna(usual_steps)
    extra = (rounds["steps"] - earlier).clip(lower=0).round()
    joined = refeeds.join(extra.rename("extra_steps"), on=ROUND)
    return joined["extra_steps"].astype("Int64").reset_index(drop=True)
