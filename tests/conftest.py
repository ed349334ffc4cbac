"""Small collections and curves tables for tests, made of the columns that a test cares for."""

from __future__ import annotations

import os

# two workers share the machine: threads of a worker's own would only wait for each other (kernels inherit this)
os.environ |= dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")

from pathlib import Path

import pandas as pd
import pytest
from hypothesis import settings

from leavenbench.columns import RESULTS, TABLES
from leavenbench.records.collection import Collection
from leavenbench.records.problems import no_problems
from leavenbench.records.settings import Settings

# no single example may fail for being slow: on a busy machine any may be
settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")


@pytest.fixture(scope="session", autouse=True)
def cache_folder(tmp_path_factory):
    """Keep what tests put into a cache out of the user's own."""
    folder = tmp_path_factory.mktemp("cache")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(folder))
        yield folder


def _table(name: str, given: dict) -> pd.DataFrame:
    columns = {column.inside: column.dtype() for column in TABLES[name].columns}
    return pd.DataFrame(given, columns=list(columns)).astype(columns)


@pytest.fixture
def make_collection():
    """Return a function that makes a collection from some columns of some tables, by their inside names."""

    def make(settings: Settings | None = None, **tables: dict) -> Collection:
        settings = settings or Settings(title="test", round_days=60.0, steps_per_round=3.0)
        return Collection(
            folder=Path("nowhere"),
            settings=settings,
            tables={name: _table(name, tables.get(name, {})) for name in TABLES},
            present=tuple(tables),
            problems=no_problems(),
            counts=pd.DataFrame(),
        )

    return make


@pytest.fixture
def make_curves():
    """Return a function that makes a curves table from some of its columns."""

    def make(given: dict) -> pd.DataFrame:
        made = RESULTS["curves"]
        return pd.DataFrame(given, columns=made.names).astype(made.dtypes())

    return make
