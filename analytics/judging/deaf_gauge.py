"""A pressure gauge that tells of next to nothing while the switch, which feels the same water, is content.

Below the cut-in the switch has the motor on. So a motor that has rested for minutes with the gauge below it
had no power, or the gauge is dead. The next run tells: a line that was let down meanwhile is filled, and the
gauge goes up; a dead one stays where it was, through a run like any other. Until then such a run's pressure
says nothing of the water: neither that none moves nor that all of it leaves.

What does so and is no dead gauge: a pump that has lost its prime, or a line that burst, while the power was
off. Both run on, and others see them: the motor takes less, the meter tells more, the outlet gauge says the
same as the line's.

Parameters:
    BELOW    0.15    of the band below cut-in: gauge and switch are good to a tenth of the band each
    MOVED    0.15    of the band above where it rested: the gauge is alive
    HOLDS    4       fills of the tank, and HOLDS_S 600 s: a run that goes on for longer is no usual one,
                     whatever is drawn from it
    FILLS    0.8, 5  times the run that fills the tank: so long is a run that the switch has ended, never
                     shorter. A stalled rotor trips sooner, and takes STALLED 2 times the usual; what else
                     trips a protector has been told by then
    SEEN     0.5     of a fill, that samples are apart at most: of two that lie further apart a rotor that
                     stalls for seconds may be on at either
    RUNS     3       such runs with none between them that moved the gauge

Source: common practice, no source.
"""

from __future__ import annotations

from math import inf
from typing import TYPE_CHECKING

import msgspec

from analytics.judging.instruments import WORKS, motor_share_1
from analytics.judging.story import dry_share

if TYPE_CHECKING:
    from analytics.judging.reference import Reference
    from analytics.judging.watch import Known
    from analytics.seeing.events import Look, Run

BELOW, MOVED = 0.15, 0.15
HOLDS, HOLDS_S = 4.0, 600.0
FILLS, STALLED = (0.8, 5.0), 2.0
SEEN = 0.5
RUNS = 3


class Deaf(msgspec.Struct):
    """Runs that the line gauge has not felt. Plain data."""

    runs: int = 0
    since_us: int = 0  # start of the first

    def hear(self, run: Run, usual: Reference) -> None:
        """Count a run that it has not felt; begin anew after one that it has."""
        high_pa, low_pa, rested_pa = run.pressure_high_pa, run.pressure_low_pa, run.rested_pa
        if not run.entire or high_pa is None or low_pa is None:
            return
        if high_pa - min(low_pa, rested_pa or low_pa) > MOVED * usual.band_pa:
            self.runs = 0
            return
        fill_s = usual.drawdown_m3 / usual.delivery_m3_s
        lasted_s = run.cycle.run_time_s
        if run.interval_s > SEEN * fill_s:
            return
        usual_length = FILLS[0] * fill_s - run.interval_s < lasted_s < FILLS[1] * fill_s + run.interval_s
        level = run.cycle.motor_level
        works = level is None or WORKS < level / (usual.motor_level or inf) < STALLED
        if rested_below(rested_pa, usual) and usual_length and works:
            self.since_us = self.since_us if self.runs else run.cycle.start_us
            self.runs += 1

    @property
    def convicts(self) -> bool:
        return self.runs >= RUNS


def rested_below(rested_pa: float | None, usual: Reference) -> bool:
    """Whether the motor rested though the gauge told that it should not."""
    return rested_pa is not None and rested_pa < usual.start_pa - BELOW * usual.band_pa


def may_be_deaf(look: Look, known: Known) -> bool:
    """Whether a run's pressure says nothing yet, for it may be that of a dead gauge."""
    usual = known.usual
    if not look.entire or look.rested_pa is None or not rested_below(look.rested_pa, usual):
        return False
    if max(look.pressure_high_pa or 0.0, known.story.reached_pa) > look.rested_pa + MOVED * usual.band_pa:
        return False
    if look.age_s > max(HOLDS_S, HOLDS * usual.drawdown_m3 / usual.delivery_m3_s):
        return False
    motor = motor_share_1(look, usual)
    if motor is not None and motor < dry_share(known):
        return False
    if look.flow_m3_s is not None and look.flow_m3_s > usual.delivery_m3_s:
        return False
    return look.discharge_pa is None or look.discharge_pa > usual.start_pa - BELOW * usual.band_pa
