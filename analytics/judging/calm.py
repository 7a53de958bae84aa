"""Beats in which the motor rested and pressure hardly moved: most of a day, and nothing for a check to hear.

Pressure that stays within less than a leap and does not climb through the band, and a motor that says "off"
and nothing else, contradict neither each other nor the plant (`climbs`, `leaps`, `wild_gauge`, `wild_motor`).
Such a beat leaves its newest words behind, and each check is spared it, so long as none of them has a
suspicion: what it would have done is nothing, to the last digit, and a test holds it to that.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analytics.judging.climbs import LEAST_LIES
from analytics.judging.leaps import STEP, hear_pace, keep_newest
from analytics.judging.wild_gauge import FEWEST, WIDTH
from analytics.judging.wild_motor import ON

if TYPE_CHECKING:
    from analytics.judging.climbs import ClimbMemory, Climbs
    from analytics.judging.leaps import Leap
    from analytics.judging.reference import Reference
    from analytics.judging.wild_gauge import WildGauges, WildMemory
    from analytics.judging.wild_motor import WildMotor
    from analytics.seeing.beats import Beat, Span


class Calm:
    def __init__(self, climbs: Climbs, gauges: WildGauges, wild_motor: WildMotor) -> None:
        self._climbs, self._line, self._clamp = climbs, climbs.pressure, wild_motor.motor
        self._outlets = [at for at in gauges.pressures if at != climbs.pressure]
        self._able = climbs.able and climbs.pressure in gauges.pressures

    def takes(self, climbs: ClimbMemory, leap: Leap, wild: WildMemory, beat: Beat, usual: Reference) -> bool:
        """Whether a beat is calm, and taken up so; else nothing has changed."""
        if not self._able or wild.beats or leap.at_us or beat.from_us != climbs.to_us:
            return False
        line = beat.spans.get(self._line) if self._line is not None else None
        if line is None or line.count < FEWEST:
            return False
        if not self._motors_rest(climbs, beat, usual) or not self._keeps_still(climbs, leap, line, usual):
            return False
        for position in self._outlets:
            span = beat.spans.get(position)
            if span is not None and span.count and not self._level(span, WIDTH * usual.band_pa):
                return False
        climbs.to_us = beat.to_us
        climbs.high_pa = max(climbs.high_pa, line.high)
        if line.low <= self._climbs.floor_pa:
            climbs.low_us = int(line.times[line.past - 1])
        for position, witness in climbs.witnesses.items():
            witness.spoke = True
            witness.speaks(beat.spans[position])
        hear_pace(leap, line)
        keep_newest(leap, line)
        return True

    def _motors_rest(self, climbs: ClimbMemory, beat: Beat, usual: Reference) -> bool:
        """Whether each motor signal says that it goes on resting, and little beside."""
        for position, level in self._climbs.levels.items():
            witness, said = climbs.witnesses.get(position), beat.spans.get(position)
            if witness is None or witness.on is not False or witness.row >= LEAST_LIES:
                return False
            if said is None or not said.count or said.high > level:
                return False
            if position == self._clamp and usual.motor_level and said.high > ON * usual.motor_level:
                return False
        return True

    def _keeps_still(self, climbs: ClimbMemory, leap: Leap, line: Span, usual: Reference) -> bool:
        """Whether the line's pressure neither leaps nor climbs."""
        words = (line.low, line.high, *leap.value)
        if max(words) - min(words) >= STEP * usual.band_pa or line.low <= self._climbs.nothing_pa:
            return False
        if line.high < self._climbs.ceiling_pa:
            return line.low > self._climbs.floor_pa or line.last <= self._climbs.floor_pa
        return line.low > self._climbs.floor_pa and not climbs.low_us

    def _level(self, span: Span, most_pa: float) -> bool:
        """An outlet at rest may stand at nothing, where a valve keeps the line's pressure from it."""
        dips = span.low <= self._climbs.nothing_pa < span.high
        return not dips and span.high - span.low < most_pa
