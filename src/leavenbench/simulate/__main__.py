"""Make the demo's folder: ``python -m leavenbench.simulate FOLDER --seed N``."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from ..errors import LeavenbenchError
from .house.demo import simulate_demo, write_demo
from .house.truth_page import truth_page


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the demo's folder, and its page of truths where one is asked for; return the exit code."""
    parser = argparse.ArgumentParser(
        prog="python -m leavenbench.simulate", description="Make the invented collection with known truth."
    )
    parser.add_argument("folder", metavar="FOLDER", type=Path, help="where to write; refused if not empty")
    parser.add_argument("--seed", type=int, required=True, help="the same seed makes the same files")
    parser.add_argument("--truth", metavar="FILE", type=Path, help="write the page of truths there")
    asked = parser.parse_args(arguments)
    demo = simulate_demo(asked.seed)
    try:
        files = write_demo(demo, asked.folder)
    except LeavenbenchError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    if asked.truth:
        asked.truth.write_bytes(truth_page(demo, asked.seed).encode("utf-8"))
    print(f"{len(files)} files in {asked.folder}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
