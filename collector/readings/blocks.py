"""Many rows of a readings file at once, on whole columns of bytes.

A row is taken here only where it is one of the plain forms that recorders write (quickest where nearly
all are of one form, `alike`); every other row is read by `rows`, one by one, so that both ways agree by
construction on what is malformed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from collector.readings.alike import EndedNames, lines, times
from collector.readings.digits import LONGEST, PAD, numbers, words
from collector.readings.rows import SWITCHED, Malformed, Rows
from collector.readings.times import TimeColumn

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Malformed rows named one by one; beyond these they are only counted.
MOST_NAMED = 100
#: Rows of one form are read as such where no more than these are of another, which are read one by one.
COMMON = 0.98

_LINE_FEED, _RETURN, _QUOTE, _COMMA, _MINUS = 10, 13, 34, 44, 45
_LOW = np.array([0] + [2 ** (8 * n) - 1 for n in range(1, 9)], dtype=np.uint64)
_TEN = 10.0 ** np.arange(23)
#: Set in a letter, this bit makes it a small one.
_LOWER_CASE = np.uint64(0x2020_2020_2020_2020)


@dataclass(slots=True)
class Block:
    """The rows of one stretch of text, in the file's order; lines are counted within the stretch."""

    signal: NDArray[np.int16]
    time_us: NDArray[np.int64]
    value: NDArray[np.float64]
    lines: int
    malformed: int = 0
    named: list[tuple[int, str]] = field(default_factory=list)


class _Fields(NamedTuple):
    """Where each line begins, its two commas are, and it ends; whether it has just these two."""

    start: NDArray[np.intp]
    first: NDArray[np.intp]
    second: NDArray[np.intp]
    end: NDArray[np.intp]
    plain: NDArray[np.bool_]


class _Columns(NamedTuple):
    """Where each line begins and ends; its time [us] and signal; where its value begins; and whether both of
    the former are plain."""

    start: NDArray[np.intp]
    end: NDArray[np.intp]
    time_us: NDArray[np.int64]
    signal: NDArray[np.int16]
    value: NDArray[np.intp]
    plain: NDArray[np.bool_]


class BlockReader:
    """Reads stretches of whole lines for one plant."""

    def __init__(self, rows: Rows) -> None:
        self._rows = rows
        self._times = TimeColumn()
        self._names, self._ended = _NameColumn(rows.positions), EndedNames(rows.positions)
        #: by signal position
        self._is_switch = np.array([at in rows.switches for at in rows.positions.values()], np.bool_)

    def read(self, text: bytes) -> Block:
        """The rows of `text`, which ends with a line feed."""
        padded = np.frombuffer(b"\0" * PAD + text + b"\0" * PAD, dtype=np.uint8)
        word_at = words(padded)
        columns = self._alike(padded, word_at) or self._parted(padded, word_at, b'"' in text)
        signal, plain = columns.signal, columns.plain
        value, valued = _values(padded, word_at, columns.value, columns.end)
        if self._is_switch.any():
            switched = self._is_switch.take(signal)
            said = np.flatnonzero(switched & ~valued)
            value[said], valued[said] = _in_words(word_at, columns.value[said], columns.end[said])
            valued &= ~switched | (value == 0.0) | (value == 1.0)
        plain &= valued
        block = Block(signal, columns.time_us, value, len(columns.start))
        if not plain.all():
            self._read_singly(text, columns, plain, block)
        return block

    def _alike(self, padded: NDArray[np.uint8], word_at: NDArray[np.uint64]) -> _Columns | None:
        """Of rows that are of one form, all but a few; None where they are not."""
        found = lines(padded)
        alike = times(padded, found, self._times)
        if alike is None:
            return None
        signal, size = self._ended.read(padded, alike.name)
        value = alike.name + size
        plain = alike.plain & (size > 0) & (value <= found.end)
        if np.count_nonzero(plain) < COMMON * len(plain):
            return None
        return _Columns(*found, alike.time_us, signal, np.minimum(value, found.end), plain)

    def _parted(self, padded: NDArray[np.uint8], word_at: NDArray[np.uint64], quoted: bool) -> _Columns:
        """Of rows of any form."""
        fields = _fields(padded, quoted)
        time_us, plain = self._times.read(padded, word_at, fields.start, fields.first)
        signal, named = self._names.read(word_at, fields.first + 1, fields.second)
        plain &= fields.plain & named
        return _Columns(fields.start, fields.end, time_us, signal, fields.second + 1, plain)

    def _read_singly(self, text: bytes, fields: _Columns, read: NDArray[np.bool_], block: Block) -> None:
        """Reads the lines not yet read, and drops those that cannot be."""
        for row in np.flatnonzero(~read).tolist():
            line = text[fields.start[row] - PAD : fields.end[row] - PAD]
            if not line.strip():
                continue
            try:
                block.signal[row], block.time_us[row], block.value[row] = self._rows.read(line)
                read[row] = True
            except Malformed as error:
                block.malformed += 1
                if len(block.named) < MOST_NAMED:
                    block.named.append((row + 1, str(error)))
        block.signal, block.time_us, block.value = block.signal[read], block.time_us[read], block.value[read]


