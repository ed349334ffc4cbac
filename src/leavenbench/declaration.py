"""What a column and a table are, and the short words with which `columns` declares them."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import inf
from typing import Literal, TypedDict, Unpack

Kind = Literal["text", "number", "whole", "yes_no", "choice", "date", "time"]

#: How a canonical unit is written at the end of a column's name inside the package.
_UNIT_IN_NAME = {"%": "_pct", "mol/L": "_mol_per_L", "log10 CFU/g": "", "deg": "", "": ""}

_DTYPES = {
    "text": "str",
    "choice": "str",
    "number": "float64",
    "whole": "Int64",
    "yes_no": "boolean",
    "date": "datetime64[us]",
}


@dataclass(frozen=True)
class Column:
    """One column of a table.

    Attributes
    ----------
    name : str
        The bare name, as headers and problems show it; in the tables that the package makes, the full name.
    kind : str
        text, number, whole (number), yes_no, choice, date or time.
    meaning : str
        What it holds, in words.
    unit : str
        Canonical unit, in pint's spelling; empty when there is none.
    key, needed : bool
        The row is known by it; the row cannot be used without it.
    refers_to : str
        The table whose key it names.
    choices : tuple of str
        The words allowed.
    possible, likely : tuple of float
        Outside `possible` a value is impossible and left out; outside `likely` it is doubtful and kept.
    """

    name: str
    kind: Kind
    meaning: str
    unit: str = ""
    key: bool = False
    needed: bool = False
    refers_to: str = ""
    choices: tuple[str, ...] = ()
    possible: tuple[float, float] = (-inf, inf)
    likely: tuple[float, float] = (-inf, inf)
    ahead: bool = False

    def dtype(self, timezone: str = "UTC") -> str:
        """Return the pandas dtype of the column; moments are in a time zone."""
        return _DTYPES.get(self.kind, f"datetime64[us, {timezone}]")

    @property
    def inside(self) -> str:
        """The name inside the package, with the unit in it."""
        return self.name + _UNIT_IN_NAME.get(self.unit, f"_{self.unit}")

    @property
    def header(self) -> str:
        """The name at the head of a new table, with the unit in square brackets."""
        return f"{self.name} [{self.unit}]" if self.unit and self.inside != self.name else self.name


@dataclass(frozen=True)
class Table:
    """One table.

    Attributes
    ----------
    name, meaning : str
        The file's name without its ending; what a row is.
    columns : tuple of Column
        In the order of a new table.
    moment : str
        The column that says when a row was written down; rows after a given date are unknown at that date.
    """

    name: str
    meaning: str
    columns: tuple[Column, ...]
    moment: str = ""
    by_name: dict[str, Column] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "by_name", {column.name: column for column in self.columns})

    @property
    def names(self) -> list[str]:
        """Names of the columns as declared, in order."""
        return [column.name for column in self.columns]

    def dtypes(self, timezone: str = "UTC") -> dict[str, str]:
        """Return the pandas dtype of each column, by its declared name."""
        return {column.name: column.dtype(timezone) for column in self.columns}

    @property
    def key(self) -> str:
        """Name of the key column; empty when rows have none."""
        return next((column.name for column in self.columns if column.key), "")


class _More(TypedDict, total=False):
    key: bool
    needed: bool
    refers_to: str
    possible: tuple[float, float]
    likely: tuple[float, float]
    ahead: bool


def text(name: str, meaning: str, **more: Unpack[_More]) -> Column:
    """Declare words."""
    return Column(name, "text", meaning, **more)


def number(name: str, unit: str, meaning: str, **more: Unpack[_More]) -> Column:
    """Declare a number in a unit."""
    return Column(name, "number", meaning, unit, **more)


def whole(name: str, meaning: str, **more: Unpack[_More]) -> Column:
    """Declare a whole number."""
    return Column(name, "whole", meaning, possible=more.get("possible", (0, inf)))


def yes_no(name: str, meaning: str) -> Column:
    """Declare a yes or no."""
    return Column(name, "yes_no", meaning)


def date(name: str, meaning: str, **more: Unpack[_More]) -> Column:
    """Declare a day."""
    return Column(name, "date", meaning, **more)


def time(name: str, meaning: str, **more: Unpack[_More]) -> Column:
    """Declare a moment."""
    return Column(name, "time", meaning, **more)


def choice(name: str, choices: str, meaning: str) -> Column:
    """Declare one of a few words."""
    return Column(name, "choice", meaning, choices=tuple(choices.split(", ")))


def key(name: str, meaning: str) -> Column:
    """Declare the name by which a row is known."""
    return Column(name, "text", meaning, key=True, needed=True)


def of(table: str, name: str, meaning: str, *, needed: bool = False) -> Column:
    """Declare a reference to another table."""
    return Column(name, "text", meaning, refers_to=table, needed=needed)
