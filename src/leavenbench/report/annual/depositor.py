"""A page for whoever gave a culture, for each that lives at the end of a year."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from ...errors import CannotRead
from ...records.living import cultures_known
from ..new_folder import check_new_folder, write_folder
from ..privacy import withheld
from .culture_page import Told, culture_page
from .file_names import file_names
from .reckoned import Reckoned, read_year, reckon


def write_pages(
    folder: str | Path,
    year: int,
    out: str | Path,
    culture: str | None = None,
    *,
    progress: Callable[[int, int], None] | None = None,
) -> list[Path]:
    """Write one page for each culture that lives at the end of a year, for its depositor.

    Parameters
    ----------
    folder : str or pathlib.Path
        The collection's folder.
    year : int
        The year.
    out : str or pathlib.Path
        A new folder for the pages, or an empty one.
    culture : str, optional
        Only this culture's page.
    progress : callable, optional
        Called with how many curves are done, and how many there are.

    Returns
    -------
    list of pathlib.Path
        The pages; each is named by its culture, and holds no depositor's name or contact.

    Raises
    ------
    Refused
        The folder holds something or lies inside the collection's, or the records do not touch the year.
    CannotRead
        The collection cannot be read, the culture does not live then, or the pages cannot be written.
    """
    folder, out = Path(folder), Path(out)
    check_new_folder(out, folder)
    recorded = read_year(folder, year)
    collection = withheld(recorded, everyone=True)
    shown = dict(zip(cultures_known(recorded), cultures_known(collection), strict=True))
    pages = culture_pages(reckon(collection, year, progress), only=None if culture is None else _one(culture, shown))
    write_folder(out, pages)
    return [out / name for name in pages]


def _one(culture: str, shown: dict[str, str]) -> str:
    if culture not in shown:
        raise CannotRead(f"There is no culture '{culture}'. Known are: {', '.join(shown) or 'none'}.")
    return shown[culture]


def culture_pages(reckoned: Reckoned, only: str | None = None) -> dict[str, bytes]:
    """Return the pages of the living cultures.

    Parameters
    ----------
    reckoned : Reckoned
        The collection at the end of the year; no depositor may be named in it.
    only : str, optional
        Only this culture's page.

    Returns
    -------
    dict of str to bytes
        By the name of the file.

    Raises
    ------
    CannotRead
        That culture does not live at the end of the year.
    """
    told = Told.of(reckoned)
    names = file_names(told.listed["culture"], ".html")
    if only is not None and only not in names:
        raise CannotRead(f"'{only}' does not live at the end of {reckoned.year}, so there is no page for it.")
    return {file: culture_page(told, culture) for culture, file in names.items() if only in (None, culture)}
