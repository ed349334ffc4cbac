"""Which files of a folder hold which table."""

import pytest

from leavenbench.errors import CannotRead, LeavenbenchError
from leavenbench.records.collection import read_collection
from leavenbench.records.files import find_tables
from leavenbench.records.source import plain

HEAD = "refeed,elapsed,height\n"


def names(folder, table):
    return [source.name for source in find_tables(folder)[0] if source.table == table]


def strays(folder):
    return {stray.name: stray.nearest for stray in find_tables(folder)[1]}


@pytest.mark.parametrize("typed", ["start_height", "Start Height", "START-HEIGHT", " start  height ", "startHeight"])
def test_case_spaces_hyphens_and_underscores_do_not_matter(typed):
    assert plain(typed) == "startheight"


def test_the_rows_of_all_places_belong_together(read):
    collection = read(
        {
            "readings.csv": HEAD + "1,0,40\n",
            "Readings/logger 1.csv": HEAD + "1,1,41\n",
            "Readings/logger 2.CSV": "refeed;elapsed;height [cm]\n1;2;4,2\n",
            "taken_in/B7/readings.csv": HEAD + "1,3,43\n",
        }
    )
    rows = collection["readings"]
    assert dict(zip(rows["file"], rows["height_mm"], strict=True)) == {
        "readings.csv": 40.0,
        "Readings/logger 1.csv": 41.0,
        "Readings/logger 2.CSV": 42.0,
        "taken_in/B7/readings.csv": 43.0,
    }


def test_of_corrections_only_the_highest_counts(write):
    taken = [f"taken_in/{name}/readings.csv" for name in ("B7", "B7.2", "B7.10", "B8", "B9.2", "2025-01", "2025-01.3")]
    folder = write(dict.fromkeys(taken, HEAD))
    counted = [f"taken_in/{name}/readings.csv" for name in ("2025-01.3", "B7.10", "B8", "B9.2")]
    assert sorted(names(folder, "readings")[1:]) == counted


def test_a_correction_replaces_what_it_corrects_as_a_whole(read):
    collection = read(
        {
            "taken_in/B7/readings.csv": HEAD + "1,3,43\n1,4,44\n",
            "taken_in/B7/refeeds.csv": "refeed,culture,fed_at\n9,Bea,2025-03-01 08:00\n",
            "taken_in/B7.2/readings.csv": HEAD + "1,3,53\n",
        }
    )
    assert collection["readings"]["height_mm"].tolist() == [45.0, 110.0, 53.0]
    assert collection["refeeds"]["refeed"].tolist() == ["1"]


def test_unknown_files_are_named_once_with_the_nearest_table(write, read, listed):
    folder = write(
        {"readigns.csv": "a\n", "flour lots 2024.csv": "a\n", "holidays.xlsx": "x", "letter.txt": "a", "plan.pdf": "a"}
    )
    assert strays(folder) == {"readigns.csv": "readings", "flour lots 2024.csv": "flour_lots", "holidays.xlsx": ""}
    collection = read()
    assert [row[0] for row in listed(collection)] == ["known table"] * 3
    assert set(collection.problems["severity"]) == {"warning"}
    assert set(collection.problems["file"]) == set(strays(folder))


def test_a_table_in_a_format_that_is_not_read_is_named(write):
    folder = write(
        {"cultures.ods": "x", "vessels.txt": "vessel\n", "flours.tsv": "flour\n", "readings/march/a.csv": HEAD}
    )
    assert strays(folder) == {
        "cultures.ods": "cultures",
        "vessels.txt": "vessels",
        "flours.tsv": "flours",
        "readings/march/": "readings",
    }


def test_a_folder_of_tables_under_an_unknown_name_is_named(write):
    folder = write({"redings/a.csv": HEAD, "photos/jar.jpg": b"x"})
    assert strays(folder) == {"redings/": "readings"}


def test_hidden_files_and_lock_files_are_no_tables(write):
    folder = write(
        {"~$readings.xlsx": b"x", ".readings.csv": b"x", ".git/readings.csv": b"x", "readings/.~lock.a.csv#": b"x"}
    )
    assert names(folder, "readings") == ["readings.csv"]
    assert strays(folder) == {}


@pytest.mark.parametrize("missing", ["refeeds", "readings"])
def test_a_missing_needed_table_is_named(read, missing):
    with pytest.raises(CannotRead, match=f"'{missing}'"):
        read({f"{missing}.csv": None})


def test_a_missing_folder_is_named(tmp_path):
    with pytest.raises(CannotRead, match="nowhere"):
        read_collection(tmp_path / "nowhere")
    (tmp_path / "a_file").write_text("x")
    with pytest.raises(LeavenbenchError, match="a_file"):
        read_collection(tmp_path / "a_file")


def test_a_file_that_cannot_be_opened_is_named(write, tmp_path):
    folder = write({"cultures.csv": None})
    (folder / "cultures.csv").symlink_to(tmp_path / "gone.csv")
    with pytest.raises(CannotRead, match=r"cultures\.csv"):
        read_collection(folder)


def test_an_unknown_column_of_many_files_is_named_once(read, listed):
    log = "refeed,elapsed,height,device\n1,{},45,a\n"
    collection = read({f"readings/{i}.csv": log.format(i + 10) for i in range(3)})
    assert listed(collection) == [("known column", 1, "device", "warning")]
