"""Blocked discharge: the pump runs against a closed or blocked outlet.

What fails. A valve is left shut, or ice closes the line, between the pump and the water's way out.

Physics. No flow: the pump stands at its shut-off head. Blocked beyond the gauge and switch but before the
tank, the little water between has no air to press on: pressure leaps to the shut-off head. Blocked
before the gauge, the gauge does not rise, and the outlet gauge, where one is fitted, stands at shut-off.

What the sensors show. A rise from cut-in past cut-out within a few seconds, far faster than any delivery
into the tank; next to no demand at rest; a motor below its usual load. Or an outlet pressure above
cut-out over a line pressure that stands still.

Mistaken for. A waterlogged tank (water is still drawn: pressure falls again as quickly, and starts
follow one another); a stuck switch (rises at the usual rate); lost prime (no outlet gauge: both names are
told).

Parameters. LEAP: apparent delivery eight times the usual: a tank without any charge shows three to four, a
wholly waterlogged one is drawn down at once. OVER: past cut-out by a quarter of the band. Two runs, or
one that lasts.

Source: pump at shut-off, common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from analytics import words
from analytics.judging.flows import NONE_SHARE, wild
from analytics.judging.instruments import by_meter, near_shut_off
from analytics.judging.story import at_shut_off, kinkless
from analytics.judging.watch import AllClear, Claim, Coverage, Detector
from analytics.plant.description import MOTOR_MEASURES, Measure

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.reference import Reference
    from analytics.judging.watch import Known, Word
    from analytics.judging.worked_out import Witness
    from analytics.plant.description import Plant
    from analytics.seeing.events import Look, Run

LEAP = 8.0
OVER = 0.25
LEAP_WITHIN_S = 6.0
#: Less is drawn at rest than this share of the delivery: nothing is.
STILL = 0.10
#: Three runs of seconds within half a minute, each across half the band: by its compliance no tank that
#: filled a day ago can.
SWING, SWINGS, SWINGS_WITHIN_US = 0.5, 3, 30_000_000
LATELY_US = 86_400_000_000
#: An outlet at shut-off over a line that gains no more than LEAKS of the delivery by what was seen of the
#: start, good to a tenth of it (one error of a slope of half a minute), in so many looks: a filter through
#: which so little goes is shut too.
LEAKS, SHUT_LOOKS = 0.2, 4
#: Short runs lift the line to cut-out, and a worn pump makes less pressure: by neither does the outlet stand
#: at its shut-off head over a line below.
BY_OUTLET = frozenset({"short_cycling", "pump_wear"})
OF_A_FILTER = frozenset({"clogged_filter"})
COLD_C = 1.0
MILD_C = 4.0


PRIME_INSTEAD = (
    " Without a gauge at the pump's outlet a lost prime looks much the same: open the drain nearest the "
    "pump. Water under pressure: the block is farther on. None: prime the pump."
)


class BlockedMemory(msgspec.Struct):
    runs: int = 0
    since_us: int = 0
    run_us: int = 0
    looks: int = 0
    shut: int = 0  # looks in a row at an outlet that stands at shut-off
    quiet: int = 0
    swings_us: list[int] = []
    swinging: bool = False
    filled_us: int = 0  # stop of the newest run long enough to have filled the tank


class BlockedDischarge(Detector):
    FAULT = "blocked_discharge"
    Memory = BlockedMemory
    memory: BlockedMemory

    def look(self, look: Look, known: Known) -> Sequence[Word]:
        memory, usual = self.memory, known.usual
        if look.pressure_pa is None:
            return ()
        if memory.run_us != look.start_us:
            memory.run_us, memory.looks, memory.shut = look.start_us, 0, 0
        seen = known.witness
        shut = seen is not None and seen.idle and seen.shut
        passes = by_meter(look, known, usual, known.story) == "moves"
        throttled = seen is not None and not passes and _throttled(look, seen, known)
        memory.shut = memory.shut + 1 if throttled else 0
        closed = shut or memory.shut >= SHUT_LOOKS or self._leapt(look, usual)
        if not closed or wild(look, usual):
            memory.looks = 0
            return ()
        memory.looks += 1
        if memory.looks == 1:
            memory.since_us = look.start_us
        if memory.looks < 2:
            return ()
        apart = BY_OUTLET if at_shut_off(look, usual) else frozenset[str]()
        if apart and seen is not None and _not_that_clog(look, seen, known):
            apart |= OF_A_FILTER
        return [self._claim(look.pressure_pa, look.discharge_pa, known, apart)]

    def _leapt(self, look: Look, usual: Reference) -> bool:
        """Over cut-out sooner than any tank could be filled."""
        if (
            look.pressure_pa is None
            or look.pressure_pa < usual.stop_pa + OVER * usual.band_pa
            or not look.entire
        ):
            return False
        if (look.pressure_start_pa or 0.0) > usual.stop_pa:
            return False  # it stood there before the motor turned: the gauge lies, nothing leapt
        first = look.slope_first_m3_s
        expected_s = usual.drawdown_m3 / usual.delivery_m3_s
        early = look.age_s < max(0.25 * expected_s, 2.0 * look.interval_s) and look.age_s < 30.0
        return early or (first is not None and abs(first) < 0.05 * usual.delivery_m3_s and look.age_s < 60.0)

    def run(self, run: Run, known: Known) -> Sequence[Word]:
        memory, usual, cycle = self.memory, known.usual, run.cycle
        if self._swings(run, usual):
            return [self._claim(usual.stop_pa, run.discharge_pa, known)]
        high = run.pressure_high_pa
        if high is None or not run.entire:
            return ()
        if cycle.run_time_s > 0.4 * usual.drawdown_m3 / usual.delivery_m3_s:
            memory.filled_us = cycle.stop_us
        quick = cycle.run_time_s < LEAP_WITHIN_S and run.interval_s <= 3.0
        leapt = quick and high > usual.stop_pa + 0.1 * usual.band_pa
        drawn = -(run.slope_after_m3_s or 0.0) / usual.delivery_m3_s
        if leapt and drawn < LEAP:
            memory.runs += 1
            memory.quiet = 0
            if memory.runs == 1:
                memory.since_us = cycle.start_us
            if memory.runs >= 2:
                return [self._claim(high, run.discharge_pa, known)]
            return ()
        memory.runs = 0
        if not known.is_open(self.FAULT) or memory.filled_us < cycle.stop_us:
            return ()
        if (
            run.slope_run_m3_s is None
            or run.slope_run_m3_s < 0.2 * usual.delivery_m3_s
            or high > usual.stop_pa * 1.2
        ):
            return ()
        return [AllClear(self.FAULT, summary="The pump fills the tank again: the way is open.")]

    def _swings(self, run: Run, usual: Reference) -> bool:
        """Runs of seconds in which pressure crosses the band: a line without its tank, which lately filled.

        Air that is lost goes by weeks and shortens the runs on its way; a valve is shut in a moment.
        """
        memory, cycle = self.memory, run.cycle
        if cycle.run_time_s > LEAP_WITHIN_S:
            return False
        ends = (cycle.pressure_start_pa, cycle.pressure_stop_pa, run.pressure_low_pa, run.pressure_high_pa)
        seen = [pa for pa in ends if pa is not None]
        if not seen or max(seen) - min(seen) < SWING * usual.band_pa:
            return False
        memory.swings_us = [*memory.swings_us, cycle.start_us][-SWINGS:]
        soon = len(memory.swings_us) == SWINGS and cycle.start_us - memory.swings_us[0] < SWINGS_WITHIN_US
        lately = memory.filled_us and memory.swings_us[0] - memory.filled_us < LATELY_US
        if not (soon and (lately or memory.swinging)):
            memory.swinging = False
            return False
        if not memory.swinging:
            memory.since_us, memory.swinging = memory.swings_us[0], True
        return True

    def _claim(
        self,
        pressure_pa: float,
        discharge_pa: float | None,
        known: Known,
        apart: frozenset[str] = frozenset(),
    ) -> Claim:
        cause, more = self._cause(known)
        evidence = {"pressure_pa": pressure_pa}
        if discharge_pa is not None:
            evidence["discharge_pa"] = discharge_pa
        top = words.pressure(self.plant, max(pressure_pa, discharge_pa or 0.0))
        said = f"The pump runs against a closed outlet: {top} and no water moves. {more}"
        if discharge_pa is None and pressure_pa < known.usual.stop_pa:
            said += PRIME_INSTEAD
        return Claim(
            self.FAULT, self.memory.since_us, "high", 0.85, said, cause, evidence=evidence, apart_from=apart
        )  # fmt: skip

    def _cause(self, known: Known) -> tuple[str | None, str]:
        for position in known.plant.measuring(Measure.AIR_TEMPERATURE):
            last = known.last(position)
            if last is not None:
                if last[1] <= COLD_C:
                    return "frozen", "It is freezing: the line is most likely frozen."
                if last[1] >= MILD_C:
                    return "closed_valve", "It is too mild for frost: look for a closed valve."
            return "closed_valve", "It is near freezing: look for a closed valve first, then for ice."
        return (
            "closed_valve",
            "Look for a closed valve first, in cold weather for ice; an air temperature would tell.",
        )


def _not_that_clog(look: Look, seen: Witness, known: Known) -> bool:
    """Whether the start brought next to nothing, where it lately brought twice as much at least through the
    same filter, and the motor works less than then, or a meter and the tank say the same: no filter chokes so
    between two runs, and what a zone that opened just then draws through it is work, and passes."""
    usual, story = known.usual, known.story
    lately = usual.now_m3_s > NONE_SHARE * usual.delivery_m3_s
    if not lately or not kinkless(story, 0.5 * NONE_SHARE):
        return False
    less = seen.motor is not None and near_shut_off(seen.motor, known, usual)
    return less or by_meter(look, known, usual, story) == "dry"


def _throttled(look: Look, seen: Witness, known: Known) -> bool:
    """Whether the pump presses against what is shut between its outlet and the line.

    By the start's kink only: a tank that gains nothing may stand where a zone draws what a choked filter
    lets through.
    """
    shut = seen.share is not None and seen.share < LEAKS and at_shut_off(look, known.usual)
    return shut and near_shut_off(seen.motor, known, known.usual)


def detector(plant: Plant) -> BlockedDischarge:
    return BlockedDischarge(plant)


def coverage(plant: Plant) -> Coverage:
    if not plant.measuring(Measure.LINE_PRESSURE) or not plant.measuring(*MOTOR_MEASURES):
        return Coverage(False, "Needs line pressure and a motor signal.")
    ice = ""
    if not plant.measuring(Measure.AIR_TEMPERATURE):
        ice = " An air temperature would tell ice from a closed valve."
    if plant.measuring(Measure.DISCHARGE_PRESSURE):
        return Coverage(True, f"Told, whether before or beyond the line's pressure gauge.{ice}")
    return Coverage(
        True,
        "Told where it lies beyond the line's pressure gauge; nearer the pump a lost prime looks much the "
        f"same: an outlet gauge would tell.{ice}",
    )
