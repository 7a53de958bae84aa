"""Spells at rest in which pressure hardly moved: draws pause so, and a leak never does.

Physics. A leak of L takes L t from the tank in any time t at rest, and pressure goes through what that water
held it by. Where all that was said in such a spell, its noise included, lies within less than half of that,
it was not leaking as fast. A household whose small draws come at all hours has dozens of such spells a day.

A spell is up to BEATS of ten minutes in a row, the first of them after one without a run (the air cools after
a fill): one is enough for a gauge that speaks by the clock, of one that speaks on change the signs of life.
Beats in which nobody spoke, for no longer than the gauge's own interval, are beats without a run: its word
still held, and the motor's.

Parameters:
    HALF     0.5   of the leak's fall: with pressure a leak changes by less (a fifth over a usual band, N 0.5)
    DIGITS   1     of the gauge's last digit in that half: a coarser one may say the same all through
    WORDS, APART_S  3 words, the first and last of them 300 s apart: half of a beat
    BEATS    6     an hour, as those that are judged: a word each ten minutes tells less in half of one than
                   its own noise
    KEPT     23 h  less than the day that is judged: what stood still before a leak began delays it by nothing

Source: none; it is arithmetic.
"""

from __future__ import annotations

from bisect import bisect_right
from operator import attrgetter
from typing import TYPE_CHECKING

import msgspec

from analytics.instants import HOUR_US

if TYPE_CHECKING:
    from analytics.seeing.beats import Beat, Span
    from analytics.seeing.water import Water

HALF, DIGITS = 0.5, 1.0
WORDS, APART_US, BEATS = 3, 300_000_000, 6
KEPT_US = 23 * HOUR_US


class Heard(msgspec.Struct, frozen=True):
    """What was said of the line's pressure in a settled beat: its end [us], how many such beats came just
    before it, times of the first and the last word [us], how many, and extremes [Pa]."""

    to_us: int
    before: int
    first_us: int
    last_us: int
    count: int
    low_pa: float
    high_pa: float


class Pauses(msgspec.Struct):
    """Plain data: end of the last beat without a run [us], how many were settled since; the gauge's last
    digit [Pa], the least that words ever lay apart in a beat (0: not known); the settled beats of late."""

    rested_us: int = 0
    row: int = 0
    digit_pa: float = 0.0
    beats: list[Heard] = []

    def hear(self, beat: Beat, span: Span | None, every_s: float = 0.0) -> None:
        """Take up the line's pressure in a beat; the gauge speaks each `every_s`, at the least."""
        settled, rests = beat.from_us - self.rested_us <= every_s * 1e6, beat.running_s == 0.0
        self.rested_us = beat.to_us if rests else 0
        if not (settled and rests):
            self.row = 0
        if span is None or not span.count:
            return
        apart_pa = span.high - span.low
        if apart_pa > 0.0 and (apart_pa < self.digit_pa or not self.digit_pa):
            self.digit_pa = apart_pa
        if not (settled and rests):
            return
        ends = int(span.times[span.first_at]), int(span.times[span.past - 1])
        self.beats.append(Heard(beat.to_us, self.row, *ends, span.count, span.low, span.high))
        self.row = min(self.row + 1, BEATS - 1)
        if self.beats[0].to_us <= beat.to_us - KEPT_US:
            del self.beats[: bisect_right(self.beats, beat.to_us - KEPT_US, key=attrgetter("to_us"))]

    def refuting(self, leak_m3_s: float, water: Water, now_us: int) -> int:
        """How many spells of late, each by its last beat, a leak of this size cannot have passed through."""
        late = bisect_right(self.beats, now_us - KEPT_US, key=attrgetter("to_us"))
        return sum(self._refutes(at, leak_m3_s, water) for at in range(late, len(self.beats)))

    def _refutes(self, at: int, leak_m3_s: float, water: Water) -> bool:
        firsts = range(max(at - self.beats[at].before, 0), at + 1)
        return any(self._is_less(self.beats[first : at + 1], HALF * leak_m3_s, water) for first in firsts)

    def _is_less(self, row: list[Heard], most_m3_s: float, water: Water) -> bool:
        """Whether water surely went more slowly in a spell, by a gauge whose digit could tell."""
        lasted_us = row[-1].last_us - row[0].first_us
        low_pa, high_pa = min(one.low_pa for one in row), max(one.high_pa for one in row)
        if lasted_us < APART_US or sum(one.count for one in row) < WORDS:
            return False
        if low_pa <= 0.0 or not self.digit_pa:
            return False
        most_m3 = most_m3_s * lasted_us / 1e6
        fine = DIGITS * water.compliance_m3_pa(low_pa) * self.digit_pa <= most_m3
        return fine and water.one(high_pa) - water.one(low_pa) < most_m3
