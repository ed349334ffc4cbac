"""Feeding arithmetic: ratios, percentages, hydration, dough yield, moisture, doublings.

Masses are in grams; `grams` reads what people write. Percentages of a dough are on its flour, as bakers count them.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from math import isfinite, log2
from typing import NamedTuple

from ..errors import CannotRead
from ..units import registry

#: The moisture that mills and laboratories refer flour to [%] (common practice; ICC and AACC methods, from memory).
STANDARD_MOISTURE_PCT = 14.0


class FeedRatio(NamedTuple):
    """Parts of seed, flour and water, by mass.

    Attributes
    ----------
    seed, flour, water : float
        The parts; seed and flour above zero.
    """

    seed: float
    flour: float
    water: float

    @classmethod
    def of(cls, written: str) -> FeedRatio:
        """Read a ratio as people write it.

        Parameters
        ----------
        written : str
            As ``1:2:2``; commas may be decimals, as in ``1:2,5:2``.

        Returns
        -------
        FeedRatio

        Raises
        ------
        CannotRead
            When it is not three numbers, or seed or flour is nothing.

        Examples
        --------
        >>> FeedRatio.of("1 : 2,5 : 2")
        FeedRatio(seed=1.0, flour=2.5, water=2.0)
        """
        parts = written.replace(",", ".").split(":")
        try:
            seed, flour, water = (float(part) for part in parts)
        except ValueError as error:
            raise CannotRead(f"'{written}' is no feed ratio; write seed:flour:water, as 1:2:2") from error
        return cls(seed, flour, water).checked()

    def checked(self) -> FeedRatio:
        """Return the ratio itself, if a jar can be fed by it."""
        if not all(isfinite(part) for part in self) or self.seed <= 0.0 or self.flour <= 0.0 or self.water < 0.0:
            told = ":".join(f"{part:g}" for part in self)
            raise CannotRead(f"a feed ratio of {told} feeds nothing; seed and flour must be more than nothing")
        return self

    @property
    def growth(self) -> float:
        """How many times its seed a fed jar weighs."""
        return (self.seed + self.flour + self.water) / self.seed

    @property
    def doublings(self) -> float:
        """How many times the seed must double to fill the jar again: log2 of the growth.

        Examples
        --------
        >>> round(FeedRatio(1, 5, 5).doublings, 5)
        3.45943
        """
        return log2(self.growth)


def grams(written: str) -> float:
    """Return a mass as people write it, in grams; without a unit it is grams.

    Parameters
    ----------
    written : str
        As ``4,5 oz``, ``1.2 kg`` or ``250``.

    Returns
    -------
    float
        Mass [g].

    Raises
    ------
    CannotRead
        When it is no mass.

    Examples
    --------
    >>> round(grams("4,5 oz"), 2), grams("1.2 kg"), grams("250")
    (127.57, 1200.0, 250.0)
    """
    told = re.fullmatch(r"\s*([0-9]+(?:[.,][0-9]+)?)\s*([A-Za-z ]*)\s*", written)
    if told is None:
        raise CannotRead(f"'{written}' is no mass; write it as 250 g")
    value, unit = float(told[1].replace(",", ".")), told[2].strip().casefold() or "g"
    try:
        found = registry().Quantity(value, {"gr": "g"}.get(unit, unit)).to("g")
    except Exception as error:  # pint has many errors for what is not a unit of mass
        raise CannotRead(f"'{written}' is no mass; write it as 250 g") from error
    return float(found.magnitude)


def bakers_percentages(masses: Mapping[str, float], *flours: str) -> dict[str, float]:
    """Return every ingredient in percent of all flour.

    Parameters
    ----------
    masses : mapping of str to float
        Ingredients [g].
    *flours : str
        Which of them are flour.

    Returns
    -------
    dict of str to float
        Percent [%], in the same order.

    Examples
    --------
    >>> bakers_percentages({"flour": 1000, "water": 600, "salt": 2}, "flour")["water"]
    60.0
    """
    flour = sum(masses[name] for name in flours)
    if flour <= 0.0:
        raise CannotRead("percentages are on the flour, and there is none")
    return {name: 100.0 * mass / flour for name, mass in masses.items()}


def flour_for_dough(dough_g: float, total_pct: float) -> float:
    """Return the flour [g] in a dough of so much [g] whose ingredients add up to so many percent of it.

    Examples
    --------
    >>> round(flour_for_dough(1340, 182))
    736
    """
    return 100.0 * dough_g / total_pct


def hydration_pct(seed_g: float, seed_hydration_pct: float, flour_g: float, water_g: float) -> float:
    """Return the hydration of a fed jar: water in percent of flour, that of the seed counted in.

    Parameters
    ----------
    seed_g, flour_g, water_g : float
        What goes into the jar [g].
    seed_hydration_pct : float
        Hydration of the seed [%].

    Returns
    -------
    float
        Hydration [%].

    Examples
    --------
    >>> round(hydration_pct(50, 100, 200, 150), 2)
    77.78
    """
    flour, water = _flour_and_water(seed_g, seed_hydration_pct)
    return 100.0 * (water + water_g) / (flour + flour_g)


def dough_yield(flour_g: float, water_g: float) -> float:
    """Return the dough yield: dough in percent of its flour.

    Examples
    --------
    >>> dough_yield(500, 300)
    160.0
    """
    return 100.0 * (flour_g + water_g) / flour_g


def settled_hydration_pct(ratio: FeedRatio) -> float:
    """Return the hydration that a culture comes to when it is always fed by the same ratio [%]."""
    return 100.0 * ratio.water / ratio.flour


def flour_at_moisture(
    mass_g: float, moisture_pct: float, basis_pct: float = STANDARD_MOISTURE_PCT
) -> tuple[float, float]:
    """Return the flour, and the water beside it, that stand for a mass at another moisture.

    Parameters
    ----------
    mass_g : float
        What is wanted at the basis [g].
    moisture_pct : float
        Moisture of the flour at hand [%].
    basis_pct : float
        Moisture that the wish refers to [%].

    Returns
    -------
    flour_g, water_g : float
        Flour at hand, ``mass (100 - basis) / (100 - moisture)``, and the water that makes up the mass, less than
        nothing where the flour at hand is the moister one.

    Examples
    --------
    >>> [round(part, 4) for part in flour_at_moisture(100, 12.5)]
    [98.2857, 1.7143]
    """
    if not 0.0 <= moisture_pct < 100.0 or not 0.0 <= basis_pct < 100.0:
        raise CannotRead(f"a moisture of {moisture_pct:g} % on {basis_pct:g} % cannot be; both lie from 0 to under 100")
    flour = mass_g * (100.0 - basis_pct) / (100.0 - moisture_pct)
    return flour, mass_g - flour


def _flour_and_water(seed_g: float, hydration: float) -> tuple[float, float]:
    flour = seed_g / (1.0 + hydration / 100.0)
    return flour, seed_g - flour
