"""Whoever has not agreed is nowhere: whatever way their name, contact or place is written, in whatever table."""

from __future__ import annotations

import time
import unicodedata

import pandas as pd
import pytest

from leavenbench.report.privacy import GRID_DEG, withheld
from leavenbench.report.secret_words import secrets_in


@pytest.mark.parametrize(
    ("written", "shown"),
    [
        ("Merrit Oskell brought it", "withheld brought it"),
        ("Oskell, Merrit", "withheld"),
        ("OSKELL", "withheld"),
        ("Oskells Roggen", "withheld Roggen"),
        ("altoskellrye", "altwithheldrye"),
        ("Merrit\nOskell", "withheld"),
        ("Os-\n  kell", "withheld"),
        ("Merrit  \t Oskell's", "withheld's"),
        ("Merrit's jar, Merrits Krug", "withheld's jar, withheld Krug"),
        ("demerits, merritocracy", "demerits, merritocracy"),  # a short given name counts as a whole word alone
        ("M. Oskell, M Oskell; Merr. Oskell", "withheld, withheld; withheld"),
        ("Oskell M., so Oskell, M", "withheld, so withheld"),
        ("asked M.O. and m. o.", "asked withheld and withheld"),
        ("from Oskell made rye", "from withheld made rye"),
        ("merritoskell-rye, MerritOskell1", "withheld-rye, withheld1"),
        ("O\u00adskell", "withheld"),  # a soft hyphen is not seen
        ("nobody", "nobody"),
        ("", ""),
    ],
)
def test_a_name_is_found_however_it_is_written(written, shown):
    assert secrets_in(names=["Oskell, Merrit"]).taken_out(written) == shown


def test_initials_that_mean_something_else_stay():
    hidden = secrets_in(names=["Moss, Pia", "O'Hara, Ilvette"])
    assert hidden.taken_out("fed at 8 p.m. by P. Moss for OHara") == "fed at 8 p.m. by withheld for withheld"


@pytest.mark.parametrize("form", ["NFC", "NFD"])
@pytest.mark.parametrize("written", ["Jörg Müllér", "JORG MULLER", "Joerg Mueller", "Müller", "mueller"])
def test_accents_do_not_matter_whether_composed_or_not(written, form):
    hidden = secrets_in(names=["Jörg Müllér"])
    assert hidden.taken_out(f"by {unicodedata.normalize(form, written)}, once") == "by withheld, once"


@pytest.mark.parametrize("name", ["A.* (B+)", "[Kern]", "Wo\\dka^$", "O'Hara|Lee", "Łukasz Żółć", "李小龍"])
def test_signs_of_patterns_and_other_scripts_are_letters_like_others(name):
    shown = secrets_in(names=[name]).taken_out(f"from {name}; and wodka")
    assert name not in shown
    assert shown.startswith("from ")
    assert "withheld" in shown
    assert shown.endswith("wodka")


@pytest.mark.parametrize("empty", [[], [""], ["   "], ["-"], [","]])
def test_an_empty_name_replaces_nothing(empty):
    hidden = secrets_in(keys=empty, names=empty, contacts=empty, places=empty)
    assert hidden.taken_out("a jar, - and all") == "a jar, - and all"


@pytest.mark.parametrize(
    "written",
    ["+43 664 123 45 67", "0664/1234567", "(0664) 123-4567", "0043.664.1234567", "ask m.oskell@mail.example",
     "IVY ROW 11", "Ivy  Row\n11", "ivy row 11, Wexelfoot", "ivyrow11", "Ivy Row", "m.oskell (at) mail dot example",
     "ask m.oskell"],
)  # fmt: skip
def test_a_contact_is_found_however_it_is_written(written):
    contact = "Ivy Row 11, 3100 Wexelfoot, +43 (664) 1234567, m.oskell@mail.example"
    shown = secrets_in(contacts=[contact]).taken_out(f"see {written}!")
    assert shown.startswith(("see withheld", "see ask withheld"))
    assert not any(part in shown for part in ("123", "Row", "row", "mail"))


def test_a_town_by_itself_and_other_numbers_stay():
    hidden = secrets_in(contacts=["Ivy Row 11, 3100 Wexelfoot, Wexelfoot; 0664 1234567; info@mail.example"])
    kept = "a mill in Wexelfoot, box 11, 1234567890 g, 2024-12-13, some info"
    assert hidden.taken_out(kept) == kept


