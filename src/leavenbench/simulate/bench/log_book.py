"""What reaches the log: slips go missing, dead cultures are given up, jars in the cold are not read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from ..bakehouse.mishaps import FlourEnds, Mishap, StoreFailure, only
from ..culture.stories import DEAD, Story
from ..noise import Noise

#: Days after the last step in vain until a dead culture is entered as lost (assumed).
_MOURNING_DAYS = (12, 26)


def lose_the_dead(
    steps: pd.DataFrame, stories: Mapping[str, Story], rng: np.random.Generator
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the steps taken until a dead culture was given up, and after it was restored, and the events that say so.

    Parameters
    ----------
    steps : pandas.DataFrame
        Steps taken, with culture, round, day and log_vigour.
    stories : mapping of str to Story
        Who is restored, and whom nobody enters as lost.
    rng : numpy.random.Generator
        Where chance comes from.

    Returns
    -------
    steps : pandas.DataFrame
        Without the rounds after a loss.
    events : pandas.DataFrame
        culture, happened_on, kind, reason.
    """
    unnoticed = [name for name, story in stories.items() if not story.noticed]
    dead = steps.loc[(steps["log_vigour"] <= DEAD) & ~steps["culture"].isin(unnoticed)]
    found = dead.groupby("culture")["round"].min()
    last_day = dead.loc[dead["round"] == dead["culture"].map(found)].groupby("culture")["day"].max()
    given_up = last_day + pd.to_timedelta(rng.integers(*_MOURNING_DAYS, len(found)), unit="D")
    turns = {name: story.turns_in for name, story in stories.items() if story.kind == "death" and story.turns_in}
    back = steps["round"] > steps["culture"].map(turns).astype(float).fillna(np.inf)
    steps = steps.loc[back | (steps["round"] <= steps["culture"].map(found).fillna(np.inf))]
    restored_on = steps.loc[back.reindex(steps.index)].groupby("culture")["day"].min()
    events = pd.concat(
        [
            _entries(given_up, "lost", "nothing rose or soured at any step of the round"),
            _entries(restored_on, "restored", "lost before"),
        ]
    )
    return steps, events


def other_events(steps: pd.DataFrame, shares: pd.DataFrame, mishaps: Sequence[Mishap]) -> pd.DataFrame:
    """Return what else the book tells: rescues, flours that ended, refrigerators that failed.

    Parameters
    ----------
    steps : pandas.DataFrame
        Steps taken, with culture, purpose and day.
    shares : pandas.DataFrame
        culture and flour: what each culture is fed on.
    mishaps : sequence of Mishap
        What befell many jars.

    Returns
    -------
    pandas.DataFrame
        culture, store, happened_on, kind, reason.
    """
    rescued_on = steps.loc[steps["purpose"] == "rescue"].groupby("culture")["day"].min()
    entries = [_entries(rescued_on, "rescued", "weaker at every round; fed daily")]
    for ended in only(mishaps, FlourEnds):
        eaters = shares.loc[shares["flour"] == ended.flour, "culture"]
        changed = pd.Series(pd.Timestamp(ended.on), index=eaters)
        entries.append(_entries(changed, "flour change", f"no more {ended.flour}; fed on {ended.instead} from now on"))
    for failure in only(mishaps, StoreFailure):
        failed = _entries(pd.Series([pd.Timestamp(failure.at).normalize()]), "store failure", "stood still")
        entries.append(failed.assign(culture=None, store=failure.store))
    return pd.concat(entries)


def _entries(days: pd.Series, kind: str, reason: str) -> pd.DataFrame:
    entered = {"culture": days.index.to_numpy(object), "happened_on": days.to_numpy("datetime64[us]")}
    return pd.DataFrame({**entered, "kind": kind, "reason": reason})


def number_events(events: Sequence[pd.DataFrame], end: pd.Timestamp) -> pd.DataFrame:
    """Return the events known at the end in the order in which they happened, under their numbers."""
    columns = ["culture", "store", "happened_on", "kind", "source", "reason"]
    every = pd.concat(events, ignore_index=True).reindex(columns=columns)
    every = every.loc[every["happened_on"] <= end]
    every = every.sort_values(["happened_on", "culture"], kind="stable", ignore_index=True)
    texts = {name: "str" for name in columns if name != "happened_on"}
    every.insert(0, "event", [f"E{number}" for number in range(1, len(every) + 1)])
    return every.astype(texts)


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

    A jar in the cold is not read any more; where a logger stood, nobody used ruler or thermometer.

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
        refeed, elapsed [h], read_at, height [mm], high_mark [mm], ph, ph_method, probe, temperature [degC], in the
        order of feeding.
    """
    written = steps.loc[steps["written"], ["refeed", "cooled_at"]]
    kept = readings.loc[readings["at"].isin(written.index)].join(written, on="at")
    kept = kept.loc[~(kept["read_at"] > kept["cooled_at"])]
    unwatched = ["height", "temperature"]
    kept[unwatched] = kept[unwatched].mask(kept["at"].isin(logged))
    kept = kept.dropna(subset=["height", "high_mark", "ph"], how="all")
    kept = kept.assign(ph_method=pd.Series("direct", index=kept.index, dtype="str").where(kept["ph"].notna()))
    kept = kept.sort_values(["refeed", "elapsed_h"], kind="stable").rename(columns={"elapsed_h": "elapsed"})
    columns = ["refeed", "elapsed", "read_at", "height", "high_mark", "ph", "ph_method", "probe", "temperature"]
    return kept[columns].reset_index(drop=True)
