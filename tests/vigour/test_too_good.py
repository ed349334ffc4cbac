"""A jar that is better than it ever was, or rises as ever while its acid lags, may not be itself."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from leavenbench.vigour.too_good import too_good

START = pd.Timestamp("2023-01-02 08:00", tz="UTC")


def shelf(vigour_pct, se=5.0, rise=None, acid=None, signal_se=0.05):
    """Return the vigour table and the values of one culture, from its vigour, shape (rounds, steps)."""
    vigour = np.atleast_2d(np.asarray(vigour_pct, float))
    number, step = (place.ravel() for place in np.indices(vigour.shape))
    table = pd.DataFrame(
        {
            "refeed": [f"F{r}-{s}" for r, s in zip(number, step, strict=True)],
            "culture": "C0",
            "history": 0,
            "round": pd.array(number + 1, "Int64"),
            "step": pd.array(step + 1, "Int64"),
            "fed_at": START + pd.to_timedelta(60 * number + step, unit="D"),
            "vigour_pct_own": vigour.ravel(),
            "vigour_pct_own_se": se,
        }
    )
    signals = {"rise": rise, "acid": acid}
    values = table[["refeed"]].assign(
        **{name: np.nan if of is None else np.asarray(of, float).ravel() for name, of in signals.items()},
        rise_se=signal_se,
        acid_se=signal_se,
    )
    return table, values


def marked(table, values):
    return set(table.loc[too_good(table, values), "refeed"])


def column(*of):
    return np.array(of, float)[:, None]


# A jump


@pytest.mark.parametrize(("now", "found"), [(130.0, True), (117.0, False), (116.0, False), (118.1, True)])
def test_a_jump_lies_three_standard_errors_above_all_that_was_shown(now, found):
    told = marked(*shelf(column(100, 95, 103, 98, now)))
    assert told == ({"F4-0"} if found else set())  # 103 + 3 x 5 = 118


def test_the_best_counts_that_it_ever_showed_not_the_last():
    assert marked(*shelf(column(100, 140, 100, 100, 145))) == set()
    assert marked(*shelf(column(140, 100, 100, 100, 156))) == {"F4-0"}


def test_a_culture_must_have_shown_itself_in_four_rounds():
    assert marked(*shelf(column(100, 100, 100, 200))) == set()
    assert marked(*shelf(column(100, 100, 100, 100, 200))) == {"F4-0"}


def test_a_round_is_held_against_the_rounds_before_it_not_against_its_own_steps():
    steps = np.full((6, 3), 100.0)
    steps[5] = [150, 160, 170]
    assert marked(*shelf(steps)) == {"F5-0", "F5-1", "F5-2"}
    steps[5] = [100, 150, 100]
    assert marked(*shelf(steps)) == {"F5-1"}


def test_once_shown_it_is_known():
    assert marked(*shelf(column(100, 100, 100, 100, 150, 152, 149))) == {"F4-0"}


def test_an_unsure_refeed_marks_nothing_and_a_missing_one_neither():
    assert marked(*shelf(column(100, 100, 100, 100, 150), se=20.0)) == set()
    assert marked(*shelf(column(100, 100, 100, 100, np.nan, 150))) == {"F5-0"}
    assert marked(*shelf(column(np.nan, np.nan, np.nan, np.nan, 150))) == set()


def test_the_order_of_rows_is_none_of_its_business():
    table, values = shelf(column(100, 95, 103, 98, 130, 90))
    order = np.random.default_rng(1).permutation(len(table))
    assert marked(table.iloc[order], values.iloc[order[::-1]]) == {"F4-0"}


def test_rounds_follow_the_days_on_which_they_were_fed_not_their_numbers():
    table, values = shelf(column(100, 95, 103, 98, 130, 90))
    table["round"] = table["round"].to_numpy()[::-1]
    assert marked(table, values) == {"F4-0"}


def test_a_restored_culture_is_new():
    table, values = shelf(column(100, 100, 100, 100, 150))
    table.loc[4, "history"] = 1
    assert marked(table, values) == set()


def test_another_culture_says_nothing():
    table, values = shelf(column(100, 100, 100, 100, 150))
    other = table.assign(culture="C1", refeed=table["refeed"] + "x", vigour_pct_own=300.0)
    both = pd.concat([table, other], ignore_index=True)
    assert marked(both, pd.concat([values, values.assign(refeed=values["refeed"] + "x")])) == {"F4-0"}


def test_refeeds_without_a_round_are_left_alone():
    table, values = shelf(column(100, 100, 100, 100, 150))
    table = table.assign(round=table["round"].mask(table.index == 4))
    assert marked(table, values) == set()
    unnumbered = table.assign(round=pd.array([pd.NA] * 5, "Int64"))
    assert not too_good(unnumbered, values).any()


# Rise and acid part


def parted(rise, acid, signal_se=0.05, rounds=3):
    """Return what is marked of rounds of three steps, in the last of which the signals stand as given."""
    steps = np.full((rounds, 3), 100.0)
    told = [np.zeros((rounds, 3)) for _ in range(2)]
    told[0][-1], told[1][-1] = rise, acid
    return marked(*shelf(steps, rise=told[0], acid=told[1], signal_se=signal_se))


def test_a_rise_as_ever_beside_an_acid_that_lags_is_not_the_culture():
    assert parted(0.0, -0.5) == {"F2-0", "F2-1", "F2-2"}
    assert parted(0.15, -0.3) == {"F2-0", "F2-1", "F2-2"}


@pytest.mark.parametrize(("rise", "acid"), [(-0.5, -0.5), (-0.3, -0.8), (0.0, -0.2), (-0.5, 0.0), (0.3, 0.3)])
def test_a_culture_that_weakens_as_a_whole_or_sours_as_ever_is_itself(rise, acid):
    assert parted(rise, acid) == set()


def test_a_round_speaks_by_all_its_refeeds():
    """Each differs by se = hypot(.05, .05, .1) = .1225; three of them by .0707, and four of those are .283."""
    assert parted(0.0, -0.29) == {"F2-0", "F2-1", "F2-2"}
    assert parted(0.0, -0.27) == set()
    assert parted(0.0, -0.29, signal_se=0.2) == set()


def test_nothing_parts_where_one_signal_was_read():
    assert marked(*shelf(np.full((3, 3), 100.0), rise=np.zeros((3, 3)))) == set()
