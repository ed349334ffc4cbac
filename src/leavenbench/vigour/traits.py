"""The traits of each refeed as logarithms at the reference temperature, each with its own error.

What a curve borrowed from the culture's earlier refeeds is left out: vigour compares a refeed with just those.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from ..records.collection import Collection
from ..records.texts import places_in
from ..temperature import Cardinal
from .probes import probes_of, state_at, states
from .warmth import Warmth

#: The traits that vigour is read from; a culture that is weaker has a longer lag, so its sign is turned.
TRAITS = ("rise max_rate", "rise extent", "rise lag", "acid max_rate", "acid extent", "acid lag", "acid titration")
#: Relative standard error of a trait for which none can be had: it was read too coarsely, or the window closed early.
_UNSURE_SE = 0.5
#: A trait less sure than this says nothing [log], and for the lag [h].
_SILENT = {"max_rate": 1.0, "extent": 1.0, "lag": 3.0}
#: Titrations from this hour on tell how much acid a jar made in the end [h], and how well they do [log]; common
#: practice, no source.
_TITRATED_FROM_H, _TITRATION_SE = 12.0, 0.05
#: Of what history said alone, nothing is left.
_ALL_BORROWED = 0.98
#: What a curve's status must be for its numbers to mean something.
SOUND = ("fitted", "peak not reached", "no activity")
#: Traits and their columns in the curves table; what else of it is needed.
_COLUMNS = {"lag": "lag_h", "max_rate": "max_rate", "extent": "extent"}
_TOLD = ("", "_se", "_prior_share", "_alone", "_alone_se")
_NEEDED = ["refeed", "signal", "status", "lower_bounds", *(name + of for name in _COLUMNS.values() for of in _TOLD)]


def log_traits(collection: Collection, curves: pd.DataFrame) -> pd.DataFrame:
    """Return what each refeed shows of its culture's strength.

    Parameters
    ----------
    collection : Collection
        For the temperatures and the probes.
    curves : pandas.DataFrame
        The curves table.

    Returns
    -------
    pandas.DataFrame
        One row per sound curve and trait: refeed, trait (of `TRAITS`), value (logarithm of %, %/h, pH, pH/h at the
        reference temperature; for the lag hours with the sign turned), se, at_least, still (no activity: the value is
        missing), noted (whether a temperature was), probed (whether its probe was checked).
    """
    sound = curves.loc[curves["status"].isin(SOUND), _NEEDED].reset_index(drop=True)
    settings, warmth = collection.settings, Warmth.of(collection)
    organisms = {"rise": settings.yeast_cardinal_degC, "acid": settings.lactic_cardinal_degC}
    slopes = {"rise": np.full(len(warmth.refeeds), np.nan), "acid": _probe_slopes(collection)}
    number, parts = places_in(warmth.refeeds, sound["refeed"]), []
    for signal, temperatures in organisms.items():
        own = sound[sound["signal"] == signal]
        fed = number[own.index].to_numpy()
        parts += _of_signal(own, signal, fed, warmth, Cardinal(*temperatures), slopes[signal][fed])
    table = pd.concat([*parts, _titrations(collection)], ignore_index=True)
    names = pd.Categorical.from_codes(table["refeed"], warmth.refeeds)
    return table.assign(refeed=names, trait=pd.Categorical.from_codes(table["trait"], TRAITS))


def _of_signal(
    own: pd.DataFrame, signal: str, number: np.ndarray, warmth: Warmth, organism: Cardinal, slope: np.ndarray
) -> list[pd.DataFrame]:
    """Return the rows of each trait of a signal, without those that say nothing; refeed and trait by their number."""
    lag, rate, extent = (_alone(own, name) for name in _COLUMNS.values())
    with np.errstate(all="ignore"):
        begin = np.maximum(np.nan_to_num(own["lag_h"].to_numpy(dtype=float)), 0.0)
        took = own["extent"].to_numpy(dtype=float) / own["max_rate"].to_numpy(dtype=float)
        took = np.clip(np.nan_to_num(took, nan=2.0, posinf=24.0), 0.25, 24.0)
        at = np.array([begin, begin + took, np.maximum(lag.value, 0.0)])
        at_lag, at_end, of_lag = warmth.reference_hours(number, at, organism)
        pace = (at_end - at_lag) / took
        error = warmth.log_error(warmth.at(number, begin + 0.5 * took), number, organism)
        scale = np.log(np.where(np.isnan(slope), 1.0, slope))
        told = {
            "max_rate": (np.log(rate.value / pace) - scale, np.hypot(rate.se / rate.value, error)),
            "extent": (np.log(extent.value) - scale, extent.se / extent.value),
            "lag": (-of_lag, np.hypot(lag.se * pace, of_lag * error)),
        }
    still = (own["status"] == "no activity").to_numpy()
    common = {"refeed": number, "still": still, "noted": warmth.noted[number], "probed": ~np.isnan(slope)}
    which, bounds = pd.factorize(own["lower_bounds"].fillna(""))
    at_least = {trait: np.array([name in of.split(", ") for of in bounds], bool) for trait, name in _COLUMNS.items()}
    return [_rows(signal, trait, *told[trait], at_least[trait][which], common) for trait in told]


def _rows(
    signal: str, trait: str, value: np.ndarray, se: np.ndarray, at_least: np.ndarray, common: dict[str, np.ndarray]
) -> pd.DataFrame:
    """Return the rows of one trait, without those that say nothing."""
    still, slope = common["still"], trait == "max_rate"
    se = np.where(np.isnan(se) | still, _UNSURE_SE, se)
    told = (np.isfinite(value) & (se <= _SILENT[trait]) & (slope | ~at_least)) | (still & slope)
    columns = {"value": np.where(still, np.nan, value), "se": se, "at_least": at_least, **common}
    number = TRAITS.index(f"{signal} {trait}")
    return pd.DataFrame({"trait": number, **{name: column[told] for name, column in columns.items()}})


def _titrations(collection: Collection) -> pd.DataFrame:
    """Return the last titration of each refeed as log mmol/g, where it stopped at the endpoint usual in the records."""
    read = collection["readings"].dropna(subset=["refeed", "titration_mL", "titration_sample_g", "titrant_mol_per_L"])
    read = read[read["elapsed_h"] >= _TITRATED_FROM_H].sort_values("elapsed_h", kind="stable")
    usual = read["titration_endpoint"].mode()
    if len(usual):
        read = read[read["titration_endpoint"].isna() | (read["titration_endpoint"] == usual.iloc[0])]
    last = read.groupby("refeed").tail(1)
    acid = (last["titration_mL"] * last["titrant_mol_per_L"] / last["titration_sample_g"]).astype(float)
    acid = acid[acid > 0.0]
    number = pd.Index(collection["refeeds"]["refeed"]).get_indexer(last["refeed"].loc[acid.index])
    same = {"trait": TRAITS.index("acid titration"), "at_least": False, "still": False, "noted": True, "probed": False}
    return pd.DataFrame({"refeed": number, "value": np.log(acid), "se": _TITRATION_SE, **same})


class _Alone(NamedTuple):
    """A trait as the readings alone tell it, with its standard error."""

    value: np.ndarray
    se: np.ndarray


def _alone(own: pd.DataFrame, name: str) -> _Alone:
    """Return a trait without what was borrowed; where the rest cannot be told apart, its error leaves it out."""
    value, se, share = (own[of].to_numpy(dtype=float) for of in (name, f"{name}_se", f"{name}_prior_share"))
    alone, alone_se = (own[f"{name}_alone{of}"].to_numpy(dtype=float) for of in ("", "_se"))
    share = np.nan_to_num(share)
    with np.errstate(all="ignore"):
        rest = np.where(share > _ALL_BORROWED, np.inf, se / np.sqrt(np.maximum(1.0 - share, 1e-6)))
    told = (share > 0.0) & np.isfinite(alone) & np.isfinite(alone_se) & (alone > 0.0)
    return _Alone(np.where(told, alone, value), np.where(told, alone_se, np.where(share > 0.0, rest, se)))


def _probe_slopes(collection: Collection) -> np.ndarray:
    """Return the slope of the probe that read the pH of each refeed; NaN where it is not known."""
    refeeds, found = collection["refeeds"], states(collection["probe_checks"])
    if found.empty:
        return np.full(len(refeeds), np.nan)
    probe = probes_of(collection, collection["readings"]["ph"].notna())
    return state_at(found, probe, refeeds["fed_at"])["slope"].to_numpy()
