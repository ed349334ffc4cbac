"""What a collection asks of its back-ups: how often they are woken, how many are kept, how cold."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Standards:
    """Intervals and limits; a collection may set its own.

    FAO's Genebank Standards (2014) are rules for seed, which is counted as a share that germinates; for a community
    only their intervals are taken over. CABRI's guidelines (1998) ask for a re-stock level, checks of identity and a
    date for the next check, and leave the numbers to the collection.

    Attributes
    ----------
    first_test_d : float
        A batch is woken for the first time within this [d]: FAO 2014, tested within 12 months of receipt.
    test_every_d : float
        ... and again after this [d]. FAO 2014 asks for a third of the time to 85 % viability (from memory), which
        nobody knows of a community; two years: common practice, no source.
    restock_level : int
        More is made when no more portions are left, where a batch has no level of its own (CABRI asks for a level;
        two: common practice, no source).
    identity_every_d : float
        A culture is proven to be itself again after this [d] (three years: common practice, no source).
    frozen_below_degC : float
        Frozen forms are kept below this [degC]: CABRI 1998, below -70 degC.

    Examples
    --------
    >>> Standards(test_every_d=365).first_test_d
    365.0
    """

    first_test_d: float = 365.0
    test_every_d: float = 730.0
    restock_level: int = 2
    identity_every_d: float = 1095.0
    frozen_below_degC: float = -70.0


STANDARDS = Standards()
