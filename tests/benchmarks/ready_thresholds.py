"""Make the ready table of thresholds that is shipped with the package.

    python tests/benchmarks/ready_thresholds.py [--workers 2]

Writes ``src/leavenbench/watch/calibration/ready.json``: for each of the common conditions the law of false alerts
that `simulate_law` finds on 12,000 healthy cultures of 45 rounds. About 16 minutes of one processor.
"""

from __future__ import annotations

import argparse
import json
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from leavenbench.watch.calibration import ready
from leavenbench.watch.calibration.conditions import Conditions
from leavenbench.watch.calibration.law import SEED, simulate_law

CULTURES = 12_000


def main() -> None:
    """Simulate every condition, and write the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--workers", type=int, default=1)
    conditions = ready.every_condition()
    with ProcessPoolExecutor(parser.parse_args().workers) as workers:
        laws = list(workers.map(_law, conditions))
    stored = {"seed": SEED, "cultures": CULTURES, "laws": laws}
    target = Path(ready.__file__).with_name("ready.json")
    target.write_text(json.dumps(stored, indent=1) + "\n", encoding="utf-8")


def _law(conditions: Conditions) -> dict[str, object]:
    law = simulate_law(conditions, CULTURES)
    return conditions._asdict() | {name: of.round(4).tolist() for name, of in law._asdict().items()}


if __name__ == "__main__":
    main()
