"""The true course of vigour: what the stories say, and chance of the size asked for."""

import numpy as np
import pytest

from leavenbench.simulate.culture.course import true_course, wander
from leavenbench.simulate.culture.stories import ACID_COURSES, COURSES, DEAD, Story, told


def test_every_story_begins_at_its_onset_and_loses_what_it_says():
    # By the definition of each story: (1 - percent/100) once per round, or once.
    assert np.exp(told(Story("steady"), 5)) == pytest.approx([1, 1, 1, 1, 1])
    assert np.exp(told(Story("ramp", onset=3, percent=5), 5)) == pytest.approx([1, 1, 0.95, 0.95**2, 0.95**3])
    accelerating = np.exp(told(Story("accelerating", onset=3, percent=2), 5))
    assert accelerating == pytest.approx([1, 1, 0.98, 0.98**3, 0.98**6])  # 1, 1 + 2 and 1 + 2 + 3 losses
    assert np.exp(told(Story("step", onset=4, percent=25), 5)) == pytest.approx([1, 1, 1, 0.75, 0.75])
    dip = np.exp(told(Story("dip", onset=2, percent=30, within=4), 7))
    assert dip == pytest.approx([1, 0.7, 0.7**0.75, 0.7**0.5, 0.7**0.25, 1, 1])
    assert told(Story("death", onset=2), 3) == pytest.approx([0, DEAD, DEAD])


def test_a_rescued_culture_falls_until_it_is_rescued_and_heals():
    story = Story("rescue", onset=2, percent=10, turns_after=3, within=2)
    assert story.turns_in == 4
    assert np.exp(told(story, 7)) == pytest.approx([1, 0.9, 0.9**2, 0.9**3, 0.9**1.5, 1, 1])


def test_a_restored_culture_comes_back_at_four_fifths_and_regains_the_rest():
    story = Story("death", onset=2, turns_after=2, within=2)
    assert told(story, 6) == pytest.approx([0, DEAD, DEAD, np.log(0.8), np.log(0.8) / 2, 0])


def test_a_culture_taken_over_rises_better_and_sours_slower():
    story = Story("takeover", onset=2, percent=40, gain_percent=25, within=2)
    assert np.exp(told(story, 4)) == pytest.approx([1, 1.25**0.5, 1.25, 1.25])
    assert np.exp(told(story, 4, ACID_COURSES)) == pytest.approx([1, 0.6**0.5, 0.6, 0.6])


@pytest.mark.parametrize("kind", sorted(set(COURSES) - {"takeover"}))
def test_in_every_other_story_the_souring_follows_the_rise(kind):
    story = Story(kind, onset=2, percent=20, turns_after=2, within=2)
    assert told(story, 8).tolist() == told(story, 8, ACID_COURSES).tolist()


def test_an_unknown_story_and_a_rescue_that_never_comes_are_refused():
    with pytest.raises(ValueError, match="'vanish' is no story; the stories are steady, ramp"):
        Story("vanish")
    with pytest.raises(ValueError, match="a rescue needs turns_after"):
        Story("rescue", percent=10)


def test_wander_has_the_sd_and_carry_over_asked_for():
    sd, carry_over, rounds = np.linspace(0.05, 0.12, 50), 0.3, 400
    series = wander(sd, rounds, carry_over, np.random.default_rng(11)) / sd[:, None]
    fresh = series[:, 1:] - carry_over * series[:, :-1]
    # Innovations of an AR(1) series with unit variance have sd sqrt(1 - phi^2). The sd of n normal numbers has a
    # standard error of about sd / sqrt(2 n), the lag-1 coefficient one of sqrt((1 - phi^2) / n); 4 of them.
    expected = np.sqrt(1.0 - carry_over**2)
    assert fresh.std() == pytest.approx(expected, abs=4.0 * expected / np.sqrt(2.0 * fresh.size))
    found = (series[:, 1:] * series[:, :-1]).sum() / (series[:, :-1] ** 2).sum()
    assert found == pytest.approx(carry_over, abs=4.0 * expected / np.sqrt(fresh.size))
    assert series[:, 0].std() == pytest.approx(1.0, abs=4.0 / np.sqrt(2.0 * len(sd)))  # stationary from the first


def test_vigour_is_story_wander_and_store_until_death_and_death_is_for_good():
    stories = [Story("steady"), Story("ramp", onset=2, percent=60), Story("death", onset=3)]
    log_store = np.zeros((3, 12))
    log_store[0, 4] = -0.2
    course = true_course(stories, np.full(3, 0.1), 0.3, log_store, np.random.default_rng(5))
    whole = course.log_story + course.log_wander + log_store
    assert course.log_vigour[0] == pytest.approx(whole[0])
    assert course.log_vigour_acid[0] == pytest.approx(whole[0])
    for culture in (1, 2):
        dead = course.log_vigour[culture] == DEAD
        first = int(np.argmax(dead))
        assert first > 0
        assert dead[first:].all()
        assert (course.log_vigour_acid[culture] == DEAD).tolist() == dead.tolist()
        assert course.log_vigour[culture, :first] == pytest.approx(whole[culture, :first])


def test_death_ends_where_a_culture_is_restored():
    story = Story("death", onset=3, turns_after=2)
    course = true_course([story], np.full(1, 0.1), 0.3, np.zeros((1, 7)), np.random.default_rng(5))
    assert (course.log_vigour[0] == DEAD).tolist() == [False, False, True, True, False, False, False]
