"""Noise by kind of reading, and the poor fits that it names."""

import numpy as np
import pandas as pd
import pytest

from leavenbench.curves.noise import INSTRUMENTS, judged, noise_by_kind


def curves(rms, model="logistic", readings=12, kind="height_mm", status="fitted", range_read=60.0):
    table = pd.DataFrame({"rms_residual": rms})
    return table.assign(kind=kind, model=model, readings=readings, status=status, reason="", range_read=range_read)


def test_noise_is_the_median_residual_sd():
    """Residual sum over the median of chi-square: 7.344 with 12 - 4 degrees of freedom (common tables, from memory)."""
    rms = np.arange(1.0, 10.0)
    assert noise_by_kind(curves(rms))["height_mm"] == pytest.approx(5.0 * np.sqrt(12 / 7.344), rel=1e-4)


def test_noise_is_not_under_the_resolution_and_not_made_of_few_curves():
    usual = INSTRUMENTS["height_mm"]
    assert noise_by_kind(curves(np.full(9, 0.001)))["height_mm"] == usual.resolution
    assert noise_by_kind(curves(np.full(7, 5.0)))["height_mm"] == usual.noise
    assert noise_by_kind(curves(np.full(9, 5.0), status="no activity"))["height_mm"] == usual.noise
    assert noise_by_kind(curves(np.full(9, 5.0), readings=5))["height_mm"] == usual.noise  # one to spare


def test_a_residual_beyond_three_times_the_noise_is_a_poor_fit():
    found = judged(curves([7.2, 7.6], range_read=10.0), {"height_mm": 2.5})
    assert found["status"].tolist() == ["fitted", "poor fit"]
    assert found["reason"].tolist() == ["", "the readings lie 7.6 mm off the curve, usual are 2.5 mm"]


def test_without_a_word_on_the_noise_the_usual_one_counts():
    assert judged(curves([4.4, 4.6], range_read=10.0))["status"].tolist() == ["fitted", "poor fit"]


def test_a_great_range_forgives_more_but_not_a_jar_where_nothing_moved():
    """12 % of the range read: 7.2 mm of 60 mm."""
    assert judged(curves([7.1, 7.3]))["status"].tolist() == ["fitted", "poor fit"]
    assert judged(curves([7.1], status="no activity"))["status"].tolist() == ["poor fit"]


def test_no_residual_is_no_poor_fit():
    assert judged(curves([np.nan], status="too few readings"))["status"].tolist() == ["too few readings"]
