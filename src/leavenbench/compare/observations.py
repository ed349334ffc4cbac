"""What each refeed says of its culture in one trait: the rows that cultures are compared by.

As vigour does, hours are counted at the reference temperature, probes are taken for what their buffers showed, and what
a curve borrowed from earlier refeeds is left out: else a culture's refeeds would vouch for each other. Steps, days in
the cold, hours since the last feed and the share of seed stay columns, and are taken out by the model, which knows how
well each is known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
import pandas as pd

from ..columns import RESULTS
from ..errors import CannotRead
from ..records.collection import Collection
from ..records.living import history_numbers
from ..temperature import Cardinal
from ..vigour.circumstances import circumstances, lots_fed
from ..vigour.probes import state_at, states, true_ph
from ..vigour.traits import SOUND, log_traits
from ..vigour.warmth import Warmth

#: What may be compared.
GROUPS = ("culture", "flour", "grain", "origin")
#: Of what history said alone, nothing is left.
_ALL_BORROWED = 0.98
_SHARES = ["lag_h_prior_share", "max_rate_prior_share", "extent_prior_share"]
_JOINED = " + "


class Trait(NamedTuple):
    """A trait that may be compared: of which signal, in which column of the curves, in what unit, on what scale."""

    signal: str
    column: str
    unit: str
    scale: str = "log"


#: The traits, by name. Hours and rates vary in proportion, so they are compared as ratios; a pH is a logarithm already.
COMPARED = {
    f"{trait.signal} {trait.column}": trait
    for trait in (
        *(Trait("rise", *of) for of in (("max_rate", "%/h"), ("extent", "%"), ("lag_h", "h"))),
        *(Trait("rise", of, "h") for of in ("time_to_peak_h", "time_to_double_h", "ripe_from_h", "ripe_until_h")),
        Trait("rise", "collapse_h", "h"),
        *(Trait("acid", *of) for of in (("max_rate", "pH/h"), ("extent", "pH"), ("lag_h", "h"))),
        Trait("acid", "time_to_ph_4_6_h", "h"),
        *(Trait("acid", of, "pH", "linear") for of in ("ph_start", "ph_end")),
    )
}
#: How the traits are called that vigour already has at the reference temperature.
_AS_IN_VIGOUR = {
    f"{signal} {column}": f"{signal} {name}"
    for signal in ("rise", "acid")
    for column, name in (("max_rate", "max_rate"), ("extent", "extent"), ("lag_h", "lag"))
}


def observations(
    collection: Collection, curves: pd.DataFrame, vigour: pd.DataFrame, trait: str, by: str = "culture"
) -> pd.DataFrame:
    """Return what each refeed of a round says of its culture in one trait.

    Parameters
    ----------
    collection : Collection
        The records.
    curves, vigour : pandas.DataFrame
        Its curves and vigour tables.
    trait : str
        A name in `COMPARED`, such as ``rise max_rate``.
    by : str
        What will be compared, of `GROUPS`; refeeds of which it is not known are left out.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["observations"]``, one row per refeed that says something; see `left_out`.

    Raises
    ------
    CannotRead
        There is no such trait, or nothing such to compare by.
    """
    told = _told(_Known.of(collection, curves, vigour, by), trait)
    return _as_made(told[told["reason"] == ""], "observations", collection)


def left_out(
    collection: Collection, curves: pd.DataFrame, vigour: pd.DataFrame, trait: str, by: str = "culture"
) -> pd.DataFrame:
    """Return the refeeds that say nothing of a trait, and why.

    Parameters
    ----------
    collection, curves, vigour, trait, by
        As for `observations`.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["left_out_of_comparison"]``; together with the observations every refeed once.

    Raises
    ------
    CannotRead
        There is no such trait, or nothing such to compare by.
    """
    told = _told(_Known.of(collection, curves, vigour, by), trait)
    return _as_made(told[told["reason"] != ""], "left_out_of_comparison", collection)


def every_trait(
    collection: Collection,
    curves: pd.DataFrame,
    vigour: pd.DataFrame,
    by: str = "culture",
    traits: Sequence[str] = tuple(COMPARED),
) -> dict[str, pd.DataFrame]:
    """Return the observations of several traits, by name; what they share is worked out once.

    Parameters
    ----------
    collection, curves, vigour, by
        As for `observations`.
    traits : sequence of str
        Which, of `COMPARED`; all by default.

    Returns
    -------
    dict of str to pandas.DataFrame
    """
    known = _Known.of(collection, curves, vigour, by)
    return {
        trait: _as_made(told[told["reason"] == ""], "observations", collection)
        for trait, told in ((trait, _told(known, trait)) for trait in traits)
    }


def _as_made(table: pd.DataFrame, name: str, collection: Collection) -> pd.DataFrame:
    made = RESULTS[name]
    return table[made.names].astype(made.dtypes(collection.settings.timezone)).reset_index(drop=True)


class _Signal(NamedTuple):
    """What does not depend on the trait of a signal.

    Attributes
    ----------
    curves : pandas.DataFrame
        Its curves.
    fed, place : numpy.ndarray of int
        The refeed of each curve and the curve of each refeed, by their number; -1 where there is none.
    silent : pandas.Series of str
        Why a refeed says nothing in any of its traits; empty where it may.
    bounds : pandas.Series of str
        What each refeed's curve knows as "at least" only.
    """

    curves: pd.DataFrame
    fed: np.ndarray
    place: np.ndarray
    silent: pd.Series
    bounds: pd.Series

    @classmethod
    def of(cls, curves: pd.DataFrame, refeeds: pd.DataFrame, too_good: np.ndarray, by: str) -> _Signal:
        """Take it from the curves of one signal; `too_good` is of all refeeds."""
        curves, names = curves.reset_index(drop=True), pd.Index(refeeds["refeed"])
        place = pd.Index(curves["refeed"]).get_indexer(names)
        seen = curves[["status", "lower_bounds"]].reindex(place).set_axis(refeeds.index)
        status = seen["status"].fillna("no readings")
        why: list[tuple[pd.Series | str, np.ndarray | pd.Series]] = [
            ("fed for a " + refeeds["purpose"].astype("str") + ", not in a round", refeeds["purpose"] != "round"),
            ("too good to be the culture that it was: it may no longer be itself", too_good),
            (f"its {by} is not noted", refeeds[by].isna()),
            ("its curve: " + status.astype("str"), ~status.isin(SOUND)),
            ("nothing moved", status == "no activity"),
        ]
        silent = pd.Series("", index=refeeds.index, dtype="str")
        for words, holds in reversed(why):  # the first that holds is the one told
            silent = silent.mask(holds, words)
        return cls(curves, names.get_indexer(curves["refeed"]), place, silent, seen["lower_bounds"].fillna(""))


@dataclass(frozen=True)
class _Known:
    """What does not depend on the trait: the records, all refeeds, strengths, and the signals by name."""

    collection: Collection
    refeeds: pd.DataFrame
    strengths: pd.DataFrame
    signals: dict[str, _Signal]

    @classmethod
    def of(cls, collection: Collection, curves: pd.DataFrame, vigour: pd.DataFrame, by: str) -> _Known:
        if by not in GROUPS:
            raise CannotRead(f"cannot compare by '{by}'; use {', '.join(GROUPS)}")
        curves = curves.drop_duplicates(["refeed", "signal"])
        refeeds, strengths = _refeeds(collection), log_traits(collection, curves)
        good = vigour.loc[vigour["too_good"].fillna(False).astype(bool), "refeed"]
        too_good = refeeds["refeed"].isin(good).to_numpy()
        own = {name: curves[curves["signal"] == name] for name in ("rise", "acid")}
        signals = {name: _Signal.of(table, refeeds, too_good, by) for name, table in own.items()}
        return cls(collection, refeeds, strengths, signals)

    @cached_property
    def warmth(self) -> Warmth:
        return Warmth.of(self.collection)

    @cached_property
    def probe_states(self) -> pd.DataFrame:
        """The state of the probe of each curve of acid."""
        readings, own = self.collection["readings"], self.signals["acid"].curves
        read = readings[readings["ph"].notna() & readings["probe"].notna()]
        probe = own["refeed"].map(read.groupby("refeed")["probe"].first())
        return state_at(states(self.collection["probe_checks"]), probe, own["fed_at"])


def _told(known: _Known, trait: str) -> pd.DataFrame:
    """Return every refeed, with its value or with the reason why it has none."""
    if trait not in COMPARED:
        raise CannotRead(f"'{trait}' is no trait to compare; there are {', '.join(COMPARED)}")
    asked = COMPARED[trait]
    signal = known.signals[asked.signal]
    value, se = _values(known, signal, trait)
    which, distinct = pd.factorize(signal.bounds)
    at_least = np.array([asked.column in of.split(", ") for of in distinct], bool)[which]
    unknown = ~(np.isfinite(value) & np.isfinite(se))
    reason, may = signal.silent, signal.silent == ""
    reason = reason.mask(may & unknown, "its readings, without what history lent them, do not tell it")
    reason = reason.mask(may & at_least, "its readings say only 'at least'")
    told = {"trait": trait, "unit": asked.unit, "scale": asked.scale, "reason": reason}
    return known.refeeds.assign(value=value, se=se, **told)


def _refeeds(collection: Collection) -> pd.DataFrame:
    """Return every refeed with all that it may be compared by, and all that is taken out of it."""
    refeeds = collection["refeeds"]
    met = circumstances(collection, history_numbers(collection))
    table = refeeds[["refeed", "culture", "fed_at", "round", "step", "purpose", "vessel"]].merge(
        met[["refeed", "day", "cold_d", "rest_h", "log_seed"]], how="left", on="refeed"
    )
    known = collection["cultures"].drop_duplicates("culture").set_index("culture")
    flour = table["refeed"].map(_flours_fed(collection)).fillna(table["culture"].map(known["flour"]))
    grain = collection["flours"].drop_duplicates("flour").set_index("flour")["grain"].dropna().to_dict()
    return table.assign(
        flour=flour, grain=flour.map(lambda of: _grains(of, grain)), origin=table["culture"].map(known["origin"])
    )


def _flours_fed(collection: Collection) -> pd.Series:
    """Return the flour of each refeed by its lots, all of them where it was a blend."""
    of_lot = collection["flour_lots"].drop_duplicates("lot").set_index("lot")["flour"]
    fed = lots_fed(collection)
    fed = fed.assign(flour=fed["lot"].map(of_lot)).dropna(subset="flour").drop_duplicates(["refeed", "flour"])
    return fed.sort_values(["refeed", "flour"]).groupby("refeed")["flour"].agg(_JOINED.join)


def _grains(flour: object, grain: dict[str, str]) -> str | None:
    """Return the grain of a flour, or of all flours of a blend; None where one is not known."""
    if not isinstance(flour, str):
        return None
    grains = [grain.get(one) for one in flour.split(_JOINED)]
    return None if None in grains else _JOINED.join(sorted({str(one) for one in grains}))


def _values(known: _Known, signal: _Signal, trait: str) -> tuple[np.ndarray, np.ndarray]:
    """Return each refeed's value and se on the working scale; NaN where they cannot be had."""
    if trait in _AS_IN_VIGOUR:
        return _strengths(known, _AS_IN_VIGOUR[trait])
    asked = COMPARED[trait]
    of_curves = _acidities(known, asked.column) if asked.unit == "pH" else _hours(known, signal, asked)
    value, se = (np.append(of, np.nan)[signal.place] for of in of_curves)
    return value, se


