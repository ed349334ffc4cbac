"""A round rehearsed: the boxes of a sheet filled in by machine, as the expected bands let expect.

So that a keeper can try the way from the sheet to the records on a copy of the collection, before the first round.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd

from .layout import sheet_cells
from .sheet import BenchSheet

#: One box: jar (0 for the sheet as a whole), field, look (0 where it is none).
Key = tuple[int, str, int]
#: Minutes after the full hour at which the first jar is fed, and between two jars.
_FIRST_AT, _BETWEEN = 8 * 60, 4


def rehearsed(sheet: BenchSheet, seed: int = 1, strength: float = 1.0) -> dict[Key, object]:
    """Make up what a keeper would type.

    Parameters
    ----------
    sheet : BenchSheet
        The sheet.
    seed : int
        Of the chance by which readings differ from the middle of the band.
    strength : float
        How far a jar comes, as a share of what is expected of it.

    Returns
    -------
    dict
        By jar, field and look, what is typed. A jar without a band is fed and not read.
    """
    random = np.random.default_rng(seed)
    typed: dict[Key, object] = {(0, "room_temperature", 0): sheet.room_degC} if np.isfinite(sheet.room_degC) else {}
    for jar in sheet.rows.to_dict("records"):
        position = int(jar["position"])
        fed = _FIRST_AT + _BETWEEN * position
        typed[position, "fed_at", 0] = _clock(fed)
        for look, hour in enumerate(sheet.hours, start=1):
            values = _looked(sheet.bands, jar["culture"], hour, strength, random)
            if values:
                typed[position, "look", look] = _clock(fed + round(60 * hour))
            typed |= {(position, name, look): value for name, value in values.items()}
        typed[position, "passed", 0] = "yes"
    return typed


def _looked(
    bands: pd.DataFrame, culture: str, hour: float, strength: float, random: np.random.Generator
) -> dict[str, float]:
    """Return the height and the pH at one look."""
    found = {}
    own = bands[bands["culture"] == culture]
    for signal, name, unit, decimals in (("rise", "height", "mm", 0), ("acid", "ph", "pH", 2)):
        band = own[(own["signal"] == signal) & (own["unit"] == unit)]
        if len(band):
            start = float(band["middle"].iloc[0])
            now = band[np.isclose(band["elapsed_h"].astype(float), hour)]
            if len(now):
                spread = float(now["high"].iloc[0] - now["low"].iloc[0]) / 2.0
                middle = start + strength * (float(now["middle"].iloc[0]) - start)
                value = middle + 0.4 * spread * random.uniform(-1.0, 1.0)
                found[name] = round(max(value, 1.0), decimals) if decimals else float(round(max(value, 1.0)))
    return found


def _clock(minutes: int) -> str:
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"


def type_into(book: Path, sheets: Iterable[BenchSheet], typed: Iterable[dict[Key, object]], target: Path) -> None:
    """Type into the boxes of a workbook, and save it as a new one.

    Parameters
    ----------
    book : pathlib.Path
        The workbook of the sheets.
    sheets : iterable of BenchSheet
        Its sheets.
    typed : iterable of dict
        What is typed into each, as `rehearsed` makes it.
    target : pathlib.Path
        The new workbook; it has no charts.
    """
    opened = openpyxl.load_workbook(book)
    pages = {str(opened[name].cell(2, 2).value): opened[name] for name in opened.sheetnames}
    for sheet, boxes in zip(sheets, typed, strict=True):
        for cell in sheet_cells(sheet):
            if cell.box is not None and (cell.position, cell.box.field, cell.look) in boxes:
                pages[sheet.identity].cell(cell.row, cell.column).value = boxes[
                    cell.position, cell.box.field, cell.look
                ]
    opened.save(target)
