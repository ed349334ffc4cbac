"""The keeper's own copy of the notebooks, set to her collection, in JupyterLab on this machine alone."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

from .errors import CannotRead
from .records.settings import require_folder

#: The line in a notebook that says which collection it is about.
_FOLDER_LINE = "FOLDER = "
#: Remembers which collection a place was made for.
_MADE_FOR = ".collection"
_FIRST = "start_here.ipynb"


def shipped(name: str) -> Path:
    """Return a folder that ships with the package: in the wheel, or beside ``src`` in a checkout.

    Parameters
    ----------
    name : str
        notebooks or data_demo.

    Returns
    -------
    pathlib.Path

    Raises
    ------
    CannotRead
        It is in neither place.
    """
    inside = Path(str(files("leavenbench"))) / name
    beside = Path(str(files("leavenbench"))).parents[1] / name
    for place in (inside, beside):
        if place.is_dir():
            return place
    raise CannotRead(f"This installation lacks its folder '{name}'. Install leavenbench again.")


def prepare_lab(folder: Path | None, home: Path) -> tuple[Path, list[str]]:
    """Put a copy of the notebooks in the keeper's own place, never over one that is there.

    Parameters
    ----------
    folder : pathlib.Path or None
        Her collection; None for a copy of the demo.
    home : pathlib.Path
        Her home folder.

    Returns
    -------
    place : pathlib.Path
        The folder with her notebooks.
    kept : list of str
        Notebooks that were there already and stay as they are.

    Raises
    ------
    CannotRead
        There is no such collection.
    """
    if folder is not None:
        require_folder(folder)
    place = _own_place(home / "leavenbench", "data_demo" if folder is None else folder.resolve().name, folder)
    place.mkdir(parents=True, exist_ok=True)
    if folder is None:
        folder = place / "collection"
        if not folder.exists():
            shutil.copytree(shipped("data_demo"), folder)
    else:
        (place / _MADE_FOR).write_text(str(folder.resolve()), encoding="utf-8")
    kept = []
    for notebook in sorted(shipped("notebooks").glob("*.ipynb")):
        if (place / notebook.name).exists():
            kept.append(notebook.name)
        else:
            (place / notebook.name).write_text(_set_to(notebook, folder.resolve()), encoding="utf-8")
    return place, kept


def _own_place(above: Path, name: str, folder: Path | None) -> Path:
    """Return the collection's place; another collection of the same folder name gets a number."""
    number = 1
    while True:
        place = above / (name if number == 1 else f"{name}-{number}")
        made_for = place / _MADE_FOR
        owner = made_for.read_text(encoding="utf-8") if made_for.is_file() else ""
        wanted = "" if folder is None else str(folder.resolve())
        if not place.exists() or owner == wanted:
            return place
        number += 1


def _set_to(notebook: Path, folder: Path) -> str:
    """Return a notebook's text with its folder set."""
    told = json.loads(notebook.read_text(encoding="utf-8"))
    for cell in told["cells"]:
        cell["source"] = [
            f"{_FOLDER_LINE}{str(folder)!r}\n" if line.startswith(_FOLDER_LINE) else line for line in cell["source"]
        ]
    return json.dumps(told, indent=1, ensure_ascii=False) + "\n"


def lab_command(place: Path) -> list[str]:
    """Return the command that opens JupyterLab there: loopback only, with a token of its own."""
    return [
        sys.executable,
        "-m",
        "jupyterlab",
        "--ServerApp.ip=127.0.0.1",
        f"--ServerApp.root_dir={place}",
        f"--LabApp.default_url=/lab/tree/{_FIRST}",
        f"--LabApp.app_settings_dir={files('leavenbench') / 'lab_settings'}",  # a keeper is asked nothing about news
        "--LabApp.news_url=None",  # nothing is asked of, or sent to, anyone
        "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
    ]


def open_lab(place: Path) -> int:
    """Open JupyterLab and return its exit status when it is closed."""
    return subprocess.run(lab_command(place), check=False, cwd=place).returncode
