"""A ready table of the law of false alerts for common conditions, so that a first run needs no long wait.

Made by ``python tests/benchmarks/ready_thresholds.py`` with the same simulation as any other law; see `law`.
"""

from __future__ import annotations

import json
from functools import lru_cache
from importlib.resources import files
from itertools import product

import numpy as np

from .conditions import Conditions
from .law import Law

#: What was simulated; between these values the law is interpolated.
READING_ERRORS = (0.2, 0.5, 1.0, 2.0)
CARRY_OVERS = (0.0, 0.2, 0.4, 0.6, 0.8)
EXTRA_STEPS = (0.0, 0.02, 0.15)
#: A shelf with more missing is simulated for itself.
_MOST_MISSING = 0.2


def every_condition() -> list[Conditions]:
    """Return the conditions in the table, in its order."""
    return [Conditions(*of, missing=0.03) for of in product(READING_ERRORS, CARRY_OVERS, EXTRA_STEPS)]


def ready_law(conditions: Conditions) -> Law | None:
    """Return the law for common conditions, from the table; None for others."""
    if conditions.missing > _MOST_MISSING:
        return None
    at_zero, falls = _table()
    grid = (np.log(READING_ERRORS), np.array(CARRY_OVERS), np.sqrt(EXTRA_STEPS))
    asked = (np.log(conditions.reading_error), conditions.carry_over, np.sqrt(conditions.extra_steps))
    return Law(_between(grid, at_zero, asked), _between(grid, falls, asked))


@lru_cache(maxsize=1)
def _table() -> tuple[np.ndarray, np.ndarray]:
    told = json.loads(files(__package__).joinpath("ready.json").read_text(encoding="utf-8"))["laws"]
    shape = (len(READING_ERRORS), len(CARRY_OVERS), len(EXTRA_STEPS), -1)
    at_zero, falls = (np.array([law[name] for law in told]).reshape(shape) for name in ("at_zero", "falls"))
    return at_zero, falls


def _between(grid: tuple[np.ndarray, ...], values: np.ndarray, asked: tuple[float, ...]) -> np.ndarray:
    """Interpolate linearly in each direction; beyond the grid its edge holds."""
    for points, at in zip(grid, asked, strict=True):
        place = int(np.clip(np.searchsorted(points, at) - 1, 0, len(points) - 2))
        share = float(np.clip((at - points[place]) / (points[place + 1] - points[place]), 0.0, 1.0))
        values = (1.0 - share) * values[place] + share * values[place + 1]
    return values
