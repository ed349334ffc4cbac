"""What the case of a sluggish starter comes to, in words."""

from __future__ import annotations

import numpy as np
import pandas as pd

from .case import Case
from .last_curves import NONE, SLOW
from .suspects import LEADING, NOTHING, WORTH_A_WORD


def verdict(case: Case, ranked: pd.DataFrame, known: pd.DataFrame | None = None) -> str:
    """Say in words what a ranking says.

    Parameters
    ----------
    case : Case
        Of the culture: where its last curves are not slow, that is said first.
    ranked : pandas.DataFrame
        As from `suspects.suspects`.
    known : pandas.DataFrame, optional
        As from `accounted.accounted`: what slowed it by the clock alone is said as well.

    Returns
    -------
    str
    """
    slow = {SLOW, NONE} & set(case.says.values())
    told = [] if slow else ["Its last curves are not slow."]
    return " ".join([*told, ranking_in_words(ranked), *([] if known is None else _by_the_clock(known))])


def ranking_in_words(ranked: pd.DataFrame) -> str:
    """Say who is in the lead, and whether they can be told apart."""
    first = ranked.iloc[0]
    if first["factor"] == NOTHING:
        return f"Nothing stands out ({first['share']:.0%})."
    told = f"{first['suspect']} ({first['share']:.0%})"
    if first["cannot_tell_from"]:
        return f"Either {told} or {first['cannot_tell_from']}: these cannot be told apart from the records."
    ahead = ranked["share"].cumsum().shift(fill_value=0.0) < LEADING
    rest = ranked[ahead & (ranked.index > 0) & (ranked["share"] >= WORTH_A_WORD)].to_dict("records")
    if not rest:
        return f"Most likely {told}."
    running = ", ".join(f"{of['suspect']} ({of['share']:.0%})" for of in rest)
    return f"Most likely {told}; in the running: {running}."


def _by_the_clock(known: pd.DataFrame) -> list[str]:
    """Say once for each reason what it did to rise and acid."""
    told = []
    for words, of_it in known[known["worth"]].groupby("words", sort=False):
        slower = " and ".join(
            f"{signal} {-100.0 * np.expm1(effect):.0f} %"
            for signal, effect in of_it[["signal", "effect"]].itertuples(index=False)
        )
        told.append(f"By the clock {slower} slower than usual, which is no weakness: {words}.")
    return told
