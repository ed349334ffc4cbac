"""The Parquet files of readings in a folder: which there are, whether they can be used, and their rows."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from ...errors import CannotRead

_NEEDED = {"refeed": "str", "signal": "str", "kind": "str", "elapsed_h": "float64", "value": "float64"}
#: What is read of a file, as `signals.signals` gives it.
COLUMNS = _NEEDED | {"sd": "float64", "high_mark": "boolean", "file": "str", "row": "Int64"}
#: Files that a message names; the others stand in its evidence.
_TOLD = 5


class Stretch(NamedTuple):
    """Row groups of a file, one after another; its size and time of change tell whether it is still the same."""

    file: Path
    state: tuple[int, int]
    groups: tuple[int, ...]


def row_groups(folder: Path) -> pd.DataFrame:
    """List the row groups of the files in a folder and in the folders in it.

    Parameters
    ----------
    folder : pathlib.Path
        What begins with a dot or an underscore is no file of readings.

    Returns
    -------
    pandas.DataFrame
        file, state, group (number within the file), rows; file after file.

    Raises
    ------
    CannotRead
        There is no file, or some cannot be used: all of them are named, with what is wrong.
    """
    files = [path for path in sorted(folder.rglob("*")) if _is_table(path, folder)]
    if not files:
        raise CannotRead(f"There is no Parquet file in '{folder}'. Give the folder that holds the readings.")
    found, faults = [], []
    for path in files:
        try:
            found.append(_groups_of(path))
        except CannotRead as error:
            faults.append((path.relative_to(folder).as_posix(), str(error)))
    if faults:
        told = "; ".join(f"{name}: {what}" for name, what in faults[:_TOLD])
        more = f"; and {len(faults) - _TOLD:,} more" if len(faults) > _TOLD else ""
        raise CannotRead(
            f"{len(faults):,} of {len(files):,} Parquet files in '{folder}' cannot be used ({told}{more}). "
            "Nothing was fitted. Write them again, or take them out of the folder.",
            pd.DataFrame(faults, columns=["file", "problem"]),
        )
    return pd.concat(found, ignore_index=True)


def read(part: Sequence[Stretch], columns: Sequence[str] = tuple(COLUMNS)) -> pd.DataFrame:
    """Read stretches of files, one after another; a column that a file lacks is empty.

    Raises
    ------
    CannotRead
        A file is damaged, holds something else than readings, or is no longer what it was.
    """
    return pd.concat([nothing()[[*columns]], *(_read(stretch, columns) for stretch in part)], ignore_index=True)


def nothing() -> pd.DataFrame:
    """Return the table of no readings."""
    return pd.DataFrame({name: pd.Series(dtype=dtype) for name, dtype in COLUMNS.items()})


def _is_table(path: Path, folder: Path) -> bool:
    hidden = any(part.startswith((".", "_")) for part in path.relative_to(folder).parts)
    return path.suffix.lower() == ".parquet" and not hidden and path.is_file()


def _state(file: Path) -> tuple[int, int]:
    seen = file.stat()
    return seen.st_size, seen.st_mtime_ns


def _groups_of(path: Path) -> pd.DataFrame:
    """List the row groups of a file, or say in a few words why it cannot be used."""
    from pyarrow import ArrowException
    from pyarrow.parquet import ParquetFile

    try:
        state = _state(path)
        with ParquetFile(path) as file:
            missing = [name for name in _NEEDED if name not in file.schema_arrow.names]
            groups = range(file.num_row_groups)
            rows = np.array([file.metadata.row_group(group).num_rows for group in groups], int)
    except (ArrowException, OSError) as error:
        raise CannotRead(str(error)) from error
    if missing:
        raise CannotRead(f"no column {', '.join(missing)}")
    return pd.DataFrame({"file": path, "state": [state] * len(groups), "group": groups, "rows": rows})


def _read(stretch: Stretch, columns: Sequence[str]) -> pd.DataFrame:
    from pyarrow import ArrowException
    from pyarrow.parquet import ParquetFile

    try:
        with ParquetFile(stretch.file) as file:
            there = [name for name in columns if name in file.schema_arrow.names]
            rows = file.read_row_groups(list(stretch.groups), columns=there, use_threads=False)
        # whatever pandas took for the index when it wrote the file, a column is a column
        table = rows.to_pandas(ignore_metadata=True, use_threads=False).reindex(columns=list(columns))
        table = table.astype({name: COLUMNS[name] for name in columns})
        changed = _state(stretch.file) != stretch.state
    except (ArrowException, OSError, TypeError, ValueError) as error:
        raise CannotRead(
            f"'{stretch.file}' cannot be read ({error}). Write it again, or take it out of the folder."
        ) from error
    if changed:  # it may hold a refeed by now that is fitted elsewhere
        raise CannotRead(f"'{stretch.file}' was changed meanwhile. Begin again when nobody writes to the folder.")
    return table
