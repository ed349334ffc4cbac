"""When an alert begins and when it is over."""

from __future__ import annotations

import numpy as np
import pytest

from leavenbench.watch.alert import CLEARING, Evidence, entries, in_alert

THRESHOLD = 3.5


def evidence(decline, step=None, first=None):
    decline = np.array(decline, float)
    step = np.full(len(decline), -9.0) if step is None else np.array(step, float)
    return Evidence(decline, step, np.zeros(len(decline), int) if first is None else np.array(first))


@pytest.mark.parametrize(
    ("decline", "states"),
    [
        ([3.4, 3.5, 3.4], [0, 1, 1]),  # from the threshold on, and it stays a little under it
        ([4.0, 1.9, 4.0, 1.9, 2.1, 1.9], [1, 1, 1, 1, 1, 1]),  # quiet rounds must follow each other
        ([4.0, 1.9, 1.9, 3.4], [1, 1, 0, 0]),  # over with the second; what does not reach the threshold begins nothing
        ([4.0, 1.9, 1.9, 1.9, 3.6], [1, 1, 0, 0, 1]),
        ([4.0, 2.0, 2.0, 2.0], [1, 1, 1, 1]),  # at the clearing level is not under it
        ([-np.inf, -np.inf, 0.0], [0, 0, 0]),
        ([], []),
    ],
)
def test_it_begins_at_the_threshold_and_is_over_after_two_quiet_rounds(decline, states):
    assert CLEARING == 1.5  # 2.0 is the clearing level of these rows
    assert in_alert(evidence(decline), THRESHOLD).tolist() == [bool(state) for state in states]


def test_a_new_history_starts_afresh():
    first = [0, 0, 0, 3, 3, 3]
    states = in_alert(evidence([0, 4, 1.9, 1.9, 3.0, 4], first=first), THRESHOLD)
    assert states.tolist() == [False, True, True, False, False, True]
    assert entries(states, np.array(first)).tolist() == [False, True, False, False, False, True]


def test_an_alert_that_lasts_over_the_end_of_a_history_enters_again_in_the_next():
    states = in_alert(evidence([4, 4, 4, 4], first=[0, 0, 2, 2]), THRESHOLD)
    assert states.all()
    assert entries(states, np.array([0, 0, 2, 2])).tolist() == [True, False, True, False]


def test_a_step_that_explains_the_same_lets_no_alert_begin():
    assert in_alert(evidence([5.0], [6.9]), THRESHOLD).tolist() == [True]
    assert in_alert(evidence([5.0], [7.1]), THRESHOLD).tolist() == [False]


def test_an_alert_is_over_when_a_step_surely_explains_it():
    assert in_alert(evidence([5, 5, 5, 5], [0, 7.4, 7.4, 7.4]), THRESHOLD).all()
    assert in_alert(evidence([5, 5, 5, 5], [0, 7.6, 7.6, 7.6]), THRESHOLD).tolist() == [True, True, False, False]


def test_each_round_has_its_own_threshold():
    thresholds = np.array([3.0, 3.0, 1.0, 1.0])
    assert in_alert(evidence([2, 2, 2, -0.4], first=[0, 0, 2, 2]), thresholds).tolist() == [False, False, True, True]


def test_no_change_and_a_step_are_weighed_together():
    # log(e^2 / (1 + e^1)), from the definition
    found = evidence([2.0], [1.0]).decline_over_step
    assert found == pytest.approx(np.log(np.exp(2.0) / (1.0 + np.exp(1.0))))
    assert evidence([-np.inf], [-np.inf]).decline_over_step == [-np.inf]
