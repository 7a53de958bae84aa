"""Starts that bring nothing, one after another: a motor that its protector stops, and that tries again.

A dry-run protector stops a pump without water within seconds, and starts it again after minutes or hours: no
run lasts for long enough to be looked into twice. Together they tell. Each stops far below cut-out, where no
switch stops a pump, and none has lifted pressure, though what a sound one brings in that time would show.

Mistaken for: a gauge that is stuck or dies away (it must have moved since the try before, and no run last for
as long as the switch lets one; an outlet that stands above the line is a pump's at work); a contact that lies
(it does so where no switch starts a pump as well); a rotor that is jammed, which another protector stops (the
motor's level tells, where it is known); a draw of all that the pump gives (the fall before the start tells);
power that fails in mid-run (not each time before anything is lifted).

Parameters:
    LEAST_S   10 s    a run-up and a few samples; SHOWS 0.05 of the drawdown, that a sound pump would have
                      brought in it: a gauge's digit or two
    SOON      0.5     of what fills the tank: longer ones are looked into, and are as a switch has them
    LIFTED    0.02    of the band, by which none has lifted pressure: less than half of that
    RUNS      3       by chance a hand stops one; one at a line far below cut-in counts for two, since a
                      contact that lies meets none by chance
    LIES_S    24 h    after a start where no switch makes one, nothing is counted
    WITHIN_S  6 h     between two: the longest that a protector waits. Common practice, no source
    DRAWN     0.3     of the delivery, drawn before the start at most, as `flows.NONE_SHARE`; unless the line
                      lies far below cut-in already, where a pump that brings anything lifts it
    DRAGS     1.3     of the usual level: a motor that turns in air or water draws less

Source: common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from analytics.judging.flows import NONE_SHARE
from analytics.judging.instruments import GAUGES_PA

if TYPE_CHECKING:
    from analytics.judging.reference import Reference
    from analytics.seeing.events import Run

LEAST_S, SHOWS, SOON, LIFTED, RUNS = 10.0, 0.05, 0.5, 0.02, 3
WITHIN_S, LIES_S = 6 * 3600.0, 24 * 3600.0
DRAWN, BELOW, DRAGS = NONE_SHARE, 0.15, 1.3


class Attempts(msgspec.Struct):
    """How many starts in a row brought nothing, what they count for, since when, and the stop of the last."""

    runs: int = 0
    worth: int = 0
    since_us: int = 0
    last_us: int = 0
    last_pa: float | None = None  # at which it ended
    lied_us: int = 0  # when a start was told that no switch makes

    def hear(self, run: Run, usual: Reference) -> bool:
        """Take up a run that is over; whether so many have brought nothing."""
        brings = _brings(run, usual)
        if _lies(run, usual):
            self.runs, self.lied_us = 0, run.cycle.start_us
        if brings is None or run.cycle.start_us - self.lied_us < LIES_S * 1e6:
            return False
        late = run.cycle.start_us - self.last_us > WITHIN_S * 1e6
        stuck = self.last_pa is not None and self.last_pa == run.pressure_low_pa == run.pressure_high_pa
        self.last_us, self.last_pa = run.cycle.stop_us, run.cycle.pressure_stop_pa
        if brings:
            self.runs = 0
            return False
        if stuck:
            return False
        if late or self.runs == 0:
            self.runs, self.worth, self.since_us = 0, 0, run.cycle.start_us
        self.runs += 1
        self.worth += 2 if _empty(run, usual) else 1
        return self.worth >= RUNS


def lifts(run: Run, usual: Reference) -> bool:
    """Whether a run lifts pressure, for all that is known."""
    low_pa, high_pa = run.cycle.pressure_start_pa, run.pressure_high_pa
    return low_pa is None or high_pa is None or high_pa > low_pa + LIFTED * usual.band_pa


def _brings(run: Run, usual: Reference) -> bool | None:
    """Whether a run has brought water; None where it cannot tell."""
    cycle, high_pa = run.cycle, run.pressure_high_pa
    start_pa, stop_pa = cycle.pressure_start_pa, cycle.pressure_stop_pa
    if not run.entire or usual.guessed or start_pa is None or stop_pa is None or high_pa is None:
        return None
    if max(high_pa, stop_pa) > start_pa + LIFTED * usual.band_pa:
        return True
    if _lies(run, usual) or cycle.run_time_s > SOON * usual.drawdown_m3 / usual.now_m3_s:
        return None
    would_bring_m3 = usual.now_m3_s * cycle.run_time_s
    if cycle.run_time_s < LEAST_S or would_bring_m3 < SHOWS * usual.drawdown_m3:
        return None
    drags = usual.motor_level is not None and (run.motor_words or 0.0) > DRAGS * usual.motor_level
    works = (cycle.filter_drop_pa or 0.0) > GAUGES_PA
    drawn = -(run.slope_before_m3_s or 0.0) > DRAWN * usual.now_m3_s
    return None if drags or works or (drawn and not _empty(run, usual)) else False


def _lies(run: Run, usual: Reference) -> bool:
    """Whether a run begins where no switch starts a pump."""
    start_pa = run.cycle.pressure_start_pa
    return run.entire and start_pa is not None and start_pa > usual.start_pa + BELOW * usual.band_pa


def _empty(run: Run, usual: Reference) -> bool:
    return (run.cycle.pressure_start_pa or 0.0) < usual.start_pa - BELOW * usual.band_pa
