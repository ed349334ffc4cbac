"""What a scientist takes away from a comparison: tables with units, figures for a journal, the methods."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from ..compare.further import Paragraph, with_units
from ..compare.observations import COMPARED
from ..records.collection import Collection
from .figures.journal import PAGE_MM, figure_bytes
from .new_folder import check_new_folder, write_folder
from .save import as_written

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: The unit that a table leaves open, where it is of a signal and not of a trait.
_SIGNAL_UNITS = {"rise": "%", "acid": "pH"}


def write_further(
    collection: Collection,
    out: str | Path,
    results: Mapping[str, pd.DataFrame],
    done: Paragraph,
    figures: Mapping[str, Figure] | None = None,
    signal: str = "rise",
) -> Path:
    """Write tables, figures and the paragraph on methods to a new folder, whole or not at all.

    Parameters
    ----------
    collection : Collection
        The records, in whose folder nothing is written.
    out : str or pathlib.Path
        The folder; it is not there yet, or is empty.
    results : mapping of str to pandas.DataFrame
        Tables by their names in ``columns.RESULTS``: each becomes a .csv file (UTF-8) with units in its heads.
    done : Paragraph
        From `compare.further.methods_paragraph`: becomes methods.md.
    figures : mapping of str to matplotlib.figure.Figure, optional
        Figures by their names: each becomes an .svg and a .pdf, as wide as a journal's page.
    signal : str
        Of which signal the whole curves and slopes are: rise or acid.

    Returns
    -------
    pathlib.Path
        The folder.

    Raises
    ------
    Refused
        The folder holds something, or lies inside the collection's.
    CannotRead
        It cannot be written.
    """
    folder = Path(out)
    check_new_folder(folder, collection.folder)
    files = {"methods.md": done._repr_markdown_().encode()}
    for name, table in results.items():
        headed = with_units(as_written(table), name, _open_unit(table, signal))
        files[f"{name}.csv"] = headed.to_csv(index=False, lineterminator="\n").encode()
    for name, figure in (figures or {}).items():
        files |= {f"{name}{ending}": figure_bytes(figure, ending, PAGE_MM) for ending in (".svg", ".pdf")}
    write_folder(folder, files)
    return folder


def _open_unit(table: pd.DataFrame, signal: str) -> str:
    """Return the unit of the one trait that a table is of, or that of the signal."""
    if "trait" not in table:
        return _SIGNAL_UNITS[signal]
    units = table["unit"].dropna().unique() if "unit" in table else table["trait"].map(_unit_of).unique()
    return str(units[0]) if len(units) == 1 else ""


def _unit_of(trait: str) -> str:
    return COMPARED[trait].unit if trait in COMPARED else ""
