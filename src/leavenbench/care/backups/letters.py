"""Which depositors to write to, and why."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict

import pandas as pd

from ...columns import RESULTS
from ...records.collection import Collection
from ...records.living import living_cultures
from .irreplaceable import SOLE_FLOUR

_LETTERS = RESULTS["letters"]


def letters(
    collection: Collection, listed: pd.DataFrame, covered: pd.DataFrame, told: pd.DataFrame, on: dt.date
) -> pd.DataFrame:
    """Return the depositors to write to.

    Parameters
    ----------
    collection : Collection
        The records.
    listed : pandas.DataFrame
        The watch list of that day.
    covered, told : pandas.DataFrame
        As `cover` and `irreplaceable` make them for that day.
    on : datetime.date
        At the end of this day.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["letters"]``, by depositor: a culture that slips or was lost, one that no whole form
        covers, a live duplicate that should be woken or seen, a flour that one source sends. A culture without a
        depositor is among them, so that it is not forgotten. Nothing is sent anywhere.

    Examples
    --------
    >>> import leavenbench, pathlib, tempfile
    >>> from leavenbench.care.backups import cover, irreplaceable
    >>> folder, on = pathlib.Path(tempfile.mkdtemp()), dt.date(2025, 1, 10)
    >>> def write(name, text): _ = (folder / f"{name}.csv").write_text(text.replace("|", chr(10)))
    >>> write("refeeds", "refeed,culture,fed_at|a,Alba,2025-01-02 08:00|")
    >>> write("readings", "refeed,elapsed,height|a,0,40|")
    >>> write("cultures", "culture,depositor|Alba,mill|")
    >>> shelf = leavenbench.read_collection(folder)
    >>> covered, listed = cover(shelf, on), pd.DataFrame({"culture": ["Alba"], "standing": ["slipping"]})
    >>> letters(shelf, listed, covered, irreplaceable(shelf, covered, on), on)[["depositor", "why"]].values.tolist()
    [['mill', 'it is slipping; no whole form of it is put by']]
    """
    why: dict[str, list[str]] = defaultdict(list)
    for culture, standing in listed[["culture", "standing"]].itertuples(index=False):
        if standing in ("urgent", "slipping"):
            why[culture].append(f"it is {standing}")
    for culture, words in _lost(collection, on):
        why[culture].append(words)
    for row in covered.to_dict("records"):
        if row["cover"] in ("none", "partial"):
            why[row["culture"]].append("no whole form of it is put by")
        elif row["live_duplicate_state"] in ("unproven", "doubtful"):
            why[row["culture"]].append(f"ask whether its live duplicate lives ({row['live_duplicate_where']})")
    sole = told[(told["reason"] == SOLE_FLOUR) & told["holds"].fillna(False).astype(bool)]
    for culture, evidence in sole[["culture", "evidence"]].itertuples(index=False):
        why[culture].append(f"its flour has a single source: {evidence}")
    table = pd.DataFrame({"culture": list(why), "why": ["; ".join(reasons) for reasons in why.values()]}, dtype="str")
    table["depositor"] = table["culture"].map(collection["cultures"].set_index("culture")["depositor"]).astype("str")
    table = table.merge(collection["depositors"][["depositor", "name", "contact"]], on="depositor", how="left")
    table = table.sort_values(["depositor", "culture"], kind="stable", ignore_index=True)
    return table[_LETTERS.names].astype(_LETTERS.dtypes())


def _lost(collection: Collection, on: dt.date) -> list[tuple[str, str]]:
    """Return the cultures that were lost and have not come back, with the day in words."""
    events = collection["events"]
    lost = events[(events["kind"] == "lost") & (events["happened_on"] <= pd.Timestamp(on))].dropna(subset="culture")
    last = lost.groupby("culture")["happened_on"].max()
    return [
        (str(name), f"it was lost on {day:%Y-%m-%d}")
        for name, day in last.drop(living_cultures(collection, on), errors="ignore").items()
    ]
