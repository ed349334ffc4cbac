"""Headers, units in them, and rows that cannot be used."""

import pytest

from leavenbench.errors import CannotRead


def readings(header, *cells):
    return {
        "readings.csv": f"refeed,elapsed,{header}\n" + "".join(f"1,{hour},{cell}\n" for hour, cell in enumerate(cells))
    }


@pytest.mark.parametrize(
    "header",
    ["start_height [cm]", "Start-Height[cm]", "START HEIGHT  [ cm ]", "start height [cm", "startheight [cm] tape"],
)
def test_headers_as_people_write_them(read, listed, header):
    collection = read({"refeeds.csv": f"Refeed;CULTURE;Fed At;{header}\n1;Alba;2025-03-01 08:00;4,5\n"})
    assert collection["refeeds"]["start_height_mm"].tolist() == [45.0]
    assert listed(collection) == []


def test_without_brackets_the_canonical_unit_holds(read):
    assert read(readings("height", "45"))["readings"]["height_mm"].tolist() == [45.0]
    assert read(readings("height []", "45"))["readings"]["height_mm"].tolist() == [45.0]


@pytest.mark.parametrize("header", ["ph", "pH", "pH [pH]", "ph [-]", "PH []", "ph [1]"])
def test_a_number_without_a_unit_may_say_so(read, listed, header):
    collection = read(readings(header, "4,5".replace(",", ".")))
    assert collection["readings"]["ph"].tolist() == [4.5]
    assert listed(collection) == []


@pytest.mark.parametrize(
    "header",
    [
        "ph [mV]",
        "ph [%]",
        "height [g]",
        "height [foo]",
        "height [((]",
        "temperature [cm]",
        "rise [mm]",
        "height [9**9**9**9]",
    ],
)
def test_a_unit_that_does_not_fit_leaves_the_column_out(read, listed, header):
    name = header.split(" [")[0]
    collection = read(readings(f"{header},volume", "45,200"))
    assert listed(collection) == [("unit", 1, name, "error")]
    assert collection["readings"]["volume_mL"].tolist() == [200.0]
    assert collection["readings"].filter(regex=f"^{name}(_|$)").iloc[:, 0].isna().all()


def test_degrees_on_the_globe_stay_degrees(read):
    for unit in ("", " [deg]", " [degrees]", " [°]"):
        cultures = f"culture,latitude{unit},longitude{unit}\nAlba,48.2,-16.4\n"
        table = read({"cultures.csv": cultures})["cultures"]
        assert table["latitude"].tolist() == [pytest.approx(48.2)]
        assert table["longitude"].tolist() == [pytest.approx(-16.4)]


def test_a_logarithm_has_no_other_unit(read, listed):
    uses = "backup,used_on,log_cfu_yeast [CFU/g]\nB,2025-01-01,7\n"
    assert listed(read({"backup_uses.csv": uses})) == [("unit", 1, "log_cfu_yeast", "error")]


def test_a_zone_in_a_header_is_not_obeyed_and_that_is_said(read, listed):
    collection = read({"refeeds.csv": "refeed,culture,fed_at [UTC]\n1,Alba,2025-03-01 08:00\n"})
    assert listed(collection) == [("unit", 1, "fed_at", "warning")]


def test_an_unknown_column_is_left_alone_and_named_once(read, listed):
    collection = read(readings("hieght,hue", "45,red", "50,red"))
    found = collection.problems[collection.problems["rule"] == "known column"]
    assert list(zip(found["column"], found["severity"], strict=True)) == [("hieght", "warning"), ("hue", "warning")]
    assert found["remedy"].tolist() == ["rename it to height if that is what it is", "nothing, if it is your own"]


def test_a_column_that_stands_twice_is_read_once(read, listed):
    collection = read(readings("height,Height [cm]", "45,99"))
    assert collection["readings"]["height_mm"].tolist() == [45.0]
    assert listed(collection) == [("one column", 1, "height", "error")]


def test_a_blank_header_is_named_only_where_something_stands_below(read, listed):
    assert listed(read(readings(",height", ",45"))) == []
    assert listed(read(readings(",height", "x,45"))) == [("known column", 1, "", "warning")]


@pytest.mark.parametrize(
    ("name", "header", "missing"),
    [
        ("refeeds", "culture,fed_at", "refeed"),
        ("refeeds", "refeed,fed_at", "culture"),
        ("refeeds", "refeed,culture", "fed_at"),
        ("readings", "elapsed,height", "refeed or culture or vessel"),
        ("readings", "refeed,height", "elapsed or read_at"),
    ],
)
def test_a_missing_needed_column_is_named(read, name, header, missing):
    with pytest.raises(CannotRead, match=f"{name}.*has no column {missing}"):
        read({f"{name}.csv": header + "\n1,2\n"})


def test_one_of_several_files_may_lack_a_needed_column(read, listed):
    collection = read({"refeeds/b.csv": "culture,fed_at\nAlba,2025-03-02 08:00\nAlba,2025-03-03 08:00\n"})
    assert collection["refeeds"]["refeed"].tolist() == ["1"]
    assert collection.counts.set_index("table").loc["refeeds", "rows_left_out"] == 2
    assert listed(collection) == [("missing", 1, "refeed", "error")]
    assert "2 rows" in collection.problems["message"][0]


@pytest.mark.parametrize(
    ("row", "column"), [(",Alba,2025-03-02 08:00", "refeed"), ("2,,2025-03-02 08:00", "culture"), ("2,Alba,", "fed_at")]
)
def test_a_row_without_key_culture_or_time_is_left_out(read, listed, row, column):
    collection = read({"refeeds.csv": f"refeed,culture,fed_at\n1,Alba,2025-03-01 08:00\n{row}\n"})
    assert collection["refeeds"]["refeed"].tolist() == ["1"]
    assert listed(collection, "missing") == [("missing", 3, column, "error")]


def test_all_faults_of_a_row_are_listed(read, listed):
    refeeds = "refeed,culture,fed_at,seed,purpose,passed,room_temperature\n1,Alba,2025-03-01 08:00,-3,rond,perhaps,60\n"
    collection = read({"refeeds.csv": refeeds})
    assert sorted(listed(collection)) == [
        ("known word", 2, "purpose", "error"),
        ("likely range", 2, "room_temperature", "warning"),
        ("possible range", 2, "seed", "error"),
        ("yes or no", 2, "passed", "error"),
    ]
    assert collection["refeeds"]["refeed"].tolist() == ["1"]
    assert collection.counts["values_left_out"].tolist() == [3, 0]


def test_whole_numbers(read, listed):
    collection = read({"refeeds.csv": "refeed,culture,fed_at,step,round\n1,Alba,2025-03-01 08:00,2.0,1.5\n"})
    assert collection["refeeds"]["step"].tolist() == [2]
    assert listed(collection) == [("whole number", 2, "round", "error")]
