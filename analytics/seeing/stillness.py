"""Whether a gauge says exactly the same for longer than it ever would: it is stuck, pump running or not.

A gauge whose noise is as large as its last digit, or not much smaller, repeats a word now and then. How many
equal words in a row come by chance is learned from the gauge itself: a row of k has, in its stillest hours,
the chance p^k, so that the longest of N words has about ln N / ln(1/p). Of a day's N = 86,400 that is
11.4 / ln(1/p), of a century's 21.9 / ln(1/p); of 1,440 words a day 7.3 and 17.8. The longest row of a day
scatters by an eighth to a sixth (Gumbel), and may be one that came short by 2 sigma:

    stuck     LONGER times the longest row so far, once two days and WORDS have been heard
    doubtful  longer than the longest so far: it shows no state of the water

LONGER = 3: 17.8 / 7.3 / (1 - 2/6) = 3.7 at a word a minute, 21.9 / 11.4 / (1 - 2/8) = 2.6 at one a second:
one false alarm in some ten years at the slowest, a century at the quickest, and the rows that follow raise
what is usual. ROW words at least, whatever was learned.

One whose noise is a fifth of its digit repeats itself for hours where pressure rests amid a digit, for
seconds at the edge of one. So none is judged that ever said the same more than MOST times running: p = 0.8
over a day, a noise of 0.4 digits amid one. Two days have nights and some twenty rests in them, and that each
lies at an edge is no chance. Nor is a row judged whose words lie APART 2 times as far apart as those did that
differed while it was learned: they are signs of life of a gauge that speaks on change, or holds its last.

Where a word stands for nothing or for the end of the gauge's scale, it may stand: only words within what
the gauge has said while it was learned convict it.

Source: longest run of successes, Erdos & Renyi 1970 (from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import msgspec
import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

LEARNING_US = 2 * 86_400_000_000
WORDS = 1000
LONGER = 3
ROW = 10
MOST = 50
APART, PAUSE_US = 2.0, 3_600_000_000  # a hole counts as an hour

MOVES, DOUBTFUL, STUCK = 0, 1, 2


class Stood(msgspec.Struct, frozen=True):
    """A gauge has said `value` for more `words` in a row than chance allows: `usual` were the most so far."""

    at_us: int
    signal: int
    since_us: int
    words: int
    usual: int
    value: float


class Stillness:
    """Good words of one gauge in; for each, whether it stands in a row too long to be by chance."""

    def __init__(self) -> None:
        self._until_us: int | None = None  # end of learning
        self._heard = 0  # words while learning
        self._learned = False
        self._value = float("nan")  # the newest word
        self._row = 0  # how many words in a row have said it
        self._row_us = 0  # since when
        self._longest = 0
        self._low, self._high = float("inf"), float("-inf")  # of what was learned
        self._differed = 0  # words while learning that were not the same as the one before
        self._apart_us = 0  # and how far after it they came, in all
        self._last_us = 0
        self._lives = False  # of the row that is open, once it is longer than any: it is signs of life

    def hear(
        self, signal: int, time_us: NDArray[np.int64], value: NDArray[np.float64]
    ) -> tuple[NDArray[np.int8], list[Stood]]:
        """MOVES, DOUBTFUL or STUCK for each of N words, in order of time: (N,); and which words convict."""
        said = np.zeros(len(value), np.int8)
        first = 0 if self._learned else self._learn(time_us, value)
        if first == len(value):
            return said, []
        return said, self._judge(signal, time_us[first:], value[first:], said[first:])

    def _learn(self, time_us: NDArray[np.int64], value: NDArray[np.float64]) -> int:
        """Take the words of the first days; how many of these were."""
        if self._until_us is None and len(value):
            self._until_us = int(time_us[0]) + LEARNING_US
        past = int(np.searchsorted(time_us, self._until_us or 0))
        past = min(max(past, WORDS - self._heard), len(value))
        if past:
            self._note_pairs(time_us[:past], value[:past])
            _, _, rows = self._rows(time_us[:past], value[:past])
            self._longest = max(self._longest, int(rows.max()))
            self._low = min(self._low, float(value[:past].min()))
            self._high = max(self._high, float(value[:past].max()))
            self._heard += past
        self._learned = past < len(value)
        return past

    def _note_pairs(self, time_us: NDArray[np.int64], value: NDArray[np.float64]) -> None:
        first = 0 if self._heard else 1
        apart_us = np.minimum(np.diff(time_us, prepend=self._last_us), PAUSE_US)[first:]
        differ = (value != np.concatenate(([self._value], value[:-1])))[first:]
        self._differed += int(np.count_nonzero(differ))
        self._apart_us += int(apart_us[differ].sum())
        self._last_us = int(time_us[-1])

    def _signs_of_life(self, lasted_us: int) -> bool:
        """Whether the words of a row that is longer than any lie too far apart for a gauge that is asked."""
        return lasted_us * max(self._differed, 1) > APART * self._apart_us * self._longest

    def _rows(
        self, time_us: NDArray[np.int64], value: NDArray[np.float64]
    ) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]:
        """Where rows of equal words begin and end, and how long they are by then; the first goes on with the
        row that was open, the last stays open."""
        cuts = np.flatnonzero(value[1:] != value[:-1]) + 1
        starts, ends = np.concatenate(([0], cuts)), np.concatenate((cuts, [len(value)]))
        rows = ends - starts
        if value[0] == self._value:
            rows[0] += self._row
        if len(rows) > 1 or value[0] != self._value:
            self._row_us = int(time_us[starts[-1]])
        self._row, self._value = int(rows[-1]), float(value[-1])
        return starts, ends, rows

    def _judge(
        self, signal: int, time_us: NDArray[np.int64], value: NDArray[np.float64], said: NDArray[np.int8]
    ) -> list[Stood]:
        if self._longest > MOST:
            return []
        if value[0] != self._value:
            self._over(self._row, self._value)
        if not self._any_longer(value):
            self._take_last(time_us, value)
            return []
        open_us = self._row_us
        starts, ends, rows = self._rows(time_us, value)
        stood: list[Stood] = []
        for at in np.flatnonzero(rows > self._longest).tolist():
            row, begins, past = int(rows[at]), int(starts[at]), int(ends[at])
            spoken = float(value[begins])
            if row <= self._longest or self._longest > MOST or not self._low < spoken < self._high:
                continue
            since_us = open_us if row > past - begins else int(time_us[begins])
            crossed = past - (row - self._longest)  # the word by which it became longer than any
            if crossed >= begins:
                self._lives = self._signs_of_life(int(time_us[crossed]) - since_us)
            if self._lives:
                continue
            said[max(begins, past - (row - self._longest)) : past] = DOUBTFUL
            if row > self._limit():
                stuck = past - (row - self._limit())
                if stuck >= begins:
                    at_us, words = int(time_us[stuck]), self._limit() + 1
                    stood.append(Stood(at_us, signal, since_us, words, self._longest, spoken))
                said[max(begins, stuck) : past] = STUCK
            if at < len(rows) - 1:
                self._over(row, spoken)
        if self._longest > MOST:
            self._row, self._value = 0, float("nan")  # never judged again
        return stood

    def _any_longer(self, value: NDArray[np.float64]) -> bool:
        """Whether a row in these is longer than the longest so far, at a glance."""
        if value[0] == self._value:
            others = np.flatnonzero(value[: self._longest + 1] != value[0])
            lead = int(others[0]) if len(others) else min(len(value), self._longest + 1)
            if self._row + lead > self._longest:
                return True
        same, held = value[1:] == value[:-1], 1  # of so many in a row, from each word on
        while held < self._longest and len(same):
            step = min(held, self._longest - held)
            same, held = same[step:] & same[:-step], held + step
        return bool(same.any())

    def _take_last(self, time_us: NDArray[np.int64], value: NDArray[np.float64]) -> None:
        """Keep the row that these words leave open, where none is longer than the longest so far."""
        others = np.flatnonzero(value[-self._longest - 1 :] != value[-1])
        if not len(others) and value[0] == self._value:
            self._row += len(value)
            return
        tail = min(self._longest + 1, len(value))
        self._row = tail - 1 - int(others[-1]) if len(others) else tail
        self._row_us, self._value = int(time_us[-self._row]), float(value[-1])

    def _limit(self) -> int:
        return max(LONGER * self._longest, ROW)

    def _over(self, row: int, value: float) -> None:
        """A row has ended: it was chance, unless it was too long for that."""
        if row <= self._limit() and self._low < value < self._high:
            self._longest = max(self._longest, row)

    def saved(self) -> list[Any]:
        return [
            self._until_us, self._heard, self._learned, self._value, self._row, self._row_us, self._longest,
            self._low, self._high, self._differed, self._apart_us, self._last_us, self._lives,
        ]  # fmt: skip

    def restore(self, saved: list[Any]) -> None:
        (
            self._until_us, self._heard, self._learned, self._value, self._row, self._row_us, self._longest,
            self._low, self._high, self._differed, self._apart_us, self._last_us, self._lives,
        ) = saved  # fmt: skip
