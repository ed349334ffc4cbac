"""Rounds and steps, where they are not given."""

import pandas as pd
import pytest

START = pd.Timestamp("2025-03-01 08:00")


def refeeds(*hours, culture="Alba", purpose="", given=None):
    """Return a refeeds file with a refeed at each of these hours, and rounds and steps where given."""
    rows = [
        f"{culture}{i},{culture},{START + pd.Timedelta(hours=hour)},{purpose},{(given or {}).get(i, ',')}"
        for i, hour in enumerate(hours)
    ]
    return "refeed,culture,fed_at,purpose,round,step\n" + "\n".join(rows) + "\n"


@pytest.fixture
def numbered(read):
    def numbered(*files, **settings):
        toml = "".join(f"{key} = {value}\n" for key, value in settings.items())
        named = {f"refeeds/{i}.csv": file for i, file in enumerate(files)}
        collection = read({"collection.toml": toml, "refeeds.csv": None, "readings.csv": "refeed,elapsed\n", **named})
        rows = collection["refeeds"]
        return list(zip(rows["round"].fillna(-1), rows["step"].fillna(-1), strict=True)), collection.settings

    return numbered


def test_refeeds_closer_than_the_gap_form_a_round(numbered):
    """The gap is 96 h by default, and closer means closer: 96 h apart begins a new round."""
    assert numbered(refeeds(0, 24, 48, 1440, 1464))[0] == [(1, 1), (1, 2), (1, 3), (2, 1), (2, 2)]
    assert numbered(refeeds(0, 95.9))[0] == [(1, 1), (1, 2)]
    assert numbered(refeeds(0, 96))[0] == [(1, 1), (2, 1)]
    assert numbered(refeeds(0, 96), round_gap_h=97)[0] == [(1, 1), (1, 2)]


def test_order_in_the_file_does_not_matter(numbered):
    assert numbered(refeeds(1440, 24, 0))[0] == [(2, 1), (1, 2), (1, 1)]


def test_each_culture_has_its_own_rounds(numbered):
    assert numbered(refeeds(0, 24), refeeds(12, 36, culture="Bea"))[0] == [(1, 1), (1, 2), (1, 1), (1, 2)]


def test_tests_and_dispatches_count_as_no_step(numbered):
    both = refeeds(0, 24), refeeds(12, purpose="test").replace("Alba0", "T").replace("refeed,", "refeed,", 1)
    assert numbered(*both)[0] == [(1, 1), (1, 2), (-1, -1)]


def test_a_rescue_is_a_step(numbered):
    assert numbered(refeeds(0, 24, purpose="rescue"))[0] == [(1, 1), (1, 2)]


def test_what_is_given_stands(numbered):
    assert numbered(refeeds(0, 24, 48, given={0: "7,1", 1: "7,2", 2: "7,5"}))[0] == [(7, 1), (7, 2), (7, 5)]


def test_counting_goes_on_from_what_is_given(numbered):
    assert numbered(refeeds(0, 1440, 1464, 2880, given={1: "7,"}))[0] == [(6, 1), (7, 1), (7, 2), (8, 1)]


def test_a_given_round_may_hold_a_longer_gap(numbered):
    assert numbered(refeeds(0, 120, 1440, given={0: "3,", 1: "3,"}))[0] == [(3, 1), (3, 2), (4, 1)]


def test_two_given_rounds_may_follow_closely(numbered):
    assert numbered(refeeds(0, 24, 48, 72, given={0: "1,", 1: "1,", 2: "2,", 3: "2,"}))[0] == [
        (1, 1),
        (1, 2),
        (2, 1),
        (2, 2),
    ]


def test_the_records_tell_how_far_apart_rounds_are_and_how_many_steps_they_have(numbered):
    _, settings = numbered(refeeds(0, 24, 1200, 1224, 1248, 2640), refeeds(0, culture="Bea"))
    # Gaps of 50 and 60 days; rounds of 2, 3 and 1 steps.
    assert settings.round_days == 55.0
    assert settings.steps_per_round == 2.0


def test_until_there_are_two_rounds_the_defaults_hold(numbered):
    _, settings = numbered(refeeds(0, 24))
    assert (settings.round_days, settings.steps_per_round) == (60.0, 3.0)


def test_what_the_collection_says_goes_before_the_records(numbered):
    _, settings = numbered(refeeds(0, 1200), round_days=42, steps_per_round=4)
    assert (settings.round_days, settings.steps_per_round) == (42.0, 4.0)
