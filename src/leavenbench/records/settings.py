"""The few settings of a collection, from its ``collection.toml``."""

from __future__ import annotations

import datetime as dt
import difflib
import tomllib
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from ..errors import CannotRead
from ..temperature import LACTIC, YEAST, Cardinal

FILE = "collection.toml"


@dataclass(frozen=True)
class Settings:
    """What a collection says about itself; every value has a default.

    Attributes
    ----------
    title : str
        Its name; the folder's when empty.
    timezone : str
        The zone of all clock times written without an offset.
    round_days, steps_per_round : float
        Days between rounds and steps in one; 0 when not given, until the records tell.
    target_mass_g : float or None
        The mass that a round builds up to [g].
    reference_temperature_degC : float
        The temperature [degC] at which vigour is stated.
    round_gap_h : float
        Refeeds of a culture closer than this [h] belong to one round.
    date_order : str
        ymd, dmy or mdy; empty when unknown.
    false_alerts : float
        The wished number of false alerts per 100 healthy culture-years.
    half_strength_pct : float
        The vigour [%] under which a culture counts as lost to rescue by feeding alone.
    floor_ph, floor_h : float
        A jar must sour to this pH within so many hours [h].
    yeast_cardinal_degC, lactic_cardinal_degC : tuple of three floats
        The temperatures [degC] below, at and above which the yeast and the lactic acid bacteria of the collection
        stop, thrive and stop again.
    """

    title: str = ""
    timezone: str = "UTC"
    round_days: float = 0.0
    steps_per_round: float = 0.0
    target_mass_g: float | None = None
    reference_temperature_degC: float = 25.0
    round_gap_h: float = 96.0
    date_order: str = ""
    false_alerts: float = 1.0
    half_strength_pct: float = 50.0
    floor_ph: float = 4.6
    floor_h: float = 24.0
    yeast_cardinal_degC: tuple[float, float, float] = YEAST
    lactic_cardinal_degC: tuple[float, float, float] = LACTIC


_CARDINAL = {"yeast_cardinal_degC", "lactic_cardinal_degC"}
_WORDS = {"title", "timezone", "date_order"}
_ABOVE_ZERO = {field.name for field in fields(Settings)} - _WORDS - _CARDINAL - {"reference_temperature_degC"}


def require_folder(folder: Path) -> None:
    """Refuse a collection whose folder is not there.

    Raises
    ------
    CannotRead
        There is no such folder.
    """
    if not folder.is_dir():
        raise CannotRead(f"There is no folder '{folder}'. Give the folder that holds refeeds and readings.")


def today_there(folder: str | Path) -> dt.date:
    """Return today's date in a collection's time zone: the one place where a clock is read.

    Parameters
    ----------
    folder : str or pathlib.Path
        The collection's folder.

    Returns
    -------
    datetime.date

    Raises
    ------
    CannotRead
        There is no such folder, or its settings cannot be read.
    """
    folder = Path(folder)
    require_folder(folder)
    return dt.datetime.now(ZoneInfo(read_settings(folder)[0].timezone)).date()


def read_settings(folder: Path) -> tuple[Settings, list[tuple[str, str]]]:
    """Read ``collection.toml``, if there is one.

    Parameters
    ----------
    folder : pathlib.Path
        The collection's folder.

    Returns
    -------
    settings : Settings
        With defaults where nothing is said.
    unknown : list of (str, str)
        Keys that mean nothing here, each with the nearest known one or an empty string.

    Raises
    ------
    CannotRead
        The file is no TOML, or a value cannot be used.
    """
    path = folder / FILE
    given: dict[str, object] = {}
    if path.is_file():
        try:
            given = tomllib.loads(path.read_text(encoding="utf-8-sig"))
        except (tomllib.TOMLDecodeError, UnicodeDecodeError, OSError) as error:
            raise CannotRead(f"{FILE} cannot be read: {error}. Write one 'name = value' to a line.") from error
    known = [field.name for field in fields(Settings)]
    unknown = [(key, (difflib.get_close_matches(key, known, 1) or [""])[0]) for key in given if key not in known]
    checked: dict[str, Any] = {key: _checked(key, value) for key, value in given.items() if key in known}
    settings = Settings(**checked)
    return (settings if settings.title else replace(settings, title=folder.resolve().name)), unknown


def _checked(key: str, value: object) -> object:
    if key in _WORDS:
        if not isinstance(value, str):
            raise CannotRead(f"{FILE}: {key} = {value!r} is not text; put it in quotation marks.")
        return _checked_words(key, value)
    if key in _CARDINAL:
        return _checked_temperatures(key, value)
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e15:
        raise CannotRead(f"{FILE}: {key} = {value!r} is not a number; write it bare, as in {key} = 24.")
    if key in _ABOVE_ZERO and value <= 0:
        raise CannotRead(f"{FILE}: {key} = {value!r} must be above zero.")
    return float(value)


def _checked_temperatures(key: str, value: object) -> Cardinal:
    numbers = value if isinstance(value, list) else []
    known = [it for it in numbers if isinstance(it, int | float) and not isinstance(it, bool) and abs(it) < 100]
    if len(known) != 3 or len(numbers) != 3 or not known[0] < known[1] < known[2]:
        usual = list(getattr(Settings, key))
        raise CannotRead(f"{FILE}: {key} = {value!r} is not three rising temperatures in degC, as in {key} = {usual}.")
    return Cardinal(*(float(it) for it in known))


def _checked_words(key: str, value: str) -> str:
    if key == "date_order" and value not in ("", "ymd", "dmy", "mdy"):
        raise CannotRead(f'{FILE}: date_order = "{value}" is not one of "ymd", "dmy", "mdy".')
    if key == "timezone":
        try:
            ZoneInfo(value)
        except (KeyError, ValueError, OSError) as error:
            raise CannotRead(f'{FILE}: timezone = "{value}" is unknown; write it as "Europe/Vienna".') from error
    return value
