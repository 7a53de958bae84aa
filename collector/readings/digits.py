"""Decimal digits in bytes to numbers, eight bytes at a time, for whole columns at once.

A word is eight bytes of text as a little-endian 64-bit integer: the first character is the lowest
byte. The tricks are the usual ones of word-parallel parsing (Lemire, "Quickly parsing eight
digits", 2018; zero-byte test from Mycroft 1987), here on NumPy arrays.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Bytes that must lie before and after the text, so that every word can be fetched.
PAD = 32


def _all(byte: int) -> np.uint64:
    return np.uint64(byte * 0x0101_0101_0101_0101)


_ZEROS, _DOTS, _HIGH, _ONES, _SIXES = _all(0x30), _all(0x2E), _all(0x80), _all(1), _all(6)
_NIBBLE = _all(0xF0)
#: KEEP[n]: a mask of the last n characters (the highest n bytes) of a word.
_KEEP = np.array([0] + [(2**64 - 1) ^ (2 ** (64 - 8 * n) - 1) for n in range(1, 9)], dtype=np.uint64)
_TEN = 10 ** np.arange(19, dtype=np.int64)

_PAIR_MASK = np.uint64(0x000000FF_000000FF)
_MUL_HIGH = np.uint64(100 + (1_000_000 << 32))
_MUL_LOW = np.uint64(1 + (10_000 << 32))


def words(text: NDArray[np.uint8]) -> NDArray[np.uint64]:
    """A view in which element i is the word that begins at byte i."""
    return np.ndarray((len(text) - 7,), dtype="<u8", buffer=text, strides=(1,))


def eight_digits(word: NDArray[np.uint64]) -> NDArray[np.int64]:
    """The number that eight digits make."""
    pairs = word - _ZEROS
    pairs = pairs * np.uint64(10) + (pairs >> np.uint64(8))
    number = (pairs & _PAIR_MASK) * _MUL_HIGH + ((pairs >> np.uint64(16)) & _PAIR_MASK) * _MUL_LOW
    return (number >> np.uint64(32)).view(np.int64)


def all_digits(word: NDArray[np.uint64]) -> NDArray[np.bool_]:
    """Whether every byte is one of 0 to 9."""
    digits: NDArray[np.bool_] = ((word & _NIBBLE) == _ZEROS) & (((word + _SIXES) & _NIBBLE) == _ZEROS)
    return digits


#: Integers up to here, over a power of ten up to 10**22, divide to the nearest double.
_EXACT = 2**53
#: A longer text is not looked at.
LONGEST = 24


class Numbers(NamedTuple):
    """Unsigned decimals. `plain` where the text is digits with at most one point among them;
    `exact` where moreover `digits / 10**places` is the number, to the nearest double."""

    digits: NDArray[np.int64]
    places: NDArray[np.int64]
    plain: NDArray[np.bool_]
    exact: NDArray[np.bool_]


def numbers(word_at: NDArray[np.uint64], start: NDArray[np.intp], end: NDArray[np.intp]) -> Numbers:
    """What stands between `start` and `end`, neither before the other."""
    length = end - start
    longest = int(length.max(initial=0))
    if longest <= 8:
        return _short(word_at, length, end)
    plain = length <= LONGEST
    digits, places, below, points = (np.zeros(len(start), dtype=np.int64) for _ in range(4))
    for back in range(0, min(longest, LONGEST), 8):
        word, after = _without_point(_text(word_at, end - back, np.clip(length - back, 0, 8)))
        found = after >= 0
        plain &= all_digits(word)
        digits += eight_digits(word) * _TEN[np.minimum(below, 18)]  # beyond 18 digits: not exact
        places += np.where(found, after + below, 0)
        points += found
        below += 8 - found
    count = length - points
    plain &= (points <= 1) & (count >= 1)
    return Numbers(digits, places, plain, plain & (count <= 18) & (digits < _EXACT))


def _short(word_at: NDArray[np.uint64], length: NDArray[np.intp], end: NDArray[np.intp]) -> Numbers:
    """`numbers` where every text fits one word."""
    word, after = _without_point(_text(word_at, end, length))
    found = after >= 0
    plain = all_digits(word) & (length > found)
    return Numbers(eight_digits(word), np.maximum(after, 0), plain, plain)


def _text(word_at: NDArray[np.uint64], end: NDArray[np.intp], length: NDArray[np.intp]) -> NDArray[np.uint64]:
    """The last `length` characters before `end`, with zeros before them to fill the word."""
    keep = _KEEP[length]
    return (word_at[end - 8] & keep) | (_ZEROS & ~keep)


def _without_point(word: NDArray[np.uint64]) -> tuple[NDArray[np.uint64], NDArray[np.int8]]:
    """Words with their first point taken out, a zero before the rest; and the digits after it in
    the word, -1 where there was no point."""
    differs = word ^ _DOTS
    flags = (differs - _ONES) & ~differs & _HIGH
    lowest = flags & (~flags + np.uint64(1))
    # The flag is the top bit of the point's byte: everything below the byte moves up by one byte.
    through = (lowest << np.uint64(1)) - np.uint64(1)
    before = (lowest >> np.uint64(7)) - np.uint64(1)
    closed = (word & ~through) | ((word & before) << np.uint64(8)) | np.uint64(0x30)
    after = 7 - (np.bitwise_count(before) >> 3).view(np.int8)  # of eight bytes before it where there is none
    return np.where(flags != 0, closed, word), after
