"""What the keepers do not know: the tables of truth that come out beside a simulated collection."""

from __future__ import annotations

import pandas as pd

from .cast import Cast
from .culture.fermentation import add_traits
from .culture.stories import Story

_REFEEDS = [
    "refeed", "culture", "round", "purpose", "step", "fed_at", "written", "log_vigour", "log_vigour_acid", "log_cold",
    "log_day", "log_lot", "log_seed", "log_refeed", "log_activity", "log_activity_acid", "room", "true_start_mm",
    "rise_live", "acid_live", "rise_peak", "rise_max_rate", "rise_lag_h", "acid_max_rate", "acid_lag_h",
]  # fmt: skip
#: Stories in which something takes some rounds.
_HEALS = ("dip", "rescue", "takeover")


def true_refeeds(steps: pd.DataFrame) -> pd.DataFrame:
    """Return the true activity and curves of every refeed made, whether or not it was written down.

    The traits are in hours at the reference temperature; by the clock, warmth makes them quicker or slower.
    """
    return add_traits(steps)[_REFEEDS]


def true_cultures(cast: Cast, rounds: pd.DataFrame, strengths: pd.DataFrame) -> pd.DataFrame:
    """Return each culture's story, the day of its onset, and the culture's own traits when well.

    Parameters
    ----------
    cast : Cast
        Who stands on the shelf.
    rounds : pandas.DataFrame
        With culture, round and begins_on.
    strengths : pandas.DataFrame
        As from `strength.draw_strengths`.

    Returns
    -------
    pandas.DataFrame
        culture, story, onset_round, onset_on, percent, gain_percent, within, turns_after (empty where they mean
        nothing), then the columns of `strengths`.
    """
    rounds = rounds.loc[rounds["purpose"] == "round"]
    begins = rounds.set_index(["culture", "round"])["begins_on"]
    rows = []
    for culture in cast.cultures["culture"]:
        story = cast.stories.get(culture, Story())
        steady = story.kind == "steady"
        rows.append(
            {
                "culture": culture,
                "story": story.kind,
                "onset_round": pd.NA if steady else story.onset,
                "onset_on": pd.NaT if steady else begins.get((culture, story.onset), pd.NaT),
                "percent": float("nan") if story.kind in ("steady", "death") else story.percent,
                "gain_percent": story.gain_percent if story.kind == "takeover" else float("nan"),
                "within": story.within if story.kind in _HEALS or story.turns_after else pd.NA,
                "turns_after": story.turns_after or pd.NA,
            }
        )
    told = pd.DataFrame(rows).astype(dict.fromkeys(["onset_round", "within", "turns_after"], "Int64"))
    return told.merge(strengths.reset_index(), on="culture")


def true_misread(misread: pd.DataFrame, steps: pd.DataFrame, readings: pd.DataFrame) -> pd.DataFrame:
    """Return the misreadings that stand in the readings: refeed, elapsed_h, column and by [mm or pH]."""
    named = misread.join(steps["refeed"], on="at", how="inner")
    standing = (
        readings.set_index(["refeed", "elapsed"])[["height", "ph"]]
        .stack()
        .rename_axis(["refeed", "elapsed_h", "column"])
    )
    named = named.set_index(["refeed", "elapsed_h", "column"])
    kept = named.loc[named.index.isin(standing.index), ["by"]].reset_index()
    return kept.sort_values(["refeed", "elapsed_h", "column"], ignore_index=True)
