"""The rules that hold in every table."""

import datetime as dt

import pytest

from leavenbench.columns import STRICT_REFERENCES, TABLES


def readings(column, *values):
    return {
        "readings.csv": f"refeed,elapsed,{column}\n" + "".join(f"1,{i},{value}\n" for i, value in enumerate(values))
    }


def test_impossible_values_are_left_out_and_doubtful_ones_kept(read, listed):
    """pH outside 0-14 cannot be, outside 3.0-7.0 it is doubtful (the bounds are those of the issue)."""
    values = [-0.1, 0, 2.9, 3.0, 7.0, 7.1, 14, 14.1, 41]
    collection = read(readings("ph", *values))
    assert collection["readings"]["ph"].tolist() == [0, 2.9, 3.0, 7.0, 7.1, 14]
    assert listed(collection) == [
        ("possible range", 2, "ph", "error"),
        ("likely range", 3, "ph", "warning"),
        ("likely range", 4, "ph", "warning"),
        ("likely range", 7, "ph", "warning"),
        ("likely range", 8, "ph", "warning"),
        ("possible range", 9, "ph", "error"),
        ("possible range", 10, "ph", "error"),
    ]


def test_a_negative_mass_cannot_be(read, listed):
    collection = read({"refeeds.csv": "refeed,culture,fed_at,seed,flour\n1,Alba,2025-03-01 08:00,-1,0\n"})
    assert collection["refeeds"]["seed_g"].isna().all()
    assert collection["refeeds"]["flour_g"].tolist() == [0.0]
    assert listed(collection) == [("possible range", 2, "seed", "error")]


def test_ranges_hold_in_the_canonical_unit(read, listed):
    collection = read(readings("temperature [degF]", 77, -500))
    assert collection["readings"]["temperature_degC"].tolist() == [pytest.approx(25.0)]
    assert listed(collection) == [("possible range", 3, "temperature", "error")]


REFEEDS = "refeed,culture,fed_at\n1,Alba,2025-03-01 08:00\n"


def test_of_a_key_used_twice_the_first_counts(read, listed):
    collection = read(
        {"refeeds.csv": REFEEDS + "2,Bea,2025-03-02 08:00\n1,Cleo,2025-03-03 08:00\n1,Dora,2025-03-04 08:00\n"}
    )
    assert collection["refeeds"]["culture"].tolist() == ["Alba", "Bea"]
    assert listed(collection, "key used once") == [
        ("key used once", 4, "refeed", "error"),
        ("key used once", 5, "refeed", "error"),
    ]
    assert "refeeds.csv row 2" in collection.problems["message"][1]


def test_keys_are_judged_over_all_rows_as_read(read, listed):
    """The first occurrence counts even when it is itself left out: nobody knows which one was meant."""
    collection = read({"refeeds.csv": "refeed,culture,fed_at\n1,,2025-03-01 08:00\n1,Alba,2025-03-01 08:00\n"})
    assert collection["refeeds"].empty
    assert listed(collection, "key used once") == [("key used once", 3, "refeed", "error")]


def test_keys_are_judged_across_files(read):
    collection = read({"taken_in/B7/refeeds.csv": REFEEDS + "2,Bea,2025-03-02 08:00\n"})
    assert collection["refeeds"]["refeed"].tolist() == ["1", "2"]
    found = collection.problems.set_index("rule").loc["key used once"]
    assert (found["file"], found["row"]) == ("taken_in/B7/refeeds.csv", 2)
    assert "refeeds.csv row 2" in found["message"]


def row(name, **cells):
    """Return a file of one row with what the table cannot do without, and these cells."""
    by_kind = {"text": "new", "date": "2025-01-01", "time": "2025-01-01 08:00", "number": "1"}
    needed = {column.name: by_kind[column.kind] for column in TABLES[name].columns if column.needed}
    filled = needed | {"culture": "Alba", "refeed": "1"} | cells
    filled = {column: cell for column, cell in filled.items() if column in TABLES[name].by_name}
    return ",".join(filled) + "\n" + ",".join(filled.values()) + "\n"


@pytest.mark.parametrize("name", [name for name, table in TABLES.items() if table.key and name != "refeeds"])
def test_every_keyed_table_uses_its_key_once(read, listed, name):
    once = row(name)
    collection = read({f"{name}.csv": once + once.splitlines()[1] + "\n"})
    assert len(collection[name]) == 1
    assert listed(collection, "key used once") == [("key used once", 3, TABLES[name].key, "error")]


REFERENCES = [(name, column.name, column.refers_to) for name, table in TABLES.items() for column in table.columns]
REFERENCES = [one for one in REFERENCES if one[2] and one[0] not in ("refeeds", "readings")]


