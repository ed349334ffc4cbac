"""What a typed cell means."""

import pandas as pd
import pytest
from scipy import constants

from leavenbench.columns import TABLES
from leavenbench.records.cells import read_choice, read_numbers, read_text, read_yes_no

READINGS, REFEEDS = TABLES["readings"].by_name, TABLES["refeeds"].by_name
HEIGHT, ELAPSED, PH = READINGS["height"], READINGS["elapsed"], READINGS["ph"]


def cells(*typed):
    return pd.Series(typed, dtype="str")


def broken(findings):
    """Return the rules that cells break, each with the cells' places."""
    return {found.rule: list(found.cells[found.cells].index) for found in findings if found.cells.any()}


def number(column, unit, *typed):
    values, findings = read_numbers(column, cells(*typed), unit)
    return values.tolist(), broken(findings)


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("45", 45.0),
        ("4.5", 4.5),
        ("4,5", 4.5),
        ("+4,5", 4.5),
        (",5", 0.5),
        ("1e2", 100.0),
        ("1.234,5", 1234.5),
        ("1,234.5", 1234.5),
        ("1'234.5", 1234.5),
        ("1’234,5", 1234.5),
        ("1 234,5", 1234.5),
        ("1\u00a0234,5", 1234.5),
        ("1\u202f234\u202f567", 1234567.0),
        ("1,234,567", 1234567.0),
        ("4,5 cm", 45.0),
        ("4.5cm", 45.0),
        ("45mm", 45.0),
    ],
)
def test_numbers_as_people_write_them(typed, meant):
    assert number(HEIGHT, "mm", typed) == ([pytest.approx(meant)], {})


def test_a_typographic_minus_is_a_minus():
    assert number(TABLES["store_log"].by_name["temperature"], "degC", "\u221218") == ([-18.0], {})


@pytest.mark.parametrize("typed", ["", "-", "–", "n/a", "NaN", "None", "."])
def test_nothing_noted_is_no_fault(typed):
    values, faults = number(HEIGHT, "mm", typed)
    assert pd.isna(values).all()
    assert faults == {}


@pytest.mark.parametrize("typed", ["high", "4,5,6", "4..5", "inf", "~45", "45?", "True", "#N/A"])
def test_what_is_no_number_is_left_out_and_listed(typed):
    values, faults = number(HEIGHT, "mm", typed, "45")
    assert values[1] == 45.0
    assert pd.isna(values[0])
    assert faults == {"number": [0]}


@pytest.mark.parametrize("typed", ["45 furlongs per fortnight", "45 g", "0x10", "4 m**9**9**9"])
def test_a_unit_that_does_not_fit_is_left_out_and_listed(typed):
    values, faults = number(HEIGHT, "mm", typed)
    assert pd.isna(values).all()
    assert faults == {"unit": [0]}


def test_a_comma_before_three_digits_is_asked_about():
    """1,250 g of flour is a thousand to some and one and a quarter to others."""
    flour = REFEEDS["flour"]
    values, faults = number(flour, "g", "1,250")
    assert pd.isna(values).all()
    assert faults == {"ambiguous number": [0]}
    # Beside other decimal commas, or where the greater number cannot be, it is a decimal.
    assert number(flour, "g", "1,250", "12,5")[0] == [1.25, 12.5]
    assert number(PH, "", "4,125") == ([4.125], {})
    assert number(flour, "g", "0,250") == ([0.25], {})


def test_a_point_before_three_digits_is_a_decimal_unless_commas_are():
    flour = REFEEDS["flour"]
    assert number(flour, "g", "1.250", "12.5") == ([1.25, 12.5], {})
    values, faults = number(flour, "g", "1.250", "12,5")
    assert pd.isna(values[0])
    assert faults == {"ambiguous number": [0]}


