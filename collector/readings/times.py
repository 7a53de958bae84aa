"""A column of times in a readings file, as far as they are in the forms that recorders write.

RFC 3339 in upper case, with Z or an offset and up to six digits of a second, or seconds since the
epoch. Date and minute are worked out once for each run of rows that share them, the second for all.
"""

from __future__ import annotations

import re
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from collector.readings.digits import all_digits, eight_digits, numbers

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Times = tuple[NDArray[np.int64], NDArray[np.bool_]]

_DATE = re.compile(rb"(\d{4})-(\d\d)-(\d\d)T")
_OFFSET = re.compile(rb"([+-])(\d\d):(\d\d)")
_EPOCH = date(1970, 1, 1).toordinal()
_NO_MINUTE = -(2**40)
_MOST_KNOWN = 100_000
_MOST_OFFSETS = 4  # a year's recording has two

#: Below the exact reader's limit: what is near it is left to that.
_LATEST_US = 250_000_000_000_000_000
_TEN_US = 10 ** np.arange(7, dtype=np.int64)

_LOW = np.array([0] + [2 ** (8 * n) - 1 for n in range(1, 9)], dtype=np.uint64)
#: In a word `DDTHH:MM`: what is still of the date; then, of what remains, the shape and how it looks.
_DAY = np.uint64(0xFFFFFF)
_CLOCK, _CLOCK_LOOKS = np.uint64(0xF0F0FFF0F0), np.uint64(0x30303A3030)
_ZEROS = np.uint64(0x3030_3030_3030_3030)


class TimeColumn:
    """Reads times; remembers the dates it has worked out."""

    def __init__(self) -> None:
        self._known: dict[bytes, int] = {}

    def read(
        self,
        padded: NDArray[np.uint8],
        word_at: NDArray[np.uint64],
        start: NDArray[np.intp],
        end: NDArray[np.intp],
    ) -> Times:
        """Times [us] of the fields between `start` and `end`, and whether each was plain."""
        dashed = (padded[start + 4] == 45) & (end - start >= 20)
        if dashed.all():
            return self._calendar(padded, word_at, start, end)
        if not dashed.any() and _ten_digits(padded, start, end):
            return _this_age(padded, word_at, start, end)
        time_us, plain = _seconds(word_at, start, end)
        if dashed.any():
            time_us[dashed], plain[dashed] = self._calendar(padded, word_at, start[dashed], end[dashed])
        return time_us, plain

    def _calendar(
        self,
        padded: NDArray[np.uint8],
        word_at: NDArray[np.uint64],
        start: NDArray[np.intp],
        end: NDArray[np.intp],
    ) -> Times:
        """RFC 3339: `YYYY-MM-DDTHH:MM`, then `:SS`, then Z, a fraction and Z, or either with an offset."""
        rest = word_at[start + 16]
        tens = ((rest >> np.uint64(8)) & np.uint64(15)).view(np.int64)
        ones = ((rest >> np.uint64(16)) & np.uint64(15)).view(np.int64)
        minute, known = self.minutes(padded, start, word_at[start], word_at[start + 8])
        plain = ((rest & np.uint64(0xF0F0FF)) == np.uint64(0x30303A)) & (tens < 6) & (ones < 10) & known
        time_us = (minute * 60 + tens * 10 + ones) * 1_000_000
        if ((rest & np.uint64(0xFF000000)) == np.uint64(0x5A000000)).all() and (end - start == 20).all():
            return time_us, plain
        return _with_tail(padded, word_at, start, end, time_us, plain)

    def minutes(
        self,
        padded: NDArray[np.uint8],
        start: NDArray[np.intp],
        dates: NDArray[np.uint64],
        clocks: NDArray[np.uint64],
    ) -> Times:
        """Minutes since the epoch, before any offset, and whether they are plain; by the first two words of
        each time, `YYYY-MM-` and `DDTHH:MM`."""
        runs = _changes((dates, clocks))
        dates, clocks = dates[runs], clocks[runs]
        days = self._days(padded, start[runs], (dates, clocks & _DAY))
        clocks = clocks >> np.uint64(24)
        tens_h, ones_h, tens_m, ones_m = (
            ((clocks >> np.uint64(up)) & np.uint64(15)).view(np.int64) for up in (0, 8, 24, 32)
        )
        hours, minutes = tens_h * 10 + ones_h, tens_m * 10 + ones_m
        digits = (ones_h < 10) & (tens_m < 6) & (ones_m < 10)  # of the hour's first: by hours < 24
        sound = ((clocks & _CLOCK) == _CLOCK_LOOKS) & digits & (hours < 24) & (days != _NO_MINUTE)
        count = np.diff(runs, append=len(start))
        return np.repeat(days * 1440 + hours * 60 + minutes, count), np.repeat(sound, count)

    def _days(
        self, padded: NDArray[np.uint8], start: NDArray[np.intp], spelled: tuple[NDArray[np.uint64], ...]
    ) -> NDArray[np.int64]:
        """Days since the epoch of the dates that stand at each `start`."""
        if len(self._known) > _MOST_KNOWN:
            self._known.clear()
        runs = _changes(spelled)
        days = np.empty(len(runs), dtype=np.int64)
        for run, at in enumerate(start[runs].tolist()):
            text = padded[at : at + 11].tobytes()
            found = self._known.get(text)
            if found is None:
                found = self._known[text] = _day(text)
            days[run] = found
        return np.repeat(days, np.diff(runs, append=len(start)))


