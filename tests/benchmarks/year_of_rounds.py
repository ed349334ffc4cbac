"""A year of rounds on a copy of the demo: planned, filled in by machine, taken in, and planned again.

    python tests/benchmarks/year_of_rounds.py

Every gram that was planned must stand in the records, from its lot, and every reading that was typed once. Takes some
minutes; the result is stored beside this file.
"""

from __future__ import annotations

import datetime as dt
import json
import shutil
import tempfile
from collections import Counter
from pathlib import Path

import pandas as pd

import leavenbench
from leavenbench.care.bench.came_back import came_back
from leavenbench.care.bench.plan import bench_sheets, extra_sheets, lots_of
from leavenbench.care.bench.rehearsal import rehearsed, type_into
from leavenbench.care.rounds import due_list, fed_now
from leavenbench.care.take_in import take_in
from leavenbench.report.sheets import write_sheets

DEMO = Path(__file__).parents[2] / "data_demo"
STORED = Path(__file__).with_suffix(".json")
BEGINS, DAYS = dt.date(2024, 12, 15), 365
#: Days after a round before anyone looks again who is due.
NEXT_D = 6
#: Every so-manieth jar does not pass at its last step, and is fed one more.
NOT_PASSED = 9


def year(folder: Path, place: Path) -> dict:
    """Run the year; return what was planned, typed and found."""
    planned: Counter[str] = Counter()
    told = Counter()
    on = BEGINS
    while on < BEGINS + dt.timedelta(days=DAYS):
        collection = leavenbench.read_collection(folder, as_of=on)
        curves = leavenbench.trace_collection(collection)
        vigour = leavenbench.vigour_of(collection, curves)
        listed = leavenbench.watch_list(collection, curves, vigour, on)
        due = due_list(collection, listed, on)
        now = fed_now(due)
        if now.empty:
            on = max(due.loc[due["state"] == "waiting", "due_on"].min().date(), on + dt.timedelta(days=1))
            continue
        sheets = bench_sheets(collection, listed, now, on)
        failed = one_round(folder, place / f"{on}", sheets, planned, told)
        after = on + dt.timedelta(days=len(sheets))
        if failed:
            collection = leavenbench.read_collection(folder, as_of=after)
            more = extra_sheets(collection, listed, failed, after)
            one_round(folder, place / f"{after}-extra", more, planned, told, all_pass=True)
            told["extra steps"] += len(failed)
        told["rounds"] += 1
        print(f"{on}: {len(now)} cultures, {len(failed)} not passed", flush=True)
        on = after + dt.timedelta(days=NEXT_D)
    return checked(folder, planned, told)


def one_round(folder, place, sheets, planned, told, *, all_pass=False) -> list[str]:
    """Write, fill in and take in the sheets of a round; return whose jars did not pass."""
    place.mkdir()
    write_sheets(sheets, place / "round.xlsx")
    typed = [rehearsed(sheet, seed=sheet.day.toordinal()) for sheet in sheets]
    failed = []
    for row in sheets[-1].rows.to_dict("records"):
        if not all_pass and row["position"] % NOT_PASSED == 0:
            typed[-1][row["position"], "passed", 0] = "no"
            failed.append(row["culture"])
    type_into(place / "round.xlsx", sheets, typed, place / "filled.xlsx")
    taken = take_in(folder, place / "filled.xlsx")
    assert (taken.sheets["what"] == "taken in").all(), taken.sheets
    for sheet, boxes in zip(sheets, typed, strict=True):
        for lot, flour_g in sheet.rows[["lot", "flour_g"]].itertuples(index=False):
            planned.update({part: round(mass, 3) for part, mass in lots_of(lot, flour_g).items()})
        told["sheets"] += 1
        told["jars"] += len(sheet.rows)
        told["readings typed"] += len({(position, look) for position, name, look in boxes if look and name != "look"})
        told["grams planned"] += float(sheet.rows[["seed_g", "flour_g", "water_g"]].sum().sum())
    laid = came_back(leavenbench.read_collection(folder), sheets)
    told["readings laid over a band"] += len(laid)
    told["within their band"] += int((laid["lies"] == "within").sum())
    return failed


def checked(folder: Path, planned: Counter, told: Counter) -> dict:
    """Hold what the records say after the year against what was planned and typed."""
    collection = leavenbench.read_collection(folder)
    new = collection["refeeds"][collection["refeeds"]["file"].str.startswith("taken_in/")]
    read = collection["readings"][collection["readings"]["refeed"].isin(new["refeed"])]
    used = new.dropna(subset="lot").groupby("lot")["flour_g"].sum()
    blended = collection["refeed_flours"][collection["refeed_flours"]["refeed"].isin(new["refeed"])]
    used = used.add(blended.groupby("lot")["mass_g"].sum(), fill_value=0.0)
    lots = pd.Series(planned, dtype=float)
    last = collection["refeeds"]["fed_at"].max().date()
    nobody = pd.DataFrame({"culture": pd.Series(dtype="str"), "standing": pd.Series(dtype="str")})
    again = due_list(collection, nobody, last + dt.timedelta(days=61))
    return {
        **{name: round(float(number), 3) for name, number in told.items()},
        "refeeds in the records": len(new),
        "readings in the records": len(read),
        "grams in the records": float(new[["seed_g", "flour_g", "water_g"]].sum().sum()),
        "largest gap of a lot, planned against recorded [g]": float(lots.sub(used, fill_value=0.0).abs().max()),
        "lots": len(lots),
        "refeeds that stand twice": int(collection["refeeds"]["refeed"].duplicated().sum()),
        "readings that stand twice": int(read.duplicated(["refeed", "read_at"]).sum()),
        "errors in the new records": int(
            collection.problems["file"]
            .str.startswith("taken_in/")
            .mul(collection.problems["severity"] == "error")
            .sum()
        ),
        "planned again: cultures due": int(again["state"].isin(["due", "along"]).sum()),
        "living cultures": len(again),
    }


def main() -> None:
    """Run the year and store what came of it."""
    with tempfile.TemporaryDirectory() as place:
        folder = shutil.copytree(DEMO, Path(place) / "demo")
        found = year(folder, Path(place))
    STORED.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    print(json.dumps(found, indent=1))


if __name__ == "__main__":
    main()
