"""The times at which a store was too warm, with the jars and back-ups that sat through each."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from ...columns import RESULTS
from ...records.as_of import end_of
from ...records.collection import Collection
from ...records.rounds import STEPPING
from ..stores import excursions
from .cover import MAY_LIVE
from .forms import forms
from .jars import jars_at

_SAT = RESULTS["sat_through"]
_EXCURSION = ["store", "from_at", "until_at", "hours", "warmest_degC", "limit_degC", "failed"]
#: A failure noted so close [d] to an excursion of the same store is the same one.
_SAME_D = 2


def sat_through(collection: Collection, on: dt.date) -> pd.DataFrame:
    """Return every time at which a store was too warm, with what was in it.

    Parameters
    ----------
    collection : Collection
        The records.
    on : datetime.date
        Up to the end of this day.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["sat_through"]``: one row per excursion of `care.stores.excursions` and jar or
        back-up in the store at its first or last reading above the limit; and those of failures that were noted as
        events and that the log does not show. An excursion in an empty store has one row without a culture.

    Examples
    --------
    >>> import leavenbench, pathlib, tempfile
    >>> folder = pathlib.Path(tempfile.mkdtemp())
    >>> def write(name, text): _ = (folder / f"{name}.csv").write_text(text.replace("|", chr(10)))
    >>> write("refeeds", "refeed,culture,fed_at,cold_store|a,Alba,2025-01-02 08:00,cellar|")
    >>> write("readings", "refeed,elapsed,height|a,0,40|")
    >>> write("stores", "store,kind|cellar,cold|")
    >>> write("store_log", "store,read_at,temperature|cellar,2025-01-04 01:00,11|cellar,2025-01-04 09:00,9|")
    >>> sat_through(leavenbench.read_collection(folder), dt.date(2025, 1, 10))[["culture", "what", "hours", "failed"]]
      culture what  hours  failed
    0    Alba  jar    8.0    True
    """
    ends = end_of(on, collection.settings.timezone)
    warm = pd.concat([excursions(collection), _noted_only(collection)], ignore_index=True)
    warm = warm[warm["from_at"] <= ends].sort_values(["from_at", "store"], kind="stable")
    fed = collection["refeeds"][collection["refeeds"]["purpose"].isin(STEPPING)]
    last_fed = fed[fed["fed_at"] <= ends].groupby("culture")["fed_at"].max()
    tested = forms(collection, on).set_index("backup")["tested_on"]
    rows = []
    for excursion in warm.to_dict("records"):
        inside = [*_jars_inside(collection, excursion, last_fed), *_backups_inside(collection, excursion, tested)]
        rows += [{**excursion, **found} for found in inside or [{}]]
    return pd.DataFrame(rows, columns=_SAT.names).astype(_SAT.dtypes(collection.settings.timezone))


def _noted_only(collection: Collection) -> pd.DataFrame:
    """Return the failures that keepers noted and of which the store's log shows nothing."""
    events, warm = collection["events"], excursions(collection)
    noted = events[(events["kind"] == "store failure") & events["store"].notna()]
    # In some zones midnight itself is skipped in spring, or comes twice in autumn.
    timezone = collection.settings.timezone
    begun = [day.tz_localize(timezone, ambiguous=True, nonexistent="shift_forward") for day in noted["happened_on"]]
    day = pd.Series(begun, index=noted.index, dtype=warm["from_at"].dtype)
    near = pd.Timedelta(days=_SAME_D)
    logged = [
        ((warm["store"] == store) & (warm["from_at"] - near <= at) & (at <= warm["until_at"] + near)).any()
        for store, at in zip(noted["store"], day, strict=True)
    ]
    found = pd.DataFrame({"store": noted["store"], "from_at": day, "until_at": day, "failed": True})
    return found[~pd.Series(logged, index=found.index, dtype=bool)].reindex(columns=_EXCURSION).astype(warm.dtypes)


def _jars_inside(collection: Collection, excursion: dict, last_fed: pd.Series) -> list[dict[str, object]]:
    cultures = {
        str(culture)
        for moment in (excursion["from_at"], excursion["until_at"])
        for culture, store in jars_at(collection, moment)["store"].items()
        if store == excursion["store"]
    }
    return [
        {"culture": culture, "what": "jar", "seen_since": last_fed[culture] > excursion["until_at"]}
        for culture in sorted(cultures)
    ]


def _backups_inside(collection: Collection, excursion: dict, tested: pd.Series) -> list[dict[str, object]]:
    day = excursion["until_at"].tz_localize(None).normalize()
    made = forms(collection, day.date())
    inside = made[(made["store"] == excursion["store"]) & made["state"].isin(MAY_LIVE)]
    return [
        {"culture": culture, "what": "back-up", "backup": backup, "seen_since": bool(tested[backup] > day)}
        for culture, backup in inside[["culture", "backup"]].itertuples(index=False)
    ]
