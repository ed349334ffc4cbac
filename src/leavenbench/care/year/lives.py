"""The lives of the cultures in the collection: from receipt or restoration to loss or withdrawal."""

from __future__ import annotations

from itertools import groupby
from operator import itemgetter

import pandas as pd

from ...records.as_of import days_of
from ...records.collection import Collection
from ...records.living import cultures_known

_BEGINS, _ENDS = ("received", "restored"), ("lost", "withdrawn")
_COLUMNS = {
    "culture": "str",
    "seen_on": "datetime64[us]",
    "begun_on": "datetime64[us]",
    "begun_by": "str",
    "ended_on": "datetime64[us]",
    "ended_by": "str",
    "source": "str",
    "reason": "str",
}


def lives(collection: Collection) -> pd.DataFrame:
    """Return every life of every culture.

    Parameters
    ----------
    collection : Collection
        Its cultures and events, read up to a day.

    Returns
    -------
    pandas.DataFrame
        One row per life, in time for each culture: culture, seen_on (from when on it was there for certain), begun_on
        (missing where it is not noted) and begun_by, ended_on (missing: it lives) and ended_by, source (of a
        restoration), reason (of the end). Of a life whose beginning is not noted seen_on is its first feeding, missing
        where there is none. An event that changes nothing, as a restoration of what was not lost, makes no life.
    """
    told = _turns(collection)
    own = {str(culture): list(turns) for culture, turns in groupby(told, key=itemgetter(0))}
    fed = days_of(collection["refeeds"]["fed_at"]).groupby(collection["refeeds"]["culture"]).min()
    rows = [
        life
        for culture in cultures_known(collection)
        for life in _lives_of(str(culture), own.get(culture, []), fed.get(culture, pd.NaT))
    ]
    return pd.DataFrame(rows, columns=list(_COLUMNS)).astype(_COLUMNS)


def living_on(lived: pd.DataFrame, day: pd.Timestamp) -> pd.Series:
    """Tell which lives last over the end of a day."""
    return ~(lived["seen_on"] > day) & ~(lived["ended_on"] <= day)


#: What may begin or end a life: culture, day, kind, source, reason.
_Turn = tuple[str, pd.Timestamp, str, object, object]


def _turns(collection: Collection) -> list[_Turn]:
    """Return what begins or ends lives, by culture and in time; receipt comes before what else is noted that day."""
    came = collection["cultures"].dropna(subset="received")
    came = came[["culture"]].assign(happened_on=came["received"], kind="received", source=pd.NA, reason=pd.NA)
    events = collection["events"].dropna(subset=["culture", "happened_on"])
    events = events[events["kind"].isin(_BEGINS + _ENDS)]
    both = pd.concat([came, events[["culture", "happened_on", "kind", "source", "reason"]]])
    return list(both.sort_values(["culture", "happened_on"], kind="stable").itertuples(index=False, name=None))


def _lives_of(culture: str, turns: list[_Turn], fed_on: pd.Timestamp) -> list[dict[str, object]]:
    """Follow one culture; one that was lost, or restored, before it was received has been there before."""
    told: list[dict[str, object]] = []
    if not turns or turns[0][2] != "received":
        ended = turns[0][1] if turns else pd.Timestamp.max
        told.append({"culture": culture, "begun_by": "", "seen_on": fed_on if fed_on < ended else pd.NaT})
    for _, day, kind, source, reason in turns:
        lives_now = bool(told) and "ended_by" not in told[-1]
        if kind in _BEGINS and not lives_now:
            told.append({"culture": culture, "seen_on": day, "begun_on": day, "begun_by": kind, "source": source})
        elif kind in _ENDS and lives_now:
            told[-1] |= {"ended_on": day, "ended_by": kind, "reason": reason}
    return [{"ended_by": ""} | life for life in told]
