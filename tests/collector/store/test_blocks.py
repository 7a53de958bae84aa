"""Blocks give back every bit, whatever the numbers; and are small for what sensors say."""

from __future__ import annotations

import zlib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from collector.store.blocks import (
    HOUR_US,
    MINUTE_US,
    decode_readings,
    decode_rollup,
    encode_readings,
    encode_rollup,
)
from collector.store.columns import Reader, pack_floats, pack_integers, unpack_floats, unpack_integers
from collector.store.errors import BlockDamaged
from collector.store.rollups import Rollup

whole = st.integers(-(2**63), 2**63 - 1)
anything = st.one_of(
    st.floats(width=64, allow_nan=True, allow_infinity=True),
    whole.map(lambda bits: float(np.int64(bits).view(np.float64))),  # any bits: NaN payloads among them
    st.decimals(-10_000, 10_000, places=2).map(float),
)


def same_bits(a: np.ndarray, b: np.ndarray) -> bool:
    return a.dtype == b.dtype == np.float64 and a.tobytes() == b.tobytes()


@given(arrays(np.int64, st.integers(0, 60), elements=whole))
def test_integers_come_back(numbers):
    assert unpack_integers(Reader(pack_integers(numbers))).tolist() == numbers.tolist()


@given(arrays(np.int64, st.integers(0, 60), elements=whole))
def test_floats_of_any_bits_come_back(bits):
    values = bits.view(np.float64)
    assert same_bits(unpack_floats(Reader(pack_floats(values))), values)


@given(st.lists(anything, max_size=80), st.integers(1, 4))
def test_floats_come_back_with_repeats(values, times):
    column = np.array(values * times, np.float64)
    assert same_bits(unpack_floats(Reader(pack_floats(column))), column)


@given(st.sets(st.integers(-(2**61), 2**61), min_size=1, max_size=60), st.data())
def test_readings_come_back(times, data):
    time_us = np.array(sorted(times), np.int64)
    value = np.array(data.draw(st.lists(anything, min_size=len(times), max_size=len(times))), np.float64)
    back_time, back_value = decode_readings(encode_readings(time_us, value))
    assert back_time.tolist() == time_us.tolist()
    assert same_bits(back_value, value)


def test_special_values_keep_their_bits():
    odd = np.array([0.0, -0.0, np.inf, -np.inf, np.nan, 5e-324, 1.7976931348623157e308, 0.1, 1 / 3])
    odd[4:5].view(np.int64)[:] |= 12345  # a NaN with a payload
    column = np.tile(odd, 20)
    assert same_bits(unpack_floats(Reader(pack_floats(column))), column)


@given(st.lists(st.tuples(st.integers(0, HOUR_US - 1), anything), min_size=1, max_size=50))
def test_a_rollup_comes_back(rows):
    hour = 537_648
    rows = sorted(dict(rows).items())
    time_us = np.array([time for time, _ in rows], np.int64) + hour * HOUR_US
    with np.errstate(over="ignore"):
        rollup = Rollup.of(time_us, np.array([value for _, value in rows]), MINUTE_US)
    back = decode_rollup(encode_rollup(rollup, hour), hour)
    for name in ("time_us", "minimum", "total", "maximum", "count"):
        assert getattr(back, name).tobytes() == getattr(rollup, name).tobytes()


def an_hour(jitter_us: int, value: np.ndarray) -> float:
    """Bytes a reading of an hour at 1 Hz."""
    random = np.random.default_rng(7)
    time_us = 1_935_532_800_000_000 + np.arange(3600) * 1_000_000
    time_us = time_us + (random.integers(0, jitter_us, 3600) if jitter_us else 0)
    return len(encode_readings(time_us, value)) / 3600


def test_an_hour_is_small():
    """Pins of our own: noisy two-decimal readings under 3 bytes, 4 with microsecond jitter."""
    random = np.random.default_rng(3)
    pressure = np.round(40 + 8 * np.sin(np.arange(3600) / 50) + random.normal(0, 0.1, 3600), 2)
    assert an_hour(0, pressure) < 1.2
    assert an_hour(30_000, pressure) < 3.3
    assert an_hour(0, (np.arange(3600) % 90 < 40).astype(float)) < 0.1


def test_calibrated_counts_are_small_although_no_decimals():
    """A 12-bit converter through a calibration gives floats of full length, but few different ones."""
    counts = np.round(1000 + 40 * np.sin(np.arange(3600) / 90)).astype(int)
    assert an_hour(0, (counts / 4095 * 5.0 - 0.5) * 25.0) < 1.0


def test_a_damaged_block_is_told():
    block = bytearray(
        encode_readings(np.arange(1000) * 1_000_000, np.random.default_rng(1).normal(size=1000))
    )
    block[len(block) // 2] ^= 0x40
    with pytest.raises(BlockDamaged):
        decode_readings(bytes(block))


def test_a_block_of_a_later_layout_is_told():
    with pytest.raises(BlockDamaged, match="layout 9"):
        decode_readings(zlib.compress(b"\x09rest"))
