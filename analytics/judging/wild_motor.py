"""A motor meter whose words leap about while pressure rests: no motor takes now half, now all of its power.

A motor that runs takes what it takes: word by word the same, until the pump comes to another state and stays
there. Only a run's first and last word may lie between, where a meter gives the mean of its interval; so a
word with words of "on" on both sides agrees with one of them, or is the whole of what the motor takes. And
while the pump has not lifted pressure, which stands above the cut-in, the switch has it off at all.

Parameters:
    ON, MOST 0.1, 2    of the usual level: less is a clamp's noise, more the current of a start
    APART    0.2       of the usual level, from both neighbours and from the whole: mains that sag by a tenth
                       and a meter's own noise make half of it
    SHARE    0.15      of a beat's words, and LEAST 2, that lie so; of words spread evenly from nothing to
                       one and a half of the usual level it is a quarter
    RISES    0.15      of the band: what pressure may rise in the beat by air that warms (`story.LIFTED`)
    BEATS    3         such beats within six hours, or 2 with MANY 20 such words between them

Source: common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from analytics.judging.wild_gauge import BEATS, FEWEST, MANY, WINDOW_US
from analytics.plant.description import Measure
from analytics.seeing.motor import motor_signal

if TYPE_CHECKING:
    from analytics.judging.reference import Reference
    from analytics.judging.wild_gauge import WildMemory
    from analytics.plant.description import Plant
    from analytics.seeing.beats import Beat, Span

ON, MOST, APART = 0.1, 2.0, 0.2
SHARE, LEAST = 0.15, 2
RISES = 0.15


class WildMotor:
    def __init__(self, plant: Plant) -> None:
        motor = motor_signal(plant)
        by_contact = motor is None or plant.signals[motor].measures is Measure.PUMP_RUNNING
        self.motor = None if by_contact else motor
        self._pressure = next(iter(plant.measuring(Measure.LINE_PRESSURE)), None)

    def beat(self, memory: WildMemory, beat: Beat, usual: Reference) -> list[int]:
        """The motor's position in `Plant.signals`, where the beats so far convict it."""
        motor, level = self.motor, usual.motor_level
        if motor is None or self._pressure is None or not level:
            return []
        before = [one for one in memory.beats.get(motor, ()) if one[0] > beat.to_us - WINDOW_US]
        said, pressure = beat.spans.get(motor), beat.spans.get(self._pressure)
        if said is not None and pressure is not None and said.count >= FEWEST <= pressure.count:
            wild = _leaps(said, level) if _may_rest(pressure, usual) else 0
            if wild >= max(LEAST, SHARE * said.count) and _rests(pressure, usual):
                before.append((beat.to_us, float(wild)))
        if before or motor in memory.beats:
            memory.beats[motor] = before
        many = len(before) > 1 and sum(words for _, words in before) >= MANY
        return [motor] if many or len(before) >= BEATS else []


def _leaps(said: Span, level: float) -> int:
    """Words that agree with neither neighbour nor with the whole, words of "on" on both sides."""
    if said.high <= ON * level:
        return 0
    share = said.value / level
    on = (share > ON) & (share < MOST)
    step = np.abs(share[1:] - share[:-1]) > APART
    lone = on[:-2] & on[1:-1] & on[2:] & step[:-1] & step[1:] & (np.abs(share[1:-1] - 1.0) > APART)
    return int(np.count_nonzero(lone))


def _may_rest(pressure: Span, usual: Reference) -> bool:
    """Whether pressure rests for all that its ends and extremes show: soon asked, and mostly enough."""
    lifted = max(pressure.high - pressure.first, pressure.last - pressure.low)
    return pressure.low > usual.start_pa - RISES * usual.band_pa and lifted < RISES * usual.band_pa


def _rests(pressure: Span, usual: Reference) -> bool:
    """Whether pressure keeps above the cut-in and nothing lifts it."""
    value = pressure.value
    lifted = float(np.max(value - np.minimum.accumulate(value)))
    return pressure.low > usual.start_pa - RISES * usual.band_pa and lifted < RISES * usual.band_pa
