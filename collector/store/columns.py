"""Arrays of numbers as few bytes, exactly: the two kinds of column a block is made of.

Integers become differences (of order 0, 1 or 2, whichever is smallest), zigzag, and are laid out
byte plane by byte plane, so that a general compressor (zlib, in `blocks`) sees long runs of equal
high bytes. Floats that are decimals of few digits, as sensors' are, become such integers; others
become indices into the list of their distinct values, or their own 64 bits. Every float64 comes
back bit for bit: NaN payloads, infinities and negative zero too.
"""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

_HEAD = struct.Struct("<BBI")  # order of differences, bytes a number, count
_MOST_DIGITS = 9  # decimals tried; 10**9 * 2**53 would leave exact float64 integers, so also bounded below
_EXACT = 2.0**53
#: A scaled column may hold this share of numbers that do not fit (NaN from a broken word, say).
_EXCEPTIONS = 1 / 16


class Reader:
    """A cursor over bytes, so that columns can stand one behind the other."""

    def __init__(self, data: bytes) -> None:
        self.data = data
        self.at = 0

    def take(self, count: int) -> memoryview:
        piece = memoryview(self.data)[self.at : self.at + count]
        if len(piece) != count:
            raise ValueError("a column ends early")
        self.at += count
        return piece

    def unpack(self, form: struct.Struct) -> tuple[int, ...]:
        return form.unpack(self.take(form.size))


def pack_integers(numbers: NDArray[np.int64]) -> bytes:
    """int64 (N,) as bytes; arithmetic wraps, so any values are good."""
    with np.errstate(over="ignore"):
        candidates = [numbers]
        for _ in range(min(2, len(numbers))):
            candidates.append(np.diff(candidates[-1]))
    zigzags = [_zigzag(candidate) for candidate in candidates]
    order = min(range(len(zigzags)), key=lambda k: _bits(zigzags[k]) + 64 * k)
    heads = np.array([candidates[k][0] for k in range(order)], "<i8")
    rest = zigzags[order]
    width = (int(rest.max()).bit_length() + 7) // 8 if len(rest) else 0
    planes = rest.astype("<u8").view(np.uint8).reshape(-1, 8)[:, :width].T
    return _HEAD.pack(order, width, len(numbers)) + heads.tobytes() + planes.tobytes()


def unpack_integers(source: Reader) -> NDArray[np.int64]:
    """The inverse of `pack_integers`."""
    order, width, count = source.unpack(_HEAD)
    heads = np.frombuffer(source.take(8 * order), "<i8")
    left = count - order
    wide = np.zeros((left, 8), np.uint8)
    wide[:, :width] = np.frombuffer(source.take(width * left), np.uint8).reshape(width, left).T
    zigzag = wide.reshape(-1).view("<u8")
    numbers = ((zigzag >> np.uint64(1)).astype(np.int64)) ^ -((zigzag & np.uint64(1)).astype(np.int64))
    for head in heads[::-1]:
        numbers = np.cumsum(np.concatenate(([head], numbers)), dtype=np.int64)
    return numbers.astype(np.int64, copy=False)


def pack_floats(values: NDArray[np.float64]) -> bytes:
    """float64 (N,) as bytes, exact to the bit."""
    scaled = _pack_scaled(values)
    if scaled is not None:
        return scaled
    bits = values.view(np.int64)
    distinct, index = np.unique(bits, return_inverse=True)
    if len(distinct) <= len(bits) // 4:
        # Neighbouring values get neighbouring indices: ordered as numbers, not as bit patterns.
        rank = np.argsort(distinct.view(np.float64), kind="stable")
        place = np.empty_like(rank)
        place[rank] = np.arange(len(rank))
        return b"D" + pack_integers(distinct[rank]) + pack_integers(place[index].astype(np.int64))
    return b"B" + pack_integers(bits)


def unpack_floats(source: Reader) -> NDArray[np.float64]:
    """The inverse of `pack_floats`."""
    kind = bytes(source.take(1))
    if kind == b"B":
        return unpack_integers(source).view(np.float64)
    if kind == b"D":
        distinct = unpack_integers(source)
        return distinct[unpack_integers(source)].view(np.float64)
    if kind != b"S":
        raise ValueError(f"a column of unknown kind {kind!r}")
    (digits,) = source.take(1)
    values = unpack_integers(source) / 10.0**digits
    where = unpack_integers(source)
    values.view(np.int64)[where] = unpack_integers(source)
    return values


def _pack_scaled(values: NDArray[np.float64]) -> bytes | None:
    """As decimals of the fewest digits that give every value back, but for a few exceptions."""
    for digits in range(_MOST_DIGITS + 1):
        with np.errstate(invalid="ignore", over="ignore"):
            whole = np.rint(values * 10.0**digits) + 0.0  # a negative zero is a misfit
            fits = (np.abs(whole) < _EXACT) & ((whole / 10.0**digits).view(np.int64) == values.view(np.int64))
        misfits = np.flatnonzero(~fits)
        if len(misfits) <= _EXCEPTIONS * len(values):
            break
    else:
        return None
    # A misfit repeats the number before it, so that it costs nothing in this column.
    last_good = np.maximum.accumulate(np.where(fits, np.arange(len(values)), -1))
    numbers = np.where(last_good >= 0, whole[np.maximum(last_good, 0)], 0.0)
    numbers[~np.isfinite(numbers)] = 0.0
    exceptions = pack_integers(misfits.astype(np.int64)) + pack_integers(values.view(np.int64)[misfits])
    return b"S" + bytes([digits]) + pack_integers(numbers.astype(np.int64)) + exceptions


def _zigzag(numbers: NDArray[np.int64]) -> NDArray[np.uint64]:
    return ((numbers << 1) ^ (numbers >> 63)).view(np.uint64)


def _bits(zigzag: NDArray[np.uint64]) -> float:
    """About how many bits these would take."""
    return float(np.log2(zigzag.astype(np.float64) + 1.0).sum())
