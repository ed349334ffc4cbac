"""Measure whether the right suspect is ranked first, where there is one true cause, and where there is none.

    python tests/benchmarks/suspects.py [--quick]

Prints one table, each figure with its target, what we reached, and whether that is enough; a full run writes what it
measured into `suspects.json` beside this file. How the cases are made stands in `suspects_cases.py`. Beside each figure
stands who was first instead, and how often the true cause was among those in the lead (that hold nine tenths of the
odds together). Everything runs on one thread.
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

import numpy as np
import pandas as pd
from fitting import keep, printed
from fitting_speed import Line
from suspects_cases import ground_of, questions, shelf_of

from leavenbench.care.rescue.suspects import LEADING, NOTHING, rank_suspects

STORED = Path(__file__).with_suffix(".json")
SEED, SHELVES = 20261101, 60
RIGHT, NOTHING_SAID = 0.85, 0.90


def main() -> None:
    """Measure everything, print the table, and keep it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="few shelves, nothing is stored")
    asked = parser.parse_args()
    lines = printed(ranked_first, asked.quick)
    missed = [f"{line.figure}: {line.case}" for line in lines if line.met is False]
    print(f"\n{len(missed)} of {sum(line.met is not None for line in lines)} lines not met", *missed, sep="\n  ")
    if not asked.quick:
        keep(STORED, {"values": lines}, conditions())


def conditions() -> dict[str, Any]:
    """Return what the figures hold for."""
    return {
        "seed": SEED,
        "shelves": SHELVES,
        "threads": 1,
        "versions": {name: version(name) for name in ("numpy", "scipy", "pandas")}
        | {"python": platform.python_version()},
    }


def ranked_first(smaller: int, rounds: int) -> Iterator[Line]:
    """Ask about one case of each kind on every shelf."""
    answers = pd.DataFrame([answer for seed in range(SHELVES // smaller) for answer in _answers(SEED + seed)])
    planted = answers[answers["factor"] != NOTHING]
    for case, of_case in planted.groupby("factor", sort=False):
        yield _line("the true cause ranked first", str(case), of_case, RIGHT)
    own = planted[planted["factor"] == "its own decline"]
    for sort, of_sort in own.groupby("sort"):
        yield _line("its own decline, by its course", str(sort), of_sort, None)
    for sort, of_sort in answers[answers["factor"] == NOTHING].groupby("sort"):
        yield _line("nothing stands out, where nothing is", str(sort), of_sort, NOTHING_SAID)
    sure = answers[(answers["share"] >= LEADING) & (answers["first"] != NOTHING)]
    share = float(planted["right"].mean())
    yield Line("all cases with a cause", "ranked first", f">= {RIGHT:.0%}", f"{share:.0%}", share >= RIGHT)
    note = f"{len(sure)} of {len(answers)} answers"
    yield Line("a suspect that holds nine tenths", "is the right one", "", f"{sure['right'].mean():.0%}", None, note)


def _line(figure: str, case: str, of_case: pd.DataFrame, least: float | None) -> Line:
    share = float(of_case["right"].mean())
    wrong = of_case.loc[~of_case["right"], "first"].value_counts().head(3)
    instead = ", ".join(f"{name} {many}" for name, many in wrong.items()) or "none"
    note = f"{len(of_case)} cases; in the lead {of_case['in_lead'].mean():.0%}; first instead: {instead}"
    target, met = ("", None) if least is None else (f">= {least:.0%}", share >= least)
    return Line(figure, case, target, f"{share:.0%}", met, note)


def _answers(seed: int) -> list[dict[str, Any]]:
    shelf = shelf_of(seed)
    found = []
    for question in questions(shelf, np.random.default_rng([seed, 2])):
        ranked = rank_suspects(ground_of(question, shelf))
        right = (ranked["factor"] == question.factor) & ((ranked["level"] == question.level) | (question.level == ""))
        lead = ranked["share"].cumsum().shift(fill_value=0.0) < LEADING
        found.append(
            {
                "factor": question.factor,
                "sort": question.sort,
                "first": ranked["factor"].iloc[0],
                "share": ranked["share"].iloc[0],
                "right": bool(right.iloc[0]),
                "in_lead": bool((right & lead).any()),
            }
        )
    return found


if __name__ == "__main__":
    main()
