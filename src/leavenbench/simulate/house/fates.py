"""What happens in the house over four years: to single cultures, to many at once, and to a pH probe."""

from __future__ import annotations

from datetime import date, datetime

from ..bakehouse.mishaps import ColdRoom, FlourEnds, Mishap, MissedRound, PoorLot, StoreFailure
from ..bench.probes import Probe
from ..culture.stories import Story

BEGIN, YEARS = date(2021, 1, 4), 4

STORIES: dict[str, Story] = {
    "Pewter": Story("ramp", onset=11, percent=3.0),
    "Kettle": Story("ramp", onset=15, percent=5.0),
    "Thistle": Story("ramp", onset=17, percent=8.0),
    "Candlewick": Story("accelerating", onset=17, percent=1.5),
    "Rookery": Story("step", onset=19, percent=25.0),
    "Juniper": Story("dip", onset=13, percent=30.0, within=4),
    "Mossback": Story("rescue", onset=14, percent=12.0, turns_after=5, within=3),
    "Ivyrow": Story("takeover", onset=19, percent=40.0, gain_percent=25.0, within=3),
    "Fennock": Story("death", onset=12, turns_after=4, within=3),
    "Tansy": Story("ramp", onset=16, percent=45.0),
    "Drover": Story("death", onset=23, noticed=False),
}

MISHAPS: tuple[Mishap, ...] = (
    PoorLot("spelt", delivery=8, percent=22.0),
    FlourEnds("barley", date(2023, 6, 1), "rye"),
    ColdRoom("bakehouse", date(2024, 1, 17), date(2024, 1, 17), 7.0),
    ColdRoom("loft", date(2024, 1, 17), date(2024, 1, 17), 7.0),
    StoreFailure("pantry", datetime(2024, 2, 16, 18), hours=38.0, warmest_degC=21.0, percent=15.0, within=3),
    MissedRound("B", 10),
)

#: The keepers' probes; the second drifts for nine months before somebody mends it.
PROBES = (
    Probe("white"),
    Probe("blue", date(2023, 9, 1), date(2024, 6, 15), offset_a_month=0.025, slope_lost_a_month=0.005),
)

#: The typing mistakes, and the year in which each is made.
TYPING_FAULTS = (
    ("decimal point left out", 2021),
    ("refeed number used twice", 2021),
    ("name misspelt", 2022),
    ("centimetres among millimetres", 2023),
    ("month before", 2024),
)
