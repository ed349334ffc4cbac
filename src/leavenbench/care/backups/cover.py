"""How each living culture is covered, should its jar be lost tonight."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from operator import itemgetter
from typing import Any

import pandas as pd

from ...columns import BACKUP_KINDS, RESULTS
from ...records.collection import Collection
from ...records.living import living_cultures
from ...watch.beside import identity_proven_on
from .forms import WHOLE, forms
from .standards import STANDARDS, Standards

#: How a batch may stand, the best first.
STATES = RESULTS["backup_forms"].by_name["state"].choices
#: From a batch in these states something may still come back.
MAY_LIVE = ("proven", "unproven", "doubtful")
ISOLATES_ALONE = "isolates alone: they bring back organisms, not the community"

_COVER = RESULTS["backup_cover"]
#: A row of a table, by column.
_Row = dict[str, Any]
_CAME_BACK = ("alive_on", "steps_to_pass", "log_cfu_yeast", "log_cfu_lactic")
_alive_on, _test_due_on, _made_on = (itemgetter(name) for name in ("alive_on", "test_due_on", "made_on"))


def cover(collection: Collection, on: dt.date, standards: Standards = STANDARDS) -> pd.DataFrame:
    """Return how each living culture is covered, and what of that is overdue.

    Parameters
    ----------
    collection : Collection
        The records.
    on : datetime.date
        At the end of this day.
    standards : Standards, optional
        Intervals and limits; `Standards` names their sources.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["backup_cover"]``. `cover` is full when a form of the whole community came alive
        within the standard, unproven when there is one that did not, partial when there are isolates alone, which
        bring back organisms and not the community, and none. `alive_on` and what stands with it are of the last
        revival of a whole form.

    Examples
    --------
    >>> import leavenbench, pathlib, tempfile
    >>> folder = pathlib.Path(tempfile.mkdtemp())
    >>> def write(name, text): _ = (folder / f"{name}.csv").write_text(text.replace("|", chr(10)))
    >>> write("refeeds", "refeed,culture,fed_at|a,Alba,2025-01-02 08:00|b,Bruno,2025-01-02 08:00|")
    >>> write("readings", "refeed,elapsed,height|a,0,40|b,0,40|")
    >>> write("backups", "backup,culture,kind,made_on,units|K1,Alba,whole_frozen,2024-06-10,8|")
    >>> covered = cover(leavenbench.read_collection(folder), dt.date(2025, 1, 10))
    >>> covered[["culture", "cover", "why"]].values.tolist()
    [['Alba', 'unproven', 'K1 (frozen whole) was never woken'], ['Bruno', 'none', 'nothing was ever put by']]
    """
    today = pd.Timestamp(on)
    own_level = collection["backups"].set_index("backup")["restock_level"]
    made = forms(collection, on, standards)
    made["place"] = made["state"].map(STATES.index)
    made["level"] = own_level.reindex(made["backup"]).fillna(standards.restock_level).array
    of_culture: dict[str, list[_Row]] = defaultdict(list)
    for batch in made.sort_values(["place", "alive_on"], ascending=[True, False], kind="stable").to_dict("records"):
        of_culture[batch["culture"]].append(batch)
    rows = [{"culture": culture, **_covered(of_culture[culture], today)} for culture in living_cultures(collection, on)]
    table = pd.DataFrame(rows, columns=_COVER.names)
    checks = collection["identity_checks"]
    proven = identity_proven_on(checks[checks["checked_on"] <= today])
    table["identity_proven_on"] = proven.reindex(table["culture"]).array
    again = table["identity_proven_on"] + pd.Timedelta(days=standards.identity_every_d)
    table["identity_overdue"] = ~(again >= today)
    return table.astype(_COVER.dtypes())


def _covered(own: list[_Row], today: pd.Timestamp) -> dict[str, object]:
    """Tell all of one culture from its batches, the best first."""
    of_kind = {kind: [batch for batch in own if batch["kind"] == kind] for kind in BACKUP_KINDS}
    revived = [batch for kind in WHOLE for batch in of_kind[kind] if not pd.isna(batch["alive_on"])]
    revival: _Row = max(revived, key=_alive_on, default={})
    overdue = sorted((batch for batch in own if batch["test_due_on"] < today), key=_test_due_on)
    told: dict[str, object] = {name: revival.get(name) for name in _CAME_BACK}
    for kind, batches in of_kind.items():
        told |= {f"{kind}_{name}": value for name, value in _of_form(batches).items()}
    return told | {
        **_verdict(own),
        "to_test": ", ".join(batch["backup"] for batch in overdue),
        "test_overdue_since": overdue[0]["test_due_on"] if overdue else None,
        "restock": ", ".join(kind for kind, batches in of_kind.items() if _too_few(kind, batches)),
        "notice": "; ".join(batch["notice"] for batch in own if batch["notice"]),
    }


def _there(batches: list[_Row]) -> list[_Row]:
    """Return the batches from which something may still come back."""
    return [batch for batch in batches if batch["state"] in MAY_LIVE]


def _of_form(batches: list[_Row]) -> dict[str, object]:
    """Tell of one form; dead batches and those used up hold nothing any more."""
    there = _there(batches)
    dated = [batch for batch in there if not pd.isna(batch["made_on"])]
    newest: _Row = max(dated, key=_made_on, default={})
    units = [batch["units_left"] for batch in there if not pd.isna(batch["units_left"])]
    woken = [batch["alive_on"] for batch in batches if not pd.isna(batch["alive_on"])]
    return {
        "state": batches[0]["state"] if batches else "none",
        "units": None if there and not units else sum(units),
        "made_on": newest.get("made_on"),
        "age_d": newest.get("age_d"),
        "where": "; ".join(dict.fromkeys(place_words(batch["store"], batch["site"]) for batch in there)),
        "alive_on": max(woken, default=None),
    }


def place_words(store: object, site: object) -> str:
    """Return a place in words: the store and the building, as far as they are noted.

    Examples
    --------
    >>> place_words("chest", "Mill House"), place_words(pd.NA, pd.NA)
    ('chest, Mill House', 'place not noted')
    """
    return ", ".join(name for name in (store, site) if isinstance(name, str)) or "place not noted"


def _verdict(own: list[_Row]) -> dict[str, str]:
    """Return how a culture is covered, and the batch that this rests on."""
    there = [batch for batch in _there(own) if not pd.isna(batch["kind"])]
    whole = [batch for batch in there if batch["kind"] in WHOLE]
    if whole:
        cover = "full" if whole[0]["state"] == "proven" else "unproven"
        return {"cover": cover, "rests_on": whole[0]["backup"], "why": whole[0]["why"]}
    if there:
        why = f"{ISOLATES_ALONE}; {there[0]['why']}"
        return {"cover": "partial", "rests_on": there[0]["backup"], "why": why}
    why = "; ".join(batch["why"] for batch in own) or "nothing was ever put by"
    return {"cover": "none", "rests_on": "", "why": why}


def _too_few(kind: str, batches: list[_Row]) -> bool:
    """Tell whether more should be made of a form that there is, or was; a live duplicate grows by itself."""
    there = _there(batches)
    if not batches or (there and kind == "live_duplicate"):
        return False
    left = [batch["units_left"] for batch in there]
    return not any(pd.isna(units) for units in left) and sum(left) <= max(batch["level"] for batch in batches)
