"""Activity curves for every refeed of a shelf: the curves table."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from ..columns import RESULTS, TRAITS
from ..records.collection import Collection
from .choice import MODELS
from .models import Array
from .noise import INSTRUMENTS, judged, noise_by_kind
from .signals import signals
from .trace import Trace, trace

Progress = Callable[[int, int], None]

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
        Hours since feeding.
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
    found = trace(np.asarray(elapsed_h, float), np.asarray(values, float), kind, models)
    return judged(_table([_row(found, kind)])).drop(columns=["refeed", "signal", *_MORE]).iloc[0]


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
        As `signals.signals` gives it: refeed, signal, kind, elapsed_h, value.
    noise : mapping of str to float, optional
        Noise (sd) by kind of reading, in its unit, by which poor fits are named; see `noise.noise_by_kind`.
    models : sequence of str
        Growth curves to choose among: logistic, gompertz, richards.
    progress : callable, optional
        Called as ``progress(done, total)`` after each curve.

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
    return judged(_traced(observed, models, progress), noise)


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
        Called as ``progress(done, total)`` after each curve.

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
        Called as ``progress(done, total)`` after each curve.

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
    traced = _traced(signals(readings, refeeds, vessels), models, progress)
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


def _traced(observed: pd.DataFrame, models: Sequence[str], progress: Progress | None) -> pd.DataFrame:
    """Fit every signal, without a word on poor fits."""
    rows = []
    total = observed.groupby(["refeed", "signal"]).ngroups
    for number, (refeed, signal, kind, hours, values) in enumerate(_each(observed), start=1):
        rows.append({"refeed": refeed, "signal": signal, **_row(trace(hours, values, kind, models), kind)})
        if progress is not None:
            progress(number, total)
    return _table(rows)


def _each(observed: pd.DataFrame) -> Iterator[tuple[str, str, str, Array, Array]]:
    """Give every signal of every refeed with its readings."""
    group = observed.groupby(["refeed", "signal"], sort=False).ngroup().to_numpy()
    order = np.argsort(group, kind="stable")
    order = order[group[order] >= 0]
    names = [observed[name].to_numpy() for name in ("refeed", "signal", "kind")]
    hours, values = (observed[name].to_numpy(dtype=float, na_value=np.nan) for name in ("elapsed_h", "value"))
    for rows in np.split(order, np.flatnonzero(np.diff(group[order])) + 1):
        if len(rows):
            refeed, signal, kind = (name[rows[0]] for name in names)
            yield refeed, signal, kind, hours[rows], values[rows]


def _row(found: Trace, kind: str) -> dict[str, Any]:
    """Write a trace as a row of the curves table."""
    row: dict[str, Any] = {
        "unit": "pH" if INSTRUMENTS[kind].unit == "pH" else "%",
        "model": found.model,
        "readings": found.readings,
        "status": found.status,
        "reason": found.reason,
        "rms_residual": found.rms_residual,
        "lower_bounds": ", ".join(name for name in TRAITS if name in found.traits and found.traits[name].at_least),
        "set_aside": "",
        "kind": kind,
        "range_read": found.range_read,
    }
    for name, trait in found.traits.items():
        row[name], row[f"{name}_se"] = trait.value, trait.se
    if found.choice is not None:
        row |= dict.fromkeys(_PRIOR_SHARES, 0.0)  # each refeed speaks for itself: nothing is borrowed
    return row


def _table(rows: list[dict[str, Any]]) -> pd.DataFrame:
    names = [*(name for name in RESULTS["curves"].names if name not in _LOG), *_MORE]
    return pd.DataFrame(rows, columns=names).astype(_dtypes(*names))


def _dtypes(*names: str) -> dict[str, str]:
    """Return the declared dtypes; the moment of feeding stays in the time zone in which it came."""
    declared = RESULTS["curves"].dtypes() | _MORE
    return {name: declared[name] for name in names if name != "fed_at"}
