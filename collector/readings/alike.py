"""Rows whose times are all of one form, as one recorder writes them: fetched whole, a row in one go.

Where times have the same length throughout, each row's first comma stands where the others' do, and its
second where the name of a signal ends: only line feeds need be looked for. What is fetched from odd places in
the text costs most by far, a word as much as PREFIX bytes; so the whole time is fetched at once.

Nothing is taken on trust: each byte of a row that is read here has been compared or found to be a digit.
Every other row is left to whoever reads with more patience.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from collector.readings.digits import PAD, all_digits, eight_digits
from collector.readings.times import east_us, hundreds_of_seconds

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from collector.readings.times import TimeColumn

_LINE_FEED, _RETURN, _COMMA = 10, 13, 44
#: Bytes of a row that are fetched at once: the longest plain time and the comma after it.
PREFIX = 32
#: Where the point of a second stands in a calendar's time and in seconds of this age (2001 to 2286), and the
#: most digits after it.
_CALENDAR_POINT, _SECONDS_POINT, _PLACES = 19, 10, 6
#: In a word `:SS.ffff`: the shape of the first three, and how they look.
_SECOND, _SECOND_LOOKS = np.uint64(0xF0F0FF), np.uint64(0x30303A)
_ZEROS = np.uint64(0x3030_3030_3030_3030)
_BYTE, _NIBBLE, _WHOLE = np.uint64(255), np.uint64(15), np.uint64(2**64 - 1)
_MOST_NAMES = 255  # a byte tells them apart


class Lines(NamedTuple):
    """Where each line begins and ends, its line feed and a return before that left out."""

    start: NDArray[np.intp]
    end: NDArray[np.intp]


class Alike(NamedTuple):
    """Times [us] of all rows, which of them are of the common form, and where their names begin."""

    time_us: NDArray[np.int64]
    plain: NDArray[np.bool_]
    name: NDArray[np.intp]


def lines(padded: NDArray[np.uint8]) -> Lines:
    """The lines of a stretch that ends with a line feed."""
    feeds = np.flatnonzero(padded[PAD:-PAD] == _LINE_FEED) + PAD
    start = np.empty_like(feeds)
    start[:1] = PAD
    start[1:] = feeds[:-1] + 1
    return Lines(start, feeds - (padded[feeds - 1] == _RETURN))


def times(padded: NDArray[np.uint8], found: Lines, column: TimeColumn) -> Alike | None:
    """Times of rows that have the form of the first one's; None where that is none of the usual."""
    if not len(found.start):
        return None
    head = padded[found.start[0] : found.start[0] + PREFIX].tobytes()
    length = head.find(b",")
    form = _Form.of(head[:length]) if length > 0 else None
    if form is None:
        return None
    rows = np.ndarray((len(padded) - PREFIX + 1,), f"V{PREFIX}", padded, strides=(1,))[found.start]
    byte_of, words = rows.view(np.uint8).reshape(-1, PREFIX).T, rows.view("<u8").reshape(-1, PREFIX // 8)
    word_of = np.ascontiguousarray(words[:, : form.words].T)
    plain = byte_of[length] == _COMMA
    plain &= length < found.end - found.start
    for at, byte in form.fixed:
        plain &= byte_of[at] == byte
    if form.calendar:
        tens = ((word_of[2] >> np.uint64(8)) & _NIBBLE).view(np.int64)
        ones = ((word_of[2] >> np.uint64(16)) & _NIBBLE).view(np.int64)
        minute, known = column.minutes(padded, found.start, word_of[0], word_of[1])
        plain &= ((word_of[2] & _SECOND) == _SECOND_LOOKS) & (tens < 6) & (ones < 10) & known
        seconds = minute * 60 + tens * 10 + ones
    else:
        tens, ones = (((word_of[1] >> up) & _BYTE).view(np.int64) - 48 for up in (np.uint64(0), np.uint64(8)))
        hundreds, known = hundreds_of_seconds(word_of[0])
        plain &= (tens >= 0) & (tens < 10) & (ones >= 0) & (ones < 10) & known
        seconds = hundreds * 100 + tens * 10 + ones
    time_us = seconds * 1_000_000 - form.east_us
    if form.places:
        word, out = word_of[form.point // 8], np.uint64(8 * (form.point % 8 + 1))
        after = (word >> out) | (word_of[form.point // 8 + 1] << (np.uint64(64) - out))
        after = (after << np.uint64(8 * (8 - form.places))) | (_ZEROS >> np.uint64(8 * form.places))
        plain &= all_digits(after)
        time_us += eight_digits(after) * 10 ** (_PLACES - form.places)
    return Alike(time_us, plain, np.minimum(found.start + (length + 1), found.end))


class _Form(NamedTuple):
    """What times have in common: calendar's or seconds since 1970; where the point of a second stands and how
    many digits after it; what else stands where; how many words are wanted."""

    calendar: bool
    point: int
    places: int
    fixed: list[tuple[int, int]]
    east_us: int
    words: int

    @classmethod
    def of(cls, text: bytes) -> _Form | None:
        calendar = text[4:5] == b"-"
        point = _CALENDAR_POINT if calendar else _SECONDS_POINT
        if not calendar and not text[:_SECONDS_POINT].isdigit():
            return None
        zone = point
        if text[point : point + 1] == b".":
            zone = point + 1
            while text[zone : zone + 1].isdigit():
                zone += 1
            if not 1 <= zone - point - 1 <= _PLACES:
                return None
        places = max(zone - point - 1, 0)
        east: int | None = 0
        if text[zone:] != (b"Z" if calendar else b""):
            east = east_us(text[zone:]) if calendar else None
        if east is None:
            return None
        fixed = [(at, text[at]) for at in (*range(point, min(point + 1, zone)), *range(zone, len(text)))]
        return cls(calendar, point, places, fixed, east, 4 if calendar and places else 3)


class EndedNames:
    """Finds the plant's signals by their names with the comma after them, the commonest first."""

    def __init__(self, positions: dict[str, int]) -> None:
        # Names with a comma or a quote are quoted in the file; of more than PREFIX bytes there are few.
        spelled = {at: name.encode() + b"," for name, at in positions.items() if not set(name) & set('",')}
        self._names = [(at, text) for at, text in spelled.items() if len(text) <= PREFIX][:_MOST_NAMES]
        self._words = max((-(-len(text) // 8) for _, text in self._names), default=1)
        # by the place of a name plus one; nought where there is none
        self._signal = np.array([0, *(at for at, _ in self._names)], np.int16)
        self._size = np.array([0, *(len(text) for _, text in self._names)], np.intp)
        self._order = list(range(1, len(self._names) + 1))
        self._spelled = [[], *(_spelled(text) for _, text in self._names)]

    def read(
        self, padded: NDArray[np.uint8], start: NDArray[np.intp]
    ) -> tuple[NDArray[np.int16], NDArray[np.intp]]:
        """Signal position of each name that a comma ends, and how far it is from `start` to after that comma;
        0 where none stands there."""
        wide = 8 * self._words
        rows = np.ndarray((len(padded) - wide + 1,), f"V{wide}", padded, strides=(1,))[start]
        word_of = np.ascontiguousarray(rows.view("<u8").reshape(-1, self._words).T)
        which, left = np.zeros(len(start), np.uint8), len(start)
        counts: dict[int, int] = {}
        for place in self._order:
            if not left:
                break
            match: NDArray[np.bool_] | None = None
            for word, (mask, text) in zip(word_of, self._spelled[place], strict=False):
                same = (word if mask == _WHOLE else word & mask) == text
                match = same if match is None else match & same
            if match is not None:
                which |= match.view(np.uint8) * np.uint8(place)
                counts[place] = int(np.count_nonzero(match))
                left -= counts[place]
        self._order.sort(key=lambda place: -counts.get(place, 0))
        return self._signal.take(which), self._size.take(which)


def _spelled(text: bytes) -> list[tuple[np.uint64, np.uint64]]:
    """Of each eight bytes which to look at, and what they are."""
    parts = [text[at : at + 8] for at in range(0, len(text), 8)]
    return [(np.uint64(256 ** len(part) - 1), np.uint64(int.from_bytes(part, "little"))) for part in parts]