def _fields(padded: NDArray[np.uint8], quoted: bool) -> _Fields:
    """The lines of a stretch and their fields."""
    text = padded[PAD:-PAD]
    marks = np.flatnonzero((text == _COMMA) | (text == _LINE_FEED)) + PAD
    first, second, feeds = np.ascontiguousarray(marks[: len(marks) // 3 * 3].reshape(-1, 3).T)
    if len(marks) % 3 == 0 and _are(padded, first, second, feeds):
        start, plain = _starts(feeds), np.ones(len(feeds), dtype=np.bool_)
    else:
        kinds = padded[marks]
        feeds, commas = marks[kinds == _LINE_FEED], marks[kinds == _COMMA]
        start, begin = _starts(feeds), np.searchsorted(commas, _starts(feeds))
        plain = np.searchsorted(commas, feeds) - begin == 2
        commas = np.append(commas, [PAD, PAD])
        first, second = (np.where(plain, commas[begin + at], start) for at in (0, 1))
    if quoted:
        quotes = np.flatnonzero(text == _QUOTE) + PAD
        plain[np.searchsorted(start, quotes, side="right") - 1] = False
    return _Fields(start, first, second, feeds - (padded[feeds - 1] == _RETURN), plain)


def _are(
    padded: NDArray[np.uint8], first: NDArray[np.intp], second: NDArray[np.intp], feeds: NDArray[np.intp]
) -> bool:
    """Whether they are two commas and a line feed, row by row."""
    commas = (padded[first] == _COMMA).all() and (padded[second] == _COMMA).all()
    return bool(commas and (padded[feeds] == _LINE_FEED).all())


def _starts(feeds: NDArray[np.intp]) -> NDArray[np.intp]:
    starts = np.empty_like(feeds)
    starts[:1] = PAD
    starts[1:] = feeds[:-1] + 1
    return starts


def _values(
    padded: NDArray[np.uint8],
    word_at: NDArray[np.uint64],
    start: NDArray[np.intp],
    end: NDArray[np.intp],
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Decimal numbers to the nearest double, and whether each was plain."""
    negative = (padded[start] == _MINUS) & (end > start)
    begin = np.minimum(start + negative, end) if len(end) and (end < start).any() else start + negative
    found = numbers(word_at, begin, end)
    value = found.digits / _TEN.take(found.places, mode="clip")
    if not found.exact.all():
        long = np.flatnonzero(found.plain & ~found.exact)
        value[long] = _long_values(padded, begin[long], end[long])
    return np.where(negative, -value, value), found.plain


def _in_words(
    word_at: NDArray[np.uint64], start: NDArray[np.intp], end: NDArray[np.intp]
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """On and off said in words, and whether they were."""
    length = end - start
    word = (word_at[start] | _LOWER_CASE) & _LOW[np.clip(length, 0, 8)]
    value, known = np.zeros(len(start)), np.zeros(len(start), dtype=np.bool_)
    for text, number in SWITCHED.items():
        same = (word == int.from_bytes(text.encode(), "little")) & (length == len(text))
        value[same], known[same] = number, True
    return value, known


def _long_values(
    padded: NDArray[np.uint8], start: NDArray[np.intp], end: NDArray[np.intp]
) -> NDArray[np.float64]:
    """Numbers of more digits than a double holds, read by NumPy's own exact reader."""
    text = padded[start[:, None] + np.arange(LONGEST)]
    text[np.arange(LONGEST) >= (end - start)[:, None]] = 0
    return np.ascontiguousarray(text).view(f"S{LONGEST}").ravel().astype(np.float64)


class _NameColumn:
    """Finds the plant's signals by their names, the commonest first."""

    def __init__(self, positions: dict[str, int]) -> None:
        # Names with a comma or a quote are quoted in the file: those rows are read one by one.
        self._names = [
            (at, len(name.encode()), _words_of(name.encode()))
            for name, at in positions.items()
            if not set(name) & set('",')
        ]

    def read(
        self, word_at: NDArray[np.uint64], start: NDArray[np.intp], end: NDArray[np.intp]
    ) -> tuple[NDArray[np.int16], NDArray[np.bool_]]:
        """Signal position of each name, and whether it is one."""
        length = end - start
        first = word_at[start] & _LOW[np.clip(length, 0, 8)]
        signal = np.zeros(len(start), dtype=np.int16)
        known = np.zeros(len(start), dtype=np.bool_)
        counts: dict[int, int] = {}
        left = len(start)
        for at, size, spelled in self._names:
            if not left:
                break
            match = (first == spelled[0]) & (length == size)
            if len(spelled) > 1:
                match[match] = _rest_matches(word_at, start[match], size, spelled)
            signal[match] = at
            known |= match
            counts[at] = int(np.count_nonzero(match))
            left -= counts[at]
        self._names = sorted(self._names, key=lambda name: -counts.get(name[0], 0))
        return signal, known


def _words_of(name: bytes) -> list[np.uint64]:
    return [np.uint64(int.from_bytes(name[at : at + 8], "little")) for at in range(0, len(name), 8)]


def _rest_matches(
    word_at: NDArray[np.uint64], start: NDArray[np.intp], size: int, spelled: list[np.uint64]
) -> NDArray[np.bool_]:
    """Whether the words after the first are those of the name; a name stands at each `start`."""
    same = np.ones(len(start), dtype=np.bool_)
    for at, word in enumerate(spelled[1:], 1):
        same &= (word_at[start + 8 * at] & _LOW[min(size - 8 * at, 8)]) == word
    return same
