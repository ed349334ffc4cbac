"""What extra steps add to the evidence."""

from __future__ import annotations

import numpy as np
import pytest

from leavenbench.watch.extra_steps import evidence_of_extra_steps

NAN = np.nan


def told(series, *extra):
    shelf = series(*(np.zeros(len(of)) for of in extra))
    return evidence_of_extra_steps(shelf, np.concatenate(extra).astype(float))


def test_where_passing_is_not_recorded_nothing_is_said(series):
    assert told(series, [NAN] * 8, [NAN]).tolist() == [0.0] * 9
    assert told(series, []).tolist() == []


def test_an_extra_step_of_a_culture_that_took_none_is_the_stated_likelihood_ratio(series):
    found = told(series, [0] * 11 + [1])

    # Share of extra steps when weak .4 (the module's; common practice, no source), when well: .03 counting as 50 rounds
    # of the shelf, which then counts as 10 of the culture; a fifth in the log; two rounds without a step before it.
    def healthy(rounds):
        return (10.0 * (0.03 * 50.0 / (rounds + 50.0))) / (rounds + 10.0)

    without = [np.log(0.6 / (1.0 - max(healthy(rounds), 0.005))) for rounds in (9, 10)]
    expected = 0.2 * (np.log(0.4 / max(healthy(11), 0.005)) + sum(without))
    assert found[-1] == pytest.approx(expected, abs=1e-12)


def test_the_more_of_the_last_rounds_the_more_and_never_beyond_a_limit(series):
    ends = [told(series, [0] * 9 + rounds)[-1] for rounds in ([0, 0, 0], [0, 0, 1], [0, 1, 1], [1, 1, 1])]
    assert ends == sorted(ends)
    assert ends[0] == pytest.approx(-0.2)
    assert ends[0] < 0.0 < ends[1]
    assert ends[-1] == pytest.approx(1.0)


def test_it_is_forgotten_after_three_rounds(series):
    found = told(series, [0] * 8 + [1] + [0] * 3)
    assert (found[8:11] > 0.0).all()
    assert found[11] < 0.0


def test_where_extra_steps_are_usual_one_says_less(series):
    seldom = told(series, [0] * 12 + [1])[-1]
    often = told(series, [0, 1] * 6 + [1])[-1]
    assert often < 0.5 * seldom
    assert often > told(series, [0, 1] * 6 + [0])[-1]


def test_a_new_history_forgets_the_old_and_what_comes_later_moves_nothing(series):
    old, new = [0] * 8 + [1, 1, 1], [0, 0, 1, 0, 1, 1]
    found = told(series, old, new)
    assert found[11] == pytest.approx(told(series, old, new[:1])[11], abs=1e-12)
    assert found[11] < 0.0
    shelf = series(np.zeros(11), np.zeros(6), at=[np.arange(11.0), 11.0 + np.arange(6.0)])
    whole = evidence_of_extra_steps(shelf, np.array(old + new, float))
    cut = series(np.zeros(11), np.zeros(3), at=[np.arange(11.0), 11.0 + np.arange(3.0)])
    assert evidence_of_extra_steps(cut, np.array(old + new[:3], float)) == pytest.approx(whole[:14], abs=1e-12)
