"""Curves written to a folder of Parquet files, whole or not at all."""

from __future__ import annotations

import os
import shutil
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pandas as pd

from ...errors import CannotRead, Refused


def check_target(target: Path, folder: Path) -> None:
    """Refuse a folder that curves cannot be written to, before any work is done.

    Parameters
    ----------
    target : pathlib.Path
        Where the curves are to go.
    folder : pathlib.Path
        The folder of the readings, in which nothing is written.

    Raises
    ------
    Refused
        It holds something, or lies inside the folder of the readings.
    CannotRead
        It is a file, or its own folder is not there.
    """
    if target.resolve().is_relative_to(folder.resolve()):
        raise Refused(f"'{target}' lies inside the folder of the readings. Give another place.")
    if target.is_dir() and any(target.iterdir()):
        raise Refused(f"The folder '{target}' is not empty. Give the name of a new one.")
    if target.exists() and not target.is_dir():
        raise CannotRead(f"'{target}' is a file. Give the name of a folder.")
    if not target.parent.is_dir():
        raise CannotRead(f"'{target}' cannot be written: there is no folder '{target.parent}'.")


@contextmanager
def whole_or_not_at_all(target: Path) -> Iterator[Path]:
    """Give a folder to write to; it becomes the target when all went well, and is taken away otherwise."""
    aside = target.with_name(f".{target.name}.{uuid.uuid4().hex}")
    try:
        with _named(target):
            aside.mkdir()
        yield aside
        with _named(target):
            if target.exists():
                target.rmdir()
            aside.rename(target)
    finally:
        shutil.rmtree(aside, ignore_errors=True)


def save(curves: pd.DataFrame, file: Path) -> int:
    """Write the curves of a part to a file; return how many they are."""
    with _named(file.parent):
        curves.to_parquet(file, index=False)
        with file.open("rb+") as written:
            os.fsync(written.fileno())
    return len(curves)


@contextmanager
def _named(folder: Path) -> Iterator[None]:
    """Name the folder whose writing failed."""
    try:
        yield
    except OSError as error:
        raise CannotRead(f"The folder '{folder}' cannot be written ({error.strerror or error}).") from error
