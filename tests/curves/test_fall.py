"""Whether a jar was seen to fall again: many signals at once, each as if it stood alone."""

import numpy as np
import pytest

from leavenbench.curves.blocks import Observed, observe
from leavenbench.curves.fall import visible_falls


def seen(*signals, kind="height_mm"):
    """Look at signals given by their readings, one an hour."""
    first = np.cumsum([0, *(len(it) for it in signals[:-1])])
    hours = np.concatenate([np.arange(float(len(it))) for it in signals])
    kinds = np.full(len(signals), kind) if isinstance(kind, str) else np.array(kind)
    return visible_falls(Observed(hours, np.concatenate(signals).astype(float), first, kinds))


def by_hand(y, noise):
    """Say the same of one signal reading by reading, by the rule written out: (seen, peak, first fallen, how many)."""
    peak, deep = 0, max(3.0 * noise, 0.10 * (max(y) - min(y)))
    for place, reading in enumerate(y):
        if reading > y[peak]:
            peak = place
    fallen = [place for place, reading in enumerate(y) if place > peak and reading < y[peak] - deep]
    return peak > 0 and bool(fallen) and fallen[-1] == len(y) - 1, peak, min(fallen, default=None), len(fallen)


def test_a_rise_and_fall():
    found = seen([40, 44, 70, 88, 86, 71, 60])
    assert (found.seen[0], found.peak[0], found.first_fallen[0], found.fallen[0]) == (True, 3, 5, 2)


def test_a_fall_counts_when_it_is_deep_by_noise_and_by_range():
    """Three times the 1.5 mm of a ruler, or a tenth of the range, whichever is deeper (common practice, no source)."""
    assert seen([40, 50, 60, 55.4]).seen[0]  # 4.6 mm under the peak, range 20 mm
    assert not seen([40, 50, 60, 55.6]).seen[0]
    assert seen([40, 90, 140, 129.9]).seen[0]  # range 100 mm
    assert not seen([40, 90, 140, 130.1]).seen[0]


def test_a_dip_that_recovers_is_no_fall():
    found = seen([40, 60, 90, 70, 89])
    assert not found.seen[0]
    assert found.fallen[0] == 1


def test_what_only_sinks_never_rose():
    assert not seen([80, 70, 60, 50]).seen[0]


def test_of_two_equal_peaks_the_first_counts():
    assert seen([40, 90, 60, 90, 50]).peak[0] == 1


def test_a_ph_never_falls_back():
    readings = [4.0, 5.0, 6.0, 5.0, 4.0]
    assert not seen(readings, kind="ph_direct").seen[0]
    assert not seen(readings, kind="ph_slurry").seen[0]


@pytest.mark.parametrize(("kind", "depth"), [("height_mm", 4.5), ("volume_mL", 30.0), ("rise_pct", 12.0)])
def test_every_kind_is_measured_by_its_own_noise(kind, depth):
    """Three times the noise in `noise.INSTRUMENTS`, where the range is small."""
    up = [100.0, 110, 120]
    assert seen([*up, 120 - depth * 1.01], kind=kind).seen[0]
    assert not seen([*up, 120 - depth * 0.99], kind=kind).seen[0]


def test_nothing_to_look_at():
    found = visible_falls(observe(np.zeros(0, int), np.zeros(0), np.zeros(0), np.zeros(0, str))[0])
    assert [len(it) for it in found] == [0, 0, 0, 0]
    assert found.seen.dtype == bool


def test_many_signals_are_each_judged_alone():
    """Random walks of 1 to 30 readings with ties, of every kind, against the rule reading by reading."""
    rng = np.random.default_rng(4)
    noise = {"height_mm": 1.5, "volume_mL": 10.0, "rise_pct": 4.0, "ph_direct": 0.04}
    kinds = rng.choice(list(noise), 600)
    signals = [np.round(100.0 + np.cumsum(rng.normal(0.0, 5.0, rng.integers(1, 31)))) for _ in kinds]
    found = seen(*signals, kind=kinds)
    assert 50 < found.seen.sum() < 400
    for number, (y, kind) in enumerate(zip(signals, kinds, strict=True)):
        fell, peak, first_fallen, fallen = by_hand(y.tolist(), noise[kind])
        assert found.seen[number] == (fell and kind != "ph_direct")
        assert (found.peak[number], found.fallen[number]) == (peak, fallen)
        if fallen:
            assert found.first_fallen[number] == first_fallen


def by_mark(hours, heights, mark, mark_h):
    """Say how many of a jar's readings came before its peak, where the smear line was read at some hour."""
    t, y = np.array(hours, float), np.array(heights, float)
    kind, marked = np.array(["height_mm"]), (np.array([float(mark)]), np.array([float(mark_h)]))
    found = visible_falls(Observed(t, y, np.array([0]), kind, mark=marked[0], mark_h=marked[1]))
    return int(found.first_fallen[0]) if found.seen[0] else len(hours)


@pytest.mark.parametrize(
    ("hours", "heights", "mark", "mark_h", "before"),
    [
        ([0, 22], [40, 62], 90, 22, 1),  # sunk next morning
        ([0, 22], [40, 62], 66, 22, 2),  # within three times the noise: no fall
        ([0, 2, 3, 22], [40, 41, 46, 62], 90, 22, 3),
        ([0, 2, 3, 22], [40, 41, 46, 62], 90, 24, 3),  # it sank before, not while nobody looked for two hours
        ([0, 2, 3, 4.5], [40, 41, 46, 62], 90, 22, 4),  # a window that closed early: the peak came later
        ([0, 2, 3, 4.5], [40, 41, 46, 62], 90, np.inf, 4),
        ([0, 2, 3, 20, 22], [40, 41, 46, 66, 62], 90, 22, 3),
        ([0, 6, 7, 8, 9], [40, 44, 58, 70, 79], 90, 9.5, 5),  # not in the long lag: it only rose since
    ],
)
def test_a_smear_line_above_all_readings_shows_a_fall_where_there_was_time_for_it(hours, heights, mark, mark_h, before):
    assert by_mark(hours, heights, mark, mark_h) == before
    # a neighbour changes nothing
    t, y = np.array([*hours, 0.0, 1.0], float), np.array([*heights, 40.0, 50.0], float)
    marks, until = np.array([mark, np.nan]), np.array([mark_h, np.inf])
    first, kinds = np.array([0, len(hours)]), np.full(2, "height_mm")
    found = visible_falls(Observed(t, y, first, kinds, mark=marks, mark_h=until))
    assert (found.seen[0], found.seen[1]) == (before < len(hours), False)
