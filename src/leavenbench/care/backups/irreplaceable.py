"""Why a culture could not be had again: each reason with what says so."""

from __future__ import annotations

import datetime as dt
import re

import pandas as pd

from ...columns import RESULTS
from ...records.collection import Collection
from ...records.taxa import accepted_name
from ..flour import dependence

_IRREPLACEABLE = RESULTS["irreplaceable"]
#: The reasons, in the order of the table.
NO_LIVE_BACKUP, SOLE_FLOUR, NOT_ELSEWHERE, ORIGIN_GONE = _IRREPLACEABLE.by_name["reason"].choices

#: Words of a note or an origin that say that nobody can go there again. They are shown, so that a keeper can argue.
_GONE = re.compile(
    r"cannot be (?:collected|had|found|visited) again|no longer (?:exists|there|baked|baking|kept)|closed (?:down|in)|"
    r"(?:has|have|had|since|now|is|was) (?:closed|demolished|dissolved)|(?:torn|burnt|burned) down|gave up|given up|"
    r"demolished in|died (?:out|in)|last of (?:its|their|the)",
    re.IGNORECASE,
)
_NOT = re.compile(r"\b(?:not|never|nor)\b", re.IGNORECASE)

#: One answer: whether it holds (missing: nothing tells) and what says so.
_Answer = tuple[object, str]


def irreplaceable(collection: Collection, covered: pd.DataFrame, on: dt.date) -> pd.DataFrame:
    """Return why each living culture could not be had again.

    Parameters
    ----------
    collection : Collection
        The records.
    covered : pandas.DataFrame
        As `cover` makes it for that day.
    on : datetime.date
        At the end of this day.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["irreplaceable"]``: one row per culture and reason, whether or not it holds; `holds`
        is missing where nothing recorded tells. Organisms are compared by species, old and new names folded
        (`records.taxa`), with the other living cultures that were sampled: what is not found there may still be there,
        unseen among the colonies picked.

    Examples
    --------
    >>> import leavenbench, pathlib, tempfile
    >>> from leavenbench.care.backups import cover
    >>> folder, on = pathlib.Path(tempfile.mkdtemp()), dt.date(2025, 1, 10)
    >>> def write(name, text): _ = (folder / f"{name}.csv").write_text(text.replace("|", chr(10)))
    >>> write("refeeds", "refeed,culture,fed_at|a,Alba,2025-01-02 08:00|b,Bruno,2025-01-02 08:00|")
    >>> write("readings", "refeed,elapsed,height|a,0,40|b,0,40|")
    >>> write("isolates", "isolate,culture,taxon|1,Alba,Lactobacillus brevis|2,Bruno,Levilactobacillus brevis|")
    >>> shelf = leavenbench.read_collection(folder)
    >>> told = irreplaceable(shelf, cover(shelf, on), on)
    >>> told.loc[(told["culture"] == "Alba") & told["holds"].notna(), ["holds", "evidence"]].values.tolist()
    [[True, 'nothing was ever put by'],
     [False, 'each species found also in another of 1 other living culture sampled']]
    """
    cultures = list(covered["culture"])
    answers = {
        NO_LIVE_BACKUP: _without_live_backup(covered),
        SOLE_FLOUR: _of_sole_flour(collection, on),
        NOT_ELSEWHERE: _not_elsewhere(collection, cultures, on),
        ORIGIN_GONE: _origins(collection),
    }
    nothing: dict[str, _Answer] = {
        NO_LIVE_BACKUP: (pd.NA, "not recorded"),
        SOLE_FLOUR: (pd.NA, "the flour it is kept on is not noted"),
        NOT_ELSEWHERE: (pd.NA, "never sampled, or no species named"),
        ORIGIN_GONE: (pd.NA, "not recorded"),
    }
    rows = [
        (culture, reason, *told.get(culture, nothing[reason]))
        for culture in cultures
        for reason, told in answers.items()
    ]
    return pd.DataFrame(rows, columns=_IRREPLACEABLE.names).astype(_IRREPLACEABLE.dtypes())


