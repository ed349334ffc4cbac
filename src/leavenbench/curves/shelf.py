"""Activity curves for every refeed of a shelf: the curves table."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from ..columns import RESULTS
from ..records.collection import Collection
from .blocks import Observed, observe
from .choice import MODELS
from .composed import CURVES
from .misread import trace_without_misread
from .models import Array
from .noise import INSTRUMENTS, judged, noise_by_kind
from .pooled import trace_pooled
from .signals import signals
from .traces import Progress, Traces

_UNITS = {"rise": "%", "acid": "pH"}
_NOT_READ = {"rise": "no rise was read", "acid": "no pH was read"}
_PRIOR_SHARES = ("lag_h_prior_share", "max_rate_prior_share", "extent_prior_share")
#: What `trace_shelf` knows beyond the curves table: the kind of reading, and the range read in its unit.
_MORE = {"kind": "str", "range_read": "float64"}
_LOG = ("culture", "fed_at", "round", "step")


def trace_refeed(elapsed_h: Any, values: Any, kind: str, models: Sequence[str] = MODELS) -> pd.Series:
    """Fit an activity curve to the readings of one signal of one refeed.

    Parameters
    ----------
    elapsed_h : array_like, shape (n,)
        Hours since feeding, by the clock, or hours at a reference temperature: the hours of the row are the same.
    values : array_like, shape (n,)
        The readings, in the unit of `kind`; a rise in % counts from 100 at the start.
    kind : str
        height_mm, volume_mL, rise_pct, ph_direct or ph_slurry.
    models : sequence of str
        Growth curves to choose among: logistic, gompertz, richards.

    Returns
    -------
    pandas.Series
        The refeed's row of the curves table, without what only its log knows.

    Raises
    ------
    KeyError
        `kind` is none of the five.

    Examples
    --------
    >>> row = trace_refeed([0, 1, 2, 3, 4, 5, 6, 8, 9], [40.2, 40, 41, 46, 62, 75, 79, 80, 79.6], "height_mm")
    >>> row["status"], row["model"], round(row["extent"]), round(row["extent_se"])
    ('fitted', 'logistic', 100, 1)
    """
    hours, read = np.asarray(elapsed_h, float), np.asarray(values, float)
    if not len(hours):  # a refeed that was never read has a row as well
        hours = read = np.array([np.nan])
    one = pd.DataFrame({"elapsed_h": hours, "value": read}).assign(refeed="", signal="", kind=kind)
    return (
        judged(_traced(one, lambda signals: trace_without_misread(signals, models)))
        .drop(columns=["refeed", "signal", *_MORE])
        .iloc[0]
    )


def trace_shelf(
    observed: pd.DataFrame,
    noise: Mapping[str, float] | None = None,
    models: Sequence[str] = MODELS,
    progress: Progress | None = None,
) -> pd.DataFrame:
    """Fit an activity curve to every signal of every refeed.

    Each refeed is fitted on its own: any part of the refeeds gives the same rows as the whole.

    Parameters
    ----------
    observed : pandas.DataFrame
        As `signals.signals` gives it: refeed, signal, kind, elapsed_h (by the clock, or hours at a reference
        temperature: the hours of the rows are the same), value.
    noise : mapping of str to float, optional
        Noise (sd) by kind of reading, in its unit, by which poor fits are named; see `noise.noise_by_kind`.
    models : sequence of str
        Growth curves to choose among: logistic, gompertz, richards.
    progress : callable, optional
        Called as ``progress(done, total)`` with the number of curves, block after block.

    Returns
    -------
    pandas.DataFrame
        One row per refeed and signal, in the order of their first reading: the columns of ``RESULTS["curves"]`` but
        for those of the log, then ``kind`` and ``range_read`` (in the unit read).

    Examples
    --------
    >>> read = pd.DataFrame({"elapsed_h": [0.0, 2, 4, 6, 8, 10], "value": [5.9, 5.9, 5.1, 4.3, 4.0, 4.0]})
    >>> trace_shelf(read.assign(refeed="r1", signal="acid", kind="ph_direct"))[["refeed", "unit", "status"]]
      refeed unit  status
    0     r1   pH  fitted
    """
    return judged(_traced(observed, lambda signals: trace_without_misread(signals, models, progress)), noise)


def pool_culture(
    observed: pd.DataFrame, noise: Mapping[str, float] | None = None, models: Sequence[str] = MODELS
) -> pd.DataFrame:
    """Fit one shape to the refeeds of a culture: each keeps its own start and extent.

    Refeeds that were read too seldom to be fitted alone borrow the shape from the others. Pool like with like: one
    culture, one step, one temperature, or hours at the reference temperature.

    Parameters
    ----------
    observed : pandas.DataFrame
        As `signals.signals` gives it: refeed, signal, kind, elapsed_h, value; kinds of reading are pooled apart.
    noise : mapping of str to float, optional
        Noise (sd) by kind of reading, in its unit, by which poor fits are named; see `noise.noise_by_kind`.
    models : sequence of str
        Growth curves to choose among: logistic, gompertz, richards.

    Returns
    -------
    pandas.DataFrame
        One row per refeed and signal, as of `trace_shelf`; standard errors are those of the pooled fit, which counts
        the residuals of all its refeeds as one noise.

    Examples
    --------
    >>> read = pd.DataFrame({"elapsed_h": [0.0, 2, 4, 6, 8, 10], "value": [5.9, 5.9, 5.1, 4.3, 4.0, 4.0]})
    >>> twice = pd.concat([read.assign(refeed="r1"), read.iloc[::2].assign(refeed="r2")])
    >>> pool_culture(twice.assign(signal="acid", kind="ph_direct"))[["refeed", "readings", "status"]]
      refeed  readings  status
    0     r1         6  fitted
    1     r2         3  fitted
    """
    return judged(_traced(observed, lambda signals: trace_pooled(signals, models)), noise)


def trace_collection(
    collection: Collection, models: Sequence[str] = MODELS, progress: Progress | None = None
) -> pd.DataFrame:
    """Fit an activity curve to every signal of every refeed of a collection.

    Parameters
    ----------
    collection : Collection
        The records.
    models : sequence of str
        Growth curves to choose among: logistic, gompertz, richards.
    progress : callable, optional
        Called as ``progress(done, total)`` with the number of curves, block after block.

    Returns
    -------
    pandas.DataFrame
        The curves table, as `curves_table` makes it.
    """
    return curves_table(collection["refeeds"], collection["readings"], collection["vessels"], models, progress)


def curves_table(
    refeeds: pd.DataFrame,
    readings: pd.DataFrame,
    vessels: pd.DataFrame | None = None,
    models: Sequence[str] = MODELS,
    progress: Progress | None = None,
) -> pd.DataFrame:
    """Make the curves table from the tables of a collection.

    Parameters
    ----------
    refeeds, readings, vessels : pandas.DataFrame
        Under the inside names of ``columns.TABLES``; every reading names its refeed and its ``elapsed_h``.
    models : sequence of str
        Growth curves to choose among: logistic, gompertz, richards.
    progress : callable, optional
        Called as ``progress(done, total)`` with the number of curves, block after block.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["curves"]``; one row per refeed and signal, also when that was never read, in the
        order of feeding. Poor fits are named by the noise that the shelf itself shows.

    Examples
    --------
    >>> fed = pd.DataFrame({"refeed": ["r1"], "culture": ["Ida"], "fed_at": pd.to_datetime(["2025-03-01 08:00Z"])})
    >>> read = pd.DataFrame({"refeed": "r1", "elapsed_h": [0.0, 2, 4, 6, 8], "ph": [5.9, 5.8, 5.0, 4.2, 4.0]})
    >>> curves_table(fed, read)[["culture", "signal", "status", "reason"]].head(1).values.tolist()
    [['Ida', 'rise', 'no readings', 'no rise was read']]
    """
    observed = signals(readings, refeeds, vessels)
    traced = _traced(observed, lambda some: trace_without_misread(some, models, progress))
    traced = judged(traced, noise_by_kind(traced))
    log = refeeds.reindex(columns=["refeed", *_LOG]).sort_values("fed_at", kind="stable")
    log = log.merge(pd.DataFrame({"signal": list(_UNITS)}), how="cross").astype({"refeed": "str", "signal": "str"})
    table = log.merge(traced, how="left", on=["refeed", "signal"])
    never = table["status"].isna()
    table = table.assign(
        unit=table["signal"].map(_UNITS),
        reason=table["reason"].mask(never, table["signal"].map(_NOT_READ)),
        status=table["status"].mask(never, "no readings"),
        readings=table["readings"].mask(never, 0),
    )
    table = table.fillna({"model": "", "lower_bounds": "", "set_aside": ""})
    return table[RESULTS["curves"].names].astype(_dtypes(*RESULTS["curves"].names))


def _traced(observed: pd.DataFrame, fit: Callable[[Observed], Traces]) -> pd.DataFrame:
    """Fit every signal in some way, without a word on poor fits."""
    number = observed.groupby(["refeed", "signal"], sort=False).ngroup().to_numpy()
    read, number = observed[number >= 0], number[number >= 0]
    hours, values = (read[name].to_numpy(dtype=float, na_value=np.nan) for name in ("elapsed_h", "value"))
    _, first = np.unique(number, return_index=True)
    table = read[["refeed", "signal", "kind"]].iloc[first].reset_index(drop=True)
    some, known = observe(number, hours, values, table["kind"].to_numpy(dtype=str))
    found = fit(some)
    return _told(table, known, found, _places(read, some, found))


def _places(read: pd.DataFrame, observed: Observed, found: Traces) -> Array:
    """Name the readings set aside, file:row, or the hour where they come from no file."""
    said = np.full(len(found.set_aside), "", object)
    for signal in np.flatnonzero(found.set_aside >= 0):
        row = read.iloc[observed.source[found.set_aside[signal]]]
        known = "file" in row and pd.notna(row["file"]) and pd.notna(row["row"])
        said[signal] = f"{row['file']}:{row['row']}" if known else f"{row['elapsed_h']:.4g} h"
    return said


def _told(table: pd.DataFrame, known: Array, found: Traces, set_aside: Array) -> pd.DataFrame:
    """Write traces as rows of the curves table; a signal without any reading that can be used has none."""
    columns: dict[str, Array] = {
        "status": found.status,
        "reason": found.reason,
        "model": found.model,
        "readings": found.readings,
        "rms_residual": found.rms_residual,
        "range_read": found.range_read,
        "lower_bounds": _lower_bounds(found),
        "set_aside": set_aside,
    }
    for name, it in found.traits.items():
        columns |= {name: it.value, f"{name}_se": it.se}
    # each refeed speaks for itself: nothing is borrowed
    columns |= dict.fromkeys(_PRIOR_SHARES, np.where(np.isin(found.model, list(CURVES)), 0.0, np.nan))
    told = pd.DataFrame(columns, index=known).reindex(range(len(table)))
    silent = told["status"].isna()
    told = told.assign(readings=told["readings"].mask(silent, 0), status=told["status"].mask(silent, "no readings"))
    told = told.assign(reason=told["reason"].mask(silent, "no reading that can be used"))
    told = table.join(told.fillna({"model": "", "lower_bounds": "", "set_aside": ""}))
    told["unit"] = told["kind"].map({kind: "pH" if it.unit == "pH" else "%" for kind, it in INSTRUMENTS.items()})
    names = [*(name for name in RESULTS["curves"].names if name not in _LOG), *_MORE]
    return told.reindex(columns=names).astype(_dtypes(*names))


def _lower_bounds(found: Traces) -> Array:
    """Name the traits that are only 'at least', signal by signal."""
    said = np.full(len(found.status), "", object)
    for name, it in found.traits.items():
        said[it.at_least] = [f"{before}, {name}" if before else name for before in said[it.at_least]]
    return said


def _dtypes(*names: str) -> dict[str, str]:
    """Return the declared dtypes; the moment of feeding stays in the time zone in which it came."""
    declared = RESULTS["curves"].dtypes() | _MORE
    return {name: declared[name] for name in names if name != "fed_at"}
