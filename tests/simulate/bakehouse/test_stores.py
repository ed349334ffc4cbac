"""Refrigerators: what they show, and what a failure does."""

from datetime import datetime

import numpy as np
import pandas as pd
import pytest

from leavenbench.simulate.bakehouse.mishaps import StoreFailure
from leavenbench.simulate.bakehouse.stores import log_stores, suffered

STORES = pd.DataFrame({"store": ["cellar", "chest"], "kind": ["cold", "freezer"]})
FAILURE = StoreFailure("cellar", datetime(2023, 3, 10, 19), 36.0, 20.0, 15.0, 3)


def logged(mishaps=()):
    log = log_stores(
        STORES, pd.Timestamp("2023-01-01"), pd.Timestamp("2023-06-30 12:00"), mishaps, np.random.default_rng(1)
    )
    return log.set_index(["store", "read_at"])["temperature"]


def test_a_store_is_read_morning_and_evening_until_the_end_and_keeps_its_temperature():
    log = logged()
    times = log["cellar"].index
    assert set(times.hour) == {7, 19}
    assert times[0] == pd.Timestamp("2023-01-01 07:00")
    assert times[-1] == pd.Timestamp("2023-06-30 07:00")
    assert log["cellar"].between(2, 6).all()
    assert log["chest"].between(-25, -16).all()


def test_a_failure_shows_in_its_store_alone_while_it_lasts():
    lost = logged([FAILURE]) - logged()
    assert (lost["chest"] == 0.0).all()
    # Half of the way from 4 to 20 degC every six hours: 3/4 after 12 h, then 15/16, 63/64; and down again.
    hours = [pd.Timestamp("2023-03-10 19:00") + pd.Timedelta(hours=h) for h in (0, 12, 24, 36, 48)]
    expected = 16.0 * np.array([0.0, 3 / 4, 15 / 16, 63 / 64, 63 / 64 / 4])
    assert lost["cellar"].loc[hours].to_numpy() == pytest.approx(expected, abs=0.11)  # each read to a tenth
    assert lost["cellar"].loc["2023-03-14":].abs().max() < 0.11


def test_the_jars_inside_lose_what_is_said_at_their_next_round_and_heal_evenly():
    begins = pd.DataFrame(
        pd.to_datetime(
            np.tile(
                ["2023-01-02", "2023-03-06", "2023-05-01", "2023-07-03", "2023-09-04", "2023-11-06"], (2, 1)
            ).ravel()
        )
        .to_numpy()
        .reshape(2, 6),
        index=["Ash", "Elm"],
    )
    lost = suffered(begins, {"Ash": "cellar", "Elm": "pantry"}, [FAILURE])
    assert np.exp(lost[0]) == pytest.approx([1, 1, 0.85, 0.85 ** (2 / 3), 0.85 ** (1 / 3), 1])
    assert (lost[1] == 0.0).all()
