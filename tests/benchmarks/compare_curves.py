"""How often the band of the difference between two cultures' curves holds the true difference at all hours.

    python tests/benchmarks/compare_curves.py [--replicates N] [--case TEXT] [--only exact|read|temperature]

Each replicate is two cultures with refeeds of their own: lag, steepest slope and extent vary from refeed to refeed,
each culture by its own measure, and by the day, which both share where both were fed on it. Nothing of that is known
to the band. `exact` compares the true curves of those refeeds; `read` compares curves fitted to heights read with a
ruler, seven to eleven times. The truth is the mean curve over 200,000 refeeds. Beside it stands what pointwise
intervals that take all refeeds for independent would have held, in the same replicates. Each case is stored by itself.

`temperature` scores the intervals of cardinal temperatures: trials of a culture at several temperatures, three jars at
each, whose steepest slopes scatter by 10 %.
"""

from __future__ import annotations

import argparse
import platform
from collections.abc import Iterator
from functools import partial
from importlib.metadata import version
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
from fitting import keep, printed
from fitting_speed import Line
from scipy import stats

from leavenbench.compare.temperature import temperature_response
from leavenbench.compare.whole_curves import curve_difference
from leavenbench.curves.models import logistic
from leavenbench.curves.read_off import levels_at
from leavenbench.temperature import Cardinal, relative_rate

STORED = Path(__file__).with_suffix(".json")
SEED = 20261126
HOURS = np.arange(0.0, 12.25, 0.25)
#: Lag [h], steepest slope [%/h] and extent [%] of the two cultures, logarithms.
MEANS = np.log([[1.5, 35.0, 110.0], [2.0, 28.0, 95.0]])
TARGET = "93-97 %"


class Case(NamedTuple):
    """How many refeeds each culture has, on how many shared days, and how its refeeds and its days scatter [log]."""

    refeeds: tuple[int, int]
    shared: int
    own: tuple[float, float]
    day: float
    a_day: int = 1


CASES = {
    "8 and 8, no day shared": Case((8, 8), 0, (0.1, 0.1), 0.0),
    "8 and 8, all days shared": Case((8, 8), 8, (0.1, 0.1), 0.1),
    "5 and 15, no day shared": Case((5, 15), 0, (0.1, 0.1), 0.05),
    "5 and 15, five days shared": Case((5, 15), 5, (0.1, 0.1), 0.1),
    "6 and 12 that scatter twice as far": Case((6, 12), 3, (0.07, 0.14), 0.07),
    "12 and 6, the fewer scatter twice as far": Case((12, 6), 3, (0.07, 0.14), 0.07),
    "12 and 18, three a day, days shared": Case((12, 18), 4, (0.08, 0.08), 0.12, 3),
    "30 and 40, ten days shared": Case((30, 40), 10, (0.1, 0.1), 0.07),
}


