"""A level gauge that throws a wrong word now and then: told by how many of them stand alone.

A word that lies off its neighbours, two each way, by more than `contradiction.LEAP_SHARE` of its range and
what water can go and come back between them, is the gauge's own: an echo off a ladder, a worn wiper, a loose
clamp. A healthy one has a few, and each is passed over; a share of them that no healthy one has is a fault,
though the middle of the words still reads well.
A drop-out to nothing or an overflow code is a lost word, not a wrong one, and is not counted.

Parameters:
    LEAST   32      lone words, SHARE 1 in 40 of the words of HOURS 24 h. A healthy gauge has one in 100 at
                    the most (supposed; the worst of those at hand has one in 500), which comes to 32 of
                    1280 four times in a million (binomial). One that speaks less than once a minute has too
                    few words a day to tell
    SPREAD  6       hours that have one: a filling that splashes for an hour is none
    WELL    1 in 80 fewer than this: no longer (halfway)
    NOTHING 0.02, OVER 1.1   of the full level: outside, a word is a drop-out or a code

Source: none; it is arithmetic.
"""

from __future__ import annotations

import msgspec

LEAST, SHARE, WELL = 32, 1 / 40, 1 / 80
HOURS, SPREAD = 24, 6
NOTHING, OVER = 0.02, 1.1
HOUR_US = 3_600_000_000


class LoneLevels(msgspec.Struct):
    """Plain data: hour of the UTC clock, words and lone ones in it, newest last."""

    hours: list[tuple[int, int, int]] = []
    convicted: bool = False

    def hear(self, at_us: int, words: int, lone: int) -> bool:
        """Take up a beat; whether too many stand alone by now."""
        hour = at_us // HOUR_US
        if self.hours and self.hours[-1][0] == hour:
            _, before, wild = self.hours[-1]
            self.hours[-1] = (hour, before + words, wild + lone)
        else:
            kept = [one for one in self.hours if hour - one[0] < HOURS]
            self.hours = [*kept, (hour, words, lone)]
        if lone or self.convicted:
            self._judge()
        return self.convicted

    def _judge(self) -> None:
        lone = sum(wild for _, _, wild in self.hours)
        words, spread = sum(said for _, said, _ in self.hours), sum(wild > 0 for _, _, wild in self.hours)
        if self.convicted:
            self.convicted = lone > WELL * words
        else:
            self.convicted = lone >= max(LEAST, SHARE * words) and spread >= SPREAD