@pytest.mark.parametrize(
    "written", ["47.512345", "47,5123", "47.51", "47.5100", "47°30'44\"", "47° 31'", "13.70", "13° 42.0", "-13,70012"]
)
def test_an_exact_place_is_found_however_it_is_written(written):
    """47.5123 degrees are 47° 30' 44'', and 13.7001 are 13° 42' 0'' (by 60 minutes to the degree)."""
    shown = secrets_in(numbers=["47.5123", "13.7001"]).taken_out(f"at {written} N")
    assert shown.startswith(("at withheld", "at -withheld"))


def test_numbers_that_are_no_place_stay():
    hidden = secrets_in(numbers=["47.5123", "4.5123", "13.7"])
    kept = "pH 4.51, 13.7 g, 47 g, 147.51 g, 47.5 %, 2024-04-47"
    assert hidden.taken_out(kept) == kept


def test_words_of_the_trade_are_no_secret_but_the_rest_of_a_firms_name_is():
    hidden = secrets_in(names=["Oskell Family Bakery"])
    assert hidden.taken_out("The Mill Bakery, family Oskell; Oskell family bakery") == (
        "The Mill Bakery, family withheld; withheld"
    )


def test_a_key_is_a_word_by_itself_and_one_of_the_trade_tells_nobody():
    hidden = secrets_in(keys=["house", "lund", "merritosk"])
    assert hidden.taken_out("Gatehouse, the house, Underhill lundi; Lund, lund-2, amerritosk") == (
        "Gatehouse, the house, Underhill lundi; withheld, withheld-2, awithheld"
    )


def test_long_hostile_texts_take_no_time():
    hidden = secrets_in(names=["Oskell, Merrit"], contacts=["+43 664 1234567", "Ivy Row 11, Wexelfoot"])
    begin = time.perf_counter()
    for text in ("o" * 20_000, "os\n" * 10_000, "1 " * 5_000, "merrit" * 5_000, "é" * 20_000):
        assert hidden.taken_out(text) == text
    assert time.perf_counter() - begin < 20.0


@pytest.fixture
def shelf(make_collection):
    """Oskell has not agreed and Torrand has; Nyx has no row at all."""
    return make_collection(
        cultures={
            "culture": ["Oskell 1", "Vreel 1", "Alba"],
            "name": ["Merrit Oskell's rye", None, "as Nyx made it"],
            "origin": ["a kitchen in Wexelfoot", "the ferry, Dunmarrow", "the ferry, Dunmarrow"],
            "latitude": [47.5123, -0.25, 89.99],
            "longitude": [-13.7001, 179.9, -180.0],
            "depositor": ["oskell", "torrand", "Nyx"],
            "public": [False, True, None],
        },
        depositors={
            "depositor": ["oskell", "vreel", "torrand"],
            "name": ["Oskell, Merrit", "Vreel, Anscha", "Torrand, Ilvette"],
            "contact": ["Ivy Row 11, Wexelfoot", "0664 1234567", "Salt Lane 4"],
            "public": [False, None, True],
        },
        flours={"flour": ["rye"], "grain": ["rye"], "supplier": ["OSKELL mill"]},
        events={
            "event": ["E1"],
            "culture": ["Oskell 1"],
            "kind": ["lost"],
            "source": ["K-oskell"],
            "reason": ["as in a kitchen in\nWexelfoot, at 47.51230 N, 13,7001 W"],
        },
        refeeds={
            "refeed": ["oskell-1", "vreel-1", "withheld-1"],
            "culture": ["Oskell 1", "Vreel 1", "Alba"],
            "note": ["Anscha VREEL helped", None, "Torrand looked on"],
            "smell": ["like \x00 apples", None, None],
        },
        readings={"refeed": ["oskell-1", "vreel-1", "withheld-1", "gone-vreel"], "elapsed_h": [0.0, 1.0, 2.0, 3.0]},
        backups={"backup": ["K-oskell", "K-vreel"], "culture": ["Oskell 1", "Vreel 1"], "site": ["at Vreel's", None]},
        dispatches={"dispatch": ["D1"], "culture": ["Vreel 1"], "to": ["Oskell, Merrit (0664-123 45 67)"]},
    )


def words_of(collection):
    """Return every text of every table, of the problems and of the settings."""
    tables = [*collection.tables.values(), collection.problems]
    texts = [str(value) for table in tables for name in table for value in table[name].dropna()]
    return "\n".join([*texts, collection.settings.title, str(collection.folder)]).casefold()


