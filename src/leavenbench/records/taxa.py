"""Species under their accepted names: the old name and the new one of an organism count as one.

In 2020 the genus Lactobacillus was split into 25 genera (Zheng et al. 2020, Int J Syst Evol Microbiol 70:2782-2858,
doi 10.1099/ijsem.0.004107). The table holds the species that are met in sourdough, from memory. Epithets kept their
spelling, so that the old name of each is Lactobacillus with the same epithet.
"""

from __future__ import annotations

import re

_SPLIT_OFF = {
    "Apilactobacillus": "kunkeei",
    "Companilactobacillus": "alimentarius crustorum farciminis futsaii heilongjiangensis kimchii mindensis nantensis "
    "nodensis paralimentarius",
    "Fructilactobacillus": "florum fructivorans lindneri sanfranciscensis",
    "Furfurilactobacillus": "rossiae siliginis",
    "Lacticaseibacillus": "casei paracasei rhamnosus",
    "Lactiplantibacillus": "paraplantarum pentosus plantarum xiangfangensis",
    "Latilactobacillus": "curvatus graminis sakei",
    "Lentilactobacillus": "buchneri diolivorans hilgardii kefiri parabuchneri",
    "Levilactobacillus": "acidifarinae brevis hammesii koreensis namurensis parabrevis spicheri zymae",
    "Limosilactobacillus": "fermentum frumenti mucosae oris panis pontis reuteri secaliphilus vaginalis",
    "Loigolactobacillus": "coryniformis",
    "Schleiferilactobacillus": "harbinensis perolens",
    "Secundilactobacillus": "collinoides",
}
#: New genus of each of these species, by epithet.
_GENUS = {epithet: genus for genus, epithets in _SPLIT_OFF.items() for epithet in epithets.split()}
#: Other names that went out of use: Lactobacillus sanfrancisco (corrected to sanfranciscensis); Candida humilis and
#: Candida milleri (Jacques et al. 2016, Int J Syst Evol Microbiol 66:5192); Saccharomyces exiguus and Candida holmii
#: (Kurtzman 2003, FEMS Yeast Res 4:233); Pichia anomala (Kurtzman et al. 2008, FEMS Yeast Res 8:939). From memory.
_OTHER = {
    "Lactobacillus sanfrancisco": "Fructilactobacillus sanfranciscensis",
    "Candida humilis": "Kazachstania humilis",
    "Candida milleri": "Kazachstania humilis",
    "Saccharomyces exiguus": "Kazachstania exigua",
    "Candida holmii": "Kazachstania exigua",
    "Pichia anomala": "Wickerhamomyces anomalus",
}
_SHORT_OLD = ("L.", "Lb.")
_NO_EPITHET = re.compile(r"spp?\.?|cf\.?|aff\.?|species|unknown")


def accepted_name(taxon: str) -> str:
    """Return the species that a name stands for, under its accepted name; empty when it names none.

    Parameters
    ----------
    taxon : str
        A name as it was written down: genus and epithet; what follows (subspecies, strain) is passed over. The genus
        may be shortened to L. or Lb., or to the first letter of the new one.

    Returns
    -------
    str
        Empty for a genus alone, or one shortened to a letter that may stand for several: it cannot be told whether
        two such names are the same.

    Examples
    --------
    >>> accepted_name("Lactobacillus plantarum"), accepted_name("L. plantarum"), accepted_name("Candida milleri")
    ('Lactiplantibacillus plantarum', 'Lactiplantibacillus plantarum', 'Kazachstania humilis')
    >>> accepted_name("Lactobacillus delbrueckii"), accepted_name("Lactobacillus sp."), accepted_name("C. humilis")
    ('Lactobacillus delbrueckii', '', '')
    """
    words = taxon.replace("_", " ").split()
    if len(words) < 2 or _NO_EPITHET.fullmatch(words[1].casefold()):
        return ""
    genus, epithet = words[0].capitalize(), words[1].casefold()
    new = _GENUS.get(epithet, "")
    shortened = genus in _SHORT_OLD or (genus.endswith(".") and genus[:1] == new[:1])
    if new and (genus in ("Lactobacillus", new) or shortened):
        return f"{new} {epithet}"
    if genus.endswith("."):
        return ""
    return _OTHER.get(f"{genus} {epithet}", f"{genus} {epithet}")