@pytest.mark.parametrize(
    ("column", "unit", "typed", "meant"),
    [
        # Inch and avoirdupois ounce and pound: scipy.constants, after NIST SP 811.
        (HEIGHT, "inch", "2", 2 * constants.inch * 1000),
        (REFEEDS["flour"], "oz", "3", 3 * constants.oz * 1000),
        (REFEEDS["flour"], "lb", "3", 3 * constants.pound * 1000),
        (READINGS["volume"], "fl oz", "3", 3 * constants.fluid_ounce * 1e6),
        (READINGS["temperature"], "degF", "77", constants.convert_temperature(77.0, "Fahrenheit", "Celsius")),
        (READINGS["temperature"], "°F", "77,5", constants.convert_temperature(77.5, "Fahrenheit", "Celsius")),
        (READINGS["temperature"], "K", "298.15", constants.convert_temperature(298.15, "Kelvin", "Celsius")),
        (ELAPSED, "min", "90", 90 * constants.minute / constants.hour),
        (ELAPSED, "days", "2", 2 * constants.day / constants.hour),
        # Decimal prefixes and degrees Celsius by definition.
        (HEIGHT, "cm", "4,5", 45.0),
        (HEIGHT, "Cm", "4,5", 45.0),
        (READINGS["titrant"], "mmol/L", "100", 0.1),
        (READINGS["titrant"], "M", "0.1", 0.1),
        (READINGS["temperature"], "C", "24", 24.0),
        (READINGS["temperature"], "º C", "24", 24.0),
        (READINGS["volume"], "cm³", "200", 200.0),
        (READINGS["volume"], "ML", "200", 200.0),
        # "gr" is the gram to a baker; the grain of apothecaries has no place here (common practice, no source).
        (REFEEDS["flour"], "gr", "40", 40.0),
    ],
)
def test_units_are_converted(column, unit, typed, meant):
    values, faults = number(column, unit, typed)
    assert values == [pytest.approx(meant, rel=1e-12)]
    assert faults == {}


def test_a_cell_may_carry_a_unit_of_its_own():
    assert number(HEIGHT, "cm", "4,5", "45 mm", "2 in") == ([45.0, 45.0, pytest.approx(50.8)], {})
    assert number(READINGS["rise"], "%", "150 %") == ([150.0], {})


@pytest.mark.parametrize(
    ("typed", "hours"), [("2:30", 2.5), ("26:15", 26.25), ("0:00:36", 0.01), ("2:30 h", 2.5), ("90 min", 1.5)]
)
def test_elapsed_hours_may_be_written_as_on_a_clock(typed, hours):
    assert number(ELAPSED, "h", typed) == ([pytest.approx(hours)], {})


def test_a_clock_under_minutes_is_no_number():
    """2:30 under a header in minutes may mean minutes and seconds."""
    assert number(ELAPSED, "min", "2:30")[1] == {"number": [0]}


def test_numbers_stay_numbers():
    whole = pd.Series([45, None], dtype="Int64")
    values, findings = read_numbers(HEIGHT, whole, "cm")
    assert values.tolist()[0] == 450.0
    assert values.isna().tolist() == [False, True]
    assert broken(findings) == {}


def test_words_are_stripped_and_in_one_form():
    """An umlaut may be one sign or two (Unicode normal form C)."""
    words, _ = read_text(cells("  Mu\u0308hle ", "Mühle", "", "-"))
    assert words.tolist()[:2] == ["Mühle", "Mühle"]
    assert words.isna().tolist() == [False, False, True, False]


@pytest.mark.parametrize(
    "typed", [pd.Series([1.0, 2.0, None]), pd.Series([1, 2, None], dtype="Int64"), cells("1", "2", "")]
)
def test_a_number_may_be_a_name(typed):
    words, findings = read_text(typed)
    assert words.tolist()[:2] == ["1", "2"]
    assert words.isna().tolist() == [False, False, True]
    assert broken(findings) == {}


def test_a_formula_without_a_result_is_no_name():
    words, findings = read_text(cells("#N/A", "#REF!", "=A2&B2", "#4", "=> warm", "Alba"))
    assert words.dropna().tolist() == ["#4", "=> warm", "Alba"]
    assert broken(findings) == {"formula": [0, 1, 2]}


def test_yes_and_no():
    answers, findings = read_yes_no(cells("yes", "Y", "TRUE", "1", "no", "False", "0", "", "-", "perhaps"))
    assert answers.tolist()[:7] == [True, True, True, True, False, False, False]
    assert answers.isna().tolist()[7:] == [True, True, True]
    assert broken(findings) == {"yes or no": [9]}


def test_one_of_a_few_words():
    kinds = TABLES["backups"].by_name["kind"].choices
    known, findings = read_choice(cells("whole_frozen", "Whole Frozen", " whole-dried ", "whole frozn", ""), kinds)
    assert known.dropna().tolist() == ["whole_frozen", "whole_frozen", "whole_dried"]
    assert broken(findings) == {"known word": [3]}
    assert findings[0].remedy[3] == "write whole_frozen"
