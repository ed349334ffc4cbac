"""Fresh portions: which cultures can be sent out, and what went out before."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pandas as pd

from ...columns import RESULTS
from ...records.as_of import days_of
from ...records.collection import Collection
from ...records.living import living_cultures
from ...records.rounds import STEPPING
from ..bench.order import suspicions
from ..cautions import allergens_in
from ..flour import flour_used
from ..habits import last_jars
from ..stores import store_failures

#: After so long [d] a portion has arrived, or was lost on the way (common practice, no source).
ARRIVED_AFTER_D = 14
_PORTIONS, _SENT = RESULTS["portions"], RESULTS["sent"]


def portions(collection: Collection, listed: pd.DataFrame, on: dt.date) -> pd.DataFrame:
    r"""Return of which living cultures a fresh portion can be sent.

    Parameters
    ----------
    collection : Collection
        The records, read up to the end of that day.
    listed : pandas.DataFrame
        The watch list of that day.
    on : datetime.date
        The day.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["portions"]``. A culture is offered when its last jar passed, its floor was met or
        not measured (which is printed), and nothing speaks against trusting the jar: no signs, no doubt of its
        identity, no failure of its store since it was fed. A jar whose floor was missed is not offered, whatever else
        is well.

    Examples
    --------
    >>> import leavenbench, pathlib, tempfile
    >>> folder = pathlib.Path(tempfile.mkdtemp())
    >>> _ = (folder / "refeeds.csv").write_text("refeed,culture,fed_at,passed\na,Alba,2025-01-02 08:00,yes\n")
    >>> _ = (folder / "readings.csv").write_text("refeed,elapsed,height\na,0,40\n")
    >>> listed = pd.DataFrame({"culture": ["Alba"], "standing": ["unknown"], "floor": ["not measured"],
    ...     "identity_doubt": [False]})
    >>> made = portions(leavenbench.read_collection(folder), listed, dt.date(2025, 1, 10))
    >>> made[["culture", "offered", "remark"]].values.tolist()
    [['Alba', True, 'whether it soured far enough was not measured; its standing is unknown']]
    """
    table = pd.DataFrame({"culture": living_cultures(collection, on)}).astype({"culture": "str"})
    table = table.merge(listed[["culture", "standing", "floor"]], on="culture", how="left")
    table["standing"], table["floor"] = table["standing"].fillna("unknown"), table["floor"].fillna("not measured")
    jars = last_jars(collection).reindex(table["culture"])
    table["fed_at"], table["jar_g"] = jars["fed_at"].array, jars["mass_g"].array
    table["passed"], table["store"] = jars["passed"].array, jars["cold_store"].array
    table["suspect"] = suspicions(collection, listed, table["culture"])
    table["failure"] = _failures_since(collection, table)
    rows = table.to_dict("records")
    table["why_not"] = ["; ".join(_against(row)) for row in rows]
    table["offered"] = table["why_not"] == ""
    flours = _Flours(collection, on)
    table["allergens"] = [flours.label(culture, pd.Timestamp(on)) for culture in table["culture"]]
    table["remark"] = ["; ".join(_remarks(row)) for row in rows]
    ordered = table.sort_values(["offered", "culture"], ascending=[False, True], kind="stable", ignore_index=True)
    return ordered[_PORTIONS.names].astype(_PORTIONS.dtypes(collection.settings.timezone))


def sent(collection: Collection, on: dt.date) -> pd.DataFrame:
    """Return what went out, with what is missing.

    Parameters
    ----------
    collection : Collection
        Its dispatches; its flours and feedings tell what belonged on the label.
    on : datetime.date
        Up to the end of this day.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["sent"]``, in the order of sending. Notices: no terms noted; a label without the
        allergens of the flour that the culture is on; not known to have arrived alive; a culture lost since, of which
        the receiver may hold the only portion that lives.

    Examples
    --------
    >>> import leavenbench, pathlib, tempfile
    >>> folder = pathlib.Path(tempfile.mkdtemp())
    >>> def write(name, text): _ = (folder / f"{name}.csv").write_text(text.replace("|", chr(10)))
    >>> write("refeeds", "refeed,culture,fed_at|a,Alba,2025-01-02 08:00|")
    >>> write("readings", "refeed,elapsed,height|a,0,40|")
    >>> write("cultures", "culture,flour|Alba,rye|")
    >>> write("dispatches", "dispatch,culture,sent_on,terms,arrived_alive|d1,Alba,2025-01-04,not to be sold on,yes|")
    >>> sent(leavenbench.read_collection(folder), dt.date(2025, 1, 10))["notice"].tolist()
    ['the label did not name rye']
    """
    today = pd.Timestamp(on)
    table = collection["dispatches"]
    table = table[~(table["sent_on"] > today)].sort_values(["sent_on", "dispatch"], kind="stable")
    flours, days = _Flours(collection, on), table["sent_on"].fillna(today)
    table["allergens"] = [flours.label(culture, day) for culture, day in zip(table["culture"], days, strict=True)]
    living = set(living_cultures(collection, on))
    table["notice"] = ["; ".join(_missing(row, row["culture"] in living, today)) for row in table.to_dict("records")]
    return table[_SENT.names].astype(_SENT.dtypes()).reset_index(drop=True)


class _Flours:
    """What each culture is kept on and was fed, up to a day."""

    def __init__(self, collection: Collection, on: dt.date) -> None:
        used = flour_used(collection, on).merge(collection["refeeds"][["refeed", "round"]], on="refeed")
        self._fed = dict(list(used[used["purpose"].isin(STEPPING)].groupby("culture")))
        self._kept_on = collection["cultures"].set_index("culture")["flour"].dropna().to_dict()
        self._grain = collection["flours"].set_index("flour")["grain"].dropna().to_dict()

    def label(self, culture: str, day: pd.Timestamp) -> str:
        """Return the allergens of the flour that a culture is kept on, and of what its last round was fed."""
        flours = [self._kept_on[culture]] if culture in self._kept_on else []
        if culture in self._fed:
            fed = self._fed[culture]
            fed = fed[fed["used_on"] <= day]
            flours += fed.loc[fed["round"] == fed["round"].max(), "flour"].dropna().unique().tolist()
        return ", ".join(allergens_in(self._grain.get(flour, flour) for flour in flours))


def _failures_since(collection: Collection, table: pd.DataFrame) -> list[str]:
    """Return in words the last failure of each jar's store since it was fed."""
    failures = store_failures(collection)
    fed_on = days_of(table["fed_at"])
    told = []
    for culture, store, day in zip(table["culture"], table["store"], fed_on, strict=True):
        its = (failures["store"] == store) & failures["culture"].isna() | (failures["culture"] == culture)
        told.append(next(iter(failures.loc[its & (failures["on"] >= day), "words"].tail(1)), ""))
    return told


