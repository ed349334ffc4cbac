"""Whether a culture may no longer be itself: vigour is not identity.

Another organism that takes a jar over may rise better than the culture ever did, or as well as ever while the jar
sours more slowly than it did: no culture that weakens as a whole does that.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from .numbered import HISTORY, ROUND

#: A jump is too good when it lies so many standard errors above everything shown before, over so many rounds.
_ABOVE_SE, _AFTER = 3.0, 4
#: Rise and acid of a round part when they lie so many standard errors apart, and by so much [log].
_APART_SE, _APART = 4.0, 0.25
#: A refeed's two signals are not known to differ by less than this [log]: each strays a little by itself.
_LEAST_SE = 0.10


def too_good(table: pd.DataFrame, values: pd.DataFrame) -> pd.Series:
    """Mark refeeds that look too good to be the culture.

    Parameters
    ----------
    table : pandas.DataFrame
        The vigour table's columns so far, with history, one row per refeed.
    values : pandas.DataFrame
        From `index.weigh`: with refeed, rise, rise_se, acid and acid_se.

    Returns
    -------
    pandas.Series of bool
        Aligned with `table`.
    """
    if table["round"].isna().all():
        return pd.Series(False, index=table.index, dtype="boolean")
    return (_jumped(table) | _parted(table, values)).astype("boolean")


def _jumped(table: pd.DataFrame) -> pd.Series:
    """Whether vigour lies beyond everything that the culture showed in its earlier rounds."""
    rounds = table.groupby(ROUND).agg(begun=("fed_at", "min"), best=("vigour_pct_own", "max")).sort_values("begun")
    so_far = rounds.groupby(HISTORY)
    best = so_far["best"].cummax().groupby(HISTORY).ffill()
    known = pd.DataFrame(
        {
            "best_before": best.groupby(HISTORY).shift(),
            "rounds_before": so_far.cumcount(),
        }
    ).reset_index()
    before = table[ROUND].merge(known, how="left", on=ROUND).set_index(table.index)
    least = table["vigour_pct_own"] - _ABOVE_SE * table["vigour_pct_own_se"]
    return (least > before["best_before"]) & (before["rounds_before"] >= _AFTER)


def _parted(table: pd.DataFrame, values: pd.DataFrame) -> pd.Series:
    """Whether the rise of a round is as good as ever while its acid is not."""
    signals = table[["refeed", *ROUND]].merge(values[["refeed", "rise", "rise_se", "acid", "acid_se"]], on="refeed")
    both = signals.dropna()
    error = np.hypot(np.hypot(both["rise_se"], both["acid_se"]), _LEAST_SE)
    weight = 1.0 / error**2
    parts = both[ROUND].assign(weight=weight, apart=weight * (both["rise"] - both["acid"]), rise=weight * both["rise"])
    rounds = parts.groupby(ROUND)[["weight", "apart", "rise"]].sum()
    apart, rise = rounds["apart"] / rounds["weight"], rounds["rise"] / rounds["weight"]
    se = 1.0 / np.sqrt(rounds["weight"])
    parted = (apart > _APART_SE * se) & (apart > _APART) & (rise > -se)
    place = pd.MultiIndex.from_frame(table[ROUND])
    return pd.Series(parted.reindex(place).fillna(False).to_numpy(dtype=bool), index=table.index)
