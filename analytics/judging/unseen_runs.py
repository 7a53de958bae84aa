"""Runs that fall between two words of the motor, where none used to.

Words each half minute or minute meet every run of a sound tank that lasts longer. Once a tank has lost its
air its runs are over between two words, and only the gauge tells: pressure has risen by a part of the band
from one word to the next though the motor said "off" before, between and after, within one interval each
way. In a plant of which the lesson shows no such rise, a run is then shorter than the interval.

Parameters:
    RISES    0.25   of the band, between words that both lie in it (BESIDE 0.15): three deviations of a bad
                    gauge's noise, and more than air warms by after a draw
    EVENLY   1.3    times the usual spacing: where words are further apart one was lost
    LESSON   24     runs and LASTS 71 h in which the motor met all: of runs of four fifths of the interval
                    one in five is missed, and none of so many on one plant in 200; three days have hours
                    without a garden, which makes all runs long
    ENOUGH   5      in LATELY 24 h: as many short runs as are asked for where all are seen; KEPT 24

Source: arithmetic of samples; common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec
import numpy as np

from analytics.instants import HOUR_US
from analytics.judging.signature import COARSE_S
from analytics.physics.fits import median
from analytics.seeing.beats import BEAT_US

if TYPE_CHECKING:
    from analytics.judging.footing import Band
    from analytics.seeing.beats import Span

RISES, BESIDE, EVENLY = 0.25, 0.15, 1.3
LESSON, LASTS_US, ENOUGH, LATELY_US, KEPT = 24, 71 * HOUR_US, 5, 24 * HOUR_US, 24
#: Words of a beat that show a rise with words about it; and the most of them, COARSE_S apart, give or take.
FEWEST, MOST = 5, 1.1 * BEAT_US / (COARSE_S * 1e6)


class UnseenRuns(msgspec.Struct):
    """Plain data: runs met in the lesson, since when [us], and rises without one; whether it is over; when
    the newest such rises were [us]."""

    met: int = 0
    from_us: int = 0
    learned: bool = False
    missed: int = 0
    at_us: list[int] = []

    def meet(self, at_us: int, healthy: bool) -> None:
        """A run that the motor's words have met."""
        if not healthy or self.learned:
            return
        self.from_us = self.from_us or at_us
        self.met += 1
        self.learned = self.met >= LESSON and at_us - self.from_us >= LASTS_US

    def hear(self, pressure: Span | None, motor: Span | None, level: float, band: Band) -> None:
        """A beat's words of both, if they come evenly and COARSE_S apart or more.

        level: above which the motor runs, in its signal's SI unit; band: cut-in and width [Pa].
        """
        if pressure is None or motor is None or min(pressure.count, motor.count) < FEWEST:
            return
        if max(pressure.count, motor.count) > MOST:
            return  # fine words, of most plants: soonest asked of all
        times_us, motor_us = pressure.time_us, motor.time_us
        apart_us, motor_apart_us = np.diff(times_us), np.diff(motor_us)
        every_us = max(median(apart_us), median(motor_apart_us))
        if every_us < COARSE_S * 1e6 or motor_apart_us.max() > EVENLY * every_us:
            return
        low_pa, wide_pa = band
        value = pressure.value
        inside = (value > low_pa - BESIDE * wide_pa) & (value < low_pa + (1.0 + BESIDE) * wide_pa)
        rises = (
            inside[1:] & inside[:-1] & (np.diff(value) > RISES * wide_pa) & (apart_us <= EVENLY * every_us)
        )
        for k in np.flatnonzero(rises).tolist():
            from_us, to_us = times_us[k] - every_us, times_us[k + 1] + every_us
            if from_us < motor_us[0] or to_us > motor_us[-1]:
                continue  # of the next beat nothing is known yet
            near = (motor_us >= from_us) & (motor_us <= to_us)
            if not (motor.value[near] > level).any():
                self._miss(int(times_us[k + 1]))

    def _miss(self, at_us: int) -> None:
        if not self.learned:
            self.missed += 1
        else:
            self.at_us = [*self.at_us, at_us][-KEPT:]

    def lately(self, now_us: int) -> int:
        """How many runs went by unseen within LATELY, KEPT at most, in a plant where none ever did."""
        if not self.learned or self.missed:
            return 0
        return sum(now_us - at_us <= LATELY_US for at_us in self.at_us)

    def convict(self, now_us: int) -> bool:
        """Whether they are enough."""
        return self.lately(now_us) >= ENOUGH
