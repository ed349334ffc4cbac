"""The house's other papers: back-ups and their uses, isolates, identity checks, dispatches."""

from __future__ import annotations

import numpy as np
import pandas as pd

#: Organisms met in sourdough, under the names their finders used: some of the lactobacilli were renamed in 2020
#: (Zheng et al. 2020, doi 10.1099/ijsem.0.004107), and old and new names stand side by side.
_TAXA = (
    ("Saccharomyces cerevisiae", "yeast"),
    ("Kazachstania humilis", "yeast"),
    ("Wickerhamomyces anomalus", "yeast"),
    ("Fructilactobacillus sanfranciscensis", "lactic"),
    ("Lactobacillus sanfranciscensis", "lactic"),
    ("Lactiplantibacillus plantarum", "lactic"),
    ("Companilactobacillus paralimentarius", "lactic"),
    ("Acetobacter malorum", "acetic"),
)
_RECEIVERS = ("Torrand, Ilvette", "Quoye family, bakers", "Drell brothers", "Wexelfoot dairy school", "Saltbrig museum")
_PICKED = 24


def write_papers(
    cultures: pd.DataFrame, events: pd.DataFrame, begin: pd.Timestamp, end: pd.Timestamp, rng: np.random.Generator
) -> dict[str, pd.DataFrame]:
    """Return the tables that the keepers fill beside the feeding log.

    Parameters
    ----------
    cultures : pandas.DataFrame
        The cultures table.
    events : pandas.DataFrame
        The events table; a culture restored came back from its first back-up.
    begin, end : pandas.Timestamp
        Nothing was written down earlier, or after this moment.
    rng : numpy.random.Generator
        Where chance comes from.

    Returns
    -------
    dict of str to pandas.DataFrame
        backups, backup_uses, isolates, identity_checks, dispatches; and events, with the back-ups named.
    """
    last = end.normalize() - pd.Timedelta(days=1)
    backups = _backups(cultures, begin, last, rng)
    restored = events.loc[events["kind"] == "restored"]
    frozen = backups.loc[backups["kind"] == "whole_frozen"].drop_duplicates("culture").set_index("culture")["backup"]
    source = restored["culture"].map(frozen)
    return {
        "backups": backups,
        "backup_uses": _uses(backups, source, restored["happened_on"], last, rng),
        "isolates": _isolates(cultures, begin, last, rng),
        "identity_checks": _identity_checks(cultures, begin, last, rng),
        "dispatches": _dispatches(cultures, begin, last, rng),
        "events": events.assign(source=events["source"].where(events["kind"] != "restored", source)),
    }


def _days(count: int, begin: pd.Timestamp, last: pd.Timestamp, rng: np.random.Generator) -> pd.Series:
    """Return working days in rising order."""
    after = np.sort(rng.integers(0, (last - begin).days, count)).astype("timedelta64[D]")
    days = np.busday_offset(begin.to_datetime64().astype("datetime64[D]") + after, 0, roll="backward")
    return pd.Series(np.maximum(days, begin.to_datetime64().astype("datetime64[D]")).astype("datetime64[us]"))


def _backups(cultures: pd.DataFrame, begin: pd.Timestamp, last: pd.Timestamp, rng: np.random.Generator) -> pd.DataFrame:
    """Freeze most cultures whole in the first months, dry some, keep some alive elsewhere, and freeze isolates."""
    places = {
        "whole_frozen": (0.85, "Wexelfoot dairy school", "school", 8),
        "whole_dried": (0.4, "Millrace House", "chest", 5),
        "live_duplicate": (0.15, "Saltbrig, at the depositor's", None, 1),
        "isolates_frozen": (0.25, "Wexelfoot dairy school", "school", 4),
    }
    batches = []
    for kind, (share, site, store, units) in places.items():
        chosen = cultures.loc[rng.random(len(cultures)) < share, "culture"].tolist()
        if kind == "whole_frozen":
            chosen = [name for name in cultures["culture"] if name in chosen or name == "Fennock"]
        until = begin + pd.Timedelta(days=150) if kind == "whole_frozen" else last
        batch = pd.DataFrame({"culture": rng.permutation(chosen), "kind": kind})
        batch["made_on"] = _days(len(batch), begin, until, rng)
        batches.append(batch.assign(site=site, store=store, units=units, restock_level=min(units, 2)))
    backups = pd.concat(batches, ignore_index=True).sort_values("made_on", kind="stable", ignore_index=True)
    backups.insert(0, "backup", [f"K{number:03d}" for number in range(1, len(backups) + 1)])
    return backups.astype({"culture": "str", "store": "str"})