def _changes(columns: tuple[NDArray[np.uint64], ...]) -> NDArray[np.intp]:
    """The rows at which one of the columns changes, the first among them."""
    changed = np.zeros(len(columns[0]), dtype=np.bool_)
    changed[:1] = True
    for column in columns:
        changed[1:] |= column[1:] != column[:-1]
    return np.flatnonzero(changed)


def _day(text: bytes) -> int:
    match = _DATE.fullmatch(text)
    if match is None:
        return _NO_MINUTE
    try:
        return date(*map(int, match.groups())).toordinal() - _EPOCH
    except ValueError:
        return _NO_MINUTE


def _with_tail(
    padded: NDArray[np.uint8],
    word_at: NDArray[np.uint64],
    start: NDArray[np.intp],
    end: NDArray[np.intp],
    time_us: NDArray[np.int64],
    plain: NDArray[np.bool_],
) -> Times:
    """Times with their fractions and offsets, where they have any."""
    zulu, length, dotted = padded[end - 1] == 90, end - start, padded[start + 19] == 46
    places = int(length[0]) - 21
    if 1 <= places <= 6 and zulu.all() and dotted.all() and (length == length[0]).all():
        fraction_us, digits = _fraction(word_at, start, np.int64(places))
        return time_us + fraction_us, plain & digits
    sign = padded[end - 6]
    offset = ~zulu & ((sign == 43) | (sign == 45))
    if offset.any():
        ahead_us, known = _offsets(word_at[end - 8] >> np.uint64(16), offset)
        time_us = time_us - ahead_us
        plain &= known | ~offset
    tail = np.where(offset, 6, 1)
    count = length - tail - 20
    fraction = dotted & (count >= 1) & (count <= 6)
    plain &= (zulu | offset) & (fraction | (count == -1))
    if fraction.any():
        fraction_us, digits = _fraction(word_at, start, np.where(fraction, count, 0))
        plain &= digits
        time_us = time_us + fraction_us
    return time_us, plain


def _fraction(
    word_at: NDArray[np.uint64], start: NDArray[np.intp], count: NDArray[np.int64] | np.int64
) -> Times:
    """Microseconds of the `count` digits after the point, nought where there are none, and whether
    they are digits."""
    # No shift is by 64: where there is no digit the word is all zeros already.
    up = np.uint64(8) * np.asarray(8 - count).astype(np.uint64) % np.uint64(64)
    word = (word_at[start + 20] & _LOW[count]) << up | (_ZEROS & _LOW[8 - count])
    return eight_digits(word) * _TEN_US[6 - count], all_digits(word)


def _offsets(word: NDArray[np.uint64], wanted: NDArray[np.bool_]) -> Times:
    """Microseconds east of Greenwich where `wanted`, for the few offsets that a file holds."""
    found = np.zeros(len(word), dtype=np.int64)
    left = wanted.copy()
    for _ in range(_MOST_OFFSETS):
        if not left.any():
            break
        one = word[left.argmax()]
        same = left & (word == one)
        found_us = east_us(int(one).to_bytes(8, "little")[:6])
        if found_us is None:
            break
        left &= ~same
        found[same] = found_us
    return found, wanted & ~left


def east_us(offset: bytes) -> int | None:
    """Microseconds east of Greenwich that an offset says, `+02:00`; None where it is none."""
    match = _OFFSET.fullmatch(offset)
    if match is None or int(match[2]) > 23 or int(match[3]) > 59:
        return None
    minutes = int(match[2]) * 60 + int(match[3])
    return (-minutes if match[1] == b"-" else minutes) * 60_000_000


def _ten_digits(padded: NDArray[np.uint8], start: NDArray[np.intp], end: NDArray[np.intp]) -> bool:
    """Whether all are seconds of this age, 2001 to 2286: ten digits, then nothing or a fraction."""
    length = end - start
    dotted = padded[start + 10] == 46
    fraction = dotted & (length >= 12) & (length <= 17)
    return bool((fraction | (length == 10)).all())


def _this_age(
    padded: NDArray[np.uint8], word_at: NDArray[np.uint64], start: NDArray[np.intp], end: NDArray[np.intp]
) -> Times:
    """`_seconds` of those: what their first eight digits say is worked out once a run of rows."""
    hundreds, plain = hundreds_of_seconds(word_at[start])
    tens, ones = padded[start + 8] - np.uint8(48), padded[start + 9] - np.uint8(48)
    plain &= (tens < 10) & (ones < 10)
    time_us = (hundreds * 100 + tens * np.int64(10) + ones) * 1_000_000
    length = end - start
    if (length == 10).all():
        return time_us, plain
    same = (length == length[0]).all()
    places = length[0] - 11 if same else np.maximum(length - 11, 0)
    fraction_us, digits = _fraction(word_at, start - 9, places)
    return time_us + fraction_us, plain & digits


def hundreds_of_seconds(head: NDArray[np.uint64]) -> Times:
    """The numbers that eight digits each make, worked out once a run of the same; whether they are digits."""
    runs = np.concatenate(([0], np.flatnonzero(head[1:] != head[:-1]) + 1))
    count = np.diff(runs, append=len(head))
    return np.repeat(eight_digits(head[runs]), count), np.repeat(all_digits(head[runs]), count)


def _seconds(word_at: NDArray[np.uint64], start: NDArray[np.intp], end: NDArray[np.intp]) -> Times:
    """Seconds since the epoch, to the microsecond."""
    found = numbers(word_at, start, end)
    scale = _TEN_US[np.clip(6 - found.places, 0, 6)]
    plain = found.plain & (end - start <= 18) & (found.places <= 6) & (found.digits < _LATEST_US // scale)
    return found.digits * scale, plain
