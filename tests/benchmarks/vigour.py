"""Measure vigour and the causes that a shelf shares against what is true of simulated shelves.

    python tests/benchmarks/vigour.py [--quick] [--only read|values]

Prints one table, each figure with its target, what we reached, and whether that is enough; a full run writes what it
measured into `vigour.json` beside this file. `read` goes the whole way from readings to vigour, see `vigour_read.py`;
`values` plants causes on shelves of vigour values, see `vigour_values.py`. Everything runs on one thread.
"""

from __future__ import annotations

import argparse
import os

os.environ |= dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")

import platform
from collections.abc import Iterator
from importlib.metadata import version
from pathlib import Path
from typing import Any

import vigour_read
import vigour_values
from fitting import keep, printed
from fitting_speed import Line

STORED = Path(__file__).with_suffix(".json")


def main() -> None:
    """Measure everything, print the table, and keep it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="small sizes, nothing is stored")
    parser.add_argument("--only", choices=PARTS, help="one part; what is stored of the other stays")
    asked = parser.parse_args()
    found = {part: printed(PARTS[part], asked.quick) for part in PARTS if asked.only in (None, part)}
    lines = [line for part in found.values() for line in part]
    missed = [f"{line.figure}: {line.case}" for line in lines if line.met is False]
    print(f"\n{len(missed)} of {sum(line.met is not None for line in lines)} lines not met", *missed, sep="\n  ")
    if not asked.quick:
        keep(STORED, found, conditions())


def conditions() -> dict[str, Any]:
    """Return what the figures hold for."""
    return {
        "noise": {name: getattr(vigour_read.NOISE, name) for name in ("cardinal_off_degC", "thermometer_sd_degC")},
        "seeds": [vigour_read.SEED, vigour_values.SEED],
        "threads": 1,
        "versions": {name: version(name) for name in ("numpy", "scipy", "pandas")}
        | {"python": platform.python_version()},
    }


def by_values(smaller: int, rounds: int) -> Iterator[Line]:
    """Measure what needs no readings."""
    yield from vigour_values.causes_named(smaller, rounds)
    yield from vigour_values.drift(smaller, rounds)


PARTS = {"read": vigour_read.read_and_fitted, "values": by_values}

if __name__ == "__main__":
    main()
