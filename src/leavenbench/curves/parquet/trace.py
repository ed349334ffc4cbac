"""Activity curves for every refeed of a folder of readings: as a lazy table, or written to another folder."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from ..choice import MODELS
from ..shelf import trace_shelf
from ..traces import Progress
from .files import nothing
from .parts import Parts
from .written import check_target, save, whole_or_not_at_all

if TYPE_CHECKING:
    from dask.dataframe import DataFrame as Lazy
    from distributed import Client, Future

#: So many readings keep a worker busy for half a second, which is long beside what it takes to hand them over.
_TOGETHER = 100_000


def trace_parquet(
    folder: str | Path,
    out: str | Path,
    prior: pd.DataFrame | Future | None = None,
    noise: Mapping[str, float] | None = None,
    models: Sequence[str] = MODELS,
    *,
    client: Client | None = None,
    progress: Progress | None = None,
    together: int = _TOGETHER,
) -> Path:
    """Fit an activity curve to every signal of every refeed of a folder, and write them to another.

    Parameters
    ----------
    folder, prior, noise, models, together
        As for `lazy_curves`.
    out : str or pathlib.Path
        A folder that does not exist or is empty, where every worker can write. It gets a Parquet file for each part,
        or stays as it is if anything goes wrong.
    client : distributed.Client, optional
        Whose workers fit; without one, those that dask uses by itself.
    progress : callable, optional
        Called as ``progress(done, total)`` with the number of curves, part after part.

    Returns
    -------
    pathlib.Path
        The folder written.

    Raises
    ------
    Refused
        `out` holds something, or lies inside `folder`.
    CannotRead
        A file of `folder` cannot be used, or there is none; or `out` cannot be written.
    ImportError
        dask is not installed.

    Examples
    --------
    >>> import tempfile
    >>> shelf = Path(tempfile.mkdtemp())
    >>> hours, ph = [0.0, 2, 4, 6, 8, 10], [5.9, 5.9, 5.1, 4.3, 4.0, 4.0]
    >>> read = pd.DataFrame({"refeed": "r1", "signal": "acid", "kind": "ph_direct", "elapsed_h": hours, "value": ph})
    >>> (shelf / "readings").mkdir()
    >>> read.to_parquet(shelf / "readings" / "march.parquet")
    >>> pd.read_parquet(trace_parquet(shelf / "readings", shelf / "curves"))[["refeed", "unit", "status"]]
      refeed unit  status
    0     r1   pH  fitted
    """
    target = Path(out).absolute()
    check_target(target, Path(folder).absolute())
    curves, total = _curves(folder, prior, noise, models, client, together)
    from dask import delayed

    done = 0

    def ended(rows: int) -> None:
        nonlocal done
        done += rows
        if progress is not None:
            progress(done, total)

    with whole_or_not_at_all(target) as aside:
        parts = enumerate(curves.to_delayed())
        _compute([delayed(save)(part, aside / f"part.{number:05}.parquet") for number, part in parts], client, ended)
    return Path(out)


def lazy_curves(
    folder: str | Path,
    prior: pd.DataFrame | Future | None = None,
    noise: Mapping[str, float] | None = None,
    models: Sequence[str] = MODELS,
    *,
    client: Client | None = None,
    together: int = _TOGETHER,
) -> Lazy:
    """Set up an activity curve for every signal of every refeed of a folder, to be fitted when asked for.

    Parameters
    ----------
    folder : str or pathlib.Path
        Parquet files of readings as `signals.signals` gives them: refeed, signal, kind, elapsed_h, value, if so wished
        sd, high_mark, file, row. Every worker must see it under this name. Folders in it count as well; what begins
        with a dot or an underscore does not.
    prior : pandas.DataFrame or distributed.Future, optional
        As for `shelf.trace_shelf`. A large one travels best by itself: ``client.scatter(prior, broadcast=True)``.
    noise, models
        As for `shelf.trace_shelf`.
    client : distributed.Client, optional
        Whose workers look through the names of the refeeds, at once; without one, those that dask uses by itself.
        The curves are fitted by whoever computes them.
    together : int
        Readings in a part, about: row groups of files are put together up to so many, and never cut.

    Returns
    -------
    dask.dataframe.DataFrame
        The rows of `shelf.trace_shelf`, in the order of the files, but for refeeds that several parts share: these
        stand at the end.

    Raises
    ------
    CannotRead
        A file cannot be used, or there is none.
    ImportError
        dask is not installed.

    Notes
    -----
    dask makes its workers give memory back at once, which on Linux nearly halves the speed of the fits. Workers keep it
    when ``MALLOC_TRIM_THRESHOLD_=1073741824`` and ``MALLOC_MMAP_THRESHOLD_=33554432`` (bytes) stand in the environment
    of what starts them: the notebook of a ``LocalCluster``, or the shell of ``dask worker``.

    Examples
    --------
    A refeed that was read into two files is fitted once:

    >>> import tempfile
    >>> folder = Path(tempfile.mkdtemp())
    >>> hours, ph = [0.0, 2, 4, 6, 8, 10], [5.9, 5.9, 5.1, 4.3, 4.0, 4.0]
    >>> read = pd.DataFrame({"refeed": "r1", "signal": "acid", "kind": "ph_direct", "elapsed_h": hours, "value": ph})
    >>> read[:3].to_parquet(folder / "monday.parquet")
    >>> read[3:].to_parquet(folder / "tuesday.parquet")
    >>> lazy_curves(folder, together=3).compute()[["refeed", "readings", "status"]]
      refeed  readings  status
    0     r1         6  fitted
    """
    return _curves(folder, prior, noise, models, client, together)[0]


def _curves(
    folder: str | Path,
    prior: pd.DataFrame | Future | None,
    noise: Mapping[str, float] | None,
    models: Sequence[str],
    client: Client | None,
    together: int,
) -> tuple[Lazy, int]:
    """Return the curves to be fitted, and how many they are."""
    try:
        import dask
        import dask.dataframe
        import distributed  # noqa: F401
    except ImportError as error:
        message = "A folder of Parquet files is fitted by dask, which is not there: pip install 'leavenbench[dask]'."
        raise ImportError(message) from error

    with dask.config.set({"dataframe.convert-string": False}):  # words stay what `trace_shelf` is used to
        parts = Parts.of(Path(folder).absolute(), client, together)
        readings = parts.readings()
    lent = None if prior is None else dask.delayed(prior, traverse=False)
    return readings.map_partitions(_fit, lent, noise, models, meta=_fit(nothing(), None, noise, models)), parts.curves


def _fit(
    readings: pd.DataFrame, prior: pd.DataFrame | None, noise: Mapping[str, float] | None, models: Sequence[str]
) -> pd.DataFrame:
    """Fit the curves of a part, with what the history of its own refeeds lets expect."""
    own = None if prior is None else prior[prior["refeed"].isin(readings["refeed"])]
    return trace_shelf(readings, own, noise, models)


def _compute(tasks: list[Any], client: Client | None, ended: Callable[[int], None]) -> None:
    """Do all tasks, and tell what each gives as it ends."""
    import dask
    from dask.callbacks import Callback
    from distributed import Client, as_completed

    if client is None:
        try:
            client = Client.current()
        except ValueError:  # none is at work: dask's own threads are
            keys = {task.key for task in tasks}
            with Callback(posttask=lambda key, rows, *_: ended(rows) if key in keys else None):
                dask.compute(*tasks)
            return
    futures = client.compute(tasks)
    try:
        for _, rows in as_completed(futures, loop=client.loop, with_results=True):
            ended(rows)
    finally:
        client.cancel(futures)
