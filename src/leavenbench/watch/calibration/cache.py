"""Laws of false alerts kept in the user's cache folder; deleting them only costs time."""

from __future__ import annotations

import json
import os
import tempfile
from contextlib import suppress
from pathlib import Path

import numpy as np
from platformdirs import user_cache_path

from .conditions import Conditions
from .law import CULTURES_SIMULATED, SEED, Law

#: To be raised whenever the evidence or the simulation changes.
_VERSION = 1


def kept_law(conditions: Conditions) -> Law | None:
    """Return a law that was kept; None where there is none that can be read."""
    try:
        told = json.loads(_file(conditions).read_text(encoding="utf-8"))
        law = Law(*(np.array(told[name], float) for name in Law._fields))
    except (OSError, ValueError, KeyError, TypeError):
        return None
    whole = all(of.shape == (4,) and np.isfinite(of).all() for of in law) and (law.falls > 0.0).all()
    return law if whole else None


def keep_law(conditions: Conditions, law: Law) -> None:
    """Keep a law, whole or not at all; a folder that cannot be written is passed over."""
    target = _file(conditions)
    told = {**conditions._asdict(), **{name: of.tolist() for name, of in law._asdict().items()}}
    with suppress(OSError):
        target.parent.mkdir(parents=True, exist_ok=True)
        number, aside = tempfile.mkstemp(dir=target.parent, suffix=".part")
        try:
            with os.fdopen(number, "w", encoding="utf-8") as file:
                json.dump(told | {"seed": SEED}, file)
            Path(aside).replace(target)
        finally:
            Path(aside).unlink(missing_ok=True)


def _file(conditions: Conditions) -> Path:
    name = "-".join(f"{value:g}" for value in conditions)
    return user_cache_path("leavenbench") / "thresholds" / f"v{_VERSION}-{CULTURES_SIMULATED}-{name}.json"
