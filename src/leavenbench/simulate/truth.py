"""What the keepers do not know: the tables of truth that come out beside a simulated collection."""

from __future__ import annotations

import pandas as pd

from .cast import Cast
from .stories import Story

_REFEEDS = [
    "refeed", "culture", "round", "step", "fed_at", "written", "log_vigour", "log_cold", "log_day", "log_lot",
    "log_refeed", "log_activity", "room_temperature_degC", "true_start_mm", "leak", "ph_start", "rise_extent",
    "rise_max_rate", "rise_lag_h", "acid_extent", "acid_max_rate", "acid_lag_h",
]  # fmt: skip


def true_refeeds(steps: pd.DataFrame) -> pd.DataFrame:
    """Return the true activity and curves of every refeed made, whether or not it was written down."""
    return steps[_REFEEDS].reset_index(drop=True)


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
        culture, story, onset_round, onset_on, percent, heals_in (empty where they mean nothing), then the columns
        of `strengths`.
    """
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
                "onset_on": pd.NaT if steady else begins[culture, story.onset],
                "percent": story.percent if story.kind in ("ramp", "step", "dip") else float("nan"),
                "heals_in": story.heals_in if story.kind == "dip" else pd.NA,
            }
        )
    told = pd.DataFrame(rows).astype({"onset_round": "Int64", "heals_in": "Int64"})
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
