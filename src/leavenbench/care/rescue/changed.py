"""What changed before it slowed: every circumstance before and after, and when it changed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

from ...columns import RESULTS
from ...records.as_of import days_of
from ...records.collection import Collection
from ...vigour.circumstances import lots_fed
from ...vigour.probes import state_at, states
from ...vigour.warmth import Warmth
from ..stores import store_failures
from .case import Case

#: Rounds before the onset that tell what was usual.
_BEFORE = 3
#: By how much a number must differ to be worth a look (common practice, no source): days in the cold [d], warmth of
#: the dough [degC], the probe's error at pH 4 [pH], seed's share of the dough [%], hooch [mm].
_WORTH = {
    "days in the cold": 20.0,
    "dough temperature [degC]": 1.5,
    "probe's error at pH 4": 0.1,
    "seed in the dough [%]": 3.0,
    "hooch [mm]": 3.0,
}
_WORDS = (
    "flour",
    "flour lot",
    "person",
    "room",
    "water source",
    "store",
    "vessel kind",
    "probe",
    "smell",
    "signs",
    "note",
)
#: pH of the buffer at which a probe's error is told.
_ACID_PH = 4.0

_CHANGED = RESULTS["changed"]


def changed(case: Case, collection: Collection) -> pd.DataFrame:
    """Return what was so before the culture slowed, and what was so since.

    Parameters
    ----------
    case : Case
        Of the culture.
    collection : Collection
        The same records.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["changed"]``, one row per circumstance, those that differ first; of numbers the
        median, of words the commonest before, and all of them since.
    """
    met = _met(case, collection)
    before, after = met[met["day"] < case.onset.on], met[met["day"] >= case.onset.on]
    before = before[before["round"].isin(before["round"].drop_duplicates().tail(_BEFORE))]
    rows = [*_numbers(before, after), *_words(before, after), *_happened(case, collection, before)]
    table = pd.DataFrame(rows, columns=_CHANGED.names).astype(_CHANGED.dtypes())
    return table.sort_values("differs", ascending=False, kind="stable", ignore_index=True)


def _met(case: Case, collection: Collection) -> pd.DataFrame:
    """Return what each refeed of the culture met, in order of time."""
    own = case.ground.values.loc[case.ground.own].drop(columns=["month"])
    refeeds = collection["refeeds"].set_index("refeed").loc[own["refeed"]].reset_index()
    own = own.reset_index(drop=True)
    dough = refeeds[["seed_g", "flour_g", "water_g"]].astype(float).sum(axis=1, min_count=3)
    lots = lots_fed(collection)
    flour = lots.assign(flour=lots["lot"].map(collection["flour_lots"].set_index("lot")["flour"]))
    by_refeed = flour.dropna(subset="lot").groupby("refeed")
    told = {
        "flour lot": own["refeed"].map(by_refeed["lot"].agg(" + ".join)),
        "flour": own["refeed"].map(flour.dropna(subset="flour").groupby("refeed")["flour"].agg(" + ".join)),
        "seed in the dough [%]": 100.0 * refeeds["seed_g"].astype(float) / dough,
        "hooch [mm]": refeeds["hooch_mm"].astype(float),
        "days in the cold": _days_cold(own),
        "dough temperature [degC]": _warmth(collection, own["refeed"]),
        "probe's error at pH 4": _probe_error(collection, own),
        **{name: refeeds[name] for name in ("smell", "signs", "note")},
    }
    return own.assign(day=days_of(own["fed_at"]), **told)


def _days_cold(own: pd.DataFrame) -> pd.Series:
    """Return the days since the round before, at the first step of a round."""
    begins = own.groupby("of_round")["fed_at"].transform("min")
    ended = own.groupby("of_round", sort=False)["fed_at"].max().shift()
    since = (begins - own["of_round"].map(ended)) / pd.Timedelta(days=1)
    return since.where(own["fed_at"] == begins)


def _warmth(collection: Collection, refeeds: pd.Series) -> pd.Series:
    warmth = Warmth.of(collection)
    number = warmth.refeeds.get_indexer(refeeds)
    degC = np.mean([warmth.at(number, np.full(len(number), hour)) for hour in (1.0, 3.0, 5.0)], axis=0)
    return pd.Series(np.where(warmth.noted[number], degC, np.nan), index=refeeds.index)


def _probe_error(collection: Collection, own: pd.DataFrame) -> pd.Series:
    """Return how much too high each refeed's probe read at pH 4, by the buffers that it was held against."""
    found = states(collection["probe_checks"])
    if found.empty:
        return pd.Series(np.nan, index=own.index)
    state = state_at(found, own["probe"], own["fed_at"])
    return state["offset"] + (state["slope"] - 1.0) * (_ACID_PH - 7.0)


def _numbers(before: pd.DataFrame, after: pd.DataFrame) -> Iterator[dict[str, Any]]:
    for name, worth in _WORTH.items():
        was, now = before[name].median(), after[name].median()
        differs = bool(abs(now - was) >= worth)
        on = after.loc[(after[name] - was).abs() >= worth, "day"].min() if differs else pd.NaT
        yield {
            "circumstance": name,
            "before": "not noted" if np.isnan(was) else f"{was:.1f}",
            "since": "not noted" if np.isnan(now) else f"{now:.1f}",
            "changed_on": on,
            "differs": differs,
        }


def _words(before: pd.DataFrame, after: pd.DataFrame) -> Iterator[dict[str, Any]]:
    for name in _WORDS:
        known, now = before[name].dropna().astype("str"), after[["day", name]].dropna()
        step_alike = name == "vessel kind"  # each step has its own jar
        usual = set(known) if step_alike or name in ("person", "probe", "flour lot") else set(known.mode().head(1))
        new = now[~now[name].isin(usual)]
        yield {
            "circumstance": name,
            "before": ", ".join(dict.fromkeys(known if len(usual) != 1 else usual)) or "not noted",
            "since": ", ".join(dict.fromkeys(now[name].astype("str"))) or "not noted",
            "changed_on": new["day"].min() if len(new) else pd.NaT,
            "differs": len(new) > 0,
        }


def _happened(case: Case, collection: Collection, before: pd.DataFrame) -> Iterator[dict[str, Any]]:
    """Tell what the store did, and what was entered of the culture, since the last round before."""
    since = before["day"].max() if len(before) else pd.Timestamp.min
    own = collection["refeeds"][collection["refeeds"]["culture"] == case.culture]
    failures = store_failures(collection)
    mine = failures["culture"].eq(case.culture) | (
        failures["culture"].isna() & failures["store"].isin(own["cold_store"].dropna())
    )
    mine &= (failures["on"] >= since) & (failures["on"] <= pd.Timestamp(case.on))
    events = case.events[case.events["happened_on"] >= since]
    told = [
        ("store failure", failures[mine.astype(bool)], "on", "words"),
        ("event", events.assign(words=(events["kind"] + " " + events["reason"]).str.strip()), "happened_on", "words"),
    ]
    for name, found, day, words in told:
        yield {
            "circumstance": name,
            "before": "",
            "since": "; ".join(found[words]) or "none",
            "changed_on": found[day].min() if len(found) else pd.NaT,
            "differs": len(found) > 0,
        }
