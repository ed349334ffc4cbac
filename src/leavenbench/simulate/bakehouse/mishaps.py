"""What befalls many jars at once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import TypeVar


@dataclass(frozen=True)
class PoorLot:
    """A delivery of flour on which every culture is slow.

    Attributes
    ----------
    flour : str
        The flour.
    delivery : int
        Which delivery of it; the first is 1.
    percent : float
        Activity lost on it [%].
    """

    flour: str
    delivery: int
    percent: float


@dataclass(frozen=True)
class FlourEnds:
    """A flour that comes no more: its cultures are fed on another.

    Attributes
    ----------
    flour : str
        The flour.
    on : datetime.date
        The day on which the last of it is used up.
    instead : str
        The flour fed from then on.
    """

    flour: str
    on: date
    instead: str


@dataclass(frozen=True)
class ColdRoom:
    """Days on which a room is not heated.

    Attributes
    ----------
    room : str
        The room.
    first, last : datetime.date
        From the first midnight to the last.
    by_degC : float
        How much colder it is.
    """

    room: str
    first: date
    last: date
    by_degC: float


@dataclass(frozen=True)
class StoreFailure:
    """A refrigerator that stands still; the jars in it suffer, and heal over some rounds.

    Attributes
    ----------
    store : str
        The store.
    at : datetime.datetime
        When it stops.
    hours : float
        For how long.
    warmest_degC : float
        How warm it would become in the end.
    percent : float
        Vigour lost by every jar in it [%].
    within : int
        Rounds within which the jars heal.
    """

    store: str
    at: datetime
    hours: float
    warmest_degC: float
    percent: float
    within: int


@dataclass(frozen=True)
class MissedRound:
    """A round that a whole group goes without."""

    group: str
    round: int


Mishap = PoorLot | FlourEnds | ColdRoom | StoreFailure | MissedRound
_Kind = TypeVar("_Kind", PoorLot, FlourEnds, ColdRoom, StoreFailure, MissedRound)


def only(mishaps: Iterable[Mishap], kind: type[_Kind]) -> list[_Kind]:
    """Return the mishaps of one kind.

    Examples
    --------
    >>> only([MissedRound("A", 3), PoorLot("rye", 2, 20.0)], MissedRound)
    [MissedRound(group='A', round=3)]
    """
    return [one for one in mishaps if isinstance(one, kind)]