def test_nobody_who_has_not_agreed_is_in_any_table(shelf):
    told = words_of(withheld(shelf))
    for secret in ("oskell", "merrit", "vreel", "anscha", "nyx", "ivy row", "1234567", "kitchen", "47.512", "13.7"):
        assert secret not in told
    for known in ("torrand", "salt lane 4", "dunmarrow", "alba"):
        assert known in told
    assert "\x00" not in told


def test_everyone_is_withheld_when_asked(shelf):
    told = words_of(withheld(shelf, everyone=True))
    assert "torrand" not in told
    assert "salt lane" not in told


def test_names_stay_apart_and_the_same_in_all_tables(shelf):
    hidden = withheld(shelf)
    assert hidden["cultures"]["culture"].tolist() == ["withheld 1", "withheld 1 (2)", "Alba"]
    assert hidden["refeeds"]["culture"].tolist() == ["withheld 1", "withheld 1 (2)", "Alba"]
    assert hidden["refeeds"]["refeed"].tolist() == ["withheld-1 (2)", "withheld-1 (3)", "withheld-1"]
    assert hidden["readings"]["refeed"].tolist()[:3] == hidden["refeeds"]["refeed"].tolist()
    assert hidden["readings"]["refeed"].iloc[3] == "gone-withheld"
    assert hidden["backups"]["backup"].tolist() == ["K-withheld", "K-withheld (2)"]
    assert hidden["events"]["source"].tolist() == ["K-withheld"]
    assert hidden["depositors"]["depositor"].is_unique


def test_only_open_places_stand_exactly(shelf):
    cultures = withheld(shelf)["cultures"]
    assert cultures["origin"].tolist() == ["withheld", "the ferry, Dunmarrow", "withheld"]
    assert cultures["latitude"].tolist() == [47.5, -0.25, 89.5]
    assert cultures["longitude"].tolist() == [-13.5, 179.9, -179.5]
    assert GRID_DEG == 1.0


def test_the_callers_tables_are_as_they_were_and_types_hold(shelf):
    before = {name: table.copy() for name, table in shelf.tables.items()}
    hidden = withheld(shelf)
    for name, table in before.items():
        pd.testing.assert_frame_equal(shelf[name], table)
        assert hidden[name].dtypes.equals(table.dtypes)
        assert len(hidden[name]) == len(table)


def test_a_depositor_called_rye_takes_the_flour_along_and_nothing_breaks(make_collection):
    shelf = make_collection(
        depositors={"depositor": ["rye"], "name": ["Rye"], "public": [False]},
        cultures={"culture": ["Ryegate", "Alba"], "flour": ["rye", "spelt"]},
        flours={"flour": ["rye", "spelt"], "grain": ["rye", "spelt"], "name": ["medium rye flour", "fryed"]},
    )
    hidden = withheld(shelf)
    assert hidden["cultures"]["flour"].tolist() == hidden["flours"]["flour"].tolist() == ["withheld", "spelt"]
    assert hidden["flours"]["name"].tolist() == ["medium withheld flour", "fryed"]
    assert hidden["cultures"]["culture"].tolist() == ["Ryegate", "Alba"]  # three letters are looked for as a word


def test_a_depositor_called_like_one_of_our_own_words_changes_no_meaning(make_collection):
    shelf = make_collection(
        depositors={"depositor": ["round"], "name": ["Cold, Lost"], "public": [False]},
        refeeds={"refeed": ["1"], "culture": ["Alba"], "purpose": ["round"], "note": ["the cold one"]},
        stores={"store": ["cellar"], "kind": ["cold"], "name": ["Cold's cellar"]},
        events={"event": ["E1"], "culture": ["Alba"], "kind": ["lost"], "reason": ["lost"]},
    )
    hidden = withheld(shelf)
    assert hidden["refeeds"]["purpose"].tolist() == ["round"]
    assert hidden["stores"]["kind"].tolist() == ["cold"]
    assert hidden["events"]["kind"].tolist() == ["lost"]
    assert hidden["refeeds"]["note"].tolist() == ["the withheld one"]
    assert hidden["stores"]["name"].tolist() == ["withheld's cellar"]
    assert hidden["events"]["reason"].tolist() == ["withheld"]


def test_an_empty_collection_is_shown_as_it_is(make_collection):
    hidden = withheld(make_collection())
    assert all(table.empty for table in hidden.tables.values())
    assert hidden.settings.title == "test"
