"""Signs of life: in which cultures nothing rose or soured any more at the last steps read."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..records.rounds import STEPPING
from ..records.texts import places_in

_STILL = {("acid",): "no souring", ("rise",): "no rise (pH was not read)", ("acid", "rise"): "neither rise nor souring"}


def signs_of_life(curves: pd.DataFrame, refeeds: pd.DataFrame, history: pd.Series) -> pd.DataFrame:
    """Return what was read of each refeed, whether anything moved.

    Parameters
    ----------
    curves, refeeds : pandas.DataFrame
        The curves table, and the refeeds.
    history : pandas.Series of int
        The history of each refeed, aligned with them.

    Returns
    -------
    pandas.DataFrame
        One row per refeed and signal that was read well enough, by time: culture, fed_at, signal, still (nothing
        moved), at (the refeed's place), history, stepping (whether it is a step of a round).
    """
    at = places_in(refeeds["refeed"], curves["refeed"])
    read = curves[["culture", "fed_at", "signal"]].assign(
        still=curves["status"] == "no activity",
        at=at,
        history=np.append(history, -1)[at],
        stepping=np.append(refeeds["purpose"].isin(STEPPING), False)[at],
    )
    read = read[~curves["status"].isin(["no readings", "too few readings"])]
    return read.sort_values("fed_at", kind="stable")


def lifeless(signs: pd.DataFrame, present: pd.Series, end: pd.Timestamp) -> dict[str, str]:
    """Return the cultures in which nothing moved at the last two steps read, and in words what did not.

    Only steps of the present history count. A jar that never rose is not called dead by its rise alone: its pH must
    have been read.

    Parameters
    ----------
    signs : pandas.DataFrame
        As from `signs_of_life`.
    present : pandas.Series of int
        The present history of each culture.
    end : pandas.Timestamp
        The moment up to which it is known.

    Returns
    -------
    dict of str to str
    """
    read = signs.iloc[: signs["fed_at"].searchsorted(end, side="right")]
    ever_rose = read.loc[(read["signal"] == "rise") & ~read["still"], "culture"].unique()
    telling = read[read["stepping"] & ((read["signal"] == "acid") | read["culture"].isin(ever_rose))]
    telling = telling[telling["history"] == telling["culture"].map(present)]
    steps_read = telling.drop_duplicates("at")
    last_two = steps_read[steps_read.groupby("culture").cumcount(ascending=False) < 2]
    of_them = telling[telling["at"].isin(last_two["at"])]
    still = of_them.groupby("culture")["still"].all() & (last_two.groupby("culture").size() == 2)
    dead = of_them[of_them["culture"].map(still).astype(bool)]
    return {culture: _STILL[tuple(sorted(own["signal"].unique()))] for culture, own in dead.groupby("culture")}
