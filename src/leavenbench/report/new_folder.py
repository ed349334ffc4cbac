"""A new folder of files, put in place whole or not at all."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path

from ..errors import CannotRead, Refused


def check_new_folder(out: Path, collection: Path) -> None:
    """Refuse a folder that cannot be made, before any work is done.

    Parameters
    ----------
    out : pathlib.Path
        The folder to make; it may stand there empty.
    collection : pathlib.Path
        The collection's folder, in which nothing is written.

    Raises
    ------
    Refused
        It holds something, or lies inside the collection's folder.
    CannotRead
        It is a file, or the folder that it is to stand in is not there.
    """
    if out.resolve().is_relative_to(collection.resolve()):
        raise Refused(f"'{out}' lies inside the collection's folder, where nothing is written. Give another place.")
    if out.is_dir():
        _refuse_filled(out)
    elif out.exists() or out.is_symlink():
        raise CannotRead(f"'{out}' is no folder. Give the name of a new one.")
    elif not out.resolve().parent.is_dir():
        raise CannotRead(f"'{out}' cannot be made: there is no folder '{out.resolve().parent}'.")


def write_folder(out: Path, files: Mapping[str, bytes]) -> None:
    """Write files to a new folder.

    Parameters
    ----------
    out : pathlib.Path
        The folder; it is not there yet, or is empty.
    files : mapping of str to bytes
        By their paths within the folder, with ``/`` between.

    Raises
    ------
    Refused
        The folder holds something.
    CannotRead
        It cannot be written; then nothing is left behind.
    """
    out = out.resolve()
    aside = None
    try:
        aside = Path(tempfile.mkdtemp(dir=out.parent, prefix=f".{out.name}."))
        made = aside / "made"
        for name, content in files.items():
            path = made.joinpath(*name.split("/"))
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
        _put(made, out)
    except OSError as error:
        raise CannotRead(f"'{out}' cannot be written ({error.strerror}).") from error
    finally:
        if aside is not None:
            shutil.rmtree(aside, ignore_errors=True)


def _put(made: Path, out: Path) -> None:
    """Put a folder in its place; one that stands there empty stays, since somebody may be in it, and is filled."""
    if not out.is_dir():
        made.rename(out)
        return
    _refuse_filled(out)
    moved: list[Path] = []
    try:
        for path in sorted(made.iterdir()):
            moved.append(path.rename(out / path.name))
    except OSError:
        for path in moved:
            path.rename(made / path.name)
        raise


def _refuse_filled(out: Path) -> None:
    if any(out.iterdir()):
        raise Refused(f"The folder '{out}' is not empty. Give the name of a new one.")
