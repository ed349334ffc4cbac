"""Set the time of the whole `leavenbench watch` against that of `pandas.read_csv` on the same files.

    python tests/benchmarks/whole_watch.py [--quick] [--only reading|stages|command]

Prints one table, each figure with its target, what we reached, and whether that is enough; a full run writes what it
measured into `whole_watch.json` beside this file. The shelf is simulated and written as .csv: 150 cultures over ten
years, some 25,000 refeeds, each looked at 40 times through a day (height and pH at every look) as long as it stands in
the warm. A quick run takes a fifth of the cultures.

`reading` times the reader alone; `stages` everything that `watch` does, in one process, stage after stage; `command`
the command itself, against a process that only imports pandas and reads the files. Ratios are those of medians over
alternating rounds within one run. `read_csv` uses every processor that is free, so the reader is also timed with both
held to one. The folder in which thresholds are kept is the benchmark's own: warm where a run has filled it, cold where
it is new.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from functools import partial
from itertools import count
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np
import pandas as pd
from fitting import conditions, keep, printed
from fitting_speed import Line, alternating

from leavenbench.curves.table import trace_collection
from leavenbench.records.reach import read_up_to_last_day
from leavenbench.simulate import simulate_shelf
from leavenbench.simulate.house.folder import write_collection
from leavenbench.vigour.causes import vigour_and_causes
from leavenbench.watch.watch_list import watch_list

SEED = 20261103
CULTURES, YEARS, READINGS = 150, 10.0, 40
TODAY = date(2040, 1, 1)
#: Rounds of whatever fits curves, which takes minutes.
FEWER_ROUNDS = 3
#: How many times as long as `read_csv` each stage, and the whole, may take; how many times a warm run a cold one.
MOST = {"reading": 6, "curves": 15, "vigour": 5, "watch list": 4}
MOST_IN_ALL, MOST_COLD = 30, 3
STORED = Path(__file__).with_suffix(".json")
ONLY_READ = "import sys, pandas\nfor file in sys.argv[1:]:\n    pandas.read_csv(file)"


def main() -> None:
    """Measure everything, print the table, and keep it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="a fifth of the cultures, nothing is stored")
    parser.add_argument("--only", choices=PARTS, help="one part; what is stored of the others stays")
    asked = parser.parse_args()
    found = {part: printed(PARTS[part], asked.quick) for part in PARTS if asked.only in (None, part)}
    if not asked.quick:
        keep(STORED, found, held())


def held() -> dict[str, Any]:
    """Return what the figures hold for."""
    return {
        "cultures": CULTURES,
        "years": YEARS,
        "looks at a refeed": READINGS,
        "seed": SEED,
        "processors": os.cpu_count(),
        "load at the end": round(os.getloadavg()[0], 2),
        "versions": conditions(False)["versions"] | {"pandas": pd.__version__},
    }


def look_all_day(refeeds: int, rng: np.random.Generator) -> pd.DataFrame:
    """Return `READINGS` looks at each of some refeeds, about evenly through a day, as from `plan_looks`."""
    hours = np.tile(np.linspace(0.0, 23.4, READINGS), (refeeds, 1))
    hours[:, 1:] += rng.uniform(-0.25, 0.25, (refeeds, READINGS - 1))
    last = np.arange(READINGS) == READINGS - 1
    names = np.where(hours == 0.0, "first", np.where(last, "morning", "day"))
    looks = {"at": np.repeat(np.arange(refeeds), READINGS), "elapsed_h": hours.round(1).ravel(), "place": names.ravel()}
    return pd.DataFrame(looks)


