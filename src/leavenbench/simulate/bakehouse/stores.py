"""The refrigerators and freezers: what their thermometers show, and what a failure does to the jars inside."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from .mishaps import Mishap, StoreFailure, only

#: Usual temperature and its spread [degC], by kind of store (assumed, no source).
_USUAL = {"cold": (4.0, 0.4), "freezer": (-20.5, 0.7), "deep_freezer": (-79.0, 0.8)}
#: A store warms and cools by half of what is left in so many hours (assumed, no source).
_HALFWAY_H = 6.0
_READ_AT_H = (7, 19)


def log_stores(
    stores: pd.DataFrame, begin: pd.Timestamp, end: pd.Timestamp, mishaps: Sequence[Mishap], rng: np.random.Generator
) -> pd.DataFrame:
    """Return the temperatures of stores, read every morning and evening.

    Parameters
    ----------
    stores : pandas.DataFrame
        A stores table, with ``store`` and ``kind``.
    begin, end : pandas.Timestamp
        The first day, and the moment after which nothing is read.
    mishaps : sequence of Mishap
        Failures of stores are heeded.
    rng : numpy.random.Generator
        Where chance comes from.

    Returns
    -------
    pandas.DataFrame
        store, read_at (local time), temperature [degC, to a tenth].
    """
    days = pd.date_range(begin.normalize(), end.normalize())
    moments = np.sort(np.concatenate([days + pd.Timedelta(hours=hour) for hour in _READ_AT_H]))
    moments = pd.Series(moments[moments <= end.to_datetime64()])
    logs = []
    for store, kind in stores[["store", "kind"]].itertuples(index=False):
        usual, spread = _USUAL[kind]
        shown = usual + rng.normal(0.0, spread, len(moments))
        for failure in only(mishaps, StoreFailure):
            if failure.store == store:
                shown += (failure.warmest_degC - usual) * _warmed(moments, failure)
        logs.append(pd.DataFrame({"store": store, "read_at": moments, "temperature": shown.round(1)}))
    return pd.concat(logs, ignore_index=True)


def _warmed(moments: pd.Series, failure: StoreFailure) -> np.ndarray:
    """Return how far a store has warmed, as a share of all the way: up while it stands still, then down again."""
    since = ((moments - pd.Timestamp(failure.at)) / pd.Timedelta(hours=1)).to_numpy()
    up = 1.0 - 0.5 ** (np.clip(since, 0.0, failure.hours) / _HALFWAY_H)
    return up * 0.5 ** (np.maximum(since - failure.hours, 0.0) / _HALFWAY_H)


def suffered(begins_on: pd.DataFrame, store_of: Mapping[str, str], mishaps: Sequence[Mishap]) -> np.ndarray:
    """Return what the failures of its store do to each culture's log vigour.

    Parameters
    ----------
    begins_on : pandas.DataFrame, index culture, one column per round
        When each round begins.
    store_of : mapping of str to str
        The store of each culture.
    mishaps : sequence of Mishap
        Failures of stores are heeded.

    Returns
    -------
    numpy.ndarray, shape (cultures, rounds)
        0 or below; the loss of the first round after a failure heals evenly.
    """
    lost = np.zeros(begins_on.shape)
    for failure in only(mishaps, StoreFailure):
        inside = np.array([store_of[culture] == failure.store for culture in begins_on.index])
        since = (begins_on > pd.Timestamp(failure.at)).to_numpy().cumsum(axis=1)
        left = np.where(since > 0, np.clip(1.0 - (since - 1.0) / failure.within, 0.0, 1.0), 0.0)
        lost += inside[:, None] * left * np.log1p(-failure.percent / 100.0)
    return lost
