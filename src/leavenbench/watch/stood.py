"""How every culture stood on a day, from what was known then: its standing and the numbers behind it."""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

import numpy as np
import pandas as pd

from ..records.as_of import days_of, end_of
from ..records.collection import Collection
from ..records.living import history_numbers, living_cultures
from .life import lifeless, signs_of_life
from .outlook import Outlook
from .standing import stand

#: What a decline is not looked for across: what comes after is another story, whatever it was before.
NEW_STORY = ("restored", "rescued")


class Shelf(NamedTuple):
    """What is known of a shelf over all days.

    Attributes
    ----------
    collection : Collection
        The records.
    seen : Outlook
        What their rounds say.
    history : pandas.Series of int
        The history of each refeed, aligned with them.
    fed_on : pandas.Series
        The day of each refeed.
    signs : pandas.DataFrame
        As from `life.signs_of_life`.
    """

    collection: Collection
    seen: Outlook
    history: pd.Series
    fed_on: pd.Series
    signs: pd.DataFrame

    @classmethod
    def of(cls, collection: Collection, curves: pd.DataFrame, seen: Outlook) -> Shelf:
        """Bring it together."""
        refeeds, history = collection["refeeds"], history_numbers(collection, NEW_STORY)
        return cls(collection, seen, history, days_of(refeeds["fed_at"]), signs_of_life(curves, refeeds, history))


def stood_on(shelf: Shelf, as_of: dt.date) -> pd.DataFrame:
    """Return how every culture stood that lived at the end of a day; what is later is passed over.

    Parameters
    ----------
    shelf : Shelf
        What is known.
    as_of : datetime.date
        The day.

    Returns
    -------
    pandas.DataFrame
        One row per living culture: culture, the columns of `standing.stand`, last_read and since_on (days), as_of, and
        lifeless (in words, empty where it is not).
    """
    collection, seen, today = shelf.collection, shelf.seen, pd.Timestamp(as_of)
    settings = collection.settings
    present = shelf.history[shelf.fed_on <= today].groupby(collection["refeeds"]["culture"]).max()
    rows = _last_rounds(seen, present, today)
    read_on = days_of(seen.levels["fed_at"].iloc[rows])
    waited = ((today - read_on) / pd.Timedelta(days=1)).to_numpy() / settings.round_days
    stood = stand(seen, rows, waited, settings)
    since = pd.to_timedelta((stood["since"] * settings.round_days).round(), unit="D").array
    stood = stood.assign(culture=seen.levels["culture"].iloc[rows].array, last_read=read_on.array)
    stood["since_on"] = read_on.array - since
    table = pd.DataFrame({"culture": living_cultures(collection, as_of)}).merge(stood, how="left", on="culture")
    dead = lifeless(shelf.signs, present, end_of(as_of, settings.timezone))
    words = [dead.get(culture, "") for culture in table["culture"]]
    table = table.assign(as_of=today, lifeless=words)
    table["standing"] = table["standing"].fillna("unknown").mask(table["lifeless"] != "", "urgent")
    return table


def _last_rounds(seen: Outlook, present: pd.Series, today: pd.Timestamp) -> np.ndarray:
    """Return the last round of each culture's present history up to a day."""
    levels = seen.levels
    known = (days_of(levels["fed_at"]) <= today) & (levels["history"] == levels["culture"].map(present))
    own = levels.loc[known, "culture"]
    return own.index[~own.duplicated(keep="last")].to_numpy()
