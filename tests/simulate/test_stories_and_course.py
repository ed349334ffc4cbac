"""The true course of vigour: what the stories say, and chance of the size asked for."""

import numpy as np
import pytest

from leavenbench.simulate.course import true_course, wander
from leavenbench.simulate.stories import DEAD, Story, told


def test_every_story_begins_at_its_onset_and_loses_what_it_says():
    # By the definition of each story: (1 - percent/100) once per round, or once.
    assert np.exp(told(Story("steady"), 5)) == pytest.approx([1, 1, 1, 1, 1])
    assert np.exp(told(Story("ramp", onset=3, percent=5), 5)) == pytest.approx([1, 1, 0.95, 0.95**2, 0.95**3])
    assert np.exp(told(Story("step", onset=4, percent=25), 5)) == pytest.approx([1, 1, 1, 0.75, 0.75])
    dip = np.exp(told(Story("dip", onset=2, percent=30, heals_in=4), 7))
    assert dip == pytest.approx([1, 0.7, 0.7**0.75, 0.7**0.5, 0.7**0.25, 1, 1])
    assert told(Story("death", onset=2), 3) == pytest.approx([0, DEAD, DEAD])


def test_an_unknown_story_is_refused_by_name():
    with pytest.raises(ValueError, match="'vanish' is no story; the stories are steady, ramp"):
        Story("vanish")


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


def test_vigour_is_story_plus_wander_until_death_and_death_is_for_good():
    stories = [Story("steady"), Story("ramp", onset=2, percent=60), Story("death", onset=3)]
    course = true_course(stories, np.full(3, 0.1), 12, 0.3, np.random.default_rng(5))
    whole = course.log_story + course.log_wander
    assert course.log_vigour[0] == pytest.approx(whole[0])
    for culture in (1, 2):
        dead = course.log_vigour[culture] == DEAD
        first = int(np.argmax(dead))
        assert first > 0
        assert dead[first:].all()
        assert course.log_vigour[culture, :first] == pytest.approx(whole[culture, :first])
