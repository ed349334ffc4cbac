"""Measure what a second dask worker is worth on a folder of Parquet files, and that it changes nothing.

    python tests/benchmarks/two_workers.py [--quick]

Prints a small table; a full run writes it into `two_workers.json` beside this file. The curves are invented, see
`fitting_curves.py`: logistic rises read 12 times, in 20 files. What is timed: `trace_parquet` from files to files, the
look at the names included, on clusters that are up and have been used once. Every worker is a process of one thread,
once as dask starts it, once keeping its memory (see `lazy_curves`). One process is `trace_shelf` on all files read at
once, written to one. Speeds are ratios within one run: medians over alternating rounds. Nothing else should run on the
machine meanwhile: the load before each round stands in the result.
"""

from __future__ import annotations

import argparse
import json
import os

os.environ |= dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")

import platform
import tempfile
from contextlib import ExitStack
from functools import partial
from importlib.metadata import version
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np
import pandas as pd
from distributed import Client, LocalCluster
from fitting_curves import full
from fitting_speed import SEED, Line, alternating, ratio

from leavenbench.curves import trace_shelf
from leavenbench.curves.parquet import trace_parquet

CURVES, READINGS, FILES, ROUNDS = 400_000, 12, 20, 5
LEAST = 1.6
#: What is said to the C library of the workers.
MEMORY = {
    "as dask starts them": {"MALLOC_TRIM_THRESHOLD_": "65536"},
    "keeping memory": {"MALLOC_TRIM_THRESHOLD_": "1073741824", "MALLOC_MMAP_THRESHOLD_": "33554432"},
}
STORED = Path(__file__).with_suffix(".json")


def main() -> None:
    """Measure, print the table, and keep it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="a tenth of the curves, nothing is stored")
    quick = parser.parse_args().quick
    curves, rounds = (CURVES // 10, 3) if quick else (CURVES, ROUNDS)
    load: list[float] = []
    with tempfile.TemporaryDirectory() as folder, ExitStack() as stack:
        write_shelf(Path(folder) / "readings", curves)
        clients = {
            (number, memory): stack.enter_context(Client(stack.enter_context(workers(number, memory))))
            for number in (1, 2)
            for memory in MEMORY
        }
        lines = measure(Path(folder), curves, rounds, clients, load)
    conditions = {
        "curves": curves,
        "readings of each": READINGS,
        "files": FILES,
        "rounds": rounds,
        "seed": SEED,
        "processors": os.cpu_count(),
        "load before each round": load,
        "threads of a worker": 1,
        "versions": {name: version(name) for name in ("numpy", "pandas", "pyarrow", "dask", "distributed")}
        | {"python": platform.python_version()},
    }
    print(*conditions.items(), sep="\n", end="\n\n")
    for line in lines:
        verdict = {True: "met", False: "NOT MET", None: ""}[line.met]
        print(f"{line.case:64} {line.target:>8} {line.ours:>9}  {verdict:8}{line.note}")
    if not quick:
        stored = {"conditions": conditions, "lines": [line._asdict() for line in lines]}
        STORED.write_text(json.dumps(stored, indent=1) + "\n", encoding="utf-8")


def write_shelf(folder: Path, curves: int) -> None:
    """Simulate rises and write their readings, as many to every file."""
    block = full("logistic", READINGS, curves, SEED)
    folder.mkdir()
    for number, some in enumerate(np.array_split(np.arange(curves), FILES)):
        named = np.repeat([f"refeed {curve}" for curve in some], READINGS)
        read = {"elapsed_h": block.t[:, some].T.ravel(), "value": block.y[:, some].T.ravel()}
        table = pd.DataFrame({"refeed": named, "signal": "rise", "kind": "height_mm"} | read)
        table.to_parquet(folder / f"{number:02}.parquet")


def workers(number: int, memory: str) -> LocalCluster:
    """Start workers, each a process of one thread."""
    with mock.patch.dict(os.environ, MEMORY[memory]):  # dask puts its own there, for whatever starts later
        return LocalCluster(n_workers=number, threads_per_worker=1, processes=True, dashboard_address=":0")


def measure(
    folder: Path, curves: int, rounds: int, clients: dict[tuple[int, str], Client], load: list[float]
) -> list[Line]:
    """Race two workers against one, and against one process without dask; see whether their rows are the same."""
    outs = {which: folder / f"{number} {memory}" for which in clients for number, memory in [which]}

    def by_workers(which: tuple[int, str]) -> None:
        for file in outs[which].glob("*"):
            file.unlink()
        trace_parquet(folder / "readings", outs[which], client=clients[which])

    def by_one_process() -> None:
        load.append(round(os.getloadavg()[0], 2))
        trace_shelf(pd.read_parquet(folder / "readings")).to_parquet(folder / "plain.parquet")

    tasks: list[Any] = [by_one_process, *(partial(by_workers, which) for which in clients)]
    plain, *taken = alternating(rounds, *((task, curves) for task in tasks))
    del load[0]  # that of the first run, which is not timed
    by, lines = dict(zip(clients, taken, strict=True)), []
    figure = f"{curves:,} curves of {READINGS} readings from files to files"
    for memory in MEMORY:
        one, two = by[1, memory], by[2, memory]
        lines += [
            ratio(figure, f"{memory}: two workers against one", LEAST, one, two),
            ratio(figure, f"{memory}: two against one process without dask", None, plain, two),
            ratio(figure, f"{memory}: one against one process without dask", None, plain, one),
        ]
    expected = pd.read_parquet(folder / "plain.parquet")
    same = all(pd.read_parquet(out).equals(expected) for out in outs.values())
    return [*lines, Line(figure, "the same rows, to the last bit", "yes", "yes" if same else "no", same)]


if __name__ == "__main__":
    main()
