"""Traces as rows of the curves table."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from ..columns import RESULTS
from .blocks import Observed, observe
from .composed import CURVES
from .expected import EXPECTED
from .loggers import sift
from .misread import MOST_BY_HAND
from .models import Array
from .noise import INSTRUMENTS
from .traces import Traces

#: What is known beyond the curves table: the kind of reading, the range read in its unit, and whether the refeed
#: contradicts its history.
MORE = {"kind": "str", "range_read": "float64", "unlike_history": "boolean"}
#: What only the log knows.
LOG = ("culture", "fed_at", "round", "step")


class Shelf(NamedTuple):
    """The signals of a shelf, as a table and as readings to be fitted.

    Attributes
    ----------
    signals : pandas.DataFrame
        refeed, signal, kind: one row per signal, in the order of their first reading.
    known : numpy.ndarray of int, shape (m,)
        The rows of those that have a reading that can be used.
    read : pandas.DataFrame
        The readings as they came.
    observed : Observed
        Those of them that can be used, those of loggers set right.
    aside : numpy.ndarray of int, shape (k,)
        The rows of `read` that were set aside as a logger's faults, ascending.
    said : numpy.ndarray of object, shape (m,)
        What loggers got wrong, signal by signal.
    """

    signals: pd.DataFrame
    known: Array
    read: pd.DataFrame
    observed: Observed
    aside: Array
    said: Array

    @classmethod
    def of(cls, observed: pd.DataFrame) -> Shelf:
        """Take up readings as `signals.signals` gives them; its sd and high_mark may be missing."""
        number = observed.groupby(["refeed", "signal"], sort=False).ngroup().to_numpy()
        read, number = observed[number >= 0], number[number >= 0]
        hours, values = (_floats(read, name) for name in ("elapsed_h", "value"))
        sd = _floats(read, "sd") if "sd" in read else None
        mark = read["high_mark"].fillna(False).to_numpy(dtype=bool) if "high_mark" in read else None
        _, first = np.unique(number, return_index=True)
        table = read[["refeed", "signal", "kind"]].iloc[first].reset_index(drop=True)
        some, known = observe(number, hours, values, table["kind"].to_numpy(dtype=str), sd, mark)
        sifted = sift(some, MOST_BY_HAND)
        return cls(table, known, read, sifted.observed, np.sort(some.source[sifted.aside]), sifted.said)

    def told(self, found: Traces, unlike: Array | None = None) -> pd.DataFrame:
        """Write what came of the signals as rows of the curves table, without a word on poor fits.

        Parameters
        ----------
        found : Traces
            What came of them.
        unlike : numpy.ndarray of bool, shape (m,), optional
            Which contradict their history.

        Returns
        -------
        pandas.DataFrame
            One row per signal, also for one without any reading that can be used: the columns of
            ``RESULTS["curves"]`` but for those of the log, then those of `MORE`.
        """
        columns: dict[str, Any] = {
            "status": found.status,
            "reason": self.reasons(found),
            "model": found.model,
            "readings": found.readings,
            "rms_residual": found.rms_residual,
            "range_read": found.range_read,
            "unlike_history": np.zeros(len(found.status), bool) if unlike is None else unlike,
            "lower_bounds": _lower_bounds(found),
            "set_aside": self._places(found),
        }
        for name, it in found.traits.items():
            columns |= {name: it.value, f"{name}_se": _bounded(it.se)}
        fitted = np.isin(found.model, list(CURVES))
        for name in EXPECTED:
            it = found.traits[name]
            columns |= {f"{name}_alone": it.alone, f"{name}_alone_se": _bounded(it.alone_se)}
            columns[f"{name}_prior_share"] = np.where(fitted, it.prior_share, np.nan)
        told = pd.DataFrame(columns, index=self.known).reindex(range(len(self.signals)))
        silent = told["status"].isna()
        told = told.assign(
            readings=told["readings"].mask(silent, 0),
            status=told["status"].mask(silent, "no readings"),
            reason=told["reason"].mask(silent, "no reading that can be used"),
            unlike_history=told["unlike_history"].mask(silent, False),
        )
        told = self.signals.join(told.fillna({"model": "", "lower_bounds": "", "set_aside": ""}))
        told["unit"] = told["kind"].map({kind: "pH" if it.unit == "pH" else "%" for kind, it in INSTRUMENTS.items()})
        names = [*(name for name in RESULTS["curves"].names if name not in LOG), *MORE]
        return told.reindex(columns=names).astype(dtypes(*names))

    def reasons(self, found: Traces) -> list[str]:
        """Return what is said of each signal: of its logger first, then of its readings, then of its curve."""
        parts = zip(self.said, found.remark, found.reason, strict=True)
        return ["; ".join(said for said in of_one if said) for of_one in parts]

    def _places(self, found: Traces) -> Array:
        """Name the readings set aside, file:row, or the hour where they come from no file."""
        said = np.full(len(found.set_aside), "", object)
        misread = np.flatnonzero(found.set_aside >= 0)
        signals, rows = [misread], [self.observed.source[found.set_aside[misread]]]
        if len(self.aside):
            place = self.signals.reset_index().set_index(["refeed", "signal"])["index"]
            of = self.read.iloc[self.aside][["refeed", "signal"]]
            signals.append(np.searchsorted(self.known, place.loc[pd.MultiIndex.from_frame(of)].to_numpy()))
            rows.append(self.aside)
        named = _named(self.read.iloc[np.concatenate(rows)].assign(of_signal=np.concatenate(signals)))
        for signal, name in zip(named["of_signal"], named["name"], strict=True):
            said[signal] = f"{said[signal]}, {name}" if said[signal] else name
        return said


def one_refeed(elapsed_h: Any, values: Any, kind: str, sd: Any, high_mark: float | None) -> pd.DataFrame:
    """Return the readings of one signal of one refeed as those of a shelf; a refeed that was never read has one too."""
    hours, read = np.asarray(elapsed_h, float), np.asarray(values, float)
    if not len(hours):
        hours = read = np.array([np.nan])
    marks = [] if high_mark is None else [high_mark]
    own = np.full(len(hours), np.nan) if sd is None else np.asarray(sd, float)
    return pd.DataFrame(
        {
            "elapsed_h": np.append(hours, np.full(len(marks), np.inf)),
            "value": np.append(read, marks),
            "sd": np.append(own, np.full(len(marks), np.nan)),
            "high_mark": np.append(np.zeros(len(hours), bool), np.ones(len(marks), bool)),
        }
    ).assign(refeed="", signal="", kind=kind)


def dtypes(*names: str) -> dict[str, str]:
    """Return the declared dtypes; the moment of feeding stays in the time zone in which it came."""
    declared = RESULTS["curves"].dtypes() | MORE
    return {name: declared[name] for name in names if name != "fed_at"}


def _named(rows: pd.DataFrame) -> pd.DataFrame:
    """Name each signal's readings by file and row, neighbours together, or by hour where they come from no file."""
    if "file" not in rows:
        rows = rows.assign(file=pd.NA, row=pd.NA)
    unwritten = rows.loc[rows[["file", "row"]].isna().any(axis=1), "of_signal"]
    by_hour = rows["of_signal"].isin(unwritten)
    from_files = rows[~by_hour].sort_values(["of_signal", "file", "row"])
    beside = from_files[["of_signal", "file"]].eq(from_files[["of_signal", "file"]].shift()).all(axis=1)
    begins = (~(beside & (from_files["row"].diff() == 1))).to_numpy(dtype=bool)
    first, last = from_files[begins], from_files["row"][np.append(begins[1:], True)[: len(begins)]]
    several = last.to_numpy() != first["row"].to_numpy()
    name = first["file"].astype("str") + ":" + first["row"].astype("str")
    name = name.where(~several, name + "-" + last.astype("str").to_numpy())
    hours = rows.loc[by_hour, ["of_signal"]].assign(name=[f"{hour:.4g} h" for hour in rows.loc[by_hour, "elapsed_h"]])
    return pd.concat([first[["of_signal"]].assign(name=name), hours])


def _bounded(error: Array) -> Array:
    """Return errors, none where they are out of all bounds."""
    return np.where(np.isfinite(error), error, np.nan)


def _floats(read: pd.DataFrame, name: str) -> Array:
    return read[name].to_numpy(dtype=float, na_value=np.nan)


def _lower_bounds(found: Traces) -> Array:
    """Name the traits that are only 'at least', signal by signal."""
    said = np.full(len(found.status), "", object)
    for name, it in found.traits.items():
        said[it.at_least] = [f"{before}, {name}" if before else name for before in said[it.at_least]]
    return said
