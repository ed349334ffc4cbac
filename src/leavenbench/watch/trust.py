"""How far the warning can be trusted: figures measured on simulated shelves, kept with the package.

Made by ``python tests/benchmarks/early_warning.py``, which says what each line means and how it was measured.
"""

from __future__ import annotations

import json
from importlib.resources import files

import pandas as pd

_KEPT = "trust.json"


def operating_curve() -> pd.DataFrame:
    """Return how late declines are seen against how often healthy cultures are called.

    Returns
    -------
    pandas.DataFrame
        method, false_alerts [per 100 healthy culture-years] and delay [rounds], the mean over declines of 3, 5, 8 and
        12 % a round. The oracle knows baseline, noise, pace and shared causes: nobody can be earlier.

    Examples
    --------
    >>> curve = operating_curve().pivot(index="false_alerts", columns="method", values="delay")
    >>> bool((curve["oracle"] <= curve["leavenbench"]).all())
    True
    """
    told = pd.DataFrame(_kept()["curve"])
    return told.melt("false_alerts", var_name="method", value_name="delay")


def measured() -> pd.DataFrame:
    """Return what was measured of the warning, line by line.

    Returns
    -------
    pandas.DataFrame
        figure, case, target (empty where none was set), reached, met and note.
    """
    return pd.DataFrame(_kept()["lines"])


def _kept() -> dict[str, list[dict[str, object]]]:
    return json.loads(files(__package__).joinpath(_KEPT).read_text(encoding="utf-8"))
