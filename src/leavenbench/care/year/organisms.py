"""The organisms found in the living cultures up to a year's end: how many kinds, and which in one alone."""

from __future__ import annotations

import pandas as pd

from ...compare.organisms import diversity
from ...records.collection import Collection
from ...records.taxa import accepted_name
from .captioned import captioned, count_of
from .lives import living_on
from .period import Period


def tell_organisms(collection: Collection, lived: pd.DataFrame, period: Period) -> tuple[dict[str, pd.DataFrame], str]:
    """Return the tables of organisms, and what is missing.

    What was found in one culture alone may be in others, unseen among the colonies picked.

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
        sampled, species, diversity.
    said : str
    """
    living = lived.loc[living_on(lived, period.last), "culture"]
    isolates = collection["isolates"]
    isolates = isolates[isolates["culture"].isin(living) & ~(isolates["sampled_on"] > period.last)]
    named = isolates.assign(species=isolates["taxon"].fillna("").map(accepted_name).astype("str"))
    tables = {
        "sampled": _sampled(named, living, period),
        "species": _species(named, period),
        "diversity": _diversity(isolates, period),
    }
    return tables, _said(collection, tables["sampled"], len(living))


def _sampled(named: pd.DataFrame, living: pd.Series, period: Period) -> pd.DataFrame:
    known = named["species"].where(named["species"] != "")
    of_each = named.assign(known=known, nameless=known.isna()).groupby("culture")
    rows = of_each.agg(
        sampled_on=("sampled_on", "max"),
        isolates=("isolate", "size"),
        colonies=("colonies", "sum"),
        species=("known", "nunique"),
        unnamed=("nameless", "sum"),
    ).reset_index()
    rows["in_year"] = period.holds(rows["sampled_on"])
    caption = (
        f"{len(rows)} of {count_of(len(living), 'living culture')} sampled up to {period.last:%d %B %Y}, "
        f"{int(rows['in_year'].sum())} of them in {period.year}; old and new names of a species counted once"
    )
    return captioned("year_sampled", rows, caption)


def _species(named: pd.DataFrame, period: Period) -> pd.DataFrame:
    known = named[named["species"] != ""]
    among = known["culture"].nunique()
    rows = []
    for name, found in known.groupby("species"):
        holders = sorted(found["culture"].unique())
        kinds = found["kind"].dropna()
        rows.append(
            {
                "species": name,
                "kind": kinds.mode().iloc[0] if len(kinds) else pd.NA,
                "cultures": len(holders),
                "sampled": among,
                "names": ", ".join(holders),
                "once": len(holders) == 1,
                "words": f"found in {'one' if len(holders) == 1 else len(holders)} of {among} sampled",
            }
        )
    rows.sort(key=lambda row: (row["cultures"], row["species"]))
    once = sum(row["once"] for row in rows)
    caption = (
        f"{len(rows)} species in {count_of(among, 'living culture')} sampled up to {period.last:%d %B %Y}, {once} of "
        "them found in one alone; what was not found may be there unseen"
    )
    return captioned("year_species", rows, caption)


def _diversity(isolates: pd.DataFrame, period: Period) -> pd.DataFrame:
    """Return the Hill numbers, those of all cultures together first."""
    told = diversity(isolates).sort_values("culture", na_position="first", kind="stable")
    cultures = count_of(int(told["culture"].notna().sum()), "living culture")
    colonies = count_of(int(told.loc[told["culture"].isna(), "colonies"].sum()), "colony", "colonies")
    common = told["common_coverage"].min()
    alike = f" and, since samples differ, at a coverage of {100.0 * common:.0f} %"
    none = "; no sample is large enough to be compared"
    caption = (
        f"{cultures} and all together, {colonies} named to the species up to {period.last:%d %B %Y}: kinds as Hill "
        f"numbers, as found{alike if common > 0.0 else none}; an isolate without a number is one colony"
    )
    return captioned("diversity", told, caption)


def _said(collection: Collection, sampled: pd.DataFrame, living: int) -> str:
    if sampled.empty:
        return "No living culture was ever sampled for its organisms."
    if (sampled["species"] == 0).all():
        return "No species was named among what was isolated."
    rest = living - len(sampled)
    return f"{count_of(rest, 'living culture')} never sampled." if rest else ""
