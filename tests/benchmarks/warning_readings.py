"""The same table from raw readings: simulated, written down, read, fitted, weighed, and only then watched.

A shelf of the study is simulated with its doughs and everything that keepers do to records: a ruler and a pH probe,
seven to nine readings of a refeed through the working day and the next morning, one look in two hundred misread,
refeeds never written down, heights kept in cm and temperatures in degF. What the oracle is told is the truth with the
scatter of refeeds and an error of reading of 4 %, as on shelves of values.

A shelf takes most of a minute, so that its levels can be kept in a folder from run to run.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from unittest import mock

import numpy as np
import pandas as pd
from fitting_speed import Line
from vigour_values import Values
from warning_forecasts import forecasts
from warning_methods import methods
from warning_shelves import NOISE, SEED, YEARS, cast_of, told_truth, watched, with_stories
from warning_table import by_our_dial, declines, steps

import leavenbench
from leavenbench.records.living import history_numbers
from leavenbench.simulate import Simulated, simulate_cast
from leavenbench.simulate.house.folder import Sheet, write_collection
from leavenbench.vigour.index import vigour_of
from leavenbench.watch.levels import round_levels

#: Where levels are kept from run to run; nowhere when None.
KEPT: Path | None = None
SHELVES = 12
_BEGIN = date(2022, 1, 3)
#: Looks through the working day; one or two more come the next morning.
_LOOKS = (6, 7)
_LOOKS_MODULE = "leavenbench.simulate.bench.looks"
_ERROR_OF_READING = 0.04


def from_readings(smaller: int, rounds: int) -> Iterator[Line]:
    """Measure the whole table on shelves that were read and fitted."""
    shelves = watched(shelf_read(seed) for seed in range(max(SHELVES // smaller, 2)))
    found = methods(shelves)
    for part in (declines("readings", shelves, found), by_our_dial("readings", shelves, found)):
        yield from part
    yield from steps("readings", shelves)
    yield from forecasts("readings", shelves)


def shelf_read(seed: int) -> pd.DataFrame:
    """Return the levels of a shelf with the truth beside them, from the folder where they are kept or made anew."""
    kept = None if KEPT is None else KEPT / f"levels-{SEED}-{seed}.parquet"
    if kept is not None and kept.exists():
        return pd.read_parquet(kept)
    levels = _read_and_fitted(seed)
    if kept is not None:
        kept.parent.mkdir(parents=True, exist_ok=True)
        levels.to_parquet(kept)
    return levels


def _read_and_fitted(seed: int) -> pd.DataFrame:
    fewest, most = _LOOKS
    with mock.patch.multiple(_LOOKS_MODULE, _FEWEST=fewest, _MOST=most):
        shelf = simulate_cast(SEED + seed, cast_of(seed), YEARS, _BEGIN, noise=NOISE, logged=0)
    with tempfile.TemporaryDirectory() as folder:
        write_collection(shelf.tables, Path(folder) / "shelf", [_as_kept(name) for name in shelf.tables])
        collection = leavenbench.read_collection(Path(folder) / "shelf")
    vigour = vigour_of(collection, leavenbench.trace_collection(collection))
    levels = round_levels(_in_true_rounds(vigour, shelf), history_numbers(collection))
    levels = levels.merge(told_truth(_as_values(shelf, seed), NOISE), on=["culture", "round"], how="left")
    return with_stories(levels, shelf.truth["cultures"])


def _as_kept(table: str) -> Sheet:
    """Return the file of a table; readings are kept in cm and degF."""
    units = {"height": "cm", "high_mark": "cm", "temperature": "degF"} if table == "readings" else {}
    return Sheet(f"{table}.csv", units=units)


def _in_true_rounds(vigour: pd.DataFrame, shelf: Simulated) -> pd.DataFrame:
    """Number rounds as the calendar does; in records those never held are not counted."""
    true = shelf.truth["refeeds"].set_index("refeed")["round"]
    return vigour.assign(round=vigour["refeed"].map(true).astype("Int64"))


def _as_values(shelf: Simulated, seed: int) -> Values:
    """Lay out what is true of the refeeds written down, for the oracle."""
    true = shelf.truth["refeeds"].query("written").reset_index(drop=True)
    error = np.random.default_rng([SEED, seed, 1]).normal(0.0, _ERROR_OF_READING, len(true))
    values = true[["culture", "round", "step"]].assign(log_vigour=true["log_activity"] + error)
    return Values(values, pd.DataFrame(), true)
