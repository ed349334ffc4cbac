"""Heights in another unit, and refeeds that nobody read.

The course of one refeed in millimetres is invented; the tests ask which heights stand out when some of them are
typed ten times too great or too small, as centimetres for millimetres are.
"""

import pytest

COURSE = [40, 42, 55, 90, 130, 150, 145, 120]


def course(heights, refeed="1"):
    return "".join(f"{refeed},{i * 1.5},{height}\n" for i, height in enumerate(heights))


def doubted(collection):
    found = collection.problems[collection.problems["rule"] == "likely unit"]
    assert set(found["severity"]) <= {"warning"}
    return list(zip(found["table"], found["row"], found["column"], strict=True))


def readings(*rows, header="height"):
    return {"readings.csv": f"refeed,elapsed,{header}\n" + "".join(rows)}


def test_a_course_in_millimetres_stands(read, listed):
    assert listed(read(readings(course(COURSE)))) == []


@pytest.mark.parametrize("factor", [10, 0.1])
@pytest.mark.parametrize("place", range(len(COURSE)))
def test_a_single_height_in_another_unit(read, place, factor):
    typed = list(COURSE)
    typed[place] *= factor
    collection = read(readings(course(typed)))
    assert doubted(collection) == [("readings", place + 2, "height")]
    assert len(collection["readings"]) == len(COURSE)


@pytest.mark.parametrize("factor", [10, 0.1])
def test_a_whole_refeed_in_another_unit(read, factor):
    refeeds = "refeed,culture,fed_at\n1,Alba,2025-03-01 08:00\n2,Bea,2025-03-01 08:00\n3,Cleo,2025-03-01 08:00\n"
    typed = course(COURSE), course([height * factor for height in COURSE], "2"), course(COURSE, "3")
    collection = read({"refeeds.csv": refeeds, **readings(*typed)})
    assert doubted(collection) == [("readings", row, "height") for row in range(10, 18)]


@pytest.mark.parametrize(("header", "factor"), [("height", 0.1), ("height [cm]", 1)])
def test_a_whole_file_in_another_unit(read, header, factor):
    collection = read(readings(course([height * factor for height in COURSE]), header=header))
    assert len(doubted(collection)) == len(COURSE)


@pytest.mark.parametrize(("header", "cell"), [("start_height", "4.0"), ("start_height [cm]", "40")])
def test_a_start_height_in_another_unit(read, header, cell):
    refeeds = f"refeed,culture,fed_at,{header}\n1,Alba,2025-03-01 08:00,{cell}\n"
    collection = read({"refeeds.csv": refeeds, **readings(course(COURSE))})
    assert doubted(collection) == [("refeeds", 2, "start_height")]


@pytest.mark.parametrize("mark", ["15", "1500"])
def test_a_smear_line_in_another_unit(read, mark):
    rows = "".join(f"1,{i * 1.5},{height},\n" for i, height in enumerate(COURSE))
    collection = read({"readings.csv": f"refeed,elapsed,height,high_mark\n{rows}1,,,{mark}\n"})
    assert doubted(collection) == [("readings", 10, "high_mark")]


def test_two_heights_are_held_against_each_other(read):
    assert doubted(read(readings("1,0,45\n", "1,8,11\n"))) == []
    assert len(doubted(read(readings("1,0,45\n", "1,8,8\n")))) == 2


def test_a_strong_rise_over_night_is_no_doubt(read):
    assert doubted(read(readings("1,0,45\n", "1,9,180\n"))) == []


def test_a_refeed_without_readings_is_doubtful(read, listed):
    refeeds = "refeed,culture,fed_at\n1,Alba,2025-03-01 08:00\n2,Bea,2025-03-01 08:00\n3,Cleo,2025-03-01 08:00\n"
    collection = read({"refeeds.csv": refeeds, **readings("1,0,45\n", "3,0,tall\n")})
    assert listed(collection, "no readings") == [
        ("no readings", 3, "refeed", "warning"),
        ("no readings", 4, "refeed", "warning"),
    ]
    assert len(collection["refeeds"]) == 3
