"""A flow meter that tells of nothing while the tank gives, now much and now little.

What is drawn shows in the tank: it falls at rest before and after a run, and fills more slowly in it. A meter
behind it that stands meanwhile has no pulse any more, or a leak before it takes the water. But a leak, or a
check valve that lets back, takes the same at the same pressure, run after run; taps are opened and shut.

Parameters:
    DRAWN   0.2   of the delivery is much, half of it little: at rest the demand is good to a twentieth
    NOTHING 0.01  of the delivery: a meter that turns tells more of what is drawn, a fifth of its noise less
    RUNS    8     runs with much drawn that it has not felt, none between them that it did, over LASTS 12 h: a
                  garden that is watered past the meter is watered in one go
    BACK    3     times little was drawn after much: a leak that has begun goes on
    HEARD   6     runs that it has felt before: else it stands in another line

Source: none; the tank's own book.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from analytics.instants import HOUR_US

if TYPE_CHECKING:
    from analytics.judging.reference import Reference
    from analytics.seeing.events import Run

DRAWN, LITTLE, NOTHING = 0.2, 0.1, 0.01
RUNS, BACK, HEARD, LASTS_US = 8, 3, 6, 12 * HOUR_US


class DeafMeter(msgspec.Struct):
    """Plain data: how many runs it has felt, how many with much drawn it has not since, how often little came
    after much, whether the newest was one of much, and when the first and the newest began [us]."""

    heard: int = 0
    unfelt: int = 0
    back: int = 0
    much: bool = False
    from_us: int = 0
    to_us: int = 0

    def hear(self, run: Run, usual: Reference) -> None:
        """Hold a run's meter against its tank."""
        flow, demand = run.flow_m3_s, run.cycle.demand_m3_s
        if not run.entire or flow is None or demand is None:
            return
        share = demand / usual.delivery_m3_s
        if flow > NOTHING * usual.delivery_m3_s:
            self.heard = min(self.heard + (share > DRAWN), HEARD)
            self.unfelt, self.back, self.much = 0, 0, False
            return
        if run.pressure_low_pa is not None and run.pressure_low_pa < usual.drained_pa:
            return  # no water is left in the tank to hold it against
        if share > DRAWN:
            self.from_us = self.from_us if self.unfelt else run.cycle.start_us
            self.unfelt, self.much, self.to_us = min(self.unfelt + 1, RUNS), True, run.cycle.start_us
        elif share < LITTLE and self.much:
            self.back, self.much = min(self.back + 1, BACK), False

    @property
    def convicts(self) -> bool:
        lasted = self.to_us - self.from_us >= LASTS_US
        return self.heard >= HEARD and self.unfelt >= RUNS and self.back >= BACK and lasted
