"""What reaches the log: slips go missing, dead cultures are given up, jars in the cold are not read."""

from __future__ import annotations

import numpy as np
import pandas as pd

from .noise import Noise
from .stories import DEAD

#: Days after the last step in vain until a dead culture is entered as lost (assumed).
_MOURNING_DAYS = (12, 26)


def lose_the_dead(
    steps: pd.DataFrame, left_on_shelf: set[str], end: pd.Timestamp, rng: np.random.Generator
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the steps taken before a dead culture was given up, and the events that say so.

    Parameters
    ----------
    steps : pandas.DataFrame
        Steps taken, with culture, round, day and log_vigour.
    left_on_shelf : set of str
        Cultures that nobody enters as lost.
    end : pandas.Timestamp
        Events later than this day are not yet known.
    rng : numpy.random.Generator
        Where chance comes from.

    Returns
    -------
    steps : pandas.DataFrame
        Without the rounds after a loss.
    events : pandas.DataFrame
        event, culture, happened_on, kind, reason.
    """
    dead = steps.loc[(steps["log_vigour"] <= DEAD) & ~steps["culture"].isin(left_on_shelf)]
    found = dead.groupby("culture")["round"].min().rename("last_round")
    last_day = dead.loc[dead["round"] == dead["culture"].map(found)].groupby("culture")["day"].max()
    waited = pd.to_timedelta(rng.integers(*_MOURNING_DAYS, len(found)), unit="D")
    given_up = (last_day + waited).sort_values(kind="stable")
    given_up = given_up.loc[given_up <= end]
    events = pd.DataFrame(
        {
            "event": [f"E{number}" for number in range(1, len(given_up) + 1)],
            "culture": given_up.index,
            "happened_on": given_up.to_numpy(),
            "kind": "lost",
            "reason": "nothing rose or soured at any step of the round",
        }
    )
    last_round = steps["culture"].map(found).fillna(np.inf)
    return steps.loc[steps["round"] <= last_round], events


def write_down(steps: pd.DataFrame, noise: Noise, rng: np.random.Generator) -> pd.DataFrame:
    """Return the steps taken in the order of feeding, numbered as they were, and whether they reached the log.

    Parameters
    ----------
    steps : pandas.DataFrame
        Steps taken, with fed_at.
    noise : Noise
        Sizes of chance.
    rng : numpy.random.Generator
        Where it comes from.

    Returns
    -------
    pandas.DataFrame
        The columns of `steps` with refeed and written; a slip that went missing leaves a gap in the numbers.
    """
    steps = steps.sort_values(["fed_at", "bench_order"], kind="stable")
    digits = max(4, len(str(len(steps))))
    return steps.assign(
        refeed=[f"R{number:0{digits}d}" for number in range(1, len(steps) + 1)],
        written=rng.random(len(steps)) >= noise.refeeds_missing,
    )


def readings_kept(readings: pd.DataFrame, steps: pd.DataFrame, logged: pd.Index) -> pd.DataFrame:
    """Return the readings of the steps that were written down, under their refeed's number.

    A jar in the cold is not read any more; where a logger stood, nobody used the ruler.

    Parameters
    ----------
    readings : pandas.DataFrame
        Readings of every step a round could take; ``at`` is the step's index.
    steps : pandas.DataFrame
        As from `write_down`.
    logged : pandas.Index
        Index of the steps that a logger stood on.

    Returns
    -------
    pandas.DataFrame
        refeed, elapsed [h], read_at, height [mm], high_mark [mm], ph, ph_method, in the order of feeding.
    """
    written = steps.loc[steps["written"], ["refeed", "cooled_at"]]
    kept = readings.loc[readings["at"].isin(written.index)].join(written, on="at")
    kept = kept.loc[~(kept["read_at"] > kept["cooled_at"])]
    kept["height"] = kept["height"].mask(kept["at"].isin(logged))
    kept = kept.dropna(subset=["height", "high_mark", "ph"], how="all")
    kept = kept.assign(ph_method=pd.Series("direct", index=kept.index, dtype="str").where(kept["ph"].notna()))
    kept = kept.sort_values(["refeed", "elapsed_h"], kind="stable").rename(columns={"elapsed_h": "elapsed"})
    columns = ["refeed", "elapsed", "read_at", "height", "high_mark", "ph", "ph_method"]
    return kept[columns].reset_index(drop=True)