@contextmanager
def shelf(smaller: int) -> Iterator[Path]:
    """Write the shelf, with that many times fewer cultures, into a folder that lasts as long as it is used."""
    often = mock.patch("leavenbench.simulate.shelf.plan_looks", look_all_day)
    always_ph = mock.patch("leavenbench.simulate.bench.looks._PH_SHARE", 1.0)
    with often, always_ph:
        tables = simulate_shelf(SEED, CULTURES // smaller, YEARS, logged=0).tables
    with tempfile.TemporaryDirectory() as folder:
        write_collection(tables, Path(folder) / "shelf")
        yield Path(folder) / "shelf"


def files_of(folder: Path) -> list[str]:
    """Return the tables of a folder."""
    return sorted(str(file) for file in folder.glob("*.csv"))


def read_csv(folder: Path) -> None:
    """Do what the others are held against."""
    for file in files_of(folder):
        pd.read_csv(file)


def times(figure: str, case: str, most: float | None, plain: np.ndarray, ours: np.ndarray) -> Line:
    """Say how many times as long as something plain ours takes, by medians."""
    found, each = float(np.median(ours) / np.median(plain)), ours / plain
    note = f"rounds {each.min():.3g} to {each.max():.3g}; {np.median(ours):.3g} s against {np.median(plain):.3g} s"
    target = "" if most is None else f"<= {most:g}x"
    return Line(figure, case, target, f"{found:.3g}x", None if most is None else found <= most, note)


def reading(smaller: int, rounds: int) -> Iterator[Line]:
    """Time the reader alone: on the machine as it is, and on one processor."""
    figure = "reading over read_csv of the same files"
    with shelf(smaller) as folder:
        tasks: list[tuple[Callable[[], Any], int]] = [
            (partial(read_csv, folder), 1),
            (partial(read_up_to_last_day, folder, TODAY), 1),
        ]
        yield times(figure, "every processor", MOST["reading"], *alternating(rounds, *tasks))
        if hasattr(os, "sched_setaffinity"):
            every = os.sched_getaffinity(0)
            os.sched_setaffinity(0, {min(every)})
            try:
                yield times(figure, "one processor", None, *alternating(rounds, *tasks))
            finally:
                os.sched_setaffinity(0, every)


def stages(smaller: int, rounds: int) -> Iterator[Line]:
    """Time what `watch` does, stage after stage, each on what the one before it gave."""
    with shelf(smaller) as folder, own_cache():
        collection, as_of = read_up_to_last_day(folder, TODAY)
        curves = trace_collection(collection)
        vigour, causes = vigour_and_causes(collection, curves)
        plain, *taken = alternating(
            min(rounds, FEWER_ROUNDS),
            (partial(read_csv, folder), 1),
            (partial(read_up_to_last_day, folder, TODAY), 1),
            (partial(trace_collection, collection), 1),
            (partial(vigour_and_causes, collection, curves), 1),
            (partial(watch_list, collection, curves, vigour, as_of, causes), 1),
        )
    for stage, ours in zip(MOST, taken, strict=True):
        yield times("stages of watch over read_csv", f"{stage}, {len(curves) // 2:,} refeeds", MOST[stage], plain, ours)
    yield times("stages of watch over read_csv", "all of them", MOST_IN_ALL, plain, sum(taken))


@contextmanager
def own_cache() -> Iterator[Path]:
    """Let caches lie in a folder of our own, which is empty at first."""
    with tempfile.TemporaryDirectory() as cache, mock.patch.dict(os.environ, XDG_CACHE_HOME=cache):
        yield Path(cache)


def command(smaller: int, rounds: int) -> Iterator[Line]:
    """Time the command as people call it, on the last day of the records: warm, and with an empty cache."""
    with shelf(smaller) as folder, own_cache() as cache:
        fresh, last_day = count(), read_up_to_last_day(folder, TODAY)[1]

        def watch(where: Path) -> None:
            """Run the command; whether it is warm depends on what lies in the cache."""
            words = [sys.executable, "-m", "leavenbench", "watch", str(folder), "--as-of", f"{last_day}"]
            subprocess.run(words, env={**os.environ, "XDG_CACHE_HOME": str(where)}, check=True, capture_output=True)

        plain, warm, cold = alternating(
            min(rounds, FEWER_ROUNDS),
            (partial(subprocess.run, [sys.executable, "-c", ONLY_READ, *files_of(folder)], check=True), 1),
            (partial(watch, cache / "warm"), 1),
            (lambda: watch(cache / f"cold {next(fresh)}"), 1),
        )
    figure = "leavenbench watch over a process that reads the same files"
    yield times(figure, "warm cache", MOST_IN_ALL, plain, warm)
    yield times("leavenbench watch with a cold cache over a warm one", "", MOST_COLD, warm, cold)


PARTS = {"reading": reading, "stages": stages, "command": command}

if __name__ == "__main__":
    main()
