"""How much things vary, and where the random numbers come from.

The sizes are assumed, in the range that keepers would call normal; no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np


@dataclass(frozen=True)
class Noise:
    """Sizes of everything that blurs the truth. Standard deviations of activity are of its natural logarithm.

    Attributes
    ----------
    round_sd : tuple of float
        Lowest and highest sd of a culture's vigour from round to round; each culture has its own.
    carry_over : float
        How much of one round's deviation is left in the next: the coefficient of an AR(1) series.
    refeed_sd : tuple of float
        Sd of a single refeed at step 1, 2 and from step 3 on.
    acid_alone_sd : float
        Sd by which the souring of a single refeed differs from its rise.
    day_sd, lot_sd : float
        Sd that all jars handled on one day share; that all jars on one flour lot share.
    cardinal_off_degC : float
        How far, at most, the cardinal temperatures of a culture's organisms lie from the usual ones.
    rounds_missing, refeeds_missing : float
        Share of rounds never held, and of refeeds never written down.
    ruler_sd_mm, logger_sd_mm, ph_sd, thermometer_sd_degC : float
        Sd of a single reading.
    misread : float
        Share of looks at which the ruler, and of those at which the pH meter, was misread.
    """

    round_sd: tuple[float, float] = (0.05, 0.12)
    carry_over: float = 0.3
    refeed_sd: tuple[float, float, float] = (0.08, 0.06, 0.05)
    acid_alone_sd: float = 0.03
    day_sd: float = 0.05
    lot_sd: float = 0.04
    cardinal_off_degC: float = 1.0
    rounds_missing: float = 0.03
    refeeds_missing: float = 0.03
    ruler_sd_mm: float = 1.5
    logger_sd_mm: float = 0.4
    ph_sd: float = 0.04
    thermometer_sd_degC: float = 0.3
    misread: float = 0.005


class Streams(NamedTuple):
    """One random generator per phenomenon, so that a change in one leaves the draws of all others alone."""

    stories: np.random.Generator
    strengths: np.random.Generator
    calendar: np.random.Generator
    course: np.random.Generator
    days: np.random.Generator
    lots: np.random.Generator
    refeeds: np.random.Generator
    jars: np.random.Generator
    looks: np.random.Generator
    readings: np.random.Generator
    bench: np.random.Generator
    faults: np.random.Generator
    rooms: np.random.Generator
    stores: np.random.Generator
    probes: np.random.Generator
    papers: np.random.Generator


def streams(seed: int) -> Streams:
    """Return the generators that a seed stands for. New ones go to the end, to leave the others as they are.

    Examples
    --------
    >>> bool(streams(7).days.random() == streams(7).days.random())
    True
    """
    return Streams(*np.random.default_rng(seed).spawn(len(Streams._fields)))
