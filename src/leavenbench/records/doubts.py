"""What is possible but looks wrong: heights in another unit, refeeds that nobody read."""

from __future__ import annotations

import numpy as np
import pandas as pd

from .cells import Finding
from .draft import Draft
from .looks import in_order

#: A height so many times above or below its fellows was probably typed in another unit. Dough at its peak stands
#: two to four times as high as when fed (common practice, no source); millimetre for centimetre is ten.
_FACTOR = 5.0
#: A height so many times off its whole refeed is suspect only if it is also off the readings just before and after.
_HALF_FACTOR = 2.5
#: The middle height of a refeed [mm] lies between these, whatever the jar (common practice, no source).
_LOWEST_MM, _HIGHEST_MM = 15.0, 400.0


def doubt_heights(readings: Draft, refeeds: Draft, fed: pd.Series) -> None:
    """Mark heights that look as if they were typed in another unit.

    Each height is held against the others of its refeed, and each refeed as a whole against the shelf and against
    what fits into a jar.

    Parameters
    ----------
    readings, refeeds : Draft
        Placed readings and their refeeds.
    fed : pandas.Series of int
        The place of each reading's refeed among those that are kept.
    """
    own = refeeds.kept.cumsum() - 1
    places = [(refeeds, "start_height", own), (readings, "height", fed), (readings, "high_mark", fed)]
    found = [_kept_heights(*place) for place in places]
    row, of_refeed, hour, height = (np.concatenate(part) for part in zip(*found, strict=True))
    order = in_order(of_refeed, hour)
    far = order[_far(np.log(height[order]), of_refeed[order])]
    message = "is far from the heights beside it; another unit?"
    remedy = "check the comma, and the unit in the header; it is kept as it is"
    place = np.repeat(np.arange(len(places)), [len(rows) for rows, *_ in found])[far]
    for number, (draft, column, _) in enumerate(places):
        marked = draft.at(draft.rows.index[row[far[place == number]]])
        draft.note(Finding(marked, "likely unit", message, remedy, "warning"), column)


def _kept_heights(draft: Draft, column: str, fed: pd.Series) -> tuple[np.ndarray, ...]:
    """Return rows, refeeds, hours and heights: the height when fed comes first, the smear line without an hour last."""
    height = draft.rows[f"{column}_mm"].to_numpy(dtype=float)
    rows = np.flatnonzero(draft.kept & (height > 0))
    hour = draft.rows.get("elapsed_h", pd.Series(-1.0, index=draft.rows.index)).to_numpy(dtype=float)
    return rows, fed.to_numpy()[rows], hour[rows], height[rows]


def _far(log_height: np.ndarray, fed: np.ndarray) -> np.ndarray:
    """Tell which heights are far from the others of their refeed, or belong to a refeed that is far off as a whole."""
    begins = np.flatnonzero(np.append(True, np.diff(fed) != 0)[: len(fed)])
    size = np.diff(begins, append=len(fed))
    of = np.repeat(np.arange(len(size)), size)
    middle = pd.Series(log_height).groupby(of).median()
    away = np.abs(log_height - middle.to_numpy()[of])
    across = np.maximum.reduceat(log_height, begins) - np.minimum.reduceat(log_height, begins)
    for place in (0, 1):  # the middle of two lies between them: hold them against each other
        away[begins[size == 2] + place] = across[size == 2]
    alone = away > np.log(_HALF_FACTOR)
    looked_at = np.zeros(len(size), bool)
    looked_at[of[alone]] = True
    among = looked_at[of]  # few refeeds need so close a look
    alone[among] &= _from_nearest(pd.Series(log_height[among]), of[among]).to_numpy() > np.log(_FACTOR)
    from_shelf = (middle - middle.median()).abs()
    outside = ~middle.between(np.log(_LOWEST_MM), np.log(_HIGHEST_MM))
    odd = outside | (from_shelf > np.log(_FACTOR))
    return (away > np.log(_FACTOR)) | alone | odd.to_numpy()[of]


def _from_nearest(log_height: pd.Series, fed: np.ndarray) -> pd.Series:
    """Return how far each height is from the nearer of the two beside it."""
    by_refeed = log_height.groupby(fed)
    # At either end the next but one stands in for the neighbour that is not there.
    before, after = by_refeed.diff().fillna(by_refeed.diff(-2)), by_refeed.diff(-1).fillna(by_refeed.diff(2))
    return np.fmin(before.abs(), after.abs())


def doubt_unread(refeeds: Draft, read: np.ndarray) -> None:
    """Mark refeeds without a reading.

    Parameters
    ----------
    refeeds : Draft
        The refeeds.
    read : numpy.ndarray of int
        The places, among the refeeds that are kept, of those that have one.
    """
    unread = refeeds.kept & ~(refeeds.kept.cumsum() - 1).isin(read)
    message = "has no readings"
    remedy = "add them if they were taken; the refeed is kept"
    refeeds.note(Finding(unread, "no readings", message, remedy, "warning"), "refeed")