def _strengths(known: _Known, trait: str) -> tuple[np.ndarray, np.ndarray]:
    """Take what vigour reads off a curve; a lag as a logarithm too, where there is one."""
    found = known.strengths
    found = found[(found["trait"] == trait) & ~found["still"]]
    value, se = np.full((2, len(known.refeeds)), np.nan)
    number = found["refeed"].cat.codes
    value[number], se[number] = found["value"], found["se"]
    if not trait.endswith("lag"):
        return value, se
    lag = np.where(value < 0.0, -value, np.nan)
    return np.log(lag), se / lag


def _hours(known: _Known, signal: _Signal, asked: Trait) -> tuple[np.ndarray, np.ndarray]:
    """Count hours at the reference temperature, and give back what was borrowed by a larger error."""
    settings, own, number, warmth = known.collection.settings, signal.curves, signal.fed, known.warmth
    organism = Cardinal(*(settings.yeast_cardinal_degC if asked.signal == "rise" else settings.lactic_cardinal_degC))
    hours = own[asked.column].to_numpy(dtype=float)
    hours = np.where(hours > 0.0, hours, np.nan)
    borrowed = own[_SHARES].astype(float).fillna(0.0).max(axis=1).to_numpy()
    with np.errstate(invalid="ignore"):
        passed = warmth.reference_hours(number, hours, organism)
        pace = warmth.pace(warmth.at(number, np.nan_to_num(hours)), organism)
        read = own[f"{asked.column}_se"].to_numpy(dtype=float) * pace / passed
        read = read / np.sqrt(np.where(borrowed > _ALL_BORROWED, np.nan, 1.0 - borrowed))
        warm = warmth.log_error(warmth.at(number, np.nan_to_num(0.5 * hours)), number, organism)
        return np.log(passed), np.hypot(read, warm)


def _acidities(known: _Known, column: str) -> tuple[np.ndarray, np.ndarray]:
    """Return a pH as the probe would show it if it were as good as new."""
    own, state = known.signals["acid"].curves, known.probe_states
    se = own[f"{column}_se"].astype(float) / state["slope"].fillna(1.0)
    return true_ph(own[column].astype(float), state).to_numpy(), se.to_numpy()
