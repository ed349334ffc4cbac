"""The demo's records: the house's people, cultures and fates, simulated, typed with mistakes, and filed.

Nothing here follows from what the package makes of it.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pandas as pd

from ..cast import Cast
from ..noise import streams
from ..shelf import Simulated, simulate_cast
from .fates import BEGIN, MISHAPS, PROBES, STORIES, TYPING_FAULTS, YEARS
from .files import SETTINGS, SHEETS
from .folder import write_collection
from .household import BLENDS, PEOPLE, ROOMS, cultures, depositors, flours, room_of, store_of, stores
from .papers import write_papers
from .typing_faults import plant_faults

_LOGGED = 40


def demo_cast() -> Cast:
    """Return the cultures of the house, their flours, places and fates."""
    shelf = cultures()
    return Cast(
        cultures=shelf,
        flours=flours(),
        stories=STORIES,
        mishaps=MISHAPS,
        blends=BLENDS,
        people=PEOPLE,
        probes=PROBES,
        rooms=ROOMS,
        room_of=room_of(shelf),
        stores=stores(),
        store_of=store_of(shelf),
    )


def simulate_demo(seed: int) -> Simulated:
    """Return the house's records and their truth, typing mistakes included.

    Parameters
    ----------
    seed : int
        The same seed gives the same records; people, cultures and stories are always the same.

    Returns
    -------
    Simulated
        Tables with the mistakes in them; the truth has one table more, typing_faults.
    """
    shelf = simulate_cast(seed, demo_cast(), YEARS, BEGIN, logged=_LOGGED)
    draw = streams(seed)
    tables, faults = plant_faults(shelf.tables, TYPING_FAULTS, draw.faults)
    end = shelf.truth["refeeds"]["fed_at"].max()
    papers = write_papers(tables["cultures"], tables["events"], pd.Timestamp(BEGIN), end, draw.papers)
    tables = {**tables, **papers, "depositors": depositors()}
    return replace(shelf, tables=tables, truth={**shelf.truth, "typing_faults": faults})


def write_demo(demo: Simulated, folder: Path | str) -> list[Path]:
    """Write the house's folder as its keepers keep it, and return the files; the truth is not among them."""
    return write_collection(demo.tables, folder, SHEETS, SETTINGS)