def _uses(
    backups: pd.DataFrame,
    restored_from: pd.Series,
    restored_on: pd.Series,
    last: pd.Timestamp,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """Wake a third of the whole portions to see whether they live, a year or more after they were made."""
    whole = backups.loc[backups["kind"].str.startswith("whole") & ~backups["backup"].isin(restored_from)]
    woken = whole.loc[rng.random(len(whole)) < 0.35]
    tests = pd.DataFrame({"backup": woken["backup"], "used_on": woken["made_on"], "purpose": "test"})
    tests["used_on"] += pd.to_timedelta(rng.integers(370, 900, len(tests)), unit="D")
    restores = pd.DataFrame({"backup": restored_from, "used_on": restored_on, "purpose": "restore"})
    uses = pd.concat([tests.loc[tests["used_on"] <= last], restores]).sort_values(["used_on", "backup"])
    count = len(uses)
    dead = (rng.random(count) < 0.08) & (uses["purpose"] == "test").to_numpy()
    yeast = np.where(dead, rng.uniform(1.0, 2.0, count), rng.uniform(5.5, 7.5, count))
    lactic = np.where(dead, rng.uniform(2.0, 4.0, count), rng.uniform(7.5, 9.0, count))
    uses = uses.assign(
        units=1,
        log_cfu_yeast=yeast.round(1),
        log_cfu_lactic=lactic.round(1),
        steps_to_pass=pd.Series(rng.integers(3, 7, count), index=uses.index, dtype="Int64").mask(dead),
        result=np.where(dead, "dead", "alive"),
    )
    columns = ["backup", "used_on", "units", "purpose", "log_cfu_yeast", "log_cfu_lactic", "steps_to_pass", "result"]
    return uses[columns].reset_index(drop=True)


def _isolates(
    cultures: pd.DataFrame, begin: pd.Timestamp, last: pd.Timestamp, rng: np.random.Generator
) -> pd.DataFrame:
    """Plate a third of the cultures; of each come one yeast and one to three bacteria."""
    sampled = cultures.loc[rng.random(len(cultures)) < 0.35, "culture"]
    rows = []
    for culture, day in zip(sampled, _days(len(sampled), begin, last, rng), strict=True):
        found = [int(rng.integers(0, 3)), *(3 + np.sort(rng.permutation(5)[: int(rng.integers(1, 4))])).tolist()]
        split = rng.multinomial(_PICKED - len(found), np.full(len(found), 1.0 / len(found))) + 1
        for at, colonies in zip(found, split.tolist(), strict=True):
            taxon, kind = _TAXA[at]
            rows.append((culture, day, taxon, kind, colonies, _PICKED, "colony sequencing, ITS or 16S"))
    columns = ["culture", "sampled_on", "taxon", "kind", "colonies", "colonies_picked", "method"]
    isolates = pd.DataFrame(rows, columns=columns)
    isolates.insert(0, "isolate", [f"I{number:03d}" for number in range(1, len(isolates) + 1)])
    return isolates


def _identity_checks(
    cultures: pd.DataFrame, begin: pd.Timestamp, last: pd.Timestamp, rng: np.random.Generator
) -> pd.DataFrame:
    """Check most cultures once, in the first two years, and some again."""
    checked = cultures.loc[rng.random(len(cultures)) < 0.7, "culture"].tolist()
    days = _days(len(checked), begin, begin + (last - begin) / 2, rng)
    kinds = rng.choice(["identity", "purity", "viability"], len(checked), p=[0.5, 0.25, 0.25])
    methods = {"identity": "yeast fingerprint", "purity": "plating", "viability": "plate count"}
    results = {"identity": "as before", "purity": "pure", "viability": "alive"}
    return pd.DataFrame(
        {
            "culture": rng.permutation(checked),
            "checked_on": days,
            "kind": kinds,
            "method": [methods[kind] for kind in kinds],
            "result": [results[kind] for kind in kinds],
        }
    )


def _dispatches(
    cultures: pd.DataFrame, begin: pd.Timestamp, last: pd.Timestamp, rng: np.random.Generator
) -> pd.DataFrame:
    count = 14
    sent_on = _days(count, begin, last - pd.Timedelta(days=10), rng)
    reasons = rng.choice(["return", "exchange", "study"], count)
    return pd.DataFrame(
        {
            "dispatch": [f"D{number:02d}" for number in range(1, count + 1)],
            "culture": rng.choice(cultures["culture"].to_numpy(object), count, replace=False),
            "sent_on": sent_on,
            "to": rng.choice(_RECEIVERS, count),
            "reason": reasons,
            "mass": 50.0,
            "terms": ["not to be sold on" if reason == "exchange" else None for reason in reasons],
            "allergen_label": "yes",
            "arrived_on": sent_on + pd.to_timedelta(rng.integers(1, 5, count), unit="D"),
            "arrived_alive": np.where(rng.random(count) < 0.9, "yes", "no"),
        }
    )
