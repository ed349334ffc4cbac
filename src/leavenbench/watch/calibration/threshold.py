"""The threshold of evidence for a shelf: from the ready table, from the user's cache, or simulated."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..alert import DIAL
from ..series import Array
from .cache import keep_law, kept_law
from .conditions import Conditions
from .law import SEED, Law, simulate_law
from .ready import ready_law

#: What of the false alerts is left on a whole shelf, where causes that it shares are taken out and some cultures do
#: decline, against levels that only wander: measured by ``tests/benchmarks/early_warning.py`` on shelves of 150, and
#: set between that and shelves without end, on which nothing is taken out.
_LEFT_ON_A_SHELF = 0.7
_DAYS_A_YEAR = 365.25


class Threshold(NamedTuple):
    """The threshold that holds the dial on a shelf.

    Attributes
    ----------
    law : Law
        False alerts by threshold and age.
    per_100_rounds : float
        How many the dial allows.
    source : str
        Where the law comes from, in words, with its seed.
    """

    law: Law
    per_100_rounds: float
    source: str

    def of(self, age: Array) -> Array:
        """Return the log odds of a decline from which on it is an alert, for rounds with so many before them."""
        return self.law.threshold(self.per_100_rounds / _LEFT_ON_A_SHELF, np.asarray(age))


def threshold_for(conditions: Conditions, false_alerts: float, round_days: float) -> Threshold:
    """Return the threshold for a shelf.

    Parameters
    ----------
    conditions : Conditions
        What the shelf is like.
    false_alerts : float
        The dial: false alerts per 100 healthy culture-years; held to the range `DIAL`.
    round_days : float
        Days [d] between rounds.

    Returns
    -------
    Threshold
        Calibrated anew, and kept in the user's cache folder, where neither the ready table nor the cache has it.
    """
    per_100_rounds = float(np.clip(false_alerts, *DIAL)) * round_days / _DAYS_A_YEAR
    for look, where in ((ready_law, "ready table"), (kept_law, "kept from an earlier run")):
        law = look(conditions)
        if law is not None:
            return Threshold(law, per_100_rounds, f"{where}, simulated with seed {SEED}")
    law = simulate_law(conditions)
    keep_law(conditions, law)
    return Threshold(law, per_100_rounds, f"simulated for this shelf with seed {SEED}")