def _without_live_backup(covered: pd.DataFrame) -> dict[str, _Answer]:
    """Tell who has no whole form; whether one that is unproven lives, nobody can say."""
    holds = {"full": False, "unproven": pd.NA, "partial": True, "none": True}
    return {row["culture"]: (holds[row["cover"]], row["why"]) for row in covered.to_dict("records")}


def _of_sole_flour(collection: Collection, on: dt.date) -> dict[str, _Answer]:
    """Tell who is kept on, or was fed on, what nobody else can send."""
    flours = collection["flours"]
    only = flours[flours["sole_source"].fillna(False).astype(bool)].set_index("flour")["supplier"]
    supplier = only.fillna("an unnamed supplier").to_dict()
    kept_on = collection["cultures"][["culture", "flour"]].dropna()
    found: dict[str, _Answer] = {
        culture: (False, f"{flour} can be had elsewhere") for culture, flour in kept_on.to_numpy()
    }
    for culture, flour in kept_on[kept_on["flour"].isin(only.index)].to_numpy():
        found[culture] = (True, f"{flour} from {supplier[flour]}: nobody else can send it")
    if only.empty or collection["flour_lots"].empty:  # where no lot is noted, none being left says nothing
        return found
    hanging = dependence(collection, on)
    for culture, of_it in hanging[hanging["flour"].isin(only.index)].groupby("culture"):
        told = [f"{flour} from {supplier[flour]}: {why}" for flour, why in of_it[["flour", "why"]].to_numpy()]
        found[str(culture)] = (True, "; ".join(told))
    return found


def _not_elsewhere(collection: Collection, cultures: list[str], on: dt.date) -> dict[str, _Answer]:
    """Compare each culture's species with those of the other living cultures that were sampled."""
    isolates = collection["isolates"].dropna(subset="taxon")
    isolates = isolates[isolates["culture"].isin(cultures) & ~(isolates["sampled_on"] > pd.Timestamp(on))]
    named = isolates.assign(species=isolates["taxon"].map(accepted_name)).query("species != ''")
    found_in = named.groupby("species")["culture"].nunique()
    others = named["culture"].nunique() - 1
    among = f"{others} other living culture{'' if others == 1 else 's'} sampled"
    told: dict[str, _Answer] = {}
    for culture, own in named.groupby("culture"):
        alone = [name for name in sorted(own["species"].unique()) if found_in[name] == 1]
        if others == 0:
            told[str(culture)] = (pd.NA, "no other living culture was sampled")
        elif alone:
            told[str(culture)] = (True, f"{', '.join(alone)}: not found in {among}")
        else:
            told[str(culture)] = (False, f"each species found also in another of {among}")
    return told


def _origins(collection: Collection) -> dict[str, _Answer]:
    """Quote what origin and note say of a place that is gone; a sentence that says 'not' says nothing certain."""
    found: dict[str, _Answer] = {}
    for culture, origin, note in collection["cultures"][["culture", "origin", "note"]].itertuples(index=False):
        words = [
            sentence.strip() for text in (origin, note) if not pd.isna(text) for sentence in re.split(r"[.;]", text)
        ]
        telling = [
            sentence
            for sentence in words
            if (match := _GONE.search(sentence)) and not _NOT.search(sentence.replace(match.group(), ""))
        ]
        if telling:
            found[str(culture)] = (True, f"noted: {'; '.join(telling)}")
    return found


def other_reasons(told: pd.DataFrame) -> pd.Series:
    """Return by culture the reasons that hold besides its back-ups, each in words."""
    holding = told[told["holds"].fillna(False).astype(bool) & (told["reason"] != NO_LIVE_BACKUP)]
    return holding.groupby("culture")["evidence"].agg(list)
