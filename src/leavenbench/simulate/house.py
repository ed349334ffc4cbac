"""The demo: an invented house in an invented valley, with thirty cultures and three years of records.

Its people, places, mills and cultures are made up. Nothing here follows from what the package makes of it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from io import StringIO
from pathlib import Path

import pandas as pd

from .cast import Cast
from .folder import Sheet, write_collection
from .noise import streams
from .shelf import Simulated, simulate_cast
from .stories import Story
from .typing_faults import plant_faults

TITLE = "The Millrace House, Orvenn valley"
BEGIN, YEARS = date(2022, 1, 3), 3
_FIRST, _SECOND, _THIRD = 2022, 2023, 2024

SETTINGS: dict[str, str | float] = {
    "title": TITLE,
    "timezone": "Europe/Zurich",
    "round_days": 60,
    "steps_per_round": 3,
    "target_mass_g": 330,
}

_CULTURES = """
culture     group shelf  received   depositor flour           parts  origin
Aldermoss   A     upper  2014-03-02 torrand   white-wheat     1:2:2  a farm above Saltbrig
Brindle     A     upper  2015-10-11 quoye     white-wheat     1:2:2  the bakehouse at Dunmarrow
Candlewick  A     upper  2016-01-20 oskell    white-wheat     1:2:2  a kitchen in Wexelfoot
Dovecote    A     upper  2016-06-05 vreel     white-wheat     1:1:1  the old school, Saltbrig
Emberly     A     upper  2017-02-14 hask      white-wheat     1:2:2  the Saltbrig fire station
Fennock     A     upper  2017-09-30 torrand   white-wheat     1:2:2  the marsh farm, Fennock
Gatehouse   A     middle 2018-04-18 house     white-wheat     1:2:2  the house's own
Hollin      A     middle 2018-11-08 imrie     white-wheat     1:1:1  a shepherd's hut on Hollin ridge
Ivyrow      A     middle 2015-05-25 oskell    wholemeal-wheat 1:2:2  Ivy Row, Wexelfoot
Juniper     A     middle 2016-08-17 drell     wholemeal-wheat 1:2:2  the drover's inn, Tarrowgap
Kettle      A     middle 2017-12-01 quoye     wholemeal-wheat 1:2:2  the ferry kitchen, Dunmarrow
Larkspur    A     middle 2019-03-09 lund      wholemeal-wheat 1:2:2  a garden in Saltbrig
Mossback    A     lower  2014-11-23 hask      rye             1:3:3  the forest bakery, Tarrowgap
Nightjar    A     lower  2015-07-07 vreel     rye             1:3:3  a night baker in Wexelfoot
Oldfold     A     lower  2016-02-29 imrie     rye             1:3:3  the sheepfold, Hollin ridge
Pewter      B     upper  2016-10-16 torrand   rye             1:3:3  the tinsmith's, Saltbrig
Quarrel     B     upper  2018-01-12 drell     rye             1:3:3  two brothers' bakery, Tarrowgap
Rookery     B     upper  2018-07-21 oskell    rye             1:3:3  the tall house, Wexelfoot
Sable       B     upper  2019-09-04 lund      rye             1:3:3  a cellar in Dunmarrow
Thistle     B     upper  2015-12-13 quoye     spelt           1:2:2  the upper pasture, Dunmarrow
Underhill   B     middle 2016-04-03 hask      spelt           1:2:2  the last farm under the hill
Vesper      B     middle 2017-06-19 vreel     spelt           1:2:2  an evening bakery, Saltbrig
Wayside     B     middle 2019-01-27 house     spelt           1:2:2  the house's own
Yarrow      B     middle 2018-03-15 imrie     emmer           1:2:2  a herb grower, Hollin ridge
Zigzag      B     middle 2019-05-30 drell     emmer           1:2:2  the pass road, Tarrowgap
Bramble     B     lower  2017-10-02 torrand   einkorn         1:2:2  a hedge farm, Saltbrig
Cinder      B     lower  2018-09-12 oskell    einkorn         1:2:2  the lime kiln, Wexelfoot
Drover      B     lower  2019-11-18 lund      einkorn         1:2:2  the cattle road, Dunmarrow
Pearl       B     lower  2020-02-06 oskell    rice            1:2:3  a kitchen in Wexelfoot
Quince      B     lower  2020-08-22 quoye     white-wheat     1:2:2  an orchard in Dunmarrow
"""

_DEPOSITORS = """
depositor;name;contact;agreement_on;public
torrand;Torrand, Ilvette;Salt Lane 4, Saltbrig;2014-02-20;yes
quoye;Quoye family, bakers;The Ferry, Dunmarrow;2015-10-01;yes
oskell;Oskell, Merrit;Ivy Row 11, Wexelfoot;2015-05-02;no
vreel;Vreel, Anscha;Lamp Street 2, Wexelfoot;2015-06-28;no
hask;Hask, Dorrin;Under the Hill, Saltbrig;2014-11-10;yes
imrie;Imrie-Tolt, Sevrine;Hollin ridge;2016-02-12;yes
drell;Drell brothers;Pass Road 30, Tarrowgap;2016-08-01;yes
lund;Lundeg, Kerrin;Cellar Steps 7, Dunmarrow;2019-02-25;no
house;The Millrace House;;2018-04-18;yes
"""

_FLOURS = """
flour;name;grain;milling;supplier;sole_source;lead_time;shelf_life;gluten_free
white-wheat;white wheat flour;wheat;roller;Threewheel Mill;no;7;270;no
wholemeal-wheat;wholemeal wheat flour;wheat;stone;Quernhollow Mill;no;10;150;no
rye;medium rye flour;rye;stone;Quernhollow Mill;no;10;240;no
spelt;light spelt flour;spelt;stone;Quernhollow Mill;no;10;240;no
emmer;wholemeal emmer flour;emmer;stone;Hollin Ridge Granary;yes;21;150;no
einkorn;wholemeal einkorn flour;einkorn;stone;Hollin Ridge Granary;yes;21;150;no
rice;wholegrain rice flour;rice;stone;Ostrik Granary;yes;14;240;yes
"""

_STORES = """
store;name;site;kind;warn_above
cellar;the cold room in the cellar;Millrace House;cold;8
"""

STORIES: dict[str, Story] = {
    "Pewter": Story("ramp", onset=8, percent=3.0),
    "Kettle": Story("ramp", onset=9, percent=5.0),
    "Thistle": Story("ramp", onset=10, percent=8.0),
    "Rookery": Story("step", onset=11, percent=25.0),
    "Juniper": Story("dip", onset=9, percent=30.0, heals_in=4),
    "Fennock": Story("death", onset=12),
    "Drover": Story("death", onset=17, noticed=False),
}

TYPING_FAULTS = (
    ("decimal point left out", _FIRST),
    ("refeed number used twice", _FIRST),
    ("name misspelt", _SECOND),
    ("centimetres among millimetres", _THIRD),
    ("month before", _THIRD),
)


def _in_year(moment: str, year: int) -> Callable[[pd.DataFrame], pd.Series]:
    return lambda table: table[moment].dt.year == year


def _read_by_hand_in(year: int) -> Callable[[pd.DataFrame], pd.Series]:
    return lambda readings: readings["refeed"].notna() & (readings["read_at"].dt.year == year)


def _read_by_logger(readings: pd.DataFrame) -> pd.Series:
    return readings["refeed"].isna()


#: The first keeper's text files, the second keeper's spreadsheets, and the logger's file.
SHEETS = (
    Sheet("cultures.csv"),
    Sheet("events.csv"),
    Sheet("depositors.csv"),
    Sheet("flours.csv"),
    Sheet("flour_lots.csv"),
    Sheet("vessels.csv", units={"volume": "mL", "inner_diameter": "mm"}),
    Sheet("stores.csv"),
    Sheet("refeeds/2022.csv", _in_year("fed_at", _FIRST)),
    Sheet(
        "refeeds/2023.csv",
        _in_year("fed_at", _SECOND),
        units={"seed": "g", "flour": "g", "water": "g", "room_temperature": "degC"},
        separator=";",
        decimal=",",
        byte_order_mark=True,
    ),
    Sheet("refeeds/2024.csv", _in_year("fed_at", _THIRD)),
    Sheet(
        "readings/2022.csv",
        _read_by_hand_in(_FIRST),
        columns=("refeed", "elapsed", "height", "high_mark", "ph", "ph_method"),
    ),
    Sheet(
        "readings/2023.xlsx",
        _read_by_hand_in(_SECOND),
        columns=("refeed", "read_at", "height", "high_mark", "ph", "ph_method"),
        units={"height": "cm", "high_mark": "cm"},
    ),
    Sheet(
        "readings/2024.csv",
        _read_by_hand_in(_THIRD),
        columns=("refeed", "read_at", "height", "high_mark", "ph", "ph_method"),
    ),
    Sheet(
        "readings/logger.parquet",
        _read_by_logger,
        columns=("vessel", "read_at", "height", "temperature"),
    ),
)


def _listed(text: str, days: tuple[str, ...] = (), separator: str = ";") -> pd.DataFrame:
    return pd.read_csv(StringIO(text), sep=separator, parse_dates=list(days))


def _cultures() -> pd.DataFrame:
    """Return the cultures table; the last words of a line, which hold spaces, are the origin."""
    header, *lines = _CULTURES.strip().splitlines()
    rows = [line.split(maxsplit=7) for line in lines]
    table = pd.DataFrame(rows, columns=header.split())
    parts = table.pop("parts").str.split(":", expand=True).astype(float)
    table["shelf_order"] = table.groupby("shelf").cumcount() + 1
    table["received"] = pd.to_datetime(table["received"])
    table["seed_parts"], table["flour_parts"], table["water_parts"] = parts[0], parts[1], parts[2]
    table["leading_signal"] = table["flour"].map(lambda flour: "acid" if flour == "rice" else "rise")
    table["public"] = table["depositor"].map(lambda name: "no" if name in ("oskell", "vreel") else "yes")
    return table


def demo_cast() -> Cast:
    """Return the thirty cultures of the house, their flours and their stories."""
    return Cast(_cultures(), _listed(_FLOURS), STORIES, ("Bastane", "Ruelle"), "bakehouse", "cellar")


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
    shelf = simulate_cast(seed, demo_cast(), YEARS, BEGIN)
    tables, faults = plant_faults(shelf.tables, TYPING_FAULTS, streams(seed).faults)
    tables["depositors"] = _listed(_DEPOSITORS, ("agreement_on",))
    tables["stores"] = _listed(_STORES)
    return replace(shelf, tables=tables, truth={**shelf.truth, "typing_faults": faults})


def write_demo(demo: Simulated, folder: Path | str) -> list[Path]:
    """Write the house's folder as its keepers keep it, and return the files; the truth is not among them."""
    return write_collection(demo.tables, folder, SHEETS, SETTINGS)
