"""A folder as people type it, with planted faults: all are listed, nothing is lost.

The folder ``planted`` beside this file can be opened in a spreadsheet. It has commas, semicolons and tabs, decimal
commas, a byte-order mark, an old encoding, a workbook, and units of several kinds. Its people and jars are invented.
"""

import datetime as dt
from pathlib import Path

import pandas as pd
import pytest
from scipy import constants

from leavenbench.records.collection import read_collection

PLANTED = Path(__file__).parent / "planted"
EXPECTED = [
    # table, file, row, column, severity: what was planted
    ("collection", "collection.toml", None, "roundgap_h", "warning"),  # a setting misspelt
    ("collection", "flour count.csv", None, "", "warning"),  # a table misspelt
    ("cultures", "cultures.csv", 1, "", "warning"),  # saved in an old encoding
    ("cultures", "cultures.csv", 3, "received", "error"),  # 31 February
    ("cultures", "cultures.csv", 3, "public", "error"),  # ja, for yes
    ("cultures", "cultures.csv", 4, "pass_ph", "error"),  # 42, for 4.2
    ("cultures", "cultures.csv", 5, "culture", "error"),  # Bruno stands twice
    ("flour_lots", "flour_lots.csv", 3, "moisture", "error"),  # 135, for 13.5
    ("flour_lots", "flour_lots.csv", 3, "received", "warning"),  # the year 2052
    ("refeeds", "refeeds.csv", 1, "Weather", "warning"),  # a column of the keeper's own
    ("refeeds", "refeeds.csv", 4, "start_height", "warning"),  # 45 mm under centimetres
    ("refeeds", "refeeds.csv", 5, "purpose", "error"),  # rond, for round
    ("refeeds", "refeeds.csv", 5, "flour", "error"),  # a negative mass
    ("refeeds", "refeeds.csv", 5, "lot", "warning"),  # a lot that nobody entered
    ("refeeds", "refeeds.csv", 6, "culture", "error"),  # Brnuo, for Bruno
    ("refeeds", "refeeds.csv", 7, "refeed", "error"),  # number 2 used again
    ("refeeds", "refeeds.csv", 8, "fed_at", "error"),  # yesterday
    ("refeeds", "refeeds.csv", 10, "fed_at", "warning"),  # no time of day
    ("refeeds", "refeeds.csv", 10, "refeed", "warning"),  # a refeed that nobody read
    ("refeeds", "refeeds.csv", 11, "refeed", "error"),  # no number
    ("refeeds", "refeeds.csv", 12, "vessel", "warning"),  # a jar that nobody entered
    ("readings", "readings/by_hand.csv", 4, "height", "warning"),  # 90 mm under centimetres
    ("readings", "readings/by_hand.csv", 5, "ph", "error"),  # 41, for 4.1
    ("readings", "readings/by_hand.csv", 6, "ph_method", "error"),  # dirct, for direct
    ("readings", "readings/by_hand.csv", 7, "", "warning"),  # the same refeed and time, another pH
    ("readings", "readings/by_hand.csv", 8, "elapsed", "error"),  # an hour before feeding
    ("readings", "readings/by_hand.csv", 9, "elapsed", "error"),  # after the next feeding in that jar
    ("readings", "readings/by_hand.csv", 12, "read_at", "error"),  # February, for March: nothing was running
    ("readings", "readings/by_hand.csv", 13, "", "error"),  # of no refeed, culture or vessel
    ("readings", "readings/by_hand.csv", 14, "refeed", "error"),  # both readings of Brnuo's refeed
    ("readings", "readings/by_hand.csv", 16, "refeed", "error"),  # a refeed that nobody entered
    ("readings", "readings/by_hand.csv", 18, "", "error"),  # a row without a reading
    ("readings", "readings/by_hand.csv", 19, "elapsed", "error"),  # about 5
    ("readings", "readings/by_hand.csv", 20, "ph", "warning"),  # pH 2.5
    ("readings", "readings/by_hand.csv", 21, "ph_method", "error"),  # a decimal comma without quotation marks ...
    ("readings", "readings/by_hand.csv", 21, "", "error"),  # ... made all later cells slip
    ("readings", "readings/by_hand.csv", 22, "culture", "warning"),  # Alba's name on Bruno's refeed
    ("readings", "readings/by_hand.csv", 23, "elapsed", "warning"),  # 0 hours, and an hour later by the clock
    ("readings", "readings/by_hand.csv", 23, "height", "warning"),  # held against the start height of row 4
    ("readings", "readings/logger.csv", 5, "temperature", "warning"),  # 250 degF
    ("readings", "readings/logger.csv", 6, "temperature", "warning"),  # the same ...
    ("readings", "readings/logger.csv", 6, "", "error"),  # ... in a row that stands twice
    ("vessels", "vessels.xlsx", 3, "inner_diameter", "error"),  # #N/A
    ("vessels", "vessels.xlsx", 4, "shape", "error"),  # strait, for straight
    ("store_log", "store_log.csv", 1, "temperature", "error"),  # a unit that is none
]


