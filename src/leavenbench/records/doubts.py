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
    heights = pd.concat([_kept_heights(*place).assign(place=number) for number, place in enumerate(places)])
    heights = heights.iloc[in_order(heights["fed"], heights["hour"])]
    far = heights.loc[_far(np.log(heights["height_mm"]), heights["fed"]), "place"]
    message = "is far from the heights beside it; another unit?"
    remedy = "check the comma, and the unit in the header; it is kept as it is"
    for number, (draft, column, _) in enumerate(places):
        marked = draft.at(far.index[far == number])
        draft.note(Finding(marked, "likely unit", message, remedy, "warning"), column)


def _kept_heights(draft: Draft, column: str, fed: pd.Series) -> pd.DataFrame:
    height = draft.rows[f"{column}_mm"]
    # The height when fed comes first, the smear line without an hour last.
    hour = draft.rows.get("elapsed_h", pd.Series(-1.0, index=height.index))
    found = pd.DataFrame({"fed": fed, "hour": hour, "height_mm": height})
    return found[draft.kept & (height > 0)]


def _far(log_height: pd.Series, fed: pd.Series) -> pd.Series:
    """Tell which heights are far from the others of their refeed, or belong to a refeed that is far off as a whole."""
    by_refeed = log_height.groupby(fed)
    middle = by_refeed.transform("median")
    from_refeed = (log_height - middle).abs()
    pair = by_refeed.transform("size") == 2  # the middle of two lies between them: hold them against each other
    from_refeed = from_refeed.where(~pair, by_refeed.transform("max") - by_refeed.transform("min"))
    alone = np.array(from_refeed > np.log(_HALF_FACTOR))
    among = fed.isin(fed[alone]).to_numpy()  # few refeeds need so close a look
    alone[among] &= _from_nearest(log_height[among], fed[among]).to_numpy() > np.log(_FACTOR)
    from_shelf = (middle - by_refeed.median().median()).abs()
    outside = ~middle.between(np.log(_LOWEST_MM), np.log(_HIGHEST_MM))
    return (from_refeed > np.log(_FACTOR)) | alone | (from_shelf > np.log(_FACTOR)) | outside


def _from_nearest(log_height: pd.Series, fed: pd.Series) -> pd.Series:
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
