"""The usual cautions of work with raw flour and living cultures, where they are due.

They are general practice; local food-safety law and licensed advice go before them.
"""

from __future__ import annotations

from collections.abc import Iterable

#: Grains whose flour is a labelled allergen (EU Regulation 1169/2011, Annex II, from memory).
_ALLERGENS = ("wheat", "spelt", "durum", "emmer", "einkorn", "khorasan", "rye", "barley", "oat")

#: Flour is raw: CDC and FDA on raw flour and dough; BfR, questions and answers of 15 January 2024.
RAW = "Do not taste raw starter or dough: flour is raw. Judge by bubbles, smell from a distance, height and pH."
#: Common practice, no authority's text found.
MOULD = "Any mould, or pink, orange or red colour: discard the whole jar. Do not skim it, do not feed it on."
OLD_JAR = "Keep the old jar in the cold until this one has passed."
UNDER_THE_BAND = "Under the band: read again; still under: add a step."
#: Dry ice boils off at -78.5 degC into gas that takes the place of air (read in published guidance).
DRY_ICE = (
    "Dry ice (-78.5 °C): work where the air moves, and never close it into an airtight container: its gas must get out."
)
#: Common practice, no source.
DEEP_COLD = "At -80 °C: insulated gloves and eye protection."
DEFER = "These cautions are general; your local food-safety rules and licensed advice go before them."


def floor_caution(floor_ph: float, floor_h: float) -> str:
    """Return what a jar must reach: pH 4.6 from 21 CFR 114.3; the day is common practice, no source."""
    return (
        f"A jar that has not come to pH {floor_ph:g} within {floor_h:g} h of its last step is not passed on, "
        "and does not go back to the cold as if it had passed."
    )


def allergens_in(grains: Iterable[str]) -> list[str]:
    """Return the grains among some, or among flours by name, that belong on a label.

    Examples
    --------
    >>> allergens_in(["buckwheat", "medium rye flour"])
    ['rye']
    """
    words = [grain.casefold() for grain in grains if "buckwheat" not in grain.casefold()]
    return [grain for grain in _ALLERGENS if any(grain in word for word in words)]


def cautions_for(grains: Iterable[str], gluten_free: bool, floor_ph: float, floor_h: float) -> list[str]:
    """Return the cautions that are due where some grains are on the bench.

    Parameters
    ----------
    grains : iterable of str
        Grains, or flours by name.
    gluten_free : bool
        Whether a jar is handled as gluten-free.
    floor_ph, floor_h : float
        The floor of the collection: pH, and hours [h].

    Returns
    -------
    list of str

    Examples
    --------
    >>> cautions_for(["rye", "buckwheat"], True, 4.6, 24)[3]
    'Allergens on the bench: rye. Label whatever leaves it.'
    """
    there = allergens_in(grains)
    told = [RAW, MOULD, floor_caution(floor_ph, floor_h)]
    if there:
        told.append(f"Allergens on the bench: {', '.join(there)}. Label whatever leaves it.")
    if gluten_free:
        told.append(
            "Gluten-free jars come first, with their own spoon and probe rinse. No test of a fermented dough can show "
            "that it is gluten-free (85 FR 49240): only the records of flour and order can."
        )
    return [*told, DEFER]
