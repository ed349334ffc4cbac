"""Set time and memory of `leavenbench report` against those of `leavenbench watch` on the same collection.

    python tests/benchmarks/year_speed.py [--quick]

Prints one table, each figure with its target, what we reached, and whether that is enough; a full run writes what it
measured into `year_speed.json` beside this file. The collection is that of `whole_watch.py`: 150 cultures over ten
years, some 25,000 refeeds, each looked at 40 times through a day; the last year is told. A quick run takes a fifth of
the cultures.

Each command runs as people call it, in a process of its own, in alternating rounds, up to the end of the same year.
What counts is the processor's time of that process, the reading of files included, and the most memory that it held (as
Linux tells it of a process since its program was started); ratios are those of medians. The targets stand for the
report with its drawing apart, so one process draws nothing; the report as it is stands beside it. Thresholds lie in a
cache that a first run has filled.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
from collections.abc import Iterator
from itertools import count
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
from fitting import keep, printed
from fitting_speed import Line
from whole_watch import FEWER_ROUNDS, held, own_cache, shelf

#: How many times as much as `watch` the report may take of time and of memory.
MOST = 2.0
STORED = Path(__file__).with_suffix(".json")
#: Runs a command, and then says what it took: seconds, kilobytes.
COMMAND = """
import re, sys, time
from pathlib import Path
from leavenbench.cli import main
if main(sys.argv[1:]):
    sys.exit(1)
print("TOOK", time.process_time(), re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1])
"""
WITHOUT_DRAWING = f"""
from leavenbench.report.annual import year_folder
year_folder.figures_of = lambda *_: []
{COMMAND}"""
#: Threads would be counted as time of the processor.
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")


class Taken(NamedTuple):
    """What one process took."""

    cpu_s: float
    peak_mb: float


def main() -> None:
    """Measure everything, print the table, and keep it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="a fifth of the cultures, nothing is stored")
    quick = parser.parse_args().quick
    found = {"year": printed(year, quick)}
    if not quick:
        keep(STORED, found, held())


def year(smaller: int, rounds: int) -> Iterator[Line]:
    """Race the commands of a year against `watch`, each a process of its own."""
    with shelf(smaller) as folder, own_cache() as cache:
        told = str(pd.read_csv(folder / "refeeds.csv", usecols=["fed_at"])["fed_at"].max())[:4]
        fresh = count()

        def report() -> list[str]:
            return ["report", str(folder), "--year", told, "--out", str(cache / f"out {next(fresh)}")]

        runs = {
            "watch": lambda: taken_by(COMMAND, ["watch", str(folder), "--as-of", f"{told}-12-31"]),
            "drawing apart": lambda: taken_by(WITHOUT_DRAWING, report()),
            "as it is": lambda: taken_by(COMMAND, report()),
        }
        for run in runs.values():  # fills the cache
            run()
        rows = [[run() for run in runs.values()] for _ in range(min(rounds, FEWER_ROUNDS))]
    figures = np.array(rows, float).transpose(2, 1, 0)  # of time and memory, by run, by round
    for kind, unit, table in zip(("time", "memory"), ("s", "MB"), figures, strict=True):
        watch, apart, whole = table
        figure = f"{kind} of a process over that of leavenbench watch"
        yield times(figure, "report, drawing apart", MOST, watch, apart, unit)
        yield times(figure, "report", None, watch, whole, unit)


def taken_by(code: str, words: list[str]) -> Taken:
    """Run a command in a process of its own, and return what it took."""
    environment, told = {**os.environ, **ONE_THREAD}, [sys.executable, "-c", code, *words]
    run = subprocess.run(told, env=environment, check=True, capture_output=True, text=True)
    _, cpu_s, peak_kb = run.stdout.splitlines()[-1].split()
    return Taken(float(cpu_s), float(peak_kb) / 1024.0)


def times(figure: str, case: str, most: float | None, plain: np.ndarray, ours: np.ndarray, unit: str) -> Line:
    """Say how many times as much as `watch` ours takes, by medians."""
    found, each = float(np.median(ours) / np.median(plain)), ours / plain
    note = f"rounds {each.min():.2f} to {each.max():.2f}; {np.median(ours):.4g} {unit} against {np.median(plain):.4g}"
    target = "" if most is None else f"<= {most:g}x"
    return Line(figure, case, target, f"{found:.2f}x", None if most is None else found <= most, note)


if __name__ == "__main__":
    main()
