"""Runs that a loose contact splits: the motor's word drops out for a moment, and the pump runs on.

A switch stops the pump at its cut-out and starts it at its cut-in; between the two nothing turns it. A run
that begins amid the band within a word or two of the last one's stop, where pressure stands as high as it was
left or higher, is the same run. A switch that flutters does so where it opens or closes: as it closes for as
long as it likes, and lifts pressure amid the band by and by, but no spell of the motor is longer than a
flutter's then. Such a run begins with its first spell that is. The mains blink once or twice on a bad day.

Parameters:
    WORDS    2      spacings of the motor's words, in which no tank empties and fills again unseen, but one
                    that has lost its air: its runs move pressure faster than any sound one (`airless`)
    AMID     0.1    of the band from both its ends: the scatter of a switch
    FALLEN   0.1    of the band: a pump that rested while water was drawn begins lower
    FINE     0.1    of the drawdown from one sample to the next: further apart they do not tell where it was
    AGED_S   15     since the run began: a contact that bounces as it closes is quiet by then, unless all its
                    spells were a flutter's (`flutter.FLUTTER_S`)
    DOUBTED  3      such splits in WITHIN 6 h: what else is brief is no flutter
    LIES     10     of them convict the motor's word
    WHOLE    6      runs in a row without: it is sound again

Source: common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from analytics.judging.flutter import FLUTTER_S, airless

if TYPE_CHECKING:
    from analytics.judging.reference import Reference
    from analytics.seeing.events import Run

WORDS, AMID, FALLEN, FINE, AGED_US = 2.0, 0.1, 0.1, 0.1, 15_000_000
DOUBTED, LIES, WHOLE, WITHIN_US = 3, 10, 6, 21_600_000_000


class Splits(msgspec.Struct):
    """Plain data: when the run of which the newest is a part began [us] (None: the contact has but fluttered
    so far), where that was left [Pa], when the newest splits were [us], and how many runs began since."""

    began_us: int | None = None
    since: int = 0
    left_pa: float | None = None
    at_us: list[int] = []

    def lately(self, now_us: int) -> int:
        """How many there were within WITHIN, LIES at most."""
        return sum(now_us - at_us < WITHIN_US for at_us in self.at_us)

    @property
    def last(self) -> bool:
        """Whether runs have not been whole for long enough since the last."""
        return bool(self.at_us) and self.since <= WHOLE


def note(splits: Splits, run: Run, usual: Reference) -> None:
    """Take up a run."""
    cycle, left_pa = run.cycle, splits.left_pa
    spacing_s = run.edges_s if run.edges_s is not None else run.interval_s
    ends = (cycle.pressure_stop_pa, run.pressure_high_pa, cycle.pressure_start_pa, left_pa)
    splits.left_pa = next((pa for pa in ends if pa is not None), None)
    apart = cycle.rest_before_s is None or cycle.rest_before_s > WORDS * spacing_s
    began_us = None if apart else splits.began_us
    splits.since += apart
    splits.began_us = cycle.start_us if began_us is None and cycle.run_time_s > FLUTTER_S else began_us
    start_pa = cycle.pressure_start_pa
    if left_pa is None or start_pa is None or began_us is None or cycle.start_us - began_us < AGED_US:
        return
    fine = run.interval_s * usual.delivery_m3_s <= FINE * usual.drawdown_m3
    amid = all(AMID < (pa - usual.start_pa) / usual.band_pa < 1.0 - AMID for pa in (left_pa, start_pa))
    if fine and amid and not airless(run, usual) and start_pa > left_pa - FALLEN * usual.band_pa:
        splits.since = 0
        splits.at_us = [*splits.at_us, cycle.start_us][-LIES:]
