"""Measure the early warning: how early, how calm, how robust, against one who knows everything.

    python tests/benchmarks/early_warning.py [--quick] [--only PART] [--keep FOLDER]

Prints one table, each figure with its target, what we reached, and whether that is enough; a full run writes what it
measured into `early_warning.json` beside this file, with the operating curve that a notebook shows. All methods see
the same shelves. The parts: `values`, `steps` (`warning_table.py`), `as_of`, `robust`, `forecasts`, `shelf`, `speed`,
and `readings`, which goes the whole way from the readings; with --keep its shelves are kept in a folder from run to
run. Everything runs on one thread.
"""

from __future__ import annotations

import argparse
import json
import os

os.environ |= dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")

import platform
from importlib.metadata import version
from pathlib import Path
from typing import Any

import warning_as_of
import warning_forecasts
import warning_readings
import warning_robust
import warning_shelf
import warning_speed
import warning_table
from fitting import printed
from fitting_speed import Line
from warning_methods import methods, operating_curve
from warning_shelves import SEED, SHELVES, study

from leavenbench.watch import trust

STORED = Path(__file__).with_suffix(".json")
PARTS = {
    "values": warning_table.from_values,
    "steps": warning_table.steps_from_values,
    "forecasts": warning_forecasts.from_values,
    "as_of": warning_as_of.whole_and_month_by_month,
    "robust": warning_robust.struck_and_changed,
    "shelf": warning_shelf.declines_of_everything,
    "speed": warning_speed.from_values_to_alerts,
    "readings": warning_readings.from_readings,
}


def main() -> None:
    """Measure everything, print the table, and keep it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="small sizes, nothing is stored")
    parser.add_argument("--only", choices=PARTS, help="one part; what is stored of the others stays")
    parser.add_argument("--keep", type=Path, help="a folder for the levels of shelves that were read and fitted")
    asked = parser.parse_args()
    warning_readings.KEPT = asked.keep
    lines: list[Line] = []
    for part in PARTS:
        if asked.only in (None, part):
            measured = printed(PARTS[part], asked.quick)
            lines += measured
            if not asked.quick:
                store(part, measured)
    missed = [f"{line.figure}: {line.case}" for line in lines if line.met is False]
    print(f"\n{len(missed)} of {sum(line.met is not None for line in lines)} lines not met", *missed, sep="\n  ")


def store(part: str, measured: list[Line]) -> None:
    """Keep a part beside those measured before; with the values goes the operating curve."""
    stored = json.loads(STORED.read_text(encoding="utf-8")) if STORED.exists() else {}
    stored[part] = {"conditions": conditions(), "lines": [line._asdict() for line in measured]}
    if part == "values":
        shelves = study(SHELVES)
        stored[part]["mean_delay_rounds"] = operating_curve(shelves, methods(shelves))
    STORED.write_text(json.dumps(stored, indent=1) + "\n", encoding="utf-8")
    if "values" in stored:
        keep_with_the_package(stored)


def keep_with_the_package(stored: dict[str, Any]) -> None:
    """Write what a notebook shows to where it is shipped."""
    delays = stored["values"]["mean_delay_rounds"]
    curve = {("leavenbench" if name == "ours" else name): of for name, of in delays.items()}
    lines = [
        {"figure": line["figure"], "case": line["case"], "target": line["target"], "reached": line["ours"]}
        | {"met": line["met"], "note": line["note"]}
        for part in stored.values()
        for line in part["lines"]
    ]
    told = json.dumps({"curve": curve, "lines": lines}, indent=1)
    Path(trust.__file__).with_suffix(".json").write_text(told + "\n", encoding="utf-8")


def conditions() -> dict[str, Any]:
    """Return what the figures hold for."""
    return {
        "seed": SEED,
        "threads": 1,
        "versions": {name: version(name) for name in ("numpy", "scipy", "pandas")}
        | {"python": platform.python_version()},
    }


if __name__ == "__main__":
    main()
