"""Curves of a shelf that is kept in a folder of Parquet files, fitted in parts on whatever dask runs on.

A refeed needs no other refeed, so the parts of a folder go to the workers of a cluster and each is fitted as
`shelf.trace_shelf` fits a table: the rows are the same, to the last bit. All it takes is that no refeed is fitted in
pieces. Loggers write a file a day or a month, so some refeeds begin in one file and end in the next: these are found
first, by their names alone, and their readings are brought together before they are fitted.
"""

from __future__ import annotations

import os
import shutil
import uuid
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd

from ..errors import CannotRead, Refused
from .choice import MODELS
from .shelf import trace_shelf
from .traces import Progress

if TYPE_CHECKING:
    from dask.dataframe import DataFrame as DaskFrame
    from distributed import Client

#: What is read of a file, as `signals.signals` gives it; the first five must be there.
_COLUMNS = {
    "refeed": "str", "signal": "str", "kind": "str", "elapsed_h": "float64", "value": "float64",
    "sd": "float64", "high_mark": "boolean", "file": "str", "row": "Int64",
}  # fmt: skip
_NEEDED = list(_COLUMNS)[:5]
#: Enough readings to fit a block of curves at full speed, few enough for every worker to get many parts.
_TOGETHER = 200_000

#: Row groups of files that are read together: (file, its row groups), one after another.
_Part = tuple[tuple[Path, tuple[int, ...]], ...]


def trace_parquet(
    folder: str | Path,
    out: str | Path,
    prior: pd.DataFrame | None = None,
    noise: Mapping[str, float] | None = None,
    models: Sequence[str] = MODELS,
    *,
    client: Client | None = None,
    progress: Progress | None = None,
    together: int = _TOGETHER,
) -> Path:
    """Fit an activity curve to every signal of every refeed of a folder, and write them to another, whole or not at all.

    Parameters
    ----------
    folder, prior, noise, models, client, together
        As for `lazy_curves`.
    out : str or pathlib.Path
        A folder that does not exist or is empty, on a disk that every worker sees. It gets one Parquet file for each
        part, or stays as it is when anything goes wrong.
    progress : callable, optional
        Called as ``progress(done, total)`` with the number of curves, part after part.

    Returns
    -------
    pathlib.Path
        The folder written.

    Raises
    ------
    Refused
        `out` holds something, or lies inside `folder`, whose files it would join.
    CannotRead
        A file of `folder` cannot be read, or there is none, or `out` cannot be written.
    ImportError
        dask is not installed.

    Examples
    --------
    >>> import tempfile
    >>> shelf = Path(tempfile.mkdtemp())
    >>> hours, ph = [0.0, 2, 4, 6, 8, 10], [5.9, 5.9, 5.1, 4.3, 4.0, 4.0]
    >>> read = pd.DataFrame({"refeed": "r1", "signal": "acid", "kind": "ph_direct", "elapsed_h": hours, "value": ph})
    >>> (shelf / "readings").mkdir()
    >>> read.to_parquet(shelf / "readings" / "2025-03.parquet")
    >>> pd.read_parquet(trace_parquet(shelf / "readings", shelf / "curves"))[["refeed", "unit", "status"]]
      refeed unit  status
    0     r1   pH  fitted
    """
    target = _checked(Path(out).absolute(), Path(folder).absolute())
    curves, total = _curves(folder, prior, noise, models, client, together)
    from dask import delayed

    aside = target.with_name(f".{target.name}.{uuid.uuid4().hex}")
    try:
        aside.mkdir()
        parts = enumerate(curves.to_delayed())
        tasks = [delayed(_saved)(part, aside / f"part.{number:05}.parquet") for number, part in parts]
        done = 0
        for rows in _as_they_end(tasks, client):
            done += rows
            if progress is not None:
                progress(done, total)
        if target.exists():
            target.rmdir()
        aside.rename(target)
    except OSError as error:
        raise CannotRead(f"The folder '{out}' cannot be written ({error.strerror or error}).") from error
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    return Path(out)
