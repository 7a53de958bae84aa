"""Spells at rest in which pressure hardly moved: draws pause so, and a leak never does.

Physics. A leak of L takes L t from the tank in any time t at rest, and pressure goes through what that water
held it by. Where all that was said in such a spell, its noise included, lies within less than half of that,
it was not leaking as fast. A household whose small draws come at all hours has dozens of such spells a day.

A spell is up to BEATS of ten minutes in a row, the first of them after one without a run (the air cools after
a fill): one is enough for a gauge that speaks by the clock, of one that speaks on change the signs of life.

Parameters:
    HALF     0.5   of the leak's fall: with pressure a leak changes by less (a fifth over a usual band, N 0.5)
    DIGITS   1     of the gauge's last digit in that half: a coarser one may say the same all through
    WORDS, APART_S  3 words, the first and last of them 300 s apart: half of a beat
    BEATS    3     half an hour, as a piece of rest
    KEPT     23 h  less than the day that is judged: what stood still before a leak began delays it by nothing

Source: none; it is arithmetic.
"""

from __future__ import annotations

from bisect import bisect_right
from operator import itemgetter
from typing import TYPE_CHECKING

import msgspec

from analytics.instants import HOUR_US

if TYPE_CHECKING:
    from analytics.seeing.beats import Beat, Span
    from analytics.seeing.water import Water

HALF, DIGITS = 0.5, 1.0
WORDS, APART_US, BEATS = 3, 300_000_000, 3
KEPT_US = 23 * HOUR_US


class Heard(msgspec.Struct, frozen=True):
    """What was said of the line's pressure in a beat: times of the first and the last word [us], how many,
    and extremes [Pa]."""

    first_us: int
    last_us: int
    count: int
    low_pa: float
    high_pa: float


class Pauses(msgspec.Struct):
    """Plain data: end of the last beat without a run [us]; the newest settled beats in a row; the gauge's
    last digit [Pa], the least that words ever lay apart in a beat (0: not known); of the newest spells
    their end [us], how fast water can have gone at most, and a digit of the gauge as such a rate [m3/s]."""

    rested_us: int = 0
    row: list[Heard] = []
    digit_pa: float = 0.0
    spells: list[list[float]] = []

    def hear(self, beat: Beat, span: Span | None, water: Water) -> None:
        """Take up the line's pressure in a beat."""
        settled, rests = self.rested_us == beat.from_us, beat.running_s == 0.0
        self.rested_us = beat.to_us if rests else 0
        self.row = self.row if settled and rests else []
        if span is None or not span.count:
            return
        apart_pa = span.high - span.low
        if apart_pa > 0.0:
            self.digit_pa = min(self.digit_pa, apart_pa) if self.digit_pa else apart_pa
        if not (settled and rests):
            return
        ends = int(span.times[span.first_at]), int(span.times[span.past - 1])
        self.row = [*self.row, Heard(*ends, span.count, span.low, span.high)][-BEATS:]
        rates = [rate for k in range(len(self.row)) if (rate := self._rate(self.row[k:], water)) is not None]
        if rates:
            self.spells.append([float(beat.to_us), *min(rates)])
            del self.spells[: bisect_right(self.spells, float(beat.to_us - KEPT_US), key=itemgetter(0))]

    def _rate(self, row: list[Heard], water: Water) -> tuple[float, float] | None:
        """How fast water can have gone in a spell, and a digit's worth of it [m3/s]."""
        lasted_us = row[-1].last_us - row[0].first_us
        low_pa, high_pa = min(one.low_pa for one in row), max(one.high_pa for one in row)
        if lasted_us < APART_US or sum(one.count for one in row) < WORDS or low_pa <= 0.0:
            return None
        digit_m3 = water.compliance_m3_pa(low_pa) * self.digit_pa
        return (water.one(high_pa) - water.one(low_pa)) / lasted_us * 1e6, digit_m3 / lasted_us * 1e6

    def refuting(self, leak_m3_s: float, now_us: int) -> int:
        """How many of the spells of late a leak of this size cannot have passed through."""
        most, since_us = HALF * leak_m3_s, float(now_us - KEPT_US)
        late = self.spells[bisect_right(self.spells, since_us, key=itemgetter(0)) :]
        return sum(went < most and 0.0 < DIGITS * digit <= most for _, went, digit in late)
