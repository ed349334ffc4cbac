"""Find the loudness of a fall that holds false alerts at the wished number, on simulated healthy shelves.

    python tests/benchmarks/alert_threshold.py

Prints the table kept in ``leavenbench/watch/alert.py`` and writes ``alert_threshold.json`` beside this file. Five
years of six rounds a year, 150 cultures, noise of 5 to 12 % with correlation .3 between neighbouring rounds, and
measurement noise of 4 % (three refeeds of 8, 6 and 5 %), 2 % outliers; every figure with its Poisson error.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from leavenbench.watch.alert import in_alert, sinking
from leavenbench.watch.trend import own_noise, shelf_noise, trend

ROUNDS, ROUNDS_A_YEAR, CULTURES, SHELVES = 30, 6, 150, 60
DIALS = (0.5, 1.0, 2.0, 5.0, 10.0)


def healthy_shelf(rng: np.random.Generator) -> list[np.ndarray]:
    """Return the levels of a shelf on which nothing declines."""
    sd = rng.uniform(0.05, 0.12, CULTURES)
    level = rng.normal(size=(CULTURES, ROUNDS)) * sd[:, None]
    for one in range(1, ROUNDS):
        level[:, one] = 0.3 * level[:, one - 1] + np.sqrt(1 - 0.3**2) * level[:, one]
    level += rng.normal(0, 0.04, level.shape)
    outlier = rng.random(level.shape) < 0.02
    level = level + outlier * rng.normal(0, 0.3, level.shape)
    read = rng.random(level.shape) >= 0.03
    kept = [one[there] for one, there in zip(level, read, strict=True)]
    return [one - np.median(one[:6]) for one in kept]  # a baseline is the middle of the first six rounds


def main() -> None:
    """Simulate, and print the threshold of each dial."""
    rng = np.random.default_rng(20260331)
    evidence = []
    for _ in range(SHELVES):
        shelf = healthy_shelf(rng)
        noise = shelf_noise(shelf)
        for one in shelf:
            told = one, np.arange(len(one), dtype=float), own_noise(one, noise)
            evidence.append((trend(*told).loudness, sinking(*told)))
    years = SHELVES * CULTURES * ROUNDS / ROUNDS_A_YEAR
    candidates = np.arange(1.5, 8.0, 0.1)
    alerts = np.array([sum(_entries(in_alert(loud, level) | low) for loud, low in evidence) for level in candidates])
    rate = 100.0 * alerts / years
    found = {dial: float(np.interp(-np.log(dial), -np.log(np.maximum(rate, 1e-3)), candidates)) for dial in DIALS}
    error = {dial: float(dial * np.sqrt(100.0 / (dial * years))) for dial in DIALS}
    for dial in DIALS:
        print(f"{dial:5.1f} +- {error[dial]:.2f} false alerts per 100 culture-years: threshold {found[dial]:.2f}")
    stored = {"culture_years": years, "dials": DIALS, "threshold": [round(found[dial], 2) for dial in DIALS]}
    Path(__file__).with_suffix(".json").write_text(json.dumps(stored, indent=1) + "\n", encoding="utf-8")


def _entries(states: np.ndarray) -> int:
    return int((states & ~np.concatenate([[False], states[:-1]])).sum())


if __name__ == "__main__":
    main()
