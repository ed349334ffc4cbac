"""What is left of each lot: received, less what was fed, set right by what was counted."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from ...columns import RESULTS
from ...records.as_of import days_of
from ...records.collection import Collection

#: A count this far off the books [g], and by this share of what was received, is worth a word (common practice, no
#: source): a spoon that was not wiped, a bag that was opened for the bread.
_OFF_G, _OFF_SHARE = 100.0, 0.05

_STOCK = RESULTS["flour_stock"]
_BALANCE = ("received_g", "used_g", "counted_off_g", "left_g", "last_counted_on", "last_used_on", "notice")


def flour_used(collection: Collection, on: dt.date | None = None) -> pd.DataFrame:
    """Return every gram of flour that was fed.

    Parameters
    ----------
    collection : Collection
        Its refeeds and refeed_flours.
    on : datetime.date, optional
        Up to the end of this day.

    Returns
    -------
    pandas.DataFrame
        One row per refeed and lot: refeed, culture, lot, flour, used_on, purpose, mass_g. Of a blend each lot has its
        row; what no lot is noted for has a missing lot, and the flour that its culture is kept on.
    """
    refeeds = collection["refeeds"]
    day = days_of(refeeds["fed_at"])
    fed = refeeds[["refeed", "culture", "lot", "purpose"]].assign(used_on=day, mass_g=refeeds["flour_g"])
    blends = collection["refeed_flours"].dropna(subset=["refeed", "lot"])
    of_blends = blends[["refeed", "lot", "mass_g"]].merge(fed.drop(columns=["lot", "mass_g"]), on="refeed")
    alone = fed[~fed["refeed"].isin(blends["refeed"])]
    used = pd.concat([alone, of_blends], ignore_index=True).dropna(subset="mass_g")
    by_lot = used["lot"].map(collection["flour_lots"].set_index("lot")["flour"])
    kept_on = used["culture"].map(collection["cultures"].set_index("culture")["flour"])
    used["flour"] = by_lot.astype("str").fillna(kept_on.astype("str"))
    if on is not None:
        used = used[used["used_on"] <= pd.Timestamp(on)]
    order = ["refeed", "culture", "lot", "flour", "used_on", "purpose", "mass_g"]
    return used.sort_values(["used_on", "refeed"], kind="stable", ignore_index=True)[order]


def flour_stock(collection: Collection, on: dt.date) -> pd.DataFrame:
    """Return what is left of every lot.

    Parameters
    ----------
    collection : Collection
        Its flour_lots, flour_counts, refeeds and refeed_flours.
    on : datetime.date
        At the end of this day.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["flour_stock"]``, by flour and day of receipt. For each lot received = used +
        counted off + left; a count sets what is left to what was found, and the difference is counted off (less than
        nothing where more was found). Stock that would have gone below nothing, and a count that disagrees, are
        notices.

    Examples
    --------
    >>> import leavenbench, pathlib, tempfile
    >>> folder = pathlib.Path(tempfile.mkdtemp())
    >>> def write(name, text): _ = (folder / f"{name}.csv").write_text(text.replace("|", chr(10)))
    >>> write("refeeds", "refeed,culture,fed_at,lot,flour|a,Alba,2025-01-02 08:00,r1,40|b,Alba,2025-01-03 08:00,r1,60|")
    >>> write("readings", "refeed,elapsed,height|a,0,40|")
    >>> write("flour_lots", "lot,flour,received,mass|r1,rye,2024-12-01,1000|")
    >>> write("flour_counts", "lot,counted_on,mass|r1,2025-01-02,930|")
    >>> stock = flour_stock(leavenbench.read_collection(folder), dt.date(2025, 1, 31))
    >>> stock[["received_g", "used_g", "counted_off_g", "left_g"]].values.tolist()
    [[1000.0, 100.0, 30.0, 870.0]]
    """
    today = pd.Timestamp(on)
    lots = collection["flour_lots"]
    lots = lots[~(lots["received"] > today)]
    used = flour_used(collection, on).dropna(subset="lot")
    counts = collection["flour_counts"]
    counts = counts[counts["counted_on"] <= today].sort_values("counted_on", kind="stable")
    known = pd.Index(lots["lot"])
    strays = pd.Index(pd.concat([used["lot"], counts["lot"]]).unique()).difference(known, sort=False)
    table = pd.concat([lots, pd.DataFrame({"lot": strays})], ignore_index=True)
    of_use, of_counts = dict(list(used.groupby("lot"))), dict(list(counts.groupby("lot")))
    rows = [
        {"lot": lot, **_balance(lot in known, received, mass, of_use.get(lot), of_counts.get(lot))}
        for lot, received, mass in table[["lot", "received", "mass_g"]].itertuples(index=False)
    ]
    balanced = pd.DataFrame(rows, columns=["lot", *_BALANCE])
    made = table[["lot", "flour", "received", "best_before"]].merge(balanced.astype({"lot": "str"}), on="lot")
    made["usable_until"] = usable_until(table, collection)
    made["usable"] = (made["left_g"] > 0.0) & ~(made["usable_until"] < today)
    made = made.sort_values(["flour", "received", "lot"], kind="stable", ignore_index=True)
    return made.reindex(columns=_STOCK.names).astype(_STOCK.dtypes())


def usable_until(lots: pd.DataFrame, collection: Collection) -> pd.Series:
    """Return until when each lot is good: its best-before date or its shelf life after milling, the earlier."""
    life = lots["flour"].map(collection["flours"].set_index("flour")["shelf_life_d"]).astype(float)
    from_milling = lots["milled"] + pd.to_timedelta(life, unit="D")
    return pd.concat([lots["best_before"], from_milling.astype("datetime64[us]")], axis=1).min(axis=1)


def _balance(
    known: bool,
    received: pd.Timestamp,
    mass_g: float,
    used: pd.DataFrame | None,
    counts: pd.DataFrame | None,
) -> dict[str, object]:
    """Follow one lot through its days: uses come before the count of the same day."""
    moves: list[tuple[pd.Timestamp, int, float]] = []
    for kind, rows, day in ((0, used, "used_on"), (1, counts, "counted_on")):
        if rows is not None:
            moves += [(when, kind, mass) for when, mass in rows[[day, "mass_g"]].itertuples(index=False)]
    left = 0.0 if np.isnan(mass_g) else mass_g
    notices, off, fed, lowest = [], 0.0, 0.0, left
    for day, is_count, mass in sorted(moves, key=lambda move: move[:2]):
        if is_count:
            gone = left - mass
            if known and not np.isnan(mass_g) and abs(gone) > max(_OFF_G, _OFF_SHARE * mass_g):
                less = "less" if gone > 0.0 else "more"
                notices.append(f"the count of {day:%Y-%m-%d} found {abs(gone):.0f} g {less} than the books")
            off, left = off + gone, mass
        else:
            fed, left = fed + mass, left - mass
            lowest = min(lowest, left)
    if known and np.isnan(mass_g):
        notices.insert(0, "its mass was not noted when it came")
    if not known:
        notices.insert(0, "it is not in flour_lots")
    elif lowest < -0.5 and not np.isnan(mass_g):
        notices.append(f"{-lowest:.0f} g more were fed than were there: a use under the wrong lot, or a mass mistyped")
    if used is not None and known and (used["used_on"] < received).any():
        notices.append(f"fed from {used['used_on'].min():%Y-%m-%d} on, before it came")
    return {
        "received_g": 0.0 if np.isnan(mass_g) else mass_g,
        "used_g": fed,
        "counted_off_g": off,
        "left_g": left,
        "last_counted_on": pd.NaT if counts is None else counts["counted_on"].max(),
        "last_used_on": pd.NaT if used is None else used["used_on"].max(),
        "notice": "; ".join(notices),
    }
