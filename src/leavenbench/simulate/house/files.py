"""How the house keeps its tables: text files, spreadsheets, a workbook of small sheets, and the logger's files."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from .folder import Sheet
from .household import TITLE

SETTINGS: dict[str, str | float] = {
    "title": TITLE,
    "timezone": "Europe/Zurich",
    "round_days": 60,
    "steps_per_round": 3,
    "target_mass_g": 330,
}
_WORKBOOK = "collection.xlsx"
_LOOK = ("refeed", "read_at", "height", "high_mark", "ph", "ph_method", "probe", "temperature")


def _in_year(moment: str, year: int) -> Callable[[pd.DataFrame], pd.Series]:
    return lambda table: table[moment].dt.year == year


def _read_by_hand_in(year: int) -> Callable[[pd.DataFrame], pd.Series]:
    return lambda readings: readings["refeed"].notna() & (readings["read_at"].dt.year == year)


def _logged_in(quarter: int) -> Callable[[pd.DataFrame], pd.Series]:
    return lambda readings: readings["refeed"].isna() & (readings["read_at"].dt.quarter == quarter)


#: The first keeper's text files, the second keeper's spreadsheets, and the logger's files.
SHEETS = (
    Sheet("cultures.csv"),
    Sheet("depositors.csv"),
    Sheet("events.csv"),
    Sheet("flours.csv"),
    Sheet("flour_lots.csv", separator=";", decimal=",", byte_order_mark=True, units={"mass": "kg"}),
    Sheet("flour_counts.csv"),
    Sheet("vessels.csv", units={"volume": "mL", "inner_diameter": "mm"}),
    Sheet("probe_checks.csv"),
    Sheet("store_log.parquet"),
    Sheet(_WORKBOOK, of="stores"),
    Sheet(_WORKBOOK, of="backups"),
    Sheet(_WORKBOOK, of="backup_uses"),
    Sheet(_WORKBOOK, of="isolates"),
    Sheet(_WORKBOOK, of="identity_checks"),
    Sheet(_WORKBOOK, of="dispatches", units={"mass": "oz"}),
    Sheet("refeeds/2021.csv", _in_year("fed_at", 2021)),
    Sheet(
        "refeeds/2022.csv",
        _in_year("fed_at", 2022),
        units={"seed": "g", "flour": "g", "water": "g", "room_temperature": "degC"},
        separator=";",
        decimal=",",
        byte_order_mark=True,
    ),
    Sheet("refeeds/2023.csv", _in_year("fed_at", 2023)),
    Sheet("refeeds/2024.csv", _in_year("fed_at", 2024)),
    Sheet("refeed_flours.csv"),
    Sheet("readings/2021.csv", _read_by_hand_in(2021), columns=("refeed", "elapsed", *_LOOK[2:])),
    Sheet(
        "readings/2022.xlsx",
        _read_by_hand_in(2022),
        columns=_LOOK,
        units={"height": "cm", "high_mark": "cm", "temperature": "degF"},
    ),
    Sheet("readings/2023.csv", _read_by_hand_in(2023), columns=_LOOK),
    Sheet("readings/2024.csv", _read_by_hand_in(2024), columns=_LOOK),
    *(
        Sheet(
            f"readings/logger-{quarter}.parquet",
            _logged_in(quarter),
            columns=("vessel", "read_at", "height", "temperature"),
        )
        for quarter in (1, 2, 3, 4)
    ),
)