@pytest.fixture(scope="module")
def planted():
    return read_collection(PLANTED, today=dt.date(2026, 1, 1))


def test_every_planted_fault_is_listed_and_nothing_else(planted):
    rows = [None if pd.isna(row) else row for row in planted.problems["row"]]
    found = planted.problems
    listed = list(zip(found["table"], found["file"], rows, found["column"], found["severity"], strict=True))
    assert sorted(listed, key=str) == sorted(EXPECTED, key=str)


def test_every_problem_says_what_is_wrong_and_what_to_do(planted):
    assert (planted.problems[["rule", "message", "remedy"]].map(len) > 3).all(axis=None)


def test_nothing_is_lost(planted, nothing_is_lost):
    nothing_is_lost(planted)
    counts = planted.counts.set_index("table")
    assert counts["rows_in"].to_dict() == {
        "cultures": 4,
        "flour_lots": 2,
        "refeeds": 10,
        "readings": 28,
        "vessels": 4,
        "store_log": 1,
    }
    assert counts["rows_left_out"].to_dict() == {
        "cultures": 1,
        "flour_lots": 0,
        "refeeds": 4,
        "readings": 11,
        "vessels": 0,
        "store_log": 0,
    }
    assert counts["values_left_out"].to_dict() == {
        "cultures": 3,
        "flour_lots": 1,
        "refeeds": 2,
        "readings": 2,
        "vessels": 2,
        "store_log": 1,
    }


def test_what_is_sound_is_read_in_canonical_units(planted):
    refeeds = planted["refeeds"].set_index("refeed")
    assert refeeds["start_height_mm"].to_dict() == {"1": 45.0, "2": 450.0, "3": 44.0, "6": 45.0, "7": 45.0, "8": 45.0}
    assert refeeds["seed_g"].tolist() == [pytest.approx(0.7 * constants.oz * 1000)] * 6
    assert planted["flour_lots"]["mass_g"].tolist() == [25000.0, 10000.0]
    assert planted["vessels"]["volume_mL"].tolist() == [pytest.approx(720.0)] * 4
    assert (
        planted["vessels"]["inner_diameter_mm"].dropna().tolist() == [pytest.approx(2.84 * constants.inch * 1000)] * 3
    )
    assert planted["cultures"]["name"].tolist()[0] == "Alba aus der Mühle"
    readings = planted["readings"]
    assert readings["high_mark_mm"].dropna().tolist() == [132.0]
    assert readings.loc[readings["refeed"] == "8", "elapsed_h"].tolist() == [5.0]


def test_the_logger_ran_through_the_hour_that_autumn_repeats(planted):
    logged = planted["readings"][planted["readings"]["refeed"] == "6"]
    assert logged["elapsed_h"].tolist() == [5.5, 6.5, 7.5, 8.5, 9.5]
    assert logged["temperature_degC"].tolist()[:3] == [pytest.approx(25.0)] * 3
