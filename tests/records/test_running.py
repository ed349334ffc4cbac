"""Which refeed a reading belongs to, and how long each refeed runs."""

import pytest


def read_at(*rows, header="culture,vessel,read_at,ph"):
    return {"readings.csv": header + "\n" + "".join(f"{row},{5 - i / 10}\n" for i, row in enumerate(rows))}


def refeeds(*rows):
    return {"refeeds.csv": "refeed,culture,fed_at,vessel,purpose\n" + "".join(f"{row}\n" for row in rows)}


def placed(collection):
    rows = collection["readings"]
    return dict(zip(rows["row"], rows["refeed"], strict=True))


FED = refeeds(
    "1,Alba,2025-03-01 08:00,,", "2,Alba,2025-03-02 08:00,,", "3,Bea,2025-03-01 08:00,V,", "4,Bea,2025-03-02 08:00,W,"
)


def test_a_reading_belongs_to_the_refeed_that_was_running(read, listed):
    rows = ["Alba,,2025-03-01 08:00", "Alba,,2025-03-02 07:59", "Alba,,2025-03-02 08:01", "Bea,,2025-03-02 09:00"]
    collection = read(FED | read_at(*rows))
    assert placed(collection) == {2: "1", 3: "1", 4: "2", 5: "4"}
    assert collection["readings"]["elapsed_h"].round(4).tolist() == [0.0, 23.9833, 0.0167, 1.0]
    assert listed(collection, "known place") == []


def test_at_the_moment_of_feeding_an_unnamed_reading_is_the_first_of_the_new(read):
    assert placed(read(FED | read_at("Alba,,2025-03-02 08:00"))) == {2: "2"}


def test_a_vessel_tells_which_jar(read):
    """Bea's first jar still runs in V while her second one stands in W."""
    rows = ["Bea,V,2025-03-02 09:00", "Bea,W,2025-03-02 09:00", ",V,2025-03-02 10:00", ",W,2025-03-02 10:00"]
    assert placed(read(FED | read_at(*rows))) == {2: "3", 3: "4", 4: "3", 5: "4"}


def test_a_vessel_that_the_refeed_does_not_note_is_no_obstacle(read):
    assert placed(read(FED | read_at("Alba,X,2025-03-01 09:00"))) == {2: "1"}


@pytest.mark.parametrize("row", ["Bea,X,2025-03-02 09:00", "Alba,,2025-03-01 07:59", ",X,2025-03-02 09:00"])
def test_where_nothing_was_running_the_reading_is_left_out(read, listed, row):
    collection = read(FED | read_at(row))
    assert collection["readings"].empty
    assert listed(collection, "known place") == [("known place", 2, "read_at", "error")]


def test_a_reading_that_names_nothing_or_no_time_is_left_out(read, listed):
    readings = "culture,read_at,elapsed,ph\n,2025-03-01 09:00,,5\nAlba,,3,5\n"
    collection = read(FED | {"readings.csv": readings})
    assert collection["readings"].empty
    assert listed(collection, "known place") == [("known place", 2, "", "error"), ("known place", 3, "", "error")]


def test_a_refeed_runs_until_the_next_in_the_same_vessel(read, listed):
    fed = refeeds("1,Alba,2025-03-01 08:00,V,", "2,Alba,2025-03-02 08:00,W,", "3,Bea,2025-03-03 08:00,V,")
    collection = read(fed | {"readings.csv": "refeed,elapsed,ph\n1,47,5\n1,48,5\n1,48.1,5\n2,1000,5\n3,1,5\n"})
    assert collection["readings"]["row"].tolist() == [2, 3, 5, 6]
    assert listed(collection) == [("within the refeed", 4, "elapsed", "error")]


def test_where_no_vessel_is_noted_until_the_cultures_next_that_moment_included(read, listed):
    readings = (
        "refeed,read_at,ph\n1,2025-03-02 08:00,5\n1,2025-03-02 08:01,5\n1,2025-03-01 07:59,5\n2,2025-04-01 08:00,5\n"
    )
    collection = read(FED | {"readings.csv": readings})
    assert collection["readings"]["row"].tolist() == [2, 5]
    assert listed(collection, "within the refeed") == [
        ("within the refeed", 3, "read_at", "error"),
        ("within the refeed", 4, "read_at", "error"),
    ]


@pytest.mark.parametrize("purpose", ["test", "dispatch"])
@pytest.mark.parametrize("vessel", ["", "V"])
def test_tests_and_dispatches_run_beside_and_end_nothing(read, listed, purpose, vessel):
    fed = refeeds(
        f"1,Alba,2025-03-01 08:00,{vessel},",
        f"2,Alba,2025-03-01 20:00,{vessel},{purpose}",
        "3,Alba,2025-03-03 08:00,,rescue",
    )
    collection = read(fed | {"readings.csv": "refeed,elapsed,ph\n1,13,5\n1,40,5\n2,5,5\n3,1,5\n"})
    assert len(collection["readings"]) == 4
    assert listed(collection) == []
    assert collection["refeeds"]["step"].fillna(0).tolist() == [1, 0, 2]
    assert collection["refeeds"]["round"].fillna(0).tolist() == [1, 0, 1]


