"""The report of a year as a folder: a page, its figures, its tables."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from ...care.year import YearInFigures, year_in_figures
from ...watch.watch_history import standing_history
from ..new_folder import check_new_folder, write_folder
from ..privacy import withheld
from .pictures_of_year import figures_of
from .reckoned import Reckoned, read_year, reckon
from .table_files import table_files
from .year_page import year_page

_README = """\
{title}: the year {year}

report.html   the report; it needs nothing beside it, and prints on A4 and Letter
figures/      each figure as .svg and .png
tables/       each table as .csv: UTF-8, commas, a point for decimals, times as ISO 8601
tables.xlsx   the same tables in one workbook; the sheet 'contents' says what each holds

The same records make the same files, byte for byte.

A .csv file cannot say that a cell is text, and a spreadsheet takes a text that begins with = + - or @ for a formula.
Where a text of the records begins so, an apostrophe stands before it in the .csv; the workbook holds it as it is.

Names and contacts of depositors who have not agreed read 'withheld'; see 'What is withheld' in the report.
"""


def write_report(
    folder: str | Path, year: int, out: str | Path, *, progress: Callable[[int, int], None] | None = None
) -> Path:
    """Write the annual report of a collection to a new folder.

    Parameters
    ----------
    folder : str or pathlib.Path
        The collection's folder.
    year : int
        A year that the records touch.
    out : str or pathlib.Path
        A new folder, or an empty one.
    progress : callable, optional
        Called with how many curves are done, and how many there are.

    Returns
    -------
    pathlib.Path
        The page of the report in it.

    Raises
    ------
    Refused
        The folder holds something or lies inside the collection's, or the records do not touch the year.
    CannotRead
        The collection cannot be read, or the report cannot be written.
    """
    folder, out = Path(folder), Path(out)
    check_new_folder(out, folder)
    reckoned = reckon(withheld(read_year(folder, year)), year, progress)
    write_folder(out, report_files(reckoned, told_of(reckoned)))
    return out / "report.html"


def told_of(reckoned: Reckoned) -> YearInFigures:
    """Return the tables of a year.

    Parameters
    ----------
    reckoned : Reckoned
        The collection at its end.

    Returns
    -------
    YearInFigures
    """
    collection, curves, vigour = reckoned.collection, reckoned.curves, reckoned.vigour
    history = standing_history(collection, curves, vigour, reckoned.on)
    return year_in_figures(collection, curves, vigour, history, reckoned.causes, reckoned.year)


def report_files(reckoned: Reckoned, told: YearInFigures) -> dict[str, bytes]:
    """Return the files of a report.

    Parameters
    ----------
    reckoned : Reckoned
        The collection at the end of the year; it holds only what may be shown.
    told : YearInFigures
        Its tables.

    Returns
    -------
    dict of str to bytes
        By path within the folder.
    """
    settings = reckoned.collection.settings
    drawn = figures_of(told, settings)
    files = {"report.html": year_page(told, drawn, settings)}
    for figure in drawn:
        files[f"figures/{figure.picture.name}.svg"] = figure.picture.svg
        files[f"figures/{figure.picture.name}.png"] = figure.picture.png
    files |= table_files(told.tables())
    files["README.txt"] = _README.format(title=settings.title, year=told.period.year).encode()
    return files
