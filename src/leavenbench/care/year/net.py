"""The safety net at a year's end: cover, age and proof of back-ups, single sources, what came back or went out."""

from __future__ import annotations

import pandas as pd

from ...columns import BACKUP_KINDS, RESULTS
from ...records.collection import Collection
from ..backups import cover, forms, sent
from ..backups.cover import MAY_LIVE
from ..flour import dependence
from ..flour.need import YEAR_D
from .captioned import captioned, count_of, sentence
from .period import Period

_COVERS = RESULTS["year_cover"].by_name["cover"].choices
_GONE = ("dead", "used up")


def tell_net(collection: Collection, period: Period) -> tuple[dict[str, pd.DataFrame], str]:
    """Return the tables of the safety net, and what is missing.

    Parameters
    ----------
    collection : Collection
        The records, read up to the year's end.
    period : Period
        The year.

    Returns
    -------
    tables : dict of str to pandas.DataFrame
        cover, forms, form_ages, sole_flours, sent, restorations.
    said : str
    """
    made = forms(collection, period.last.date())
    batches = count_of(len(made), "batch", "batches")
    end = f"at the end of {period.year}"
    went = sent(collection, period.last.date())
    of_year = went[period.holds(went["sent_on"])]
    portions = count_of(len(of_year), "portion")
    tables = {
        "cover": _cover(collection, period),
        "forms": captioned("backup_forms", made, f"{batches} {end}; proven: came alive within the standard"),
        "form_ages": _form_ages(made, f"{batches} {end}: age since making, and what their last waking proved"),
        "sole_flours": _sole_flours(collection, period),
        "sent": captioned("sent", of_year, f"{portions} sent out in {period.year}, by the dispatches"),
        "restorations": _restorations(collection, period),
    }
    return tables, _said(collection, went)


def _cover(collection: Collection, period: Period) -> pd.DataFrame:
    began = cover(collection, period.eve.date())["cover"].value_counts()
    ended = cover(collection, period.last.date())
    rows = [
        {
            "cover": state,
            "when_it_began": began.get(state, 0),
            "when_it_ended": (ended["cover"] == state).sum(),
            "names": ", ".join(ended.loc[ended["cover"] == state, "culture"]),
        }
        for state in _COVERS
    ]
    caption = (
        f"{count_of(len(ended), 'living culture')} at the end of {period.year}, {int(began.sum())} when it began; "
        "full: a whole form came alive within the standard; partial: isolates alone"
    )
    return captioned("year_cover", rows, caption)


def _form_ages(made: pd.DataFrame, caption: str) -> pd.DataFrame:
    rows = []
    for kind in BACKUP_KINDS:
        own = made[made["kind"] == kind]
        there = own[own["state"].isin(MAY_LIVE)]
        age_y = there["age_d"].astype(float) / YEAR_D
        rows.append(
            {
                "kind": kind,
                "batches": len(there),
                "cultures": there["culture"].nunique(),
                "units_left": there["units_left"].sum(),
                **{state: (own["state"] == state).sum() for state in MAY_LIVE},
                "gone": own["state"].isin(_GONE).sum(),
                "age_middle_y": age_y.median(),
                "age_oldest_y": age_y.max(),
            }
        )
    return captioned("year_form_ages", rows, caption)


def _sole_flours(collection: Collection, period: Period) -> pd.DataFrame:
    hanging = dependence(collection, period.last.date())
    flours = collection["flours"]
    sole = flours.loc[flours["sole_source"].fillna(False).astype(bool), "flour"]
    hanging = hanging[hanging["flour"].isin(sole)]
    of_each = hanging.groupby("flour", sort=False)
    rows = of_each.agg(
        supplier=("supplier", "first"),
        cultures=("culture", "nunique"),
        names=("culture", lambda names: ", ".join(sorted(names))),
        lots_left=("lots_left", "first"),
        left_g=("left_g", "first"),
        rounds_left=("rounds_left", "first"),
    ).reset_index()
    caption = (
        f"{count_of(hanging['culture'].nunique(), 'living culture')} fed in their last round on one of "
        f"{count_of(len(rows), 'flour')} that nobody else can send; stock by the books at the end of {period.year}"
    )
    return captioned("year_sole_flours", rows, caption)


def _restorations(collection: Collection, period: Period) -> pd.DataFrame:
    """Join what was entered as restored with the portions that were taken for it."""
    uses, events = collection["backup_uses"], collection["events"]
    backups = collection["backups"][["backup", "culture", "kind", "made_on"]]
    taken = uses[(uses["purpose"] == "restore") & period.holds(uses["used_on"])]
    taken = taken.merge(backups[["backup", "culture"]], on="backup", how="left")
    taken = taken.rename(columns={"used_on": "restored_on"})
    back = events[(events["kind"] == "restored") & period.holds(events["happened_on"])]
    back = back.rename(columns={"happened_on": "restored_on"})[["culture", "restored_on", "source"]].assign(back=True)
    rows = taken[["culture", "restored_on", "backup", "result", "steps_to_pass"]].merge(
        back, on=["culture", "restored_on"], how="outer"
    )
    rows["backup"] = rows["backup"].fillna(rows["source"])
    rows["back"] = rows["back"].astype("boolean").fillna(False)
    rows = rows.merge(backups[["backup", "kind", "made_on"]], on="backup", how="left")
    rows["age_d"] = (rows["restored_on"] - rows["made_on"]).dt.days
    caption = (
        f"{count_of(int(rows['back'].sum()), 'restoration')} entered in {period.year}, and portions taken for one, "
        "joined by culture and day"
    )
    return captioned("year_restorations", rows.sort_values(["restored_on", "culture"], kind="stable"), caption)


def _said(collection: Collection, went: pd.DataFrame) -> str:
    told = [
        words
        for table, words in (
            ("backups", "no back-up is recorded"),
            ("flours", "which flour has a single source is not recorded"),
            ("dispatches", "no dispatch is recorded"),
        )
        if table not in collection.present
    ]
    undated = int(went["sent_on"].isna().sum())
    if undated:
        told.append(f"{count_of(undated, 'dispatch', 'dispatches')} without a day could not be placed in a year")
    return sentence(told)