def _against(row: dict[str, Any]) -> list[str]:
    told = []
    if pd.isna(row["passed"]):
        told.append("whether its last jar passed is not noted")
    elif not row["passed"]:
        told.append("its last jar has not passed")
    told += [row["suspect"]] if row["suspect"] else []
    return told + ([f"{row['failure']}: feed it first"] if row["failure"] else [])


def _remarks(row: dict[str, Any]) -> list[str]:
    told = ["whether it soured far enough was not measured"] if row["floor"] == "not measured" else []
    return told + ([f"its standing is {row['standing']}"] if row["standing"] != "steady" else [])


def _missing(row: dict[str, Any], lives: bool, today: pd.Timestamp) -> list[str]:
    told = []
    if pd.isna(row["terms"]):
        told.append("no terms noted")
    if row["allergens"] and (pd.isna(row["allergen_label"]) or not row["allergen_label"]):
        told.append(f"the label did not name {row['allergens']}")
    if pd.isna(row["arrived_alive"]):
        if pd.isna(row["sent_on"]) or today - row["sent_on"] > pd.Timedelta(days=ARRIVED_AFTER_D):
            told.append("not known whether it arrived alive: ask")
    elif not row["arrived_alive"]:
        told.append("did not arrive alive")
    elif not lives:
        told.append("the culture is lost here: ask whether the receiver's lives")
    return told
