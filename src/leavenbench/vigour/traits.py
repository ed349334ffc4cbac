"""The traits of each refeed as logarithms at the reference temperature, each with its own error.

What a curve borrowed from the culture's earlier refeeds is left out: vigour compares a refeed with just those.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from ..records.collection import Collection
from ..temperature import Cardinal
from .probes import state_at, states
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
    sound = curves[curves["status"].isin(SOUND)].reset_index(drop=True)
    warmth = Warmth.of(collection)
    probe = _probe_slopes(collection, sound)
    parts = []
    settings = collection.settings
    organisms = {"rise": settings.yeast_cardinal_degC, "acid": settings.lactic_cardinal_degC}
    for signal, temperatures in organisms.items():
        own = sound[sound["signal"] == signal].reset_index(drop=True)
        slope = probe[(sound["signal"] == signal).to_numpy()] if signal == "acid" else np.full(len(own), np.nan)
        parts += _of_signal(own, warmth, Cardinal(*temperatures), slope)
    table = pd.concat([*parts, _titrations(collection)], ignore_index=True)
    table["trait"] = pd.Categorical(table["trait"], TRAITS)
    return table


def _of_signal(own: pd.DataFrame, warmth: Warmth, organism: Cardinal, slope: np.ndarray) -> list[pd.DataFrame]:
    if own.empty:
        return []
    number = warmth.refeeds.get_indexer(own["refeed"])
    lag, rate, extent = (_alone(own, name) for name in ("lag_h", "max_rate", "extent"))
    with np.errstate(all="ignore"):
        begin = np.maximum(np.nan_to_num(own["lag_h"].to_numpy(dtype=float)), 0.0)
        took = own["extent"].to_numpy(dtype=float) / own["max_rate"].to_numpy(dtype=float)
        took = np.clip(np.nan_to_num(took, nan=2.0, posinf=24.0), 0.25, 24.0)
        at_lag = warmth.reference_hours(number, begin, organism)
        pace = (warmth.reference_hours(number, begin + took, organism) - at_lag) / took
        error = warmth.log_error(warmth.at(number, begin + 0.5 * took), number, organism)
        scale = np.log(np.where(np.isnan(slope), 1.0, slope))
        of_lag = warmth.reference_hours(number, np.maximum(lag.value, 0.0), organism)
        told = {
            "max_rate": (np.log(rate.value / pace) - scale, np.hypot(rate.se / rate.value, error)),
            "extent": (np.log(extent.value) - scale, extent.se / extent.value),
            "lag": (-of_lag, np.hypot(lag.se * pace, of_lag * error)),
        }
    still = (own["status"] == "no activity").to_numpy()
    bounds = own["lower_bounds"].fillna("").str.split(", ")
    columns = {"max_rate": "max_rate", "extent": "extent", "lag": "lag_h"}
    return [
        _rows(
            own, trait, *told[trait], still, np.array([name in of for of in bounds], bool), warmth.noted[number], slope
        )
        for trait, name in columns.items()
    ]


def _rows(
    own: pd.DataFrame,
    trait: str,
    value: np.ndarray,
    se: np.ndarray,
    still: np.ndarray,
    at_least: np.ndarray,
    noted: np.ndarray,
    slope: np.ndarray,
) -> pd.DataFrame:
    """Return the rows of one trait, without those that say nothing."""
    se = np.where(np.isnan(se) | still, _UNSURE_SE, se)
    table = pd.DataFrame(
        {
            "refeed": own["refeed"],
            "trait": own["signal"] + " " + trait,
            "value": np.where(still, np.nan, value),
            "se": se,
            "at_least": at_least,
            "still": still,
            "noted": noted,
            "probed": ~np.isnan(slope),
        }
    )
    told = np.isfinite(value) & (se <= _SILENT[trait]) & ~(at_least & (trait != "max_rate"))
    return table[told | (still & (trait == "max_rate"))]


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
    return pd.DataFrame(
        {
            "refeed": last["refeed"].loc[acid.index],
            "trait": "acid titration",
            "value": np.log(acid),
            "se": _TITRATION_SE,
            "at_least": False,
            "still": False,
            "noted": True,
            "probed": False,
        }
    )


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


def _probe_slopes(collection: Collection, sound: pd.DataFrame) -> np.ndarray:
    """Return the slope of the probe that read each refeed; NaN where it is not known."""
    readings = collection["readings"]
    read = readings[readings["ph"].notna() & readings["probe"].notna()]
    found = states(collection["probe_checks"])
    if read.empty or found.empty:
        return np.full(len(sound), np.nan)
    probe = sound["refeed"].map(read.groupby("refeed")["probe"].first())
    return state_at(found, probe, sound["fed_at"])["slope"].to_numpy()
