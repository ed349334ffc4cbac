"""Readings in order, and side by side: nothing lost, nothing moved, whatever the company."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from leavenbench.curves.blocks import Block, blocks, observe, padded_length


def ragged(lengths, seed=1):
    """Observe signals of given numbers of readings, at hours that sometimes coincide."""
    rng, lengths = np.random.default_rng(seed), np.asarray(lengths)
    signal = np.repeat(np.arange(len(lengths)), lengths)
    t, y = np.round(rng.uniform(0.0, 24.0, len(signal)), 1), rng.normal(60.0, 10.0, len(signal))
    return observe(signal, t, y, np.full(len(lengths), "height_mm"))[0]


def test_readings_are_put_in_order_and_what_is_none_is_left_out():
    signal = np.array([2, 0, 2, 0, 2, 1, 0, 2, 0, 3])
    t = np.array([5.0, 3, 1, np.nan, 1, -1, 0, np.inf, 2, 4])
    y = np.array([50.0, 43, 52, 40, 51, 60, 40, 53, np.inf, 1e12])
    kind = np.array(["height_mm", "volume_mL", "ph_direct", "rise_pct"])
    observed, known = observe(signal, t, y, kind)
    assert known.tolist() == [0, 2]  # 1 was read before it was fed, 3 shows no number that a jar can have
    assert observed.first.tolist() == [0, 2]
    assert observed.readings.tolist() == [2, 3]
    assert observed.t.tolist() == [0.0, 3.0, 1.0, 1.0, 5.0]
    assert observed.y.tolist() == [40.0, 43.0, 51.0, 52.0, 50.0]  # at the same hour by value, whatever the order given
    assert observed.kind.tolist() == ["height_mm", "ph_direct"]


def test_nothing_was_read():
    observed, known = observe(
        np.array([0, 1]), np.array([np.nan, 1]), np.array([1, np.nan]), np.array(["rise_pct"] * 2)
    )
    assert known.tolist() == observed.first.tolist() == observed.readings.tolist() == []


def test_different_times_are_counted_signal_by_signal():
    """The last hour of one signal is the first of the next: it counts in both."""
    signal = np.array([0, 0, 0, 1, 1, 1, 2])
    t = np.array([0.0, 0, 3, 3, 3, 3, 0])
    observed, _ = observe(signal, t, np.arange(7.0), np.full(3, "height_mm"))
    assert observed.times_within(observed.readings).tolist() == [2, 1, 1]
    assert observed.times_within(np.array([2, 3, 1])).tolist() == [1, 1, 1]
    assert observed.times_within(np.array([0, 0, 0])).tolist() == [1, 1, 1]  # never fewer than the first


@given(st.integers(1, 100_000))
def test_padding_is_short_and_only_ever_up(readings):
    """A multiple of four of at most four binary digits: at worst 3, or of 65 and more under an eighth, is added."""
    length = int(padded_length(np.array([readings]))[0])
    assert readings <= length < max(readings + 4, readings * 1.125 + 1e-9)
    assert length % 2 ** max(2, length.bit_length() - 4) == 0


def test_lengths_grow_with_readings_and_are_few():
    length = padded_length(np.arange(1, 10_001))
    assert (np.diff(length) >= 0).all()
    assert len(np.unique(length)) < 100
    np.testing.assert_array_equal(padded_length(length), length)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(1, 150), min_size=1, max_size=30), st.integers(0, 2**32 - 1))
def test_every_signal_stands_in_one_block_with_all_its_readings(lengths, seed):
    rng = np.random.default_rng(seed)
    observed = ragged(lengths)
    wanted = np.flatnonzero(rng.random(len(lengths)) < 0.7)
    readings = rng.integers(1, observed.readings[wanted] + 1)
    seen = []
    for block in blocks(observed, wanted, readings):
        rows = len(block.t)
        assert block.t.shape == block.y.shape == (rows, len(block.signals))
        assert (block.weight is None) == (block.readings == rows).all()
        for column, signal in enumerate(block.signals):
            n, first = block.readings[column], observed.first[signal]
            assert n == readings[wanted.tolist().index(signal)]
            assert rows == padded_length(np.array([n]))[0]
            np.testing.assert_array_equal(block.t[:n, column], observed.t[first : first + n])
            np.testing.assert_array_equal(block.y[:n, column], observed.y[first : first + n])
            assert (block.t[n:, column] == block.t[n - 1, column]).all()
            assert (block.y[n:, column] == block.y[n - 1, column]).all()
            if block.weight is not None:
                assert block.weight[:, column].tolist() == [1.0] * n + [0.0] * (rows - n)
        seen += block.signals.tolist()
    assert sorted(seen) == wanted.tolist()


def test_no_block_takes_more_than_its_share_of_memory():
    observed = ragged(np.full(5_000, 200))
    parts = list(blocks(observed, np.arange(5_000), observed.readings))
    assert max(part.t.size for part in parts) <= 400_000 + 200  # a block holds whole signals
    assert len(parts) == 3  # 5,000 signals of 208 readings, padded
    assert sorted(signal for part in parts for signal in part.signals) == list(range(5_000))


def test_a_signal_longer_than_a_block_is_a_block():
    observed = ragged([450_000, 12])
    assert [part.t.shape[1] for part in blocks(observed, np.arange(2), observed.readings)] == [1, 1]


def test_no_signals_make_no_blocks():
    observed = ragged([5, 6])
    none = np.zeros(0, int)
    assert list(blocks(observed, none, none)) == []


@pytest.mark.parametrize("weighed", [False, True])
def test_some_of_a_block(weighed):
    t = np.arange(12.0).reshape(4, 3)
    block = Block(np.array([7, 8, 9]), t, -t, (t > 1.0) * 1.0 if weighed else None, np.array([4, 3, 2]))
    some = block.of(np.array([2, 0]))
    assert some.signals.tolist() == [9, 7]
    assert some.readings.tolist() == [2, 4]
    np.testing.assert_array_equal(some.t, t[:, [2, 0]])
    np.testing.assert_array_equal(some.y, -t[:, [2, 0]])
    if weighed:
        np.testing.assert_array_equal(some.weight, block.weight[:, [2, 0]])
    else:
        assert some.weight is None
