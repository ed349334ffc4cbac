"""A small shelf for the tests of the keeper's work: three cultures fed by the book, read by ruler and probe."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from leavenbench.care.bench.layout import sheet_cells
from leavenbench.care.bench.rehearsal import type_into
from leavenbench.care.bench.sheet import BenchSheet
from leavenbench.records.collection import read_collection

HOURS = np.array([0.0, 2, 3, 4, 5, 6, 8])
#: Seed at each step [g], by the ratio 1:2:2 to 330 g.
SEEDS = (20, 38, 66)
FLOUR = {"Alba": "rye", "Bruno": "wheat", "Rika": "rice"}
#: Inner diameter and volume of the jars of the three steps.
JARS = {1: (58, 320), 2: (72, 570), 3: (85, 960)}


def _write_shelf(folder: Path, rounds: int = 6, *, days: int = 60) -> Path:
    """Write it: the last round begins on 2024-10-31, and every jar has passed."""
    folder.mkdir(parents=True)
    (folder / "collection.toml").write_text(
        'title = "Test shelf"\ntimezone = "Europe/Vienna"\nround_days = 60\nsteps_per_round = 3\ntarget_mass_g = 330\n'
    )
    (folder / "cultures.csv").write_text(
        "culture,name,group,shelf,shelf_order,flour,seed_parts,flour_parts,water_parts\n"
        "Alba,,A,low,1,rye,1,2,2\nBruno,,A,low,2,wheat,1,2,2\nRika,,B,top,1,rice,1,2,2\n"
    )
    (folder / "flours.csv").write_text(
        "flour,name,grain,gluten_free\nrye,rye flour,rye,no\nwheat,wheat flour,wheat,no\nrice,rice flour,rice,yes\n"
    )
    (folder / "flour_lots.csv").write_text(
        "lot,flour,received,best_before,mass [kg]\nrye-1,rye,2024-01-01,2025-12-01,20\n"
        "wheat-1,wheat,2024-01-01,2025-12-01,20\nrice-1,rice,2024-01-01,2025-12-01,20\n"
    )
    (folder / "stores.csv").write_text("store,kind\ncellar,cold\npantry,cold\n")
    vessels = [f"{culture[0]}{step},{JARS[step][1]},{JARS[step][0]},300" for culture in FLOUR for step in JARS]
    (folder / "vessels.csv").write_text("vessel,volume,inner_diameter,tare\n" + "\n".join(vessels) + "\n")
    random = np.random.default_rng(5)
    refeeds, readings = [], []
    first = pd.Timestamp("2024-10-31 08:00") - pd.Timedelta(days=days * (rounds - 1))
    for number in range(rounds):
        for step, seed in enumerate(SEEDS, start=1):
            for place, (culture, flour) in enumerate(FLOUR.items(), start=1):
                name = f"{culture}-{number}-{step}"
                fed = first + pd.Timedelta(days=days * number + step - 1, minutes=4 * place)
                start = 4000 / np.pi / JARS[step][0] ** 2 * 5 * seed / 1.1
                passed, store = ("yes", "pantry" if culture == "Rika" else "cellar") if step == 3 else ("", "")
                refeeds.append(
                    f"{name},{culture},{fed:%Y-%m-%d %H:%M},{step},{flour}-1,{seed},{2 * seed},{2 * seed},"
                    f"{culture[0]}{step},{start:.0f},20,{passed},{store}"
                )
                strength = np.exp(random.normal(0, 0.06))
                height = start * (1 + 1.1 * strength / (1 + np.exp(-1.4 * (HOURS - 3.6))))
                ph = 5.9 - 1.9 / (1 + np.exp(-0.9 * strength * (HOURS - 4.2)))
                for hour, tall, sour in zip(HOURS, height, ph, strict=True):
                    tall, sour = tall + random.normal(0, 0.7), sour + random.normal(0, 0.03)
                    readings.append(f"{name},{hour:g},{tall:.0f},{sour:.2f}")
    header = "refeed,culture,fed_at,step,lot,seed,flour,water,vessel,start_height,room_temperature,passed,cold_store"
    (folder / "refeeds.csv").write_text(header + "\n" + "\n".join(refeeds) + "\n")
    (folder / "readings.csv").write_text("refeed,elapsed,height,ph\n" + "\n".join(readings) + "\n")
    return folder


def _fill(book: Path, sheet: BenchSheet, boxes: dict[tuple[int, str, int], object]) -> None:
    """Type into the boxes of a sheet: by jar (0 for the sheet as a whole), field and look (0 where it is none)."""
    there = {(cell.position, cell.box.field, cell.look) for cell in sheet_cells(sheet) if cell.box is not None}
    assert set(boxes) <= there, f"there is no box {set(boxes) - there}"
    type_into(book, [sheet], [boxes], book)


def _fed(position: int, at: str = "08:15", *, passed: str = "yes", heights: tuple = (52, 70, 95)) -> dict:
    """Return what a keeper types for a jar: fed, read three times, passed."""
    boxes: dict[tuple[int, str, int], object] = {(position, "fed_at", 0): at, (position, "passed", 0): passed}
    for look, height in enumerate(heights, start=1):
        boxes[position, "look", look] = f"{8 + 2 * look}:30"
        boxes[position, "height", look] = height
        boxes[position, "ph", look] = round(5.6 - 0.5 * look, 2)
    return boxes


@pytest.fixture(scope="session")
def write_shelf():
    """Return the function that writes the shelf."""
    return _write_shelf


@pytest.fixture(scope="session")
def fill():
    """Return the function that types into a sheet."""
    return _fill


@pytest.fixture(scope="session")
def fed():
    """Return the function that tells what a keeper types for a jar."""
    return _fed


@pytest.fixture(scope="session")
def folder(tmp_path_factory):
    """The shelf; nobody may write into it."""
    return _write_shelf(tmp_path_factory.mktemp("care") / "test_shelf")


@pytest.fixture(scope="session")
def shelf(folder):
    """The shelf, read."""
    return read_collection(folder)
