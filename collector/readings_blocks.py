"""Many rows of a readings file at once, on whole columns of bytes.

A row is taken here only where it is one of the plain forms that recorders write; every other row is
read by `readings_rows`, one by one, so that both ways agree by construction on what is malformed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from collector.digits import PAD, all_digits, eight_digits, numbers, words
from collector.readings_rows import Malformed, Rows

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Malformed rows named one by one; beyond these they are only counted.
MOST_NAMED = 100

_DATE = re.compile(rb"(\d{4})-(\d\d)-(\d\d)T")
_OFFSET = re.compile(rb"([+-])(\d\d):(\d\d)")
_EPOCH = date(1970, 1, 1).toordinal()
_NO_DAY = -(2**40)
_LATEST_S = 250_000_000_000  # below the exact reader's limit: what is near it is left to that
_EXACT = 2**53  # integers up to here, over a power of ten up to 10**22, divide to the nearest double

_COLONS = np.uint64(0x00003A00_003A0000)
_COLON_BYTES = np.uint64(0x0000FF00_00FF0000)
_COLON_TO_ZERO = np.uint64(0x00000A00_000A0000)
_LOW = np.array([0] + [2 ** (8 * n) - 1 for n in range(1, 9)], dtype=np.uint64)
_ZEROS = np.uint64(0x3030_3030_3030_3030)
_TEN = 10.0 ** np.arange(23)
_TEN_US = 10 ** np.arange(7, dtype=np.int64)


@dataclass(slots=True)
class Block:
    """The rows of one stretch of text, in the file's order; lines are counted within the stretch."""

    signal: NDArray[np.int16]
    time_us: NDArray[np.int64]
    value: NDArray[np.float64]
    lines: int
    malformed: int = 0
    named: list[tuple[int, str]] = field(default_factory=list)


@dataclass(slots=True)
class _Columns:
    """Whether each row was read, and what."""

    sound: NDArray[np.bool_]
    signal: NDArray[np.int16]
    time_us: NDArray[np.int64]
    value: NDArray[np.float64]


class BlockReader:
    """Reads stretches of whole lines for one plant. Safe to use from several threads at once."""

    def __init__(self, rows: Rows) -> None:
        self._rows = rows
        self._names = _Names(rows.positions)
        self._switches = np.array(sorted(rows.switches), dtype=np.int16)

    def read(self, text: bytes) -> Block:
        """The rows of `text`, which ends with a line feed."""
        padded = np.frombuffer(b"\0" * PAD + text + b"\0" * PAD, dtype=np.uint8)
        feeds = np.flatnonzero(padded == 10)
        starts = np.empty_like(feeds)
        starts[:1] = PAD
        starts[1:] = feeds[:-1] + 1
        ends = feeds - (padded[feeds - 1] == 13)
        columns = self._columns(padded, starts, ends)
        block = Block(columns.signal, columns.time_us, columns.value, len(feeds))
        if not columns.sound.all():
            self._finish(padded, starts, ends, columns, block)
        return block

    def _finish(
        self,
        padded: NDArray[np.uint8],
        starts: NDArray[np.intp],
        ends: NDArray[np.intp],
        columns: _Columns,
        block: Block,
    ) -> None:
        """Reads the rows that are not plain, and drops those that cannot be read."""
        raw = padded.tobytes()
        keep = columns.sound
        for row in np.flatnonzero(~columns.sound).tolist():
            line = raw[starts[row] : ends[row]]
            if not line.strip():
                continue
            try:
                columns.signal[row], columns.time_us[row], columns.value[row] = self._rows.read(line)
                keep[row] = True
            except Malformed as error:
                block.malformed += 1
                if len(block.named) < MOST_NAMED:
                    block.named.append((row + 1, str(error)))
        block.signal, block.time_us, block.value = (
            columns.signal[keep],
            columns.time_us[keep],
            columns.value[keep],
        )

    def _columns(
        self, padded: NDArray[np.uint8], starts: NDArray[np.intp], ends: NDArray[np.intp]
    ) -> _Columns:
        word_at = words(padded)
        first, second, sound = _commas(padded, starts, ends)
        time_us, timed = _times(padded, word_at, starts, first)
        signal, named = self._names.find(word_at, first + 1, second)
        value, valued = _values(padded, word_at, second + 1, ends)
        sound &= timed & named & valued
        if len(self._switches):
            sound &= ~np.isin(signal, self._switches) | (value == 0.0) | (value == 1.0)
        return _Columns(sound, signal, time_us, value)


