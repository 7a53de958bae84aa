"""What a motor draws, told by a lone word of each run that its meter has met: runs shorter than its interval.

Of such runs nothing else is measured. Most words are of a motor at its work, and some of its inrush; the
median of the first ones is what it draws.

Parameters: LESSON 24 words. MOST 6 of the NEWEST 8 words over a limit: an inrush of a second is met by one
word in ten at the most (runs of ten seconds), by six of eight once in 36,000, and as high as a stalled
motor, which is left out.

Source: none; it is arithmetic.
"""

from __future__ import annotations

from statistics import median

import msgspec

LESSON, NEWEST, MOST = 24, 8, 6


class LoneWords(msgspec.Struct):
    """Plain data: the first words, and with the times of their runs [us] the newest, as shares of these."""

    lesson: list[float] = []
    newest: list[tuple[int, float]] = []

    def hear(self, at_us: int, word: float, sound: bool) -> None:
        """Take up a run's word; `sound`: nothing is known that changes what a motor draws."""
        if len(self.lesson) < LESSON:
            self.lesson = [*self.lesson, word] if sound else self.lesson
        else:
            self.newest = [*self.newest, (at_us, word / median(self.lesson))][-NEWEST:]

    def over(self, limit: float, most: float) -> tuple[int, float] | None:
        """Since when, and the share that is usual now, if it is over a limit; words of `most` are inrush."""
        high = [one for one in self.newest if limit <= one[1] < most]
        return (high[0][0], median(share for _, share in high)) if len(high) >= MOST else None

    def under(self, limit: float) -> bool:
        """Whether it is surely below."""
        return sum(share < limit for _, share in self.newest) >= MOST
