"""A culture's usual curves and the hours at which it is usually read: what plans of readings are made for."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from ...curves.composed import WITH_COLLAPSE
from ...curves.noise import INSTRUMENTS, noise_by_kind
from ...errors import LeavenbenchError

Array = np.ndarray
#: Curves that are averaged over, at most; fewer than the least say nothing of what is usual.
_MOST, _FEWEST = 40, 3
_FORMS = ("logistic", "gompertz")
_TRAITS = ("extent", "max_rate", "lag_h")


class NothingUsual(LeavenbenchError):
    """A culture has too few sound curves to plan its readings by."""

    exit_code = 2


class UsualCurves(NamedTuple):
    """Curves of one culture and signal, n of them.

    Attributes
    ----------
    culture, signal, kind, unit : str
        Of whom, which signal, by which kind of reading, in which unit that is read.
    growth : numpy.ndarray of str, shape (n,)
        logistic or gompertz.
    parameters : numpy.ndarray, shape (4, n)
        Start, extent, steepest rate and lag [h], in the unit read (and per hour).
    until_h : numpy.ndarray, shape (n,)
        The hour from which on the jar falls, so that readings teach nothing more of its growth; infinite where it was
        not seen to [h].
    sd : float
        Error of a single reading, in the unit read.
    kept_h : numpy.ndarray, shape (readings,)
        The hours at which the culture is usually read now [h].
    """

    culture: str
    signal: str
    kind: str
    unit: str
    growth: Array
    parameters: Array
    until_h: Array
    sd: float
    kept_h: Array

    @property
    def rises(self) -> bool:
        """Whether extent and rate are told in shares of the start, as those of a rise are."""
        return self.signal == "rise"


def usual_curves(read: pd.DataFrame, curves: pd.DataFrame, culture: str, signal: str = "rise") -> UsualCurves:
    """Return a culture's usual curves.

    Parameters
    ----------
    read : pandas.DataFrame
        All readings, as from `curves.signals.signals`.
    curves : pandas.DataFrame
        The curves table.
    culture : str
        Which.
    signal : str
        rise or acid.

    Returns
    -------
    UsualCurves
        Up to forty of its curves that were read to the peak, spread evenly over the years.

    Raises
    ------
    NothingUsual
        There are fewer than three such curves.
    """
    kinds = read[["refeed", "signal", "kind"]].drop_duplicates(["refeed", "signal"])
    traced = curves.drop(columns="kind", errors="ignore").merge(kinds, on=["refeed", "signal"])
    traced = traced[traced["signal"] == signal]
    own = traced[(traced["culture"] == culture) & (traced["status"] == "fitted")]
    open_ended = [bool(set(_TRAITS) & set(of.split(", "))) for of in own["lower_bounds"].fillna("")]
    own = own[~np.array(open_ended, bool)]
    own = own.assign(growth=own["model"].str.removesuffix(WITH_COLLAPSE))
    own = own[own["growth"].isin(_FORMS)].dropna(subset=list(_TRAITS))
    kind = str(own["kind"].mode().iloc[0]) if len(own) else ""
    own = own[own["kind"] == kind].sort_values("fed_at", kind="stable")
    if len(own) < _FEWEST:
        raise NothingUsual(f"{culture}: {len(own)} curves of {signal} were read to the end, {_FEWEST} are needed", own)
    ever = curves.loc[curves["culture"] == culture, "refeed"]
    hours = read[(read["signal"] == signal) & (read["kind"] == kind) & read["refeed"].isin(ever)]
    hours = hours[np.isfinite(hours["elapsed_h"])]
    own = own.iloc[np.unique(np.linspace(0, len(own) - 1, min(len(own), _MOST)).round().astype(int))]
    falls = own["model"].str.endswith(WITH_COLLAPSE)
    return UsualCurves(
        culture,
        signal,
        kind,
        INSTRUMENTS[kind].unit,
        own["growth"].to_numpy(dtype=str),
        _parameters(own, hours, INSTRUMENTS[kind].sign),
        np.where(falls, own["time_to_peak_h"].fillna(np.inf), np.inf).astype(float),
        noise_by_kind(traced[traced["kind"] == kind])[kind],
        _kept(hours),
    )


def _parameters(own: pd.DataFrame, hours: pd.DataFrame, sign: float) -> Array:
    """Return start, extent, rate and lag in the unit read."""
    extent, rate, lag = (own[name].to_numpy(dtype=float) for name in _TRAITS)
    if sign < 0.0:
        return np.array([own["ph_start"].to_numpy(dtype=float), extent, rate, lag])
    first = hours.sort_values("elapsed_h").groupby("refeed")["value"].first()
    start = own["start_height_mm"].to_numpy(dtype=float)
    start = np.where(np.isfinite(start), start, own["refeed"].map(first).to_numpy(dtype=float))
    return np.array([start, 0.01 * start * extent, 0.01 * start * rate, lag])


def _kept(hours: pd.DataFrame) -> Array:
    """Return the hours usually kept: of refeeds with the usual number of readings, the middle of each reading."""
    many = hours.groupby("refeed")["elapsed_h"].transform("size")
    usual = int(many.groupby(hours["refeed"]).first().mode().iloc[0])
    alike = hours[many == usual].sort_values(["refeed", "elapsed_h"])
    return np.median(alike["elapsed_h"].to_numpy(dtype=float).reshape(-1, usual), axis=0)
