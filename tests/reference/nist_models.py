"""Six nonlinear problems of NIST's Statistical Reference Datasets: the curves, the starts, the certified answers.

The files in ``nist/`` (public domain) come with their headers out of the folder ``NIST_STRD`` of lmfit's source
distribution on PyPI, version 1.3.4. Tests and benchmarks take this module up with `runpy.run_path`.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import NamedTuple

import numpy as np

from leavenbench.curves.models import Model

FOLDER = Path(__file__).parent / "nist"


class Problem(NamedTuple):
    """One file with the curve that it describes: two starts, certified values with their sd, RSS and the data."""

    name: str
    model: Model
    starts: np.ndarray
    certified: np.ndarray
    sd: np.ndarray
    rss: float
    x: np.ndarray
    y: np.ndarray


def in_order(problem: Problem, b: np.ndarray) -> list[int]:
    """Say in what order parameters are to be read: the two terms of MGH17 may change places, and the slower is first.

    The certified values have it so; the curve is the same.
    """
    order = list(range(len(b)))
    return [0, 2, 1, 4, 3] if problem.name == "MGH17" and b[3] > b[4] else order


def problems() -> dict[str, Problem]:
    """Read the six files."""
    return {name: Problem(name, model, *_read(name)) for name, model in MODELS.items()}


def _read(name: str) -> tuple[np.ndarray, np.ndarray, np.ndarray, float, np.ndarray, np.ndarray]:
    """Read a file: rows ``b1 = start 1, start 2, certified, sd``, the residual sum, then the data, y before x."""
    text = (FOLDER / f"{name}.dat").read_text(encoding="ascii")
    rows = [row.split() for row in re.findall(r"^\s*b\d\s*=(.*)$", text, re.M)]
    start_1, start_2, certified, sd = np.array(rows, float).T
    rss = float(re.search(r"Residual Sum of Squares:\s*(\S+)", text)[1])
    y, x = np.array(text.rpartition("Data:")[2].split()[2:], float).reshape(-1, 2).T
    return np.stack([start_1, start_2]), certified, sd, rss, x, y


def rat42(x, b, into):
    """b1 / (1 + exp(b2 - b3 x))."""
    share = 1.0 / (1.0 + np.exp(b[1] - b[2] * x))
    bend = b[0] * share * (1.0 - share)
    into[0], into[1], into[2] = share, -bend, bend * x
    return b[0] * share


def rat43(x, b, into):
    """b1 / (1 + exp(b2 - b3 x))^(1 / b4)."""
    still = np.exp(b[1] - b[2] * x)
    share = (1.0 + still) ** (-1.0 / b[3])
    bend = b[0] / b[3] * share * still / (1.0 + still)
    into[0], into[1], into[2] = share, -bend, bend * x
    into[3] = b[0] * share * np.log1p(still) / b[3] ** 2
    return b[0] * share


def mgh09(x, b, into):
    """b1 (x^2 + x b2) / (x^2 + x b3 + b4)."""
    above, below = x * x + x * b[1], x * x + x * b[2] + b[3]
    into[0], into[1] = above / below, b[0] * x / below
    into[3] = -b[0] * above / below**2
    into[2] = x * into[3]
    return b[0] * above / below


def thurber(x, b, into):
    """(b1 + b2 x + b3 x^2 + b4 x^3) / (1 + b5 x + b6 x^2 + b7 x^3)."""
    above = b[0] + x * (b[1] + x * (b[2] + x * b[3]))
    below = 1.0 + x * (b[4] + x * (b[5] + x * b[6]))
    for power in range(4):
        into[power] = x**power / below
    for power in (1, 2, 3):
        into[3 + power] = -above * x**power / below**2
    return above / below


def boxbod(x, b, into):
    """b1 (1 - exp(-b2 x))."""
    left = np.exp(-b[1] * x)
    into[0], into[1] = 1.0 - left, b[0] * x * left
    return b[0] * (1.0 - left)


def mgh17(x, b, into):
    """b1 + b2 exp(-x b4) + b3 exp(-x b5)."""
    slow, fast = np.exp(-x * b[3]), np.exp(-x * b[4])
    into[0], into[1], into[2] = 1.0, slow, fast
    into[3], into[4] = -b[1] * x * slow, -b[2] * x * fast
    return b[0] + b[1] * slow + b[2] * fast


def _model(size, derive, linear, positive=()):
    def value(x, b):
        return derive(x, b, np.empty((size, *np.broadcast_shapes(np.shape(x), np.shape(b)[1:]))))

    return Model(tuple(f"b{place}" for place in range(1, size + 1)), value, derive, positive, linear)


#: That the two terms of MGH17 decay is knowledge that its file does not give: without it start 1 is lost either way.
MODELS = {
    "Rat42": _model(3, rat42, ("b1",)),
    "Rat43": _model(4, rat43, ("b1",)),
    "MGH09": _model(4, mgh09, ("b1",)),
    "Thurber": _model(7, thurber, ("b1", "b2", "b3", "b4")),
    "BoxBOD": _model(2, boxbod, ("b1",)),
    "MGH17": _model(5, mgh17, ("b1", "b2", "b3"), positive=("b4", "b5")),
}
