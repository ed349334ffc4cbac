"""The Millrace House in the Orvenn valley: its cultures, the people who gave them, its flours, rooms and stores.

House, valley, places, mills, people and cultures are made up.
"""

from __future__ import annotations

from io import StringIO

import pandas as pd

from ..bakehouse.rooms import Room

TITLE = "The Millrace House, Orvenn valley"
PEOPLE = ("Bastane", "Ruelle")
#: Boards of the shelf whose jars stand in the loft to rise, and in the pantry's refrigerator between rounds.
_LOFT_BOARDS = ("lower", "floor")

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
Mossback    A     middle 2014-11-23 hask      rye             1:3:3  the forest bakery, Tarrowgap
Nightjar    A     middle 2015-07-07 vreel     rye             1:3:3  a night baker in Wexelfoot
Oldfold     A     middle 2016-02-29 imrie     rye             1:3:3  the sheepfold, Hollin ridge
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
Pearl       B     floor  2020-02-06 oskell    rice            1:2:3  a kitchen in Wexelfoot
Quince      B     upper  2020-08-22 quoye     white-wheat     1:2:2  an orchard in Dunmarrow
Barrow      A     lower  2013-05-04 hask      spelt           1:2:2  the burial hill, Saltbrig
Bellows     A     lower  2013-09-19 drell     rye             1:3:3  the smithy, Tarrowgap
Curlew      A     lower  2014-06-28 imrie     wholemeal-wheat 1:2:2  the moor school, Hollin ridge
Tansy       A     lower  2014-10-10 lund      barley          1:2:2  a field chapel, Dunmarrow
Fallow      A     lower  2015-03-21 torrand   durum           1:2:2  a weaver's house, Saltbrig
Harrow      A     lower  2017-04-27 quoye     oat             1:2:2  the ploughman's, Dunmarrow
Heron       A     floor  2016-12-11 oskell    buckwheat       1:2:3  the lock keeper's, Wexelfoot
Lantern     A     floor  2018-02-02 house     rice            1:2:3  the house's own
Linnet      A     floor  2019-07-15 vreel     maize           1:2:3  a market stall in Wexelfoot
Marram      B     lower  2014-08-30 imrie     spelt           1:2:2  the shepherd's kitchen, Hollin ridge
Osier       B     lower  2015-11-05 lund      wholemeal-wheat 1:2:2  a basket maker's, Dunmarrow
Plover      B     lower  2016-07-09 hask      white-wheat     1:2:2  the levee farm, Fennock
Saffron     B     floor  2017-08-14 drell     maize           1:2:3  the mule stable, Tarrowgap
Sorrel      B     lower  2018-05-06 torrand   durum           1:2:2  a tavern in Saltbrig
Teasel      B     floor  2018-12-20 quoye     sorghum         1:2:3  the dyer's, Dunmarrow
Weir        B     floor  2019-04-11 oskell    teff            1:2:3  a lodging house in Wexelfoot
Cobble      B     lower  2020-01-23 vreel     white-wheat     1:1:1  the station buffet, Wexelfoot
Mullein     A     upper  2020-06-30 house     white-wheat     1:2:2  the house's own
"""

_DEPOSITORS = """
depositor;name;contact;agreement_on;public
torrand;Torrand, Ilvette;Salt Lane 4, Saltbrig;2014-02-20;yes
quoye;Quoye family, bakers;The Ferry, Dunmarrow;2015-10-01;yes
oskell;Oskell, Merrit;Ivy Row 11, Wexelfoot;2015-05-02;no
vreel;Vreel, Anscha;Lamp Street 2, Wexelfoot;2015-06-28;no
hask;Hask, Dorrin;Under the Hill, Saltbrig;2013-04-10;yes
imrie;Imrie-Tolt, Sevrine;Hollin ridge;2014-06-12;yes
drell;Drell brothers;Pass Road 30, Tarrowgap;2013-08-01;yes
lund;Lundeg, Kerrin;Cellar Steps 7, Dunmarrow;2014-09-25;no
house;The Millrace House;;2018-01-18;yes
"""

_FLOURS = """
flour;name;grain;milling;supplier;sole_source;lead_time;shelf_life;gluten_free
white-wheat;white wheat flour;wheat;roller;Threewheel Mill;no;7;270;no
wholemeal-wheat;wholemeal wheat flour;wheat;stone;Quernhollow Mill;no;10;150;no
durum;fine durum semolina;durum;roller;Threewheel Mill;no;14;270;no
rye;medium rye flour;rye;stone;Quernhollow Mill;no;10;240;no
spelt;light spelt flour;spelt;stone;Quernhollow Mill;no;10;240;no
emmer;wholemeal emmer flour;emmer;stone;Hollin Ridge Granary;yes;21;150;no
einkorn;wholemeal einkorn flour;einkorn;stone;Hollin Ridge Granary;yes;21;150;no
barley;wholemeal barley flour;barley;stone;Old Tidewheel;yes;21;150;no
oat;fine oat flour;oat;stone;Quernhollow Mill;no;10;150;no
buckwheat;buckwheat flour;buckwheat;stone;Ostrik Granary;yes;14;180;yes
rice;wholegrain rice flour;rice;stone;Ostrik Granary;yes;14;240;yes
maize;white maize flour;maize;stone;Ostrik Granary;yes;14;240;yes
sorghum;red sorghum flour;sorghum;stone;Ostrik Granary;yes;28;240;yes
teff;brown teff flour;teff;stone;Ostrik Granary;yes;28;240;yes
"""

_STORES = """
store;name;site;kind;warn_above
cellar;the cold room in the cellar;Millrace House;cold;8
pantry;the refrigerator in the pantry;Millrace House;cold;8
chest;the chest freezer;Millrace House;freezer;-15
school;a shelf in the dairy school's freezer;Wexelfoot dairy school;deep_freezer;-60
"""

#: Cultures that are fed on more than one flour.
BLENDS = {
    "Hollin": {"white-wheat": 0.8, "rye": 0.2},
    "Oldfold": {"rye": 0.5, "wholemeal-wheat": 0.5},
    "Quince": {"white-wheat": 0.7, "wholemeal-wheat": 0.3},
}
ROOMS = (
    Room("bakehouse", mean_degC=22.5, season_degC=2.5, swing_degC=1.0),
    Room("loft", mean_degC=23.5, season_degC=3.0, swing_degC=1.5, thermometer=True),
)


def _listed(text: str, days: tuple[str, ...] = ()) -> pd.DataFrame:
    return pd.read_csv(StringIO(text), sep=";", parse_dates=list(days))


def cultures() -> pd.DataFrame:
    """Return the cultures table; the last words of a line, which hold spaces, are the origin."""
    header, *lines = _CULTURES.strip().splitlines()
    rows = [line.split(maxsplit=7) for line in lines]
    table = pd.DataFrame(rows, columns=header.split())
    parts = table.pop("parts").str.split(":", expand=True).astype(float)
    table["shelf_order"] = table.groupby("shelf").cumcount() + 1
    table["received"] = pd.to_datetime(table["received"])
    table["seed_parts"], table["flour_parts"], table["water_parts"] = parts[0], parts[1], parts[2]
    only_sour = table["flour"].isin(["rice", "maize", "sorghum", "teff"])
    table["leading_signal"] = only_sour.map({True: "acid", False: "rise"})
    table["public"] = table["depositor"].isin(["oskell", "vreel"]).map({True: "no", False: "yes"})
    return table


def depositors() -> pd.DataFrame:
    """Return the depositors table."""
    return _listed(_DEPOSITORS, ("agreement_on",))


def flours() -> pd.DataFrame:
    """Return the flours table."""
    return _listed(_FLOURS)


def stores() -> pd.DataFrame:
    """Return the stores table."""
    return _listed(_STORES)


def room_of(table: pd.DataFrame) -> dict[str, str]:
    """Return the room of each culture."""
    return {name: "loft" if board in _LOFT_BOARDS else "bakehouse" for name, board in _boards(table)}


def store_of(table: pd.DataFrame) -> dict[str, str]:
    """Return where the jar of each culture stands between rounds."""
    return {name: "pantry" if board in _LOFT_BOARDS else "cellar" for name, board in _boards(table)}


def _boards(table: pd.DataFrame) -> list[tuple[str, str]]:
    return list(table[["culture", "shelf"]].itertuples(index=False, name=None))