def drawn(case: Case, random: np.random.Generator) -> pd.DataFrame:
    """Return the refeeds of a replicate: culture, day, lag_h, rate, extent."""
    days = [count // case.a_day for count in case.refeeds]
    of_day = [np.arange(days[0]), np.arange(days[1]) + days[0] - case.shared]
    effect = random.normal(0.0, case.day, (days[0] + days[1], 3))
    parts = []
    for one, (mean, own) in enumerate(zip(MEANS, case.own, strict=True)):
        day = np.repeat(of_day[one], case.a_day)
        log = mean + effect[day] + random.normal(0.0, own, (len(day), 3))
        parts.append(pd.DataFrame(np.exp(log), columns=["lag_h", "rate", "extent"]).assign(culture="AB"[one], day=day))
    table = pd.concat(parts, ignore_index=True)
    return table.assign(refeed=table.index.astype("str"), day=table["day"].astype("str"))


def rises(refeeds: pd.DataFrame, hours: np.ndarray) -> np.ndarray:
    """Return the rise [%] of each refeed over the start, shape (refeeds, hours)."""
    levels = logistic(hours[:, None], refeeds[["extent", "rate", "lag_h"]].to_numpy().T[:, None, :]).T
    return levels - logistic(0.0, refeeds[["extent", "rate", "lag_h"]].to_numpy().T)[:, None]


def true_difference(case: Case) -> np.ndarray:
    """Return the mean difference over very many refeeds."""
    random, many = np.random.default_rng(SEED), 200_000
    means = []
    for mean, own in zip(MEANS, case.own, strict=True):
        log = mean + random.normal(0.0, np.hypot(own, case.day), (many, 3))
        means.append(rises(pd.DataFrame(np.exp(log), columns=["lag_h", "rate", "extent"]), HOURS).mean(axis=0))
    return means[0] - means[1]


def as_curves(refeeds: pd.DataFrame, values: np.ndarray) -> pd.DataFrame:
    """Return curves as `culture_curves` gives them."""
    table = refeeds[["refeed", "culture", "day"]].loc[refeeds.index.repeat(len(HOURS))]
    return table.assign(elapsed_h=np.tile(HOURS, len(refeeds)), value=values.ravel())


def looked_at(refeeds: pd.DataFrame, random: np.random.Generator) -> pd.DataFrame:
    """Return curves fitted to heights read with a ruler."""
    rows = []
    for number, name in enumerate(refeeds["refeed"]):
        hours = np.sort(random.uniform(0.3, 11.5, random.integers(5, 10)))
        hours = np.concatenate(([0.0], hours, [12.25]))
        height = 50.0 * (1.0 + rises(refeeds.iloc[[number]], hours)[0] / 100.0) + random.normal(0.0, 1.0, len(hours))
        rows.append(pd.DataFrame({"refeed": name, "elapsed_h": hours, "value": height}))
    read = pd.concat(rows, ignore_index=True).assign(signal="rise", kind="height_mm", sd=np.nan, high_mark=False)
    told = levels_at(read, HOURS).merge(refeeds[["refeed", "culture", "day"]], on="refeed")
    return told.assign(value=100.0 * (told["level"] - 1.0))


def held(difference: pd.DataFrame, truth: np.ndarray) -> bool:
    """Whether the band holds the truth at all hours."""
    true = truth[: len(difference)]
    low, high = difference["low"].to_numpy(), difference["high"].to_numpy()
    return bool(np.all((low <= true + 1e-9) & (true - 1e-9 <= high)))


def naive(curves: pd.DataFrame, truth: np.ndarray) -> bool:
    """Whether pointwise intervals from all refeeds, taken for independent, hold the truth at all hours."""
    ours, theirs = (
        curves[curves["culture"] == one].pivot(index="refeed", columns="elapsed_h", values="value").dropna()
        for one in "AB"
    )
    se = np.sqrt(ours.var() / len(ours) + theirs.var() / len(theirs)).to_numpy()
    off = np.abs((ours.mean() - theirs.mean()).to_numpy() - truth)
    return bool(np.all(off <= stats.t.ppf(0.975, len(ours) + len(theirs) - 2) * se + 1e-9))


def scored(figure: str, name: str, hits: list[tuple[bool, bool]]) -> Line:
    """Write the share held, with its own error, and what the naive intervals held."""
    ours, theirs = np.mean(hits, axis=0)
    error = np.sqrt(ours * (1.0 - ours) / len(hits))
    note = f"+- {error:.1%}, {len(hits)} replicates; pointwise and independent {theirs:.1%}"
    return Line(figure, name, TARGET, f"{ours:.1%}", bool(0.93 <= ours <= 0.97), note)


def coverage(name: str, replicates: int, fitted: bool) -> Iterator[Line]:
    """Score one case."""
    figure = f"95 % band of the difference of two curves, {'fitted to readings' if fitted else 'exact curves'}"
    case, random, hits = CASES[name], np.random.default_rng([SEED, fitted]), []
    truth = true_difference(case)
    for _ in range(replicates):
        refeeds = drawn(case, random)
        curves = looked_at(refeeds, random) if fitted else as_curves(refeeds, rises(refeeds, HOURS))
        hits.append((held(curve_difference(curves, "A", "B"), truth), naive(curves, truth)))
    yield scored(figure, name, hits)


TRIALS = {
    "9 to 34 degC in eight steps": (9.0, 13.0, 17.0, 21.0, 25.0, 28.0, 31.0, 34.0),
    "14 to 33 degC in five steps": (14.0, 20.0, 26.0, 30.0, 33.0),
}
CARDINAL = Cardinal(6.0, 28.0, 36.0)


def cardinal_intervals(name: str, replicates: int) -> Iterator[Line]:
    """Score the intervals of one trial; an end that is open holds everything on its side, and is counted."""
    figure = "95 % intervals of cardinal temperatures"
    degC, random = np.repeat(TRIALS[name], 3), np.random.default_rng(SEED)
    rates = relative_rate(degC, CARDINAL) * np.exp(random.normal(0.0, 0.1, (replicates, len(degC))))
    cultures = np.repeat([f"c{one:04d}" for one in range(replicates)], len(degC))
    told = temperature_response(
        pd.DataFrame({"culture": cultures, "temperature_degC": np.tile(degC, replicates), "rate": 40.0 * rates.ravel()})
    )
    for of, true in zip(("lowest_degC", "optimum_degC", "highest_degC"), CARDINAL, strict=True):
        low, high = told[f"{of}_low"].fillna(-np.inf), told[f"{of}_high"].fillna(np.inf)
        within, left_open = ((low <= true) & (true <= high)).mean(), told[of].isna().mean()
        note = (
            f"+- {np.sqrt(within * (1 - within) / replicates):.1%}, {replicates} replicates; left open {left_open:.0%}"
        )
        yield Line(figure, f"{name}, {of}", "", f"{within:.1%}", None, note)


def main() -> None:
    """Score exact and fitted curves, print the table, and keep it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--replicates", type=int, default=None, help="fewer than usual: nothing is stored")
    parser.add_argument(
        "--only", choices=("exact", "read", "temperature"), help="one part; what is stored of the other stays"
    )
    parser.add_argument("--case", default="", help="cases whose name holds this; what is stored of others stays")
    asked = parser.parse_args()
    held_for = {"seed": SEED, "threads": 1, "python": platform.python_version()}
    held_for["versions"] = {name: version(name) for name in ("numpy", "scipy", "pandas")}
    for part, (cases, size, score) in PARTS.items():
        for name in cases:
            if asked.only in (None, part) and asked.case in name:
                some = partial(score, name, asked.replicates or size)
                lines = printed(lambda *_, some=some: some(), quick=False)
                if asked.replicates is None:
                    keep(STORED, {f"{part}: {name}": lines}, held_for)


#: The parts: their cases, how many replicates each takes, and what scores one.
PARTS = {
    "exact": (CASES, 1_000, partial(coverage, fitted=False)),
    "read": (CASES, 200, partial(coverage, fitted=True)),
    "temperature": (TRIALS, 150, cardinal_intervals),
}


if __name__ == "__main__":
    main()
