"""How often a flour runs out within the 80 % interval that was given for it: simulated years.

    python tests/benchmarks/flour_ahead.py [--replicates N]

Each replicate is a shelf of its own: one to a dozen cultures on one flour, whose rounds come every 60 days or so, some
late, some not held, some with extra steps, and whose bags lose a few percent that nobody writes down but counts find.
Three years are known; then a stock of random size is eaten up by the same shelf. Nothing of how it is made is known to
the forecast.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np
import pandas as pd

from leavenbench.care.flour import run_out
from leavenbench.columns import TABLES
from leavenbench.records.collection import Collection
from leavenbench.records.problems import no_problems
from leavenbench.records.settings import Settings

STORED = Path(__file__).with_suffix(".json")
SEED, KNOWN_D, AHEAD_D = 20261126, 3 * 365, 730
START = pd.Timestamp("2022-01-03")


def rounds_of_shelf(random: np.random.Generator, days: int) -> pd.DataFrame:
    """Return every step of every round of a shelf over so many days: culture, day, round, step, flour_g."""
    rows = []
    uneven = random.uniform(2.0, 10.0)
    for culture in range(random.integers(1, 13)):
        usual = random.choice([40.0, 60.0, 132.0]) * random.uniform(0.9, 1.1)
        extra, day, number = random.uniform(0.02, 0.2), random.uniform(0, 60), 0
        while day < days:
            if random.random() > 0.04:
                number += 1
                steps = 3 + (random.random() < extra) + (random.random() < extra / 3)
                for step in range(steps):
                    mass = usual * min(0.35 + 0.35 * step, 1.0) * random.normal(1.0, 0.02)
                    rows.append((f"c{culture}", int(day) + step, number, step + 1, mass))
            day += max(60.0 + random.normal(0.0, uneven), 20.0)
    return pd.DataFrame(rows, columns=["culture", "day", "round", "step", "flour_g"])


def collection_of(fed: pd.DataFrame, mass: float, counts: dict[str, list]) -> Collection:
    """Return what the keeper of such a shelf has written down."""

    def table(name: str, given: dict) -> pd.DataFrame:
        columns = {column.inside: column.dtype() for column in TABLES[name].columns}
        return pd.DataFrame(given, columns=list(columns)).astype(columns)

    at = (START + pd.to_timedelta(fed["day"], unit="D")).dt.tz_localize("UTC")
    refeeds = {name: fed[name].to_list() for name in ("culture", "round", "step", "flour_g")}
    refeeds |= {"refeed": [f"r{row}" for row in range(len(fed))], "fed_at": at.array, "purpose": "round", "lot": "L"}
    lots = {"lot": ["L"], "flour": ["rye"], "received": [START - pd.Timedelta(days=1)], "mass_g": [mass]}
    given = {"refeeds": refeeds, "flour_lots": lots, "flour_counts": counts}
    given["flours"] = {"flour": ["rye"], "lead_time_d": [14.0]}
    settings = Settings(title="simulated", round_days=60.0, steps_per_round=3.0)
    tables = {name: table(name, given.get(name, {})) for name in TABLES}
    return Collection(Path("nowhere"), settings, tables, tuple(given), no_problems(), pd.DataFrame())


def one(random: np.random.Generator) -> tuple[float, float, float, float] | None:
    """Return the day on which a flour ran out, and the early end, middle and late end of what was told."""
    fed = rounds_of_shelf(random, KNOWN_D + AHEAD_D)
    lost = random.uniform(0.0, 0.05)
    known, later = fed[fed["day"] < KNOWN_D], fed[fed["day"] >= KNOWN_D]
    a_year = later.loc[later["day"] < KNOWN_D + 365, "flour_g"].sum()
    left = a_year * random.uniform(0.25, 1.4)
    used = known["flour_g"].sum()
    mass = left + used * (1.0 + lost)
    day = KNOWN_D - 20
    before = known.loc[known["day"] <= day, "flour_g"].sum()
    counts = {"lot": ["L"], "counted_on": [START + pd.Timedelta(days=day)], "mass_g": [mass - before * (1.0 + lost)]}
    on = (START + pd.Timedelta(days=KNOWN_D - 1)).date()
    told = run_out(collection_of(known, mass, counts), on).iloc[0]
    gone = later.sort_values("day", kind="stable")["flour_g"].cumsum() * (1.0 + lost)
    out = gone.index[gone > left]
    if not len(out) or told[["out_low", "out_on", "out_high"]].isna().any():
        return None
    true = float(later.loc[out[0], "day"] - KNOWN_D + 1)
    ends = [float((told[name] - pd.Timestamp(on)).days) for name in ("out_low", "out_on", "out_high")]
    return true, *ends  # type: ignore[return-value]


def main() -> None:
    """Run the replicates, print and store what came of them."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--replicates", type=int, default=600)
    replicates = parser.parse_args().replicates
    random = np.random.default_rng(SEED)
    found = np.array([it for it in (one(random) for _ in range(replicates)) if it is not None])
    true, low, middle, high = found.T
    held = (low <= true) & (true <= high)
    result = {
        "replicates": replicates,
        "scored": len(found),
        "within the 80 % interval": round(float(held.mean()), 3),
        "standard error": round(float(np.sqrt(held.mean() * (1 - held.mean()) / len(found))), 3),
        "before it": round(float((true < low).mean()), 3),
        "after it": round(float((true > high).mean()), 3),
        "median width [d]": float(np.median(high - low)),
        "median error of the middle [d]": float(np.median(np.abs(true - middle))),
        "seed": SEED,
    }
    print(json.dumps(result, indent=1))
    if replicates >= 600:
        STORED.write_text(json.dumps(result, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
