"""Where the switch acts, against its setting in the plant file.

A switch that was moved before the first reading has a lesson of moved runs, and none of its own runs speaks
against it. But the owner has written down at which pressures it is set to start and stop the pump. Beside a
move two things lie between what is written and what is read: how nearly it was set, and how far the gauge is
off.

A start alone that lies further up may stand on an air charge above cut-in, unless samples would have met the
collapse from there, and a band of less than half is short cycling's: of these nothing is said here.

Parameters:
    MOST 0.25  of the band, for either end: by the small gauge beside it a switch is set to 2 psi, a tenth of
               20; a gauge's zero is off by 2 % of 100 psi, as much again, and a twentieth
    TOP  0.5   of a start's move up, by which the stop must have moved too
    HALF 0.5   of the band
    FIRST 3    runs, whose median is none of a hand's
    MET 3      samples: a start that lies between two is told by the rest's line and two in the run
Samples see a start by what pressure falls from one to the next in the rest before it, and a stop by what it
rises in the run, which is taken off; but a stop that was met above its setting was up there.

Source: common practice (makers allow a switch some 2 psi), no source.
"""

from __future__ import annotations

from statistics import median
from typing import TYPE_CHECKING

import msgspec

from analytics.judging.ends import EMPTY
from analytics.judging.signature import COARSE_S

if TYPE_CHECKING:
    from analytics.judging.watch import Known

MOST, TOP, HALF = 0.25, 0.5, 0.5
FIRST, MET = 3, 3.0
SPOILS = (
    "short_cycling", "motor_overload", "lost_prime", "dry_supply", "burst_line", "blocked_discharge",
    "overpressure",
)  # fmt: skip


#: In the evidence of a finding: the switch acted there from the first run on. What is learned beside it is of
#: the plant as it is.
SINCE_FIRST = "since_first_run_1"


class Moves(msgspec.Struct, frozen=True):
    """How far start and stop have moved, and how far they may [Pa]."""

    start: float
    stop: float
    limit_start: float
    limit_stop: float
    off_setting: bool = False  # from the plant file's setting, not from where they were

    @property
    def over(self) -> float:
        """How far beyond its limit an end has moved; below 1: none has."""
        return max(abs(self.start) / self.limit_start, abs(self.stop) / self.limit_stop)


def off_setting(
    known: Known, interval_s: float, last: int, errors: float, no_charge: bool = False
) -> Moves | None:
    """By medians of the `last` runs, good to `errors` of a run's scatter; None where nothing can be told.

    no_charge: whether samples say that starts which lie further up stand on no charge.
    """
    switch, usual = known.plant.switch, known.usual
    low, high = known.signature.now("start_pa", last), known.signature.now("stop_pa", last)
    if switch is None or low is None or high is None or any(known.is_open(fault) for fault in SPOILS):
        return None
    if low.middle < EMPTY * switch.cut_in_pa:
        return None
    if usual.delivery_m3_s <= 0.0:
        return None  # runs of which so little is seen show nothing
    band = switch.cut_out_pa - switch.cut_in_pa
    unseen_pa = min(interval_s * usual.delivery_m3_s / usual.drawdown_m3, 1.0) * band
    falls_pa = falls(known, interval_s, last, unseen_pa / band) * band
    start = _beyond(low.middle - switch.cut_in_pa, falls_pa, MOST * band)
    stop = high.middle - switch.cut_out_pa
    stop = stop if stop > 0.0 else _beyond(stop, unseen_pa, MOST * band)
    if start > 0.0 and stop < TOP * start and not no_charge:
        start = 0.0
    if stop - start < (HALF - 1.0) * band:
        return None
    least = MOST * band
    return Moves(start, stop, max(least, errors * low.sigma), max(least, errors * high.sigma), True)


def falls(known: Known, interval_s: float, last: int, fills: float) -> float:
    """What the draws about the newest starts take of the band from one sample to the next: a start between
    the two is told by the line of the samples before, a few of which are a whole rest then. Of samples so far
    apart that a run has fewer than MET, or that what comes and goes between them is not known, no line is
    sure: as much as the pump `fills`, if that is more."""
    drawn = [brief.demand_m3_s for brief in known.signature.recent[-last:]]
    taken = max(median(drawn), 0.0) * interval_s / known.usual.drawdown_m3 if drawn else 0.0
    sure = interval_s < COARSE_S and MET * fills <= 1.0
    return min(taken if sure else max(taken, fills), 1.0)


def was_so(known: Known, last: int, least: float) -> bool:
    """Whether the first runs began and ended where the newest `last` do, within a share of the band."""
    signature = known.signature
    for name in ("start_pa", "stop_pa"):
        now, clean = signature.now(name, last), signature.clean.get(name)
        first = [getattr(brief, name) for brief in signature.lesson[:FIRST]]
        base = median(first) if first else clean.middle if clean is not None else None
        if now is None or base is None or abs(now.middle - base) > least * known.usual.band_pa:
            return False
    return True


def _beyond(moved_pa: float, unseen_pa: float, most_pa: float) -> float:
    """What is left of a move when so much may only not have been seen: nothing where that is more than what
    is told, since how much it is goes by runs that are seen as coarsely."""
    if unseen_pa > most_pa:
        return 0.0
    left = max(abs(moved_pa) - unseen_pa, 0.0)
    return left if moved_pa > 0.0 else -left
