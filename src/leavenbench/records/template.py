"""A new, empty collection, and the page that documents the tables."""

from __future__ import annotations

from pathlib import Path

from ..columns import NEEDED_TABLES, TABLES
from ..declaration import Column
from ..errors import CannotRead, Refused
from .settings import FILE

_SETTINGS = """\
# The settings of this collection. All have defaults; take the mark # off a line to set it.

# title = "Our shelf"            # shown on pages; the folder's name without it
# timezone = "Europe/Vienna"     # of all clock times; UTC without it
# date_order = "dmy"             # how 03/04/2025 is meant: "ymd", "dmy" or "mdy"
# round_days = 60                # days between two rounds; from the records without it
# steps_per_round = 3            # from the records without it
# target_mass_g = 200            # what a round builds up to
# reference_temperature_degC = 25
# round_gap_h = 96               # refeeds closer than this form one round
# false_alerts = 1               # wished false alerts per 100 healthy culture-years
# half_strength_pct = 50
# floor_ph = 4.6                 # a jar must sour to this pH ...
# floor_h = 24                   # ... within so many hours
# yeast_cardinal_degC = [8, 27.5, 35.5]    # stops below, works best at, stops above; so do the bacteria:
# lactic_cardinal_degC = [4, 32.5, 41]
"""


def new_collection(folder: str | Path) -> Path:
    """Make an empty collection: one headed table for each kind of record.

    Parameters
    ----------
    folder : str or pathlib.Path
        A folder that does not exist or is empty.

    Returns
    -------
    pathlib.Path
        The folder.

    Raises
    ------
    Refused
        The folder holds something.
    CannotRead
        It is a file, or cannot be made.

    Examples
    --------
    >>> import tempfile
    >>> folder = new_collection(tempfile.mkdtemp())
    >>> (folder / "vessels.csv").read_text().strip()
    'vessel,volume [mL],inner_diameter [mm],tare [g],shape'
    """
    folder = Path(folder)
    if folder.exists() and not folder.is_dir():
        raise CannotRead(f"'{folder}' is a file. Give the name of a folder.")
    if folder.is_dir() and any(folder.iterdir()):
        raise Refused(f"The folder '{folder}' is not empty. Give the name of a new one.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for table in TABLES.values():
            header = ",".join(column.header for column in table.columns)
            (folder / f"{table.name}.csv").write_text(header + "\n", encoding="utf-8")
        (folder / FILE).write_text(_SETTINGS, encoding="utf-8")
        (folder / "about_the_tables.md").write_text(tables_page(), encoding="utf-8")
    except OSError as error:
        raise CannotRead(f"The folder '{folder}' cannot be written ({error.strerror}).") from error
    return folder


def tables_page() -> str:
    """Return the page that documents every table and column, in Markdown."""
    lines = [
        "# The tables of a collection",
        "",
        "One file to a table: `refeeds.csv`, `refeeds.xlsx` or `refeeds.parquet`; or a sheet of that name in",
        "`collection.xlsx`; or several files in a folder `refeeds/`. Only "
        + " and ".join(f"`{name}`" for name in NEEDED_TABLES)
        + " are needed; everything else adds",
        "to what can be answered. **Bold** columns are the key of their table; columns marked † cannot be left out.",
        "",
        "A header may carry another unit in square brackets, such as `height [cm]`. Case, spaces, hyphens and",
        "underscores in headers do not matter. Yes/no columns take yes/no, true/false or 1/0; empty is no.",
    ]
    for table in TABLES.values():
        lines += [
            "",
            f"## {table.name}",
            "",
            f"One row is {table.meaning}.",
            "",
            "| column | unit | what it holds |",
        ]
        lines += ["|---|---|---|", *(_line(column) for column in table.columns)]
    return "\n".join(lines) + "\n"


def _line(column: Column) -> str:
    name = f"**{column.name}**" if column.key else column.name
    mark = " †" if column.needed else ""
    return f"| {name}{mark} | {column.unit or _KIND[column.kind]} | {column.meaning}{_allowed(column)} |"


_KIND = {
    "text": "text",
    "number": "number",
    "whole": "whole number",
    "yes_no": "yes/no",
    "choice": "word",
    "date": "date",
    "time": "date and time",
}


def _allowed(column: Column) -> str:
    low, high = column.possible
    told = []
    if column.choices:
        told.append("one of: " + ", ".join(column.choices))
    if column.refers_to:
        told.append(f"names a row of {column.refers_to}")
    if abs(low) != float("inf") and high == float("inf") and low != 0:
        told.append(f"at least {low:g}")
    if abs(high) != float("inf"):
        told.append(f"{low:g} to {high:g}")
    return f" ({'; '.join(told)})" if told else ""
