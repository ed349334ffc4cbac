"""If this refrigerator fails tonight: what is in it, what exists nowhere else, and where the copies are."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from ...columns import RESULTS
from ...errors import CannotRead
from ...records.as_of import end_of
from ...records.collection import Collection
from .cover import MAY_LIVE, place_words
from .forms import WHOLE, form_words, forms
from .jars import jars_at
from .standards import STANDARDS, Standards

_CONTENTS = RESULTS["store_contents"]
#: What may be elsewhere, the least first, and what to think of it.
_WORDS = {
    "nothing": "exists nowhere else",
    "isolates alone": "elsewhere are isolates alone: they bring back organisms, not the community",
    "unproven": "what is elsewhere is not known to live",
    "proven": "is safe elsewhere",
}
_NOTHING, _ISOLATES, _UNPROVEN, _PROVEN = _WORDS

#: What is elsewhere: how good it is, and where.
_Copy = tuple[str, str]


def if_this_store_fails(
    collection: Collection, store: str, on: dt.date, standards: Standards = STANDARDS
) -> pd.DataFrame:
    """Return what is in a store, in the order in which to carry it out.

    Parameters
    ----------
    collection : Collection
        The records.
    store : str
        The store's short name.
    on : datetime.date
        At the end of this day.
    standards : Standards, optional
        What counts as proven.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["store_contents"]``: one row per culture with a jar or a back-up in it that may live;
        first what exists nowhere else, last what is safe elsewhere, and among equals first what has fewer copies. A
        jar is where it was last put into the cold, or moved since; a jar elsewhere counts as proven. Back-ups of
        cultures that were lost are among the rows.

    Raises
    ------
    CannotRead
        There is no such store.

    Examples
    --------
    >>> import leavenbench, pathlib, tempfile
    >>> folder = pathlib.Path(tempfile.mkdtemp())
    >>> def write(name, text): _ = (folder / f"{name}.csv").write_text(text.replace("|", chr(10)))
    >>> write("refeeds", "refeed,culture,fed_at,seed,flour,water,cold_store|a,Alba,2025-01-02 08:00,66,132,132,cellar|"
    ...     "b,Bruno,2025-01-02 08:00,66,132,132,cellar|")
    >>> write("readings", "refeed,elapsed,height|a,0,40|b,0,40|")
    >>> write("backups", "backup,culture,kind,made_on,store,units|K1,Alba,whole_frozen,2024-06-10,chest,8|")
    >>> made = if_this_store_fails(leavenbench.read_collection(folder), "cellar", dt.date(2025, 1, 10))
    >>> made[["carry", "culture", "jar_g", "elsewhere"]].values.tolist()
    [[1, 'Bruno', 330.0, 'nothing'], [2, 'Alba', 330.0, 'unproven']]
    """
    _require_known(collection, store)
    jars = jars_at(collection, end_of(on, collection.settings.timezone))
    made = forms(collection, on, standards)
    made = made[made["state"].isin(MAY_LIVE)]
    here = made[made["store"] == store]
    with_jar = jars.index[jars["store"] == store]
    rows = []
    for culture in sorted({*with_jar, *here["culture"]}):
        jar = jars.loc[culture] if culture in jars.index else None
        lying = here[here["culture"] == culture]
        copies = [*_jar_elsewhere(jar, store), *_backups_elsewhere(made[made["culture"] == culture], store)]
        best = max((copy[0] for copy in copies), key=list(_WORDS).index, default=_NOTHING)
        rows.append(
            {
                "culture": culture,
                "living": jar is not None,
                "jar_here": culture in with_jar,
                "jar_g": jar["jar_g"] if jar is not None and culture in with_jar else float("nan"),
                "backups_here": ", ".join(_portions(batch) for batch in lying.to_dict("records")),
                "units_here": lying["units_left"].sum(),
                "elsewhere": best,
                "copies": "; ".join(words for good, words in copies),
                "why": _WORDS[best],
                "number": len(copies),
            }
        )
    table = pd.DataFrame(rows, columns=[*_CONTENTS.names, "number"])
    table["carry"] = table["elsewhere"].map(list(_WORDS).index)
    table = table.sort_values(["carry", "number", "culture"], kind="stable", ignore_index=True)
    table["carry"] = table.index + 1
    return table[_CONTENTS.names].astype(_CONTENTS.dtypes())


def _require_known(collection: Collection, store: str) -> None:
    noted = (collection["stores"]["store"], collection["refeeds"]["cold_store"], collection["backups"]["store"])
    known = sorted(set(pd.concat(noted).dropna()))
    if store not in known:
        told = f"the stores are {', '.join(known)}" if known else "no store is noted anywhere"
        raise CannotRead(f"There is no store '{store}'; {told}.")


def _jar_elsewhere(jar: pd.Series | None, store: str) -> list[_Copy]:
    """Return what jar of the culture stands elsewhere; of one whose place is not noted nothing is certain."""
    if jar is None:
        return []
    found: list[_Copy] = []
    if isinstance(jar["store"], str) and jar["store"] != store:
        found.append((_PROVEN, f"jar in {jar['store']}"))
    if not pd.isna(jar["newer_on"]):
        found.append((_UNPROVEN, f"jar fed on {jar['newer_on']:%Y-%m-%d}, place not noted"))
    return found


def _backups_elsewhere(own: pd.DataFrame, store: str) -> list[_Copy]:
    found: list[_Copy] = []
    for batch in own[own["store"] != store].to_dict("records"):
        good = _UNPROVEN if batch["state"] != "proven" else _PROVEN
        words = f"{_portions(batch)} in {place_words(batch['store'], batch['site'])}"
        found.append((good if batch["kind"] in WHOLE else _ISOLATES, words))
    return found


def _portions(batch: dict) -> str:
    left = "number not noted" if pd.isna(batch["units_left"]) else f"{batch['units_left']} left"
    return f"{batch['backup']} ({form_words(batch['kind'])}, {left})"
