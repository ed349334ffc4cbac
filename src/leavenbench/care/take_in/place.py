"""New records into a collection's folder: made aside, flushed, and put in place by one rename of a directory."""

from __future__ import annotations

import os
import shutil
from collections.abc import Mapping
from pathlib import Path

from ...errors import CannotRead, Refused
from ...records.files import TAKEN_IN

#: Hidden, so that no reader sees it; what a take-in that was killed leaves behind is cleared by the next one.
_ASIDE = ".aside-"


def put_in_place(folder: Path, name: str, files: Mapping[str, bytes]) -> Path:
    """Make ``taken_in/NAME/`` with its files, whole or not at all.

    Parameters
    ----------
    folder : pathlib.Path
        The collection's folder.
    name : str
        Of the new folder.
    files : mapping of str to bytes
        Their contents by name.

    Returns
    -------
    pathlib.Path
        The new folder.

    Raises
    ------
    Refused
        It is there already.
    CannotRead
        It cannot be written.
    """
    taken = folder / TAKEN_IN
    target, aside = taken / name, taken / f"{_ASIDE}{os.getpid()}-{name}"
    try:
        taken.mkdir(exist_ok=True)
        for left in taken.glob(f"{_ASIDE}*"):
            shutil.rmtree(left, ignore_errors=True)
        aside.mkdir()
        for file, content in files.items():
            with (aside / file).open("xb") as made:
                made.write(content)
                made.flush()
                os.fsync(made.fileno())
        _flush(aside)
        if target.exists():
            raise Refused(f"'{target}' is there already: it was taken in meanwhile. Nothing was written.")
        aside.rename(target)
        _flush(taken)
        _flush(folder)
    except OSError as error:
        raise CannotRead(f"'{target}' cannot be written ({error.strerror}). Nothing was taken in.") from error
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    return target


def _flush(folder: Path) -> None:
    """Have a directory written to the disk, where the system knows how."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
