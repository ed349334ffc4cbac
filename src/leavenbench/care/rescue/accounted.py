"""What slows a jar by the clock and to the eye, and is no weakness: cold, and a probe that shows less than there is.

Vigour has both out already, so they are no suspects; whoever looks at the jar sees them all the same.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from ...columns import RESULTS
from ...records.collection import Collection
from ...temperature import Cardinal
from ...vigour.probes import state_at, states
from ...vigour.warmth import Warmth
from .case import Case

#: Hours of a dough whose warmth tells [h].
_HOURS = 6.0
#: Slower by less than this [log] is not worth a word (common practice, no source).
WORTH_A_WORD = 0.08

_ACCOUNTED = RESULTS["accounted"]


def accounted(case: Case, collection: Collection) -> pd.DataFrame:
    """Return what made the culture's last round look slow, and is taken out of its vigour.

    Parameters
    ----------
    case : Case
        Of the culture.
    collection : Collection
        The same records.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["accounted"]``: for rise and for acid what warmth did, and for acid what the probe
        did, each against what was usual at the same steps before; `worth` tells which are large enough to matter.
    """
    ground, settings = case.ground, collection.settings
    own = ground.values.loc[ground.own]
    last = (own["of_round"] == own["of_round"].iloc[-1]).to_numpy()
    warmth = Warmth.of(collection)
    number = warmth.refeeds.get_indexer(own["refeed"])
    rows = []
    for signal, cardinal in (("rise", settings.yeast_cardinal_degC), ("acid", settings.lactic_cardinal_degC)):
        organism = Cardinal(*cardinal)
        pace = np.log(warmth.reference_hours(number, np.full(len(number), _HOURS), organism) / _HOURS)
        pace = np.where(warmth.noted[number], pace, np.nan)
        degC = warmth.at(number, np.full(len(number), _HOURS / 2.0))
        effect, now, was = _against_usual(pace, own, last), degC[last].mean(), np.median(degC[~last])
        error = float(np.mean(warmth.log_error(degC[last], number[last], organism)))
        words = f"its doughs stood at {now:.1f} °C, usually at {was:.1f} °C"
        rows.append({"signal": signal, "what": "warmth", "effect": effect, "effect_se": error, "words": words})
    rows.append({"signal": "acid", "what": "probe"} | _of_probe(collection, own, last))
    table = pd.DataFrame(rows, columns=[name for name in _ACCOUNTED.names if name != "worth"])
    return table.assign(worth=table["effect"] < -WORTH_A_WORD)[_ACCOUNTED.names].astype(_ACCOUNTED.dtypes())


def _against_usual(pace: np.ndarray, own: pd.DataFrame, last: np.ndarray) -> float:
    """Return the mean of the last round against the median at the same steps before."""
    usual = pd.Series(pace[~last]).groupby(own.loc[~last, "step"].to_numpy()).median()
    away = pace[last] - own.loc[last, "step"].map(usual).to_numpy(float)
    return float(np.nanmean(away)) if np.isfinite(away).any() else float("nan")


def _of_probe(collection: Collection, own: pd.DataFrame, last: np.ndarray) -> dict[str, object]:
    found = states(collection["probe_checks"])
    missing = {"effect": float("nan"), "effect_se": float("nan"), "words": "its probe was never held against buffers"}
    if found.empty:
        return missing
    slope = state_at(found, own["probe"], own["fed_at"])["slope"].to_numpy(float)
    if not np.isfinite(slope[last]).any():
        return missing
    share = float(np.nanmean(slope[last]))
    names = ", ".join(own.loc[last, "probe"].dropna().unique())
    words = f"probe {names} shows {100.0 * share:.0f} % of a fall, by its buffers"
    return {"effect": float(np.log(share)), "effect_se": float("nan"), "words": words}
