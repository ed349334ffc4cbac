"""How well back-ups come alive again: by form, and by how old they had become."""

from __future__ import annotations

import datetime as dt

import pandas as pd
from scipy.stats import binomtest

from ...columns import BACKUP_KINDS, RESULTS
from ...records.collection import Collection
from .forms import FORM_WORDS

#: With fewer woken, no share is told (common practice, no source).
TOO_FEW = 5
ALL_AGES = "all ages"
_YEAR_D = 365.25
#: From this age on [years], in words.
_AGES = {0.0: "under 1 year", 1.0: "1 to 2 years", 2.0: "2 to 5 years", 5.0: "5 years and more"}
_REVIVALS = RESULTS["revivals"]


def revivals(collection: Collection, on: dt.date) -> pd.DataFrame:
    """Return how many of the portions that were woken came alive.

    Parameters
    ----------
    collection : Collection
        Its backups and backup_uses; uses without a result, and discards, tell nothing.
    on : datetime.date
        Up to the end of this day.

    Returns
    -------
    pandas.DataFrame
        The columns of ``RESULTS["revivals"]``: for each form that was ever woken one row per age, and one for all
        ages. Under five the share is missing and the words say that they are too few. The interval is Wilson's
        (E. B. Wilson 1927, J Am Stat Assoc 22:209-212, doi 10.1080/01621459.1927.10502953) as
        ``scipy.stats.binomtest`` computes it; what was doubtful counts as not alive.

    Examples
    --------
    >>> import leavenbench, pathlib, tempfile
    >>> folder = pathlib.Path(tempfile.mkdtemp())
    >>> def write(name, text): _ = (folder / f"{name}.csv").write_text(text.replace("|", chr(10)))
    >>> write("refeeds", "refeed,culture,fed_at|a,Alba,2025-01-02 08:00|")
    >>> write("readings", "refeed,elapsed,height|a,0,40|")
    >>> write("backups", "backup,culture,kind,made_on,units|K1,Alba,whole_frozen,2024-06-10,8|")
    >>> write("backup_uses", "backup,used_on,units,purpose,result|K1,2024-12-10,1,test,alive|")
    >>> revivals(leavenbench.read_collection(folder), dt.date(2025, 1, 10))[["age", "woken", "words"]].values.tolist()
    [['under 1 year', 1, 'too few to say'], ['all ages', 1, 'too few to say']]
    """
    uses = collection["backup_uses"]
    told = uses["result"].notna() & (uses["purpose"] != "discard") & ~(uses["used_on"] > pd.Timestamp(on))
    woken = uses[told].merge(collection["backups"][["backup", "kind", "made_on"]], on="backup")
    years = (woken["used_on"] - woken["made_on"]).dt.days / _YEAR_D
    woken["age"] = [_age_words(age) for age in years]
    order = [*_AGES.values(), "age not known"]
    rows = []
    for kind in BACKUP_KINDS:
        own = woken[woken["kind"] == kind]
        by_age = dict(list(own.groupby("age")))
        rows += [_row(kind, age, by_age[age]) for age in order if age in by_age]
        rows += [_row(kind, ALL_AGES, own)] if len(own) else []
    return pd.DataFrame(rows, columns=_REVIVALS.names).astype(_REVIVALS.dtypes())


def _age_words(years: float) -> str:
    """Return the class of an age; a portion woken before it was made has none."""
    return next((words for begins, words in reversed(_AGES.items()) if years >= begins), "age not known")


def _row(kind: str, age: str, woken: pd.DataFrame) -> dict[str, object]:
    count = {result: int((woken["result"] == result).sum()) for result in ("alive", "doubtful", "dead")}
    steps = woken.loc[woken["result"] == "alive", "steps_to_pass"].dropna()
    row: dict[str, object] = {"kind": kind, "age": age, "woken": len(woken), **count}
    if len(steps):
        row |= {"steps_middle": steps.median(), "steps_low": steps.min(), "steps_high": steps.max()}
    if len(woken) < TOO_FEW:
        return row | {"words": "too few to say"}
    interval = binomtest(count["alive"], len(woken)).proportion_ci(confidence_level=0.95, method="wilson")
    share, low, high = (100.0 * part for part in (count["alive"] / len(woken), interval.low, interval.high))
    words = f"{count['alive']} of {len(woken)} {FORM_WORDS[kind]} came alive: {share:.0f} % ({low:.0f} to {high:.0f} %)"
    return row | {"alive_pct": share, "alive_low_pct": low, "alive_high_pct": high, "words": words}