def test_a_rescue_ends_the_refeed_before(read, listed):
    fed = refeeds("1,Alba,2025-03-01 08:00,,", "2,Alba,2025-03-02 08:00,,rescue")
    collection = read(fed | {"readings.csv": "refeed,elapsed,ph\n1,25,5\n2,1,5\n"})
    assert listed(collection, "within the refeed") == [("within the refeed", 2, "elapsed", "error")]


def test_a_test_without_a_vessel_runs_until_the_cultures_next_round(read, listed):
    fed = refeeds("1,Alba,2025-03-01 08:00,,test", "2,Alba,2025-03-02 08:00,,test", "3,Alba,2025-03-03 08:00,,")
    collection = read(fed | {"readings.csv": "refeed,elapsed,ph\n1,48,5\n1,49,5\n2,24,5\n2,25,5\n3,1,5\n"})
    assert collection["readings"]["row"].tolist() == [2, 4, 6]


def test_beside_a_test_a_reading_that_names_only_the_culture_is_ambiguous(read, listed):
    fed = refeeds(
        "1,Alba,2025-03-01 08:00,V,",
        "2,Alba,2025-03-01 12:00,T,test",
        "3,Alba,2025-03-02 08:00,T,",
        "4,Bea,2025-03-01 08:00,,",
    )
    rows = [
        "Alba,,2025-03-01 11:59",
        "Alba,,2025-03-01 12:00",
        "Alba,,2025-03-02 08:00",
        "Alba,,2025-03-02 08:01",
        "Alba,V,2025-03-01 13:00",
        "Alba,T,2025-03-01 13:00",
        ",T,2025-03-01 14:00",
        "Bea,,2025-03-01 13:00",
    ]
    collection = read(fed | read_at(*rows))
    assert placed(collection) == {2: "1", 5: "3", 6: "1", 7: "2", 8: "2", 9: "4"}
    assert listed(collection) == [("one refeed", 3, "culture", "error"), ("one refeed", 4, "culture", "error")]


def test_a_short_test_within_a_long_one_does_not_hide_it(read, listed):
    """The first test runs until its vessel is used again, longer than the second."""
    fed = refeeds(
        "1,Alba,2025-03-01 08:00,,",
        "2,Alba,2025-03-01 10:00,L,test",
        "3,Alba,2025-03-01 11:00,S,test",
        "4,Bea,2025-03-01 12:00,S,",
        "5,Bea,2025-03-01 16:00,L,",
    )
    collection = read(fed | read_at("Alba,,2025-03-01 14:00", "Alba,,2025-03-01 17:00"))
    assert placed(collection) == {3: "1"}
    assert listed(collection, "one refeed") == [("one refeed", 2, "culture", "error")]


def test_readings_of_a_refeed_that_was_left_out_are_listed_once(read, listed):
    fed = {"refeeds.csv": "refeed,culture,fed_at\n1,Alba,2025-03-01 08:00\n2,Alba,someday\n3,,2025-03-01 08:00\n"}
    readings = "refeed,elapsed,ph\n1,0,5\n2,0,5\n2,1,4.9\n2,2,4.8\n3,0,5\n"
    collection = read(fed | {"readings.csv": readings})
    assert listed(collection, "refeed left out") == [
        ("refeed left out", 3, "refeed", "error"),
        ("refeed left out", 6, "refeed", "error"),
    ]
    assert (
        "3"
        in collection.problems.loc[
            collection.problems["row"].eq(3) & collection.problems["table"].eq("readings"), "message"
        ].item()
    )
    counts = collection.counts.set_index("table").loc["readings"]
    assert (counts["rows_in"], counts["rows_kept"], counts["rows_left_out"]) == (5, 1, 4)


def test_when_every_refeed_is_left_out_so_are_all_readings(read, listed):
    collection = read({"refeeds.csv": "refeed,culture,fed_at\n1,Alba,someday\n"})
    assert collection.counts["rows_left_out"].tolist() == [1, 2]


def test_a_reading_that_contradicts_its_refeed_is_doubtful(read, listed):
    readings = "refeed,culture,vessel,elapsed,ph\n3,Bea,V,0,5\n3,Alba,,1,5\n3,,W,2,5\n1,Alba,X,0,5\n"
    collection = read(FED | {"readings.csv": readings})
    assert len(collection["readings"]) == 4
    assert listed(collection, "one place") == [
        ("one place", 3, "culture", "warning"),
        ("one place", 4, "vessel", "warning"),
    ]


def test_a_test_whose_jar_nobody_feeds_again_is_over_with_the_cultures_next_round(read, listed):
    fed = refeeds(
        "1,Alba,2025-03-01 08:00,V,",
        "2,Alba,2025-03-01 12:00,T,test",
        "3,Alba,2025-03-02 08:00,W,",
        "4,Alba,2025-05-01 08:00,V,",
    )
    rows = ["Alba,,2025-03-02 09:00", "Alba,,2025-04-30 09:00", "Alba,,2025-05-01 09:00"]
    collection = read(fed | read_at(*rows))
    assert placed(collection) == {4: "4"}
    assert [problem[1] for problem in listed(collection, "one refeed")] == [2, 3]