def _commas(
    padded: NDArray[np.uint8], starts: NDArray[np.intp], ends: NDArray[np.intp]
) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.bool_]]:
    """Where each row's two commas are, and whether it has just two and no quote."""
    commas = np.flatnonzero(padded == 44)
    if len(commas) == 2 * len(starts):
        first, second = commas[0::2], commas[1::2]
        if ((first >= starts) & (second < ends)).all():
            return first, second, _unquoted(padded, starts)
    begin = np.searchsorted(commas, starts)
    two = np.searchsorted(commas, ends) - begin == 2
    padded_commas = np.append(commas, [PAD, PAD])
    first = np.where(two, padded_commas[begin], starts)
    second = np.where(two, padded_commas[begin + 1], starts)
    return first, second, two & _unquoted(padded, starts)


def _unquoted(padded: NDArray[np.uint8], starts: NDArray[np.intp]) -> NDArray[np.bool_]:
    plain = np.ones(len(starts), dtype=np.bool_)
    quotes = np.flatnonzero(padded == 34)
    if len(quotes):
        plain[np.searchsorted(starts, quotes, side="right") - 1] = False
    return plain


def _times(
    padded: NDArray[np.uint8],
    word_at: NDArray[np.uint64],
    start: NDArray[np.intp],
    end: NDArray[np.intp],
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Times [us] of the fields between `start` and `end`, and whether each was plain."""
    dashed = (padded[start + 4] == 45) & (end - start >= 20)
    if dashed.all():
        return _calendar(padded, word_at, start, end)
    time_us, sound = _seconds(word_at, start, end)
    if dashed.any():
        time_us[dashed], sound[dashed] = _calendar(padded, word_at, start[dashed], end[dashed])
    return time_us, sound


def _seconds(
    word_at: NDArray[np.uint64], start: NDArray[np.intp], end: NDArray[np.intp]
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Seconds since the epoch, to the microsecond."""
    found = numbers(word_at, start, end)
    scale = _TEN_US[np.clip(6 - found.places, 0, 6)]
    sound = found.sound & (found.places <= 6) & (found.digits < _LATEST_S * 1_000_000 // scale)
    return found.digits * scale, sound


def _calendar(
    padded: NDArray[np.uint8],
    word_at: NDArray[np.uint64],
    start: NDArray[np.intp],
    end: NDArray[np.intp],
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """RFC 3339: date, then HH:MM:SS, then Z, a fraction and Z, or either with an offset."""
    days = _days(padded, word_at[start], word_at[start + 3], start)
    clock, sound = _clock(word_at[start + 11])
    time_us = (days * 86_400 + clock) * 1_000_000
    sound &= days != _NO_DAY
    length = end - start
    zulu = padded[end - 1] == 90
    if (zulu & (length == 20)).all():
        return time_us, sound
    offset = (~zulu) & ((padded[end - 6] == 43) | (padded[end - 6] == 45))
    tail = np.where(offset, 6, 1)
    if offset.any():
        shift, known = _offsets(word_at[end - 8] >> np.uint64(16), offset)
        time_us -= shift
        sound &= known
    places = length - tail - 20
    fraction = (padded[start + 19] == 46) & (places >= 1) & (places <= 6)
    sound &= (zulu | offset) & (fraction | (length - tail == 19))
    if fraction.any():
        count = np.where(fraction, places, 0)
        word = (word_at[start + 20] & _LOW[count]) << (
            np.uint64(64) - np.uint64(8) * count.astype(np.uint64)
        ) % np.uint64(64)
        word |= _ZEROS & _LOW[8 - count]
        sound &= ~fraction | all_digits(word)
        time_us += np.where(fraction, eight_digits(word) * _TEN_US[6 - count], 0)
    return time_us, sound


def _days(
    padded: NDArray[np.uint8], head: NDArray[np.uint64], tail: NDArray[np.uint64], start: NDArray[np.intp]
) -> NDArray[np.int64]:
    """Days since the epoch of `YYYY-MM-DDT`, worked out once for each run of equal ones."""
    changed = np.ones(len(start), dtype=np.bool_)
    changed[1:] = (head[1:] != head[:-1]) | ((tail[1:] ^ tail[:-1]) != 0)
    runs = np.flatnonzero(changed)
    known: dict[bytes, int] = {}
    days = np.empty(len(runs), dtype=np.int64)
    for run, at in enumerate(start[runs].tolist()):
        text = padded[at : at + 11].tobytes()
        if text not in known:
            known[text] = _day(text)
        days[run] = known[text]
    return np.repeat(days, np.diff(runs, append=len(start)))


def _day(text: bytes) -> int:
    match = _DATE.fullmatch(text)
    try:
        return date(*(int(part) for part in match.groups())).toordinal() - _EPOCH if match else _NO_DAY
    except ValueError:
        return _NO_DAY


def _clock(word: NDArray[np.uint64]) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Seconds of the day of `HH:MM:SS`."""
    plain = word ^ _COLON_TO_ZERO
    sound = ((word & _COLON_BYTES) == _COLONS) & all_digits(plain)
    number = eight_digits(plain)  # HH0MM0SS
    hours, minutes, seconds = number // 1_000_000, number // 1000 % 1000, number % 1000
    sound &= (hours < 24) & (minutes < 60) & (seconds < 60)
    return hours * 3600 + minutes * 60 + seconds, sound


def _offsets(
    word: NDArray[np.uint64], wanted: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Microseconds east of Greenwich where `wanted`, for the few offsets that a file holds."""
    shift = np.zeros(len(word), dtype=np.int64)
    left = wanted.copy()
    for _ in range(4):
        if not left.any():
            break
        one = word[left.argmax()]
        same = left & (word == one)
        left &= ~same
        match = _OFFSET.fullmatch(int(one).to_bytes(8, "little")[:6])
        if match is None or int(match[2]) > 23 or int(match[3]) > 59:
            return shift, ~wanted
        minutes = int(match[2]) * 60 + int(match[3])
        shift[same] = (-minutes if match[1] == b"-" else minutes) * 60_000_000
    return shift, ~left


def _values(
    padded: NDArray[np.uint8],
    word_at: NDArray[np.uint64],
    start: NDArray[np.intp],
    end: NDArray[np.intp],
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Decimal numbers to the nearest double, and whether each was plain."""
    negative = (padded[start] == 45) & (end > start)
    found = numbers(word_at, start + negative, np.maximum(end, start))
    sound = found.sound & (found.digits < _EXACT)
    value = found.digits / _TEN[found.places]
    return np.where(negative, -value, value), sound


class _Names:
    """The plant's signal names as words, to find whole columns of names at once."""

    def __init__(self, positions: dict[str, int]) -> None:
        # Names with a comma or a quote are quoted in the file: those rows are read one by one.
        plain = {name: at for name, at in positions.items() if not set(name) & set('",')}
        encoded = [(name.encode(), at) for name, at in plain.items()]
        self._lengths = np.array([len(name) for name, _ in encoded], dtype=np.intp)
        self._positions = np.array([at for _, at in encoded], dtype=np.int16)
        self._words = [
            [int.from_bytes(name[at : at + 8], "little") for at in range(0, len(name), 8)]
            for name, _ in encoded
        ]

    def find(
        self, word_at: NDArray[np.uint64], start: NDArray[np.intp], end: NDArray[np.intp]
    ) -> tuple[NDArray[np.int16], NDArray[np.bool_]]:
        """Signal position of each name, and whether it is one."""
        length = end - start
        first = word_at[start] & _LOW[np.clip(length, 0, 8)]
        signal = np.zeros(len(start), dtype=np.int16)
        known = np.zeros(len(start), dtype=np.bool_)
        left = len(start)
        for size, position, spelled in zip(self._lengths, self._positions, self._words, strict=True):
            if not left:
                break
            match = (first == np.uint64(spelled[0])) & (length == size)
            for at, word in enumerate(spelled[1:], 1):
                rest = word_at[np.minimum(start + 8 * at, len(word_at) - 1)]
                match &= (rest & _LOW[min(size - 8 * at, 8)]) == np.uint64(word)
            signal[match] = position
            known |= match
            left -= int(np.count_nonzero(match))
        return signal, known
