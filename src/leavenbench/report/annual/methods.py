"""How the numbers of a report come about: methods with their sources, settings, versions, and what is withheld."""

from __future__ import annotations

import platform
from importlib.metadata import version

from ...records.settings import Settings
from ..privacy import GRID_DEG

#: The packages that compute and draw.
_PACKAGES = ("leavenbench", "numpy", "pandas", "scipy", "statsmodels", "matplotlib", "openpyxl")

#: Each method with its source.
METHODS: dict[str, str] = {
    "Curves": "Every refeed gets an activity curve (modified logistic, Gompertz or Richards, chosen by its readings): "
    "Zwietering, Jongenburger, Rombouts & van 't Riet 1990, Appl Environ Microbiol 56:1875-1881, doi "
    "10.1128/aem.56.6.1875-1881.1990.",
    "Temperature": "Hours are counted at the reference temperature by the cardinal temperature model: Rosso, Lobry, "
    "Bajard & Flandrois 1995, Appl Environ Microbiol 61:610-616, doi 10.1128/aem.61.2.610-616.1995.",
    "Vigour": "A refeed against the culture's own baseline at the same step, 100 %. What the shelf shared, a "
    "day, a flour lot, a room, is told apart in one mixed model with errors of Student's t: Lange, Little & Taylor "
    "1989, J Am Stat Assoc 84:881-896, doi 10.1080/01621459.1989.10478852.",
    "Year against year": "Each culture against itself; chance is the error of reading and the culture's usual "
    "wandering. Verdicts on many cultures are made with all in mind: Benjamini & Hochberg 1995, J R Stat Soc B "
    "57:289-300, doi 10.1111/j.2517-6161.1995.tb02031.x.",
    "Survival": "Kaplan & Meier 1958, J Am Stat Assoc 53:457-481, doi 10.1080/01621459.1958.10501452. A culture that "
    "was received before the records began is under watch only since then. The 95 % band is that of log(-log S), by "
    "Greenwood's error. Cultures are compared, by who can send their flour, with the log-rank test: Mantel 1966, "
    "Cancer Chemother Rep 50:163-170 (from memory).",
    "Watch list": "Every onset and pace of a decline is weighed against no change, after Shiryaev 1963, Theory Probab "
    "Appl 8:22-46, doi 10.1137/1108002, and Roberts 1966, Technometrics 8:411-430, doi "
    "10.1080/00401706.1966.10490374 (both from memory). Standings of past quarters look back only; curves, baselines "
    "and the threshold are those of the year's end.",
    "Score": "An alert counts as caught when the culture was lost or rescued within 18 months or came under half "
    "strength, and as passed over when it left the list without harm. A loss without an alert in the twelve months "
    "before is missed (common practice, no source).",
    "Organisms": "Old and new names of a species count once: Zheng and others 2020, Int J Syst Evol Microbiol "
    "70:2782-2858, doi 10.1099/ijsem.0.004107. What was not found among so many sampled may be there unseen. How many "
    "kinds there are is told as Hill numbers of order 0 (every species counts alike), 1 (by its share of the colonies) "
    "and 2 (mostly the common ones): Chao and others 2014, Ecol Monogr 84:45-67, doi 10.1890/13-0133.1. The more "
    "colonies are looked at, the more species are found, so that cultures are compared at equal coverage, the share of "
    "all colonies, seen or not, whose species was found: Chao & Jost 2012, Ecology 93:2533-2547, doi "
    "10.1890/11-1952.1.",
}


def settings_words(settings: Settings) -> list[str]:
    """Return the settings that the numbers rest on, in words."""
    return [
        f"Clock times are in the zone {settings.timezone}; rounds are {settings.round_days:g} days apart.",
        f"Vigour is stated at {settings.reference_temperature_degC:g} °C; half strength is "
        f"{settings.half_strength_pct:g} %.",
        f"False alerts that are borne per 100 healthy culture-years: {settings.false_alerts:g}.",
        f"A jar must sour to pH {settings.floor_ph:g} within {settings.floor_h:g} h of its last step.",
    ]


def withheld_words() -> list[str]:
    """Return what is not shown, and how."""
    return [
        "Names and contacts of depositors who have not agreed read 'withheld', in whatever table or column they stood.",
        "Of cultures whose place may not be shown the origin is withheld, and latitude and longitude are those of the "
        f"middle of a field of {GRID_DEG:g} degree by {GRID_DEG:g} degree.",
        "The words of the records are searched for what the tables of depositors and cultures hold: names, also cut to "
        "initials, streets, numbers, addresses. A nickname that stands in neither is not found, and the name of a town "
        "by itself stays.",
    ]


def versions_words() -> str:
    """Return the versions of what computes and draws."""
    told = [f"{name} {version(name)}" for name in _PACKAGES]
    return f"Python {platform.python_version()}; {'; '.join(told)}."