@pytest.mark.parametrize(("name", "column", "target"), REFERENCES, ids=lambda one: one)
def test_an_unknown_culture_or_refeed_costs_the_row_another_name_is_a_warning(read, listed, name, column, target):
    severity = "error" if target in STRICT_REFERENCES else "warning"
    files = {f"{name}.csv": row(name, **{column: "Zora"})}
    if target != "refeeds":
        files[f"{target}.csv"] = row(target, **{TABLES[target].key or "probe": "Zorra"})
    if target == "cultures":
        files["cultures.csv"] += "Alba\n"
    collection = read(files)
    assert ("known reference", 2, column, severity) in listed(collection)
    assert len(collection[name]) == (severity == "warning")
    if target != "refeeds":
        found = collection.problems[collection.problems["column"] == column]
        assert found["remedy"].tolist() == ["write Zorra if that is meant"]


@pytest.mark.parametrize(
    ("column", "target"),
    [("lot", "flour_lots"), ("vessel", "vessels"), ("cold_store", "stores"), ("culture", "cultures")],
)
def test_references_of_a_refeed(read, listed, column, target):
    files = {"refeeds.csv": row("refeeds", **{column: "Zora"})}
    key = TABLES[target].key
    severity = "error" if target == "cultures" else "warning"
    assert listed(read(files), "known reference") == []
    assert listed(read(files | {f"{target}.csv": row(target, **{key: "Zora"})}), "known reference") == []
    collection = read(files | {f"{target}.csv": row(target, **{key: "Zorra"})})
    assert listed(collection, "known reference") == [("known reference", 2, column, severity)]


@pytest.mark.parametrize(("column", "target"), [("vessel", "vessels"), ("probe", "probe_checks")])
def test_references_of_a_reading(read, listed, column, target):
    files = {"readings.csv": f"refeed,elapsed,ph,{column}\n1,0,5,Zora\n"}
    assert listed(read(files), "known reference") == []
    collection = read(files | {f"{target}.csv": row(target, **{column: "Zorra"})})
    assert listed(collection, "known reference") == [("known reference", 2, column, "warning")]
    assert len(collection["readings"]) == 1


def test_a_reading_of_an_unknown_refeed_or_culture_is_left_out(read, listed):
    readings = "refeed,culture,read_at,ph\n1,,2025-03-01 09:00,5\n7,,2025-03-01 09:00,5\n,Alva,2025-03-01 09:00,5\n"
    collection = read({"readings.csv": readings})
    assert collection["readings"]["row"].tolist() == [2]
    assert listed(collection) == [
        ("known reference", 3, "refeed", "error"),
        ("known reference", 4, "culture", "error"),
    ]


def test_without_a_cultures_table_the_cultures_are_those_fed(read, listed):
    moved = "1,Alba,2025-01-01,moved\n2,Zora,2025-01-01,moved\n3,,2025-01-01,store failure\n"
    events = "event,culture,happened_on,kind\n" + moved
    collection = read({"events.csv": events})
    assert collection["events"]["event"].tolist() == ["1", "3"]
    assert listed(collection) == [("known reference", 3, "culture", "error")]


def test_a_table_without_a_row_is_as_good_as_absent(read, listed):
    collection = read({"cultures.csv": "culture,name\n"})
    assert collection["refeeds"]["culture"].tolist() == ["Alba"]
    assert "cultures" not in collection.present
    assert listed(collection) == []


def test_dates_ahead_of_today_are_doubtful(read, listed):
    files = {
        "refeeds.csv": "refeed,culture,fed_at,cooled_at\n1,Alba,2025-03-01 08:00,2025-03-02 00:00\n",
        "readings.csv": "refeed,elapsed,read_at,ph\n1,0,,5\n1,,2025-03-01 23:59,4\n1,,2025-03-02 00:00,4\n",
        "flour_lots.csv": "lot,received,best_before\nL,2025-03-02,2026-01-01\n",
    }
    assert listed(read(files)) == []
    assert listed(read(files, today=dt.date(2025, 3, 1))) == [
        ("not ahead", 2, "received", "warning"),
        ("not ahead", 2, "cooled_at", "warning"),
        ("not ahead", 4, "read_at", "warning"),
    ]
    assert listed(read(files, today=dt.date(2025, 3, 2))) == []


def test_today_ends_in_the_zone_of_the_collection(read, listed):
    files = {
        "collection.toml": 'timezone = "Pacific/Auckland"\n',
        "refeeds.csv": "refeed,culture,fed_at\n1,Alba,2025-03-01T11:30Z\n2,Alba,2025-03-01T10:30Z\n",
        "readings.csv": "refeed,elapsed,ph\n1,0,5\n2,0,5\n",
    }
    # Auckland is 13 hours ahead of UTC in March (IANA tz database, from memory).
    assert listed(read(files, today=dt.date(2025, 3, 1))) == [("not ahead", 2, "fed_at", "warning")]
