"""The curves table of a collection: every refeed by itself first, then the sparse ones with the help of the others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import pandas as pd

from ..columns import RESULTS
from ..records.collection import Collection
from ..records.living import history_numbers
from .choice import MODELS
from .help import with_help
from .history import expected_of, history_prior
from .misread import trace_without_misread
from .noise import judged, noise_by_kind
from .rows import LOG, Shelf, dtypes
from .signals import signals
from .traces import Progress

_UNITS = {"rise": "%", "acid": "pH"}
_NOT_READ = {"rise": "no rise was read", "acid": "no pH was read"}


class Known(NamedTuple):
    """What a shelf knows that a single refeed does not.

    Attributes
    ----------
    prior : pandas.DataFrame
        What the history of each refeed lets expect, as `history.history_prior` gives it.
    noise : mapping of str to float
        Noise (sd) by kind of reading, in its unit, as `noise.noise_by_kind` gives it.
    """

    prior: pd.DataFrame
    noise: Mapping[str, float]

    @classmethod
    def of(cls, alone: pd.DataFrame, refeeds: pd.DataFrame) -> Known:
        """Learn it from what the readings of each refeed say by themselves, and the log."""
        log = refeeds.drop(columns=[name for name in alone if name in refeeds and name != "refeed"])
        return cls(history_prior(alone.merge(log, how="left", on="refeed")), noise_by_kind(alone))


def known_of(collection: Collection, models: Sequence[str] = MODELS) -> Known:
    """Learn from a collection what helps where a refeed was read too seldom; see `trace.trace_signal`.

    Parameters
    ----------
    collection : Collection
        The records.
    models : sequence of str
        Growth curves to choose among: logistic, gompertz, richards.

    Returns
    -------
    Known
    """
    refeeds = collection["refeeds"].assign(history=history_numbers(collection))
    shelf = Shelf.of(signals(collection["readings"], refeeds, collection["vessels"]))
    return Known.of(shelf.told(trace_without_misread(shelf.observed, models)), refeeds)


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
    refeeds = collection["refeeds"].assign(history=history_numbers(collection))
    return curves_table(refeeds, collection["readings"], collection["vessels"], models, progress)


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
        Under the inside names of ``columns.TABLES``; every reading names its refeed and its ``elapsed_h``. A column
        ``history`` of refeeds, if there is one, tells apart the times before and after a loss.
    models : sequence of str
        Growth curves to choose among: logistic, gompertz, richards.
    progress : callable, optional
        Called as ``progress(done, total)`` with the number of curves, block after block.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["curves"]``; one row per refeed and signal, also when that was never read, in the
        order of feeding. Curves that are sparse or cut off are helped by the culture's own earlier refeeds at the same
        step; poor fits are named by the noise that the shelf itself shows.

    Examples
    --------
    >>> fed = pd.DataFrame({"refeed": ["r1"], "culture": ["Ida"], "fed_at": pd.to_datetime(["2025-03-01 08:00Z"])})
    >>> read = pd.DataFrame({"refeed": "r1", "elapsed_h": [0.0, 2, 4, 6, 8], "ph": [5.9, 5.8, 5.0, 4.2, 4.0]})
    >>> curves_table(fed, read)[["culture", "signal", "status", "reason"]].head(1).values.tolist()
    [['Ida', 'rise', 'no readings', 'no rise was read']]
    """
    shelf = Shelf.of(signals(readings, refeeds, vessels))
    found = trace_without_misread(shelf.observed, models, progress)
    known = Known.of(shelf.told(found), refeeds)
    expected = expected_of(known.prior, shelf.signals.iloc[shelf.known])
    unlike = with_help(shelf.observed, found, known.noise, expected, models)
    traced = judged(shelf.told(found, unlike), known.noise)
    log = refeeds.reindex(columns=["refeed", *LOG]).sort_values("fed_at", kind="stable")
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
    return table[RESULTS["curves"].names].astype(dtypes(*RESULTS["curves"].names))
