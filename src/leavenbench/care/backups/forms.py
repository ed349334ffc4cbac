"""Every batch of portions: what is left of it, how old it is, and when it last came alive."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from typing import Any

import pandas as pd

from ...columns import RESULTS
from ...records.as_of import days_of
from ...records.collection import Collection
from ..stores import store_failures
from .standards import STANDARDS, Standards

#: How each form is called in sentences.
FORM_WORDS = {
    "whole_frozen": "frozen whole",
    "whole_dried": "dried whole",
    "live_duplicate": "live duplicate",
    "isolates_frozen": "isolates",
}
#: The forms that bring the community back, not only organisms of it.
WHOLE = ("whole_frozen", "whole_dried", "live_duplicate")

#: Days at the end of a store's log that tell how cold it is kept.
_LATELY_D = 30
_OF_REVIVAL = ("steps_to_pass", "log_cfu_yeast", "log_cfu_lactic")
_FORMS = RESULTS["backup_forms"]

#: A row of a table, by column.
_Row = dict[str, Any]


def forms(collection: Collection, on: dt.date, standards: Standards = STANDARDS) -> pd.DataFrame:
    """Return every batch of portions that was made.

    Parameters
    ----------
    collection : Collection
        Its backups, backup_uses, stores, store_log and events.
    on : datetime.date
        At the end of this day.
    standards : Standards, optional
        Intervals and limits.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["backup_forms"]``, by culture and day of making; cultures that no longer live are
        among them. A use whose portions are not noted took one. What a live duplicate gives grows again: of it only
        what was discarded is gone. A batch whose store failed after it last came alive is no longer proven.

    Examples
    --------
    >>> import leavenbench, pathlib, tempfile
    >>> folder = pathlib.Path(tempfile.mkdtemp())
    >>> def write(name, text): _ = (folder / f"{name}.csv").write_text(text.replace("|", chr(10)))
    >>> write("refeeds", "refeed,culture,fed_at|a,Alba,2025-01-02 08:00|")
    >>> write("readings", "refeed,elapsed,height|a,0,40|")
    >>> write("backups", "backup,culture,kind,made_on,units|K1,Alba,whole_frozen,2024-01-10,8|")
    >>> write("backup_uses", "backup,used_on,units,purpose,result|K1,2024-12-10,1,test,alive|")
    >>> made = forms(leavenbench.read_collection(folder), dt.date(2025, 1, 10))
    >>> made[["backup", "units_left", "age_d", "state"]].values.tolist()
    [['K1', 7, 366, 'proven']]
    """
    today = pd.Timestamp(on)
    batches, uses = collection["backups"], collection["backup_uses"]
    of_batch: dict[str, list[_Row]] = defaultdict(list)
    for use in uses[~(uses["used_on"] > today)].sort_values("used_on", kind="stable").to_dict("records"):
        of_batch[use["backup"]].append(use)
    failures = store_failures(collection)
    failed = failures[(failures["on"] <= today) & failures["culture"].isna()].to_dict("records")
    kept_at = _kept_at(collection, today)
    rows = [
        {
            **_told(batch, of_batch[batch["backup"]], failed, today, standards),
            "notice": "; ".join(_notices(batch, of_batch[batch["backup"]], kept_at, standards)),
        }
        for batch in batches[~(batches["made_on"] > today)].to_dict("records")
    ]
    table = pd.DataFrame(rows, columns=_FORMS.names).astype(_FORMS.dtypes())
    return table.sort_values(["culture", "made_on", "backup"], kind="stable", ignore_index=True)


def form_words(kind: object) -> str:
    """Return a form in words.

    Examples
    --------
    >>> form_words("whole_dried"), form_words(pd.NA)
    ('dried whole', 'form not noted')
    """
    return FORM_WORDS[kind] if isinstance(kind, str) else "form not noted"


def _told(
    batch: _Row, uses: list[_Row], failures: list[_Row], today: pd.Timestamp, standards: Standards
) -> dict[str, object]:
    """Tell how one batch stands; uses and failures are in time."""
    left = None if pd.isna(batch["units"]) else max(batch["units"] - _taken(batch, uses), 0)
    woken = [use for use in uses if not pd.isna(use["result"]) and not pd.isna(use["used_on"])]
    woken = [use for use in woken if use["purpose"] != "discard"]
    last = woken[-1] if woken else None
    alive: _Row = next((use for use in reversed(woken) if use["result"] == "alive"), {})
    since = batch["made_on"] if last is None else last["used_on"]
    failure = next((each for each in failures if each["store"] == batch["store"] and each["on"] > since), None)
    due_on = _due_on(batch, last, failure, standards)
    state = _state(left, last, failure is None and due_on >= today)
    return {
        **batch,
        **{name: alive.get(name) for name in _OF_REVIVAL},
        "age_d": None if pd.isna(batch["made_on"]) else (today - batch["made_on"]).days,
        "units_made": batch["units"],
        "units_left": left,
        "state": state,
        "alive_on": alive.get("used_on"),
        "tested_on": None if last is None else last["used_on"],
        "test_due_on": None if state in ("used up", "dead") else due_on,
        "why": f"{batch['backup']} ({form_words(batch['kind'])}) "
        + _why(state, alive.get("used_on"), last, due_on, failure),
    }


def _taken(batch: _Row, uses: list[_Row]) -> int:
    """Return the portions that are gone; a use that does not say how many took one."""
    grows = batch["kind"] == "live_duplicate"
    gone = [use for use in uses if use["purpose"] == "discard" or not grows]
    return sum(1 if pd.isna(use["units"]) else use["units"] for use in gone)


def _due_on(batch: _Row, last: _Row | None, failure: _Row | None, standards: Standards) -> pd.Timestamp:
    """Return when the batch is to be woken: by the standard, or at once after a failure or a doubtful test."""
    if last is None:
        due = batch["made_on"] + pd.Timedelta(days=standards.first_test_d)
    elif last["result"] == "alive":
        due = last["used_on"] + pd.Timedelta(days=standards.test_every_d)
    else:
        due = last["used_on"]
    return due if failure is None else min(due, failure["on"])


def _state(left: int | None, last: _Row | None, in_time: bool) -> str:
    if left == 0:
        return "used up"
    if last is None:
        return "unproven"
    if last["result"] != "alive":
        return str(last["result"])
    return "proven" if in_time else "unproven"


def _why(
    state: str, alive_on: pd.Timestamp | None, last: _Row | None, due_on: pd.Timestamp, failure: _Row | None
) -> str:
    if state == "used up":
        return "is used up"
    if last is not None and state in ("dead", "doubtful"):
        return f"was {state} when woken on {last['used_on']:%Y-%m-%d}"
    woken = "was never woken" if alive_on is None else f"came alive on {alive_on:%Y-%m-%d}"
    if failure is not None:
        return f"{woken}, and since then {failure['words']}"
    return woken if state == "proven" or alive_on is None else f"{woken}, and was due again on {due_on:%Y-%m-%d}"


def _notices(batch: _Row, uses: list[_Row], kept_at: dict[str, float], standards: Standards) -> list[str]:
    name, told, taken = batch["backup"], [], _taken(batch, uses)
    if pd.isna(batch["units"]):
        told.append(f"how many portions of {name} were made is not noted")
    elif taken > batch["units"]:
        told.append(f"{taken} portions of {name} were taken, and {batch['units']} made")
    if pd.isna(batch["kind"]):
        told.append(f"in what form {name} was made is not noted: it counts as no cover")
    if pd.isna(batch["made_on"]):
        told.append(f"when {name} was made is not noted")
    told += [
        f"{name} was used on {use['used_on']:%Y-%m-%d}, before it was made"
        for use in uses[:1]
        if use["used_on"] < batch["made_on"]
    ]
    degC = kept_at.get(batch["store"])
    if str(batch["kind"]).endswith("frozen") and degC is not None and not degC < standards.frozen_below_degC:
        told.append(f"{name} is kept at {degC:.0f} °C, not below {standards.frozen_below_degC:g} °C")
    return told


def _kept_at(collection: Collection, today: pd.Timestamp) -> dict[str, float]:
    """Return how cold each store was kept [degC] over the last days of its log."""
    log = collection["store_log"].dropna(subset=["store", "read_at", "temperature_degC"])
    day = days_of(log["read_at"])
    lately = log[(day <= today) & (day > today - pd.Timedelta(days=_LATELY_D))]
    return lately.groupby("store")["temperature_degC"].median().to_dict()
