"""A folder of Parquet files fitted on two workers: the rows of one table on one machine, and nothing in halves."""

import subprocess
import sys
from unittest import mock

import numpy as np
import pandas as pd
import pytest
from distributed import Client, LocalCluster
from pyarrow.parquet import ParquetFile, ParquetWriter

from leavenbench.curves import history_prior, noise_by_kind, signals, trace_shelf
from leavenbench.curves.composed import LEVELS
from leavenbench.curves.parquet import lazy_curves, trace_parquet
from leavenbench.curves.parquet.files import COLUMNS
from leavenbench.errors import CannotRead, Refused

CULTURES, ROUNDS = 24, 8
#: Readings together that make several parts of the shelf, some 3,000, and of a few refeeds of it, some 400.
OF_SHELF, OF_FEW = 700, 120


@pytest.fixture(scope="module")
def client():
    """Give two workers, each a process of one thread, in which warnings are errors as well."""
    with (
        mock.patch.dict("os.environ", PYTHONWARNINGS="error"),  # dask sets more there, which goes again
        LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0") as cluster,
        Client(cluster, set_as_default=False) as client,
    ):
        yield client


@pytest.fixture(scope="module")
def refeeds():
    """Give the log of a shelf: every culture in every round."""
    number = np.arange(CULTURES * ROUNDS)
    fed_at = pd.Timestamp("2024-01-08 08:00", tz="UTC") + pd.to_timedelta(60 * (number // CULTURES), unit="D")
    culture = [f"culture {of}" for of in number % CULTURES]
    named = [f"refeed {of}" for of in number]
    return pd.DataFrame({"refeed": named, "culture": culture, "fed_at": fed_at, "step": 3, "start_height_mm": 40.0})


@pytest.fixture(scope="module")
def observed(refeeds):
    """Give its signals: rises of all fates and pH, smear lines, misread heights, jars read in mL."""
    rng = np.random.default_rng(11)
    extent, rate, lag = (rng.uniform(*of, CULTURES) for of in ((30, 70), (8, 20), (1, 3)))
    tables = []
    for number, refeed in enumerate(refeeds["refeed"]):
        of = number % CULTURES
        t = np.append(0.0, np.sort(rng.uniform(0.5, rng.choice([5.0, 12.0, 22.0]), rng.integers(2, 11))))
        strength = 0.001 if number % 17 == 0 else 1.0
        truth = [40.0, strength * extent[of], rate[of], lag[of], rng.uniform(6, 12), rng.uniform(2, 8)]
        height = LEVELS["logistic with collapse"].value(t, np.array(truth)) + rng.normal(0.0, 1.5, len(t))
        height[-2] += 30.0 * (number % 7 == 0)
        ph = -LEVELS["gompertz"].value(t, np.array([-6.0, 2.0, 0.4, 1.0])) + rng.normal(0.0, 0.03, len(t))
        mark = np.where((np.arange(len(t)) == 1) & (number % 5 == 0), height.max(), np.nan)
        columns = {"elapsed_h": t, "height_mm": height, "ph": ph, "high_mark_mm": mark}
        tables.append(pd.DataFrame(columns).assign(refeed=refeed))
    read = pd.concat(tables, ignore_index=True)
    in_mL = read.index % 11 == 5
    read = read.assign(volume_mL=(6.0 * read["height_mm"]).where(in_mL), height_mm=read["height_mm"].mask(in_mL))
    read = read.assign(vessel="jar", file="readings.csv", row=read.index + 2).astype({"row": "Int64"})
    jar = pd.DataFrame({"vessel": ["jar"], "inner_diameter_mm": [np.sqrt(24_000.0 / np.pi)], "shape": ["straight"]})
    return signals(read, refeeds, jar)


@pytest.fixture(scope="module")
def alone(observed):
    """Give the curves as one table on one machine tells them."""
    return trace_shelf(observed)


@pytest.fixture(scope="module")
def few(observed, alone):
    """Give the readings and the curves of some refeeds."""
    some = observed["refeed"].unique()[:28]
    return tuple(table[table["refeed"].isin(some)].reset_index(drop=True) for table in (observed, alone))


@pytest.fixture
def write(tmp_path):
    """Return a function that writes readings to a folder, so many to a file, in row groups of so many."""

    def to_files(observed, readings=900, group=450):
        folder = tmp_path / "readings"
        folder.mkdir()
        for number, first in enumerate(range(0, max(len(observed), 1), readings)):
            some = observed.iloc[first : first + readings]
            some.to_parquet(folder / f"{number:03}.parquet", row_group_size=group)
        return folder

    return to_files


def same_rows(found, expected):
    """Hold the same rows in any order against each other, to the last bit; the promise is 1e-12."""
    assert len(found) == len(expected)
    expected = expected.set_index(["refeed", "signal"])
    found = found.set_index(["refeed", "signal"]).loc[expected.index]
    pd.testing.assert_frame_equal(found, expected, check_exact=True)


def parts_written(client):
    """Count the parts that the workers ever wrote."""
    return sum(str(task["key"]).startswith("save-") for task in client.get_task_stream())


def test_two_workers_tell_what_one_machine_tells(client, observed, alone, write):
    before = len(client.get_task_stream())
    curves = lazy_curves(write(observed), client=client, together=OF_SHELF)
    assert len(client.get_task_stream()) > before  # they looked for refeeds that parts share
    kept = client.persist(curves)
    found = client.compute(kept).result()
    same_rows(found, alone)
    assert {"fitted", "peak not reached", "no activity", "too few readings"} <= set(alone["status"])
    assert (alone["set_aside"].str.startswith("readings.csv:")).sum() >= 5
    assert observed["high_mark"].sum() >= 20
    assert observed["sd"].notna().sum() >= 100
    assert found.dtypes.equals(alone.dtypes)
    assert curves.dtypes.equals(alone.dtypes)  # known before anything is fitted
    assert curves.npartitions >= 4
    holding = client.has_what()
    assert len(holding) == 2
    assert all(holding.values())  # both had their share


def test_with_the_history_and_the_noise_of_the_shelf(client, observed, alone, refeeds, write):
    prior, noise = history_prior(alone.merge(refeeds, on="refeed")), noise_by_kind(alone)
    expected = trace_shelf(observed, prior, noise, ["gompertz"])
    assert (expected["extent_prior_share"] > 0.0).sum() >= 20
    curves = lazy_curves(write(observed), prior, noise, ["gompertz"], client=client, together=OF_SHELF)
    same_rows(client.compute(curves).result(), expected)


def test_a_history_may_lie_with_the_workers(client, few, alone, refeeds, write):
    observed, _ = few
    prior, noise = history_prior(alone.merge(refeeds, on="refeed")), noise_by_kind(alone)
    curves = lazy_curves(write(observed), client.scatter(prior), noise, client=client, together=OF_FEW)
    same_rows(client.compute(curves).result(), trace_shelf(observed, prior, noise))


def test_written_it_is_the_same_table(client, few, write, tmp_path):
    observed, alone = few
    folder, calls, before = write(observed, 110), [], parts_written(client)

    def progress(done, total):
        calls.append((done, total))

    told = trace_parquet(folder, tmp_path / "curves", client=client, together=OF_FEW, progress=progress)
    assert told == tmp_path / "curves"
    assert parts_written(client) - before == len(calls) == len(list(told.iterdir()))
    same_rows(pd.read_parquet(told), alone)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["curves", "readings"]
    assert {total for _, total in calls} == {len(alone)}
    assert len(calls) >= 4
    assert [done for done, _ in calls] == sorted({done for done, _ in calls})
    assert calls[-1][0] == len(alone)


def test_without_a_cluster_dask_does_it_by_itself(few, write, tmp_path):
    observed, alone = few
    folder, calls = write(observed, 110), []
    (tmp_path / "curves").mkdir()  # an empty one is as good as none
    told = trace_parquet(folder, tmp_path / "curves", together=OF_FEW, progress=lambda *call: calls.append(call))
    same_rows(pd.read_parquet(told), alone)
    assert len(calls) >= 4
    assert calls[-1] == (len(alone), len(alone))


def test_the_client_in_force_is_asked(client, few, write, tmp_path):
    """As `Client()` makes one by default."""
    observed, calls = few[0][:100], []
    before = parts_written(client)
    with client.as_current():
        trace_parquet(write(observed), tmp_path / "curves", progress=lambda *call: calls.append(call))
    assert parts_written(client) == before + 1
    assert calls == [(observed.groupby(["refeed", "signal"]).ngroups,) * 2]


# Refeeds in more than one part


def test_a_refeed_in_two_files_is_fitted_whole(client, few, write):
    """Files that end in the middle of a refeed, and refeeds whose readings stand far from each other."""
    observed, alone = few
    cut, odd = observed["refeed"].isin(["refeed 3", "refeed 20"]), observed.index % 2 == 1
    pieces = pd.concat([observed[~cut][:250], observed[cut & odd], observed[~cut][250:], observed[cut & ~odd]])
    curves = lazy_curves(write(pieces, 117), client=client, together=OF_FEW)
    same_rows(client.compute(curves).result(), alone)


@pytest.mark.parametrize("together", [OF_FEW, 10_000_000])
def test_all_refeeds_in_every_file(client, few, write, together):
    """As where a file holds what was read in one hour; fitted in several parts, and in one."""
    observed, alone = few
    folder = write(observed.sample(frac=1.0, random_state=4), 110)
    curves = lazy_curves(folder, client=client, together=together)
    same_rows(client.compute(curves).result(), alone)
    assert (curves.npartitions >= 5) == (together == OF_FEW)


def test_rise_and_acid_in_files_apart(client, few, write):
    observed, alone = few
    curves = lazy_curves(write(observed.sort_values("signal", kind="stable"), 110), client=client, together=OF_FEW)
    same_rows(client.compute(curves).result(), alone)


# Files as others write them


def test_columns_as_others_write_them(few, write):
    """Names as numbers, categories, the index; short floats; no optional column, and columns that mean nothing."""
    some = few[0][:200]
    some = some.assign(refeed=some["refeed"].str.removeprefix("refeed ").astype(int), value=some["value"].round(0))
    some = some[~some["high_mark"]].drop(columns=["sd", "high_mark", "file", "row"])
    plain = trace_shelf(some.assign(refeed=some["refeed"].astype("str")))
    odd = some.astype({"signal": "category", "kind": "category", "value": "float32"}).assign(weather="fine")
    folder = write(odd[:100])
    (folder / "more").mkdir()
    assert odd["refeed"].iloc[99] == odd["refeed"].iloc[100]
    later = odd[100:].assign(refeed=odd["refeed"].astype("str").astype("category"))
    later.set_index("refeed").to_parquet(folder / "more" / "LATER.PARQUET")
    odd[100:].to_parquet(folder / "_copy.parquet")
    odd[100:].to_parquet(folder / ".copy.parquet")
    (folder / "notes.txt").write_text("no table")
    same_rows(lazy_curves(folder).compute(), plain)


@pytest.mark.parametrize("row_groups", [0, 1])
def test_files_without_rows_give_a_table_without_rows(few, write, tmp_path, row_groups):
    observed, alone = few
    folder = write(observed[:0])
    if not row_groups:
        ParquetWriter(folder / "000.parquet", ParquetFile(folder / "000.parquet").schema_arrow).close()
    assert ParquetFile(folder / "000.parquet").num_row_groups == row_groups
    told = pd.read_parquet(trace_parquet(folder, tmp_path / "curves"))
    pd.testing.assert_frame_equal(told, alone[:0])
    observed[:40].to_parquet(folder / "more.parquet")
    same_rows(lazy_curves(folder).compute(), trace_shelf(observed[:40]))


# What cannot be done


def test_a_folder_without_files(tmp_path):
    for folder in (tmp_path, tmp_path / "none"):
        with pytest.raises(CannotRead, match="There is no Parquet file in"):
            lazy_curves(folder)


def test_every_file_that_cannot_be_used_is_named_before_anything_is_fitted(client, observed, write, tmp_path):
    folder = write(observed)
    whole = (folder / "001.parquet").read_bytes()
    (folder / "001.parquet").write_bytes(whole[:-500])
    (folder / "002.parquet").write_text("refeed,signal,kind,elapsed_h,value\n")
    observed[:9].drop(columns=["kind", "value"]).to_parquet(folder / "003.parquet")
    with pytest.raises(CannotRead, match=r"3 of 4 Parquet files .* 003\.parquet: no column kind, value") as error:
        trace_parquet(folder, tmp_path / "curves", client=client)
    assert error.value.evidence["file"].tolist() == ["001.parquet", "002.parquet", "003.parquet"]
    assert [path.name for path in tmp_path.iterdir()] == ["readings"]


@pytest.mark.parametrize("with_workers", [True, False])
def test_a_file_that_turns_out_wrong_leaves_nothing_behind(client, few, write, tmp_path, with_workers):
    """Its values, not its names, so that it shows only when others are fitted."""
    observed, _ = few
    folder = write(observed)
    observed[-150:].assign(value="forty").to_parquet(folder / "zzz.parquet")
    with pytest.raises(CannotRead, match=r"zzz\.parquet' cannot be read .*'forty'.*take it out of the folder"):
        trace_parquet(folder, tmp_path / "curves", client=client if with_workers else None, together=OF_FEW)
    assert [path.name for path in tmp_path.iterdir()] == ["readings"]


def test_a_file_whose_bytes_are_damaged_is_named(few, write):
    folder = write(few[0])
    damaged = bytearray((folder / "000.parquet").read_bytes())
    damaged[4:2000] = bytes(1996)
    (folder / "000.parquet").write_bytes(damaged)
    with pytest.raises(CannotRead, match=r"000\.parquet' cannot be read"):
        lazy_curves(folder).compute()


def test_a_file_that_changes_meanwhile_is_named(few, write):
    """A refeed may have come into it whose other readings are fitted elsewhere."""
    observed, _ = few
    folder = write(observed)
    curves = lazy_curves(folder)
    observed.assign(refeed="refeed 100").to_parquet(folder / "000.parquet", row_group_size=450)
    with pytest.raises(CannotRead, match=r"000\.parquet' was changed meanwhile"):
        curves.compute()


def test_a_place_that_cannot_be_written_to_is_refused_before_any_work(tmp_path):
    """Before it even shows that there is nothing to read."""
    readings, kept = tmp_path / "readings", tmp_path / "taken" / "kept.txt"
    for folder in (readings, kept.parent):
        folder.mkdir()
    kept.write_text("mine")
    for out, error, said in (
        (kept.parent, Refused, "is not empty"),
        (readings / "curves", Refused, "lies inside the folder of the readings"),
        (readings, Refused, "lies inside the folder of the readings"),
        (kept, CannotRead, "is a file"),
        (tmp_path / "nowhere" / "curves", CannotRead, "there is no folder"),
    ):
        with pytest.raises(error, match=said):
            trace_parquet(readings, out)
    assert kept.read_text() == "mine"


WITHOUT_DASK = """
import sys
import leavenbench.curves.parquet
print({"dask", "distributed", "pyarrow.parquet"} & set(sys.modules))
sys.modules["dask"] = None
try:
    leavenbench.curves.parquet.lazy_curves("readings")
except ImportError as error:
    print(error)
"""


def test_dask_is_asked_for_only_here_and_how_to_install_it_is_said():
    told = subprocess.run([sys.executable, "-c", WITHOUT_DASK], capture_output=True, text=True, check=True)
    loaded, said = told.stdout.splitlines()
    assert loaded == "set()"
    assert "pip install 'leavenbench[dask]'" in said


def test_what_is_read_is_what_the_signals_are(observed):
    assert observed.columns.tolist() == list(COLUMNS)
    assert {name: str(dtype) for name, dtype in observed.dtypes.items()} == COLUMNS | {"high_mark": "bool"}
