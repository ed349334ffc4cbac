"""What the last curves say: rise and acid apart, each against the culture's own baseline, with its error."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ...columns import RESULTS
from ...watch.alert import Z80
from ...watch.settled import LOW_PCT
from .ground import Ground

NORMAL, SLOW, NONE, HARDLY, UNREAD = "normal", "slow", "none", "hardly moves", "not read"
#: A signal that tells of fewer of the culture's refeeds than this hardly moves, as the rise of rice (common practice,
#: no source): then nothing is made of its absence.
_TELLS = 0.8

_SIGNALS = RESULTS["last_curves"]


def last_curves(ground: Ground, curves: pd.DataFrame) -> pd.DataFrame:
    """Say what the curves of the culture's last round say.

    Parameters
    ----------
    ground : Ground
        The shelf's refeeds.
    curves : pandas.DataFrame
        The curves table.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["last_curves"]``, a row for rise and one for acid. Slow is what lies surely (80 %)
        under `LOW_PCT` of the baseline; none, where nothing moved at any step of the round that was read; a signal
        that hardly ever tells of this culture says only that.
    """
    own = ground.values.loc[ground.own]
    last = own[own["of_round"] == own["of_round"].iloc[-1]]
    status = curves[curves["refeed"].isin(last["refeed"])].set_index(["refeed", "signal"])["status"]
    rows = []
    for signal in ("rise", "acid"):
        row = _of_signal(signal, last, status, ground.wander.refeed_sd)
        if row["says"] != UNREAD and own[signal].notna().mean() < _TELLS:
            row["says"] = HARDLY
        rows.append(row)
    return pd.DataFrame(rows, columns=_SIGNALS.names).astype(_SIGNALS.dtypes())


def _of_signal(signal: str, last: pd.DataFrame, status: pd.Series, refeed_sd: float) -> dict[str, object]:
    level, error = (last[name].to_numpy(float) for name in (signal, f"{signal}_se"))
    known = np.isfinite(level) & np.isfinite(error)
    said = [status.get((refeed, signal), "no readings") for refeed in last["refeed"]]
    read = [of for of in said if of not in ("no readings", "too few readings")]
    row: dict[str, object] = {"signal": signal, "refeeds": int(known.sum()), "says": UNREAD}
    if read and all(of == "no activity" for of in read):
        row["says"] = NONE
    if not known.any():
        return row
    weight = 1.0 / (error[known] ** 2 + refeed_sd**2)
    middle, se = float(np.average(level[known], weights=weight)), float(weight.sum()) ** -0.5
    low, high = (100.0 * np.exp(middle + side * Z80 * se) for side in (-1.0, 1.0))
    if row["says"] != NONE:
        row["says"] = SLOW if high < LOW_PCT else NORMAL
    return row | {"against_baseline_pct": 100.0 * np.exp(middle), "low_pct": low, "high_pct": high}
