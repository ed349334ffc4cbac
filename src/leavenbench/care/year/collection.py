"""The collection in a year: who lives in it, who came and went, on what grain, from where, for how long."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ...columns import RESULTS
from ...records.collection import Collection
from ..flour.need import YEAR_D
from .captioned import captioned, count_of
from .lives import living_on
from .period import Period

NOT_NOTED = "not noted"
_BALANCE = RESULTS["year_balance"].by_name["what"].choices
_FIRST_SEEN = "first seen"
_AGES = RESULTS["year_ages"].by_name["age"].choices
_AGE_EDGES = (1.0, 5.0, 10.0)


def tell_collection(collection: Collection, lived: pd.DataFrame, period: Period) -> tuple[dict[str, pd.DataFrame], str]:
    """Return the tables of the collection, and what is missing.

    Parameters
    ----------
    collection : Collection
        The records, read up to the year's end.
    lived : pandas.DataFrame
        As from `lives.lives`.
    period : Period
        The year.

    Returns
    -------
    tables : dict of str to pandas.DataFrame
        balance, movements, by_grain, by_country, ages, places.
    said : str
    """
    moved = _movements(lived, period)
    living = lived.loc[living_on(lived, period.last), "culture"]
    told = collection["cultures"].set_index("culture").reindex(living)
    told["grain"] = grains(collection).reindex(living)
    end = f"living on {period.last:%d %B %Y}"
    tables = {
        "balance": _balance(lived, moved, period),
        "movements": moved,
        "by_grain": _counted(
            "year_by_grain", told["grain"], f"{count_of(len(told), 'culture')} {end}, by the grain of their flour"
        ),
        "by_country": _counted(
            "year_by_country", told["country"], f"{count_of(len(told), 'culture')} {end}, by country of origin"
        ),
        "ages": _ages(told, period),
        "places": _places(told, end),
    }
    return tables, _said(collection, told)


def grains(collection: Collection) -> pd.Series:
    """Return the grain of the flour that each culture is kept on; the flour's name where its grain is not noted."""
    kept_on = collection["cultures"].set_index("culture")["flour"]
    grain = kept_on.map(collection["flours"].set_index("flour")["grain"]).astype("str")
    return grain.fillna(kept_on)


def _movements(lived: pd.DataFrame, period: Period) -> pd.DataFrame:
    came = lived[period.holds(lived["seen_on"])]
    kind = came["begun_by"].mask(came["begun_on"].isna(), _FIRST_SEEN)
    came = came[["culture", "source"]].assign(happened_on=came["seen_on"], kind=kind, reason=pd.NA)
    went = lived[period.holds(lived["ended_on"])]
    went = went[["culture", "reason"]].assign(happened_on=went["ended_on"], kind=went["ended_by"], source=pd.NA)
    moved = pd.concat([came, went]).sort_values(["happened_on", "culture"], kind="stable")
    many = count_of(len(moved), "arrival or departure", "arrivals and departures")
    caption = f"{many} in {period.year}, by events and days of receipt"
    return captioned("year_movements", moved, caption)


def _balance(lived: pd.DataFrame, moved: pd.DataFrame, period: Period) -> pd.DataFrame:
    began, *kinds, ended = _BALANCE
    of_kind = {kind: moved.loc[moved["kind"] == kind, "culture"] for kind in kinds}
    rows = [
        {"what": began, "cultures": living_on(lived, period.eve).sum(), "names": ""},
        *({"what": kind, "cultures": len(names), "names": ", ".join(names)} for kind, names in of_kind.items()),
        {"what": ended, "cultures": living_on(lived, period.last).sum(), "names": ""},
    ]
    caption = (
        f"{count_of(lived['culture'].nunique(), 'culture')} known up to the end of {period.year}; "
        "living when it began + received + first seen + restored - lost - withdrawn = living when it ended"
    )
    return captioned("year_balance", rows, caption)


def _counted(name: str, of_each: pd.Series, caption: str) -> pd.DataFrame:
    """Count the living cultures by what is told of each, the most first; what is not noted stands last."""
    by = RESULTS[name].names[0]
    counts = of_each.fillna(NOT_NOTED).value_counts().rename_axis(by).rename("cultures").reset_index()
    counts["share_pct"] = 100.0 * counts["cultures"] / max(len(of_each), 1)
    counts["unknown"] = counts[by] == NOT_NOTED
    ordered = counts.sort_values(["unknown", "cultures", by], ascending=[True, False, True], kind="stable")
    return captioned(name, ordered, caption)


def _ages(told: pd.DataFrame, period: Period) -> pd.DataFrame:
    age = (period.last - told["received"]) / pd.Timedelta(days=YEAR_D)
    words = np.array(_AGES)[np.searchsorted(_AGE_EDGES, age, side="right")]
    words = np.where(age.isna(), _AGES[-1], words)
    rows = told[["received"]].assign(age_y=age, age=words).reset_index()
    rows = rows.sort_values(["received", "culture"], kind="stable")
    caption = (
        f"{count_of(int(age.notna().sum()), 'living culture')} by time since receipt, at the end of {period.year}; "
        f"of {int(age.isna().sum())} the day of receipt is not noted"
    )
    return captioned("year_ages", rows, caption)


def _places(told: pd.DataFrame, end: str) -> pd.DataFrame:
    rows = told[["latitude", "longitude", "grain"]].dropna(subset=["latitude", "longitude"]).reset_index()
    rows["grain"] = rows["grain"].fillna(NOT_NOTED)
    caption = f"{len(rows)} of {count_of(len(told), 'culture')} {end}: latitude and longitude of origin, as recorded"
    return captioned("year_places", rows.sort_values("culture"), caption)


def _said(collection: Collection, told: pd.DataFrame) -> str:
    if told.empty:
        return "No culture lived in the collection at the year's end."
    if "cultures" not in collection.present:
        return "There is no cultures table: the cultures are those fed, and where and when they came is not noted."
    missing = [
        words
        for words, column in (
            ("day of receipt", "received"),
            ("grain of the flour", "grain"),
            ("country", "country"),
            ("latitude and longitude", "latitude"),
        )
        if told[column].isna().all()
    ]
    return f"Not noted of any living culture: {', '.join(missing)}." if missing else ""
