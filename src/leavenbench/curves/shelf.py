"""Activity curves for one refeed, for every refeed of a table of readings, and for a culture's refeeds together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from .choice import MODELS
from .help import with_help
from .history import expected_of, one_expected
from .misread import trace_without_misread
from .noise import judged
from .pooled import trace_pooled
from .rows import MORE, Shelf, one_refeed
from .traces import Progress


def trace_refeed(
    elapsed_h: Any,
    values: Any,
    kind: str,
    models: Sequence[str] = MODELS,
    *,
    sd: Any = None,
    high_mark: float | None = None,
    prior: Mapping[str, float] | None = None,
    noise: Mapping[str, float] | None = None,
) -> pd.Series:
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
    sd : array_like, shape (n,), optional
        Noise of each reading, in its unit, where it is not the usual one of its kind (NaN: it is).
    high_mark : float, optional
        Highest level, in the unit of `kind`, whenever it was reached: the smear line.
    prior : mapping of str to float, optional
        The refeed's row of `history.history_prior`; it helps where readings are few or end before the peak.
    noise : mapping of str to float, optional
        Noise (sd) by kind of reading, in its unit; see `noise.noise_by_kind`.

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
    shelf = Shelf.of(one_refeed(elapsed_h, values, kind, sd, high_mark))
    found = trace_without_misread(shelf.observed, models)
    unlike = with_help(shelf.observed, found, noise, one_expected(prior, shelf.signals.iloc[shelf.known]), models)
    return judged(shelf.told(found, unlike), noise).drop(columns=["refeed", "signal", *MORE]).iloc[0]


def trace_shelf(
    observed: pd.DataFrame,
    prior: pd.DataFrame | None = None,
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
        temperature: the hours of the rows are the same), value; if so wished sd and high_mark.
    prior : pandas.DataFrame, optional
        What the history of each refeed lets expect, as `history.history_prior` gives it; it helps where readings are
        few or end before the peak.
    noise : mapping of str to float, optional
        Noise (sd) by kind of reading, in its unit, by which poor fits are named, and errors told where few readings
        are to spare; see `noise.noise_by_kind`.
    models : sequence of str
        Growth curves to choose among: logistic, gompertz, richards.
    progress : callable, optional
        Called as ``progress(done, total)`` with the number of curves, block after block.

    Returns
    -------
    pandas.DataFrame
        One row per refeed and signal, in the order of their first reading: the columns of ``RESULTS["curves"]`` but
        for those of the log, then ``kind``, ``range_read`` (in the unit read) and ``unlike_history`` (the refeed
        contradicts its history).

    Examples
    --------
    >>> read = pd.DataFrame({"elapsed_h": [0.0, 2, 4, 6, 8, 10], "value": [5.9, 5.9, 5.1, 4.3, 4.0, 4.0]})
    >>> trace_shelf(read.assign(refeed="r1", signal="acid", kind="ph_direct"))[["refeed", "unit", "status"]]
      refeed unit  status
    0     r1   pH  fitted
    """
    shelf = Shelf.of(observed)
    found = trace_without_misread(shelf.observed, models, progress)
    expected = None if prior is None else expected_of(prior, shelf.signals.iloc[shelf.known])
    unlike = with_help(shelf.observed, found, noise, expected, models)
    return judged(shelf.told(found, unlike), noise)


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
    shelf = Shelf.of(observed)
    return judged(shelf.told(trace_pooled(shelf.observed, models)), noise)
