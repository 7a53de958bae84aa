"""Clogged filter: delivery through the filter falls away from its clean state.

What fails. The screen takes up sediment; its resistance k grows, slowly over weeks or at once after a
storm, and the pump gives less at every pressure.

Physics. Q = sqrt((H0 - P) / (a + k)): more k lowers Q by one factor at both ends of the switch's band and
leaves the shut-off head; the drop across the screen is k Q^2.

What the sensors show. Delivery, by the slope of tank water, below its clean value run after run; a motor
that works a little less; with an outlet gauge the drop across the filter itself.

Mistaken for. Pump wear (the motor's power, the drop and, weakly, the shape of the curve tell); demand
hidden in the runs (see `analytics.judging.in_each`); lost prime (nothing moves).

Parameters. See `analytics.judging.beyond_doubt`: a loss of 13 % at least, beyond scatter by five standard
errors, in two runs in a row; or, at once, by one likelihood of all runs since (`analytics.judging.gains`).
Cleared when delivery is back within two standard errors (BACK at least, half of the least loss at most) and
by what errs neither way nearer to the clean than to the least that the finding has shown, in BACK_RUNS over
BACK_HOURS. (Of eight runs the upper quartile is two runs', and a tap that closes as the pump starts makes
either read high.)

Source: quadratic pump and screen curves, common practice, no source; witnesses from trial figures.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import msgspec

from analytics import words
from analytics.faults.filter_after_tank import FilterAfterTank
from analytics.instants import HOUR_US
from analytics.judging.blame import CLOG_DROP, has_power_meter
from analytics.judging.by_work import works_again
from analytics.judging.decline import LARGER
from analytics.judging.in_each import LEAST
from analytics.judging.left_over import left_of_lesson
from analytics.judging.pace_words import late
from analytics.judging.signature import LATELY, best_delivery
from analytics.judging.watch import AllClear, Claim, Coverage, Detector
from analytics.outlooks.clogging import days_by_any
from analytics.outlooks.courses import Reading
from analytics.outlooks.filter_drop import clean_drop, refined
from analytics.plant.description import MOTOR_MEASURES, Measure
from analytics.records import Outlook

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from analytics.judging.brief import Brief
    from analytics.judging.watch import Known, Word
    from analytics.judging.worked_out import Decline
    from analytics.plant.description import Plant
    from analytics.records import Priority
    from analytics.seeing.events import Day, Run

IN_A_ROW = 2
BACK_RUNS, BACK_HOURS = 6, 2.0
BACK = 0.06
#: And no more than this: a lesson may have been of a filter that wanted flushing (three quarters left), but
#: what seems to deliver more yet is a tank that has lost air, of which all flows look larger.
BACK_MOST = LARGER
#: Short runs hold no more water back in a filter than long ones of the same pump between the same pressures.
BESIDE = frozenset({"short_cycling"})
#: A filter wants flushing when a quarter of the delivery is gone: common practice, no source.
FLUSH_AT = 0.75
DAYS_KEPT = 90
#: Four to one between filter and pump: below it a power meter says more with each percent that is lost.
TOLD_APART = 0.6
#: Of the clean figure: above it a run has not fallen short.
AS_CLEAN = 0.9


class DeliveryMemory(msgspec.Struct):
    row: int = 0
    back: int = 0
    back_since_us: int = 0
    onset_us: int = 0
    least: float = 1.0  # delivery left while the finding has stood, as often too low as too high
    by_work: bool = False  # told by the motor's level alone, which is not back yet
    clean_error: float = 0.0  # of delivery left, by what is not known of the clean
    days: list[list[float]] = []  # time [d], delivery left, its error, drop [Pa]


class DeliveryFault(Detector):
    """Less delivery than when clean, laid to one part: which part is for the subclass to say."""

    Memory = DeliveryMemory
    memory: DeliveryMemory

    def blames(self, found: Decline) -> bool:
        raise NotImplementedError

    def words(self, found: Decline) -> str:
        raise NotImplementedError

    def weighed(self, run: Run, known: Known) -> Sequence[Word]:
        # where the motor speaks seldom, pressure's turning points tell start and stop
        found = known.declined(min(run.interval_s, run.pressure_s or run.interval_s))
        if found is None or not run.entire:
            return ()
        memory = self.memory
        if known.is_open(self.FAULT):
            fair = None if found.by_drop or found.by_work else left_of_lesson(known, LATELY)
            if memory.by_work and works_again(known):
                memory.by_work = False
            return self._while_open(found, run.at_us, fair)
        if not (found.sure and self.blames(found) and self._named(found)):
            memory.row = 0
            return ()
        if memory.row == 0:
            memory.onset_us = self._onset(run, known, found)
        memory.row += 1
        if memory.row < IN_A_ROW and found.since_us is None:
            return ()
        memory.back, memory.least, memory.by_work = 0, 1.0, found.by_work
        return [self._claim(found)]

    def _named(self, found: Decline) -> bool:
        """Whether a power meter has told filter and pump apart, or so much is lost that the name must not
        wait for it. (The shape of delivery alone makes no pump of a small loss that is told early.)"""
        told = abs(2.0 * found.clog - 1.0) >= TOLD_APART
        by_shape = found.since_us is not None and found.clog < 0.5
        return told or found.left <= FLUSH_AT or not (has_power_meter(self.plant) or by_shape)

    @staticmethod
    def _onset(run: Run, known: Known, found: Decline) -> int:
        """The first of the newest runs since when all have fallen short, by the figure that told it."""
        signature = known.signature
        onset, clean = run.cycle.start_us, signature.clean
        sound: Callable[[Brief], bool]
        if found.since_us is not None:
            return found.since_us
        if found.by_drop:
            most_pa = CLOG_DROP * clean["filter_drop_pa"].middle
            sound = partial(_below, "filter_drop_pa", most_pa)
        elif found.by_work:
            sound = partial(_above, "motor_level", AS_CLEAN * clean["motor_level"].middle)
        elif (name := best_delivery(clean)) is not None:
            sound = partial(_above, name, AS_CLEAN * clean[name].middle)
        else:  # runs are only counted, a day's at a time
            return onset - 24 * HOUR_US
        for brief in reversed(signature.recent):
            if sound(brief):
                break
            onset = min(onset, brief.at_us)
        return onset

    def _while_open(
        self, found: Decline, now_us: int, fair: tuple[float, float, float] | None
    ) -> Sequence[Word]:
        memory = self.memory
        left = fair[0] if fair is not None else found.left
        if found.sure:
            memory.least = min(memory.least, left)
        choked = found.drop is not None and found.drop > CLOG_DROP and self.blames(found)
        short = found.left <= 1.0 - min(max(BACK, 2.0 * found.error), 0.5 * LEAST)
        short = short or left < 0.5 * (1.0 + memory.least)
        if choked or short or memory.by_work or found.left > BACK_MOST:
            memory.back, memory.back_since_us = 0, now_us
        else:
            memory.back += 1
        if memory.back < BACK_RUNS or now_us - memory.back_since_us < BACK_HOURS * HOUR_US:
            return [self._claim(found)] if found.sure and self.blames(found) else ()
        memory.row = memory.back = 0
        memory.days = []  # a new course begins
        told = f"Delivery is back at {words.percent(found.left)} of its clean value."
        return [AllClear(self.FAULT, summary=told, evidence={"delivery_after_share_1": found.left})]

    def _claim(self, found: Decline) -> Claim:
        evidence = {"delivery_share_1": found.left, "for_filter_1": found.clog}
        if found.drop is not None:
            evidence["filter_resistance_share_1"] = found.drop
        sure = 0.6 + 0.35 * abs(2.0 * found.clog - 1.0)
        apart = BESIDE if found.by_drop or found.by_work else frozenset[str]()
        priority: Priority = "high" if found.left < 0.5 else "medium"
        return Claim(
            self.FAULT, self.memory.onset_us, priority, sure, self.words(found), evidence=evidence,
            apart_from=apart,
        )  # fmt: skip


def _above(name: str, limit: float, brief: Brief) -> bool:
    figure = getattr(brief, name)
    return figure is not None and figure > limit


def _below(name: str, limit: float, brief: Brief) -> bool:
    figure = getattr(brief, name)
    return figure is not None and figure < limit


class CloggedFilter(DeliveryFault):
    FAULT = "clogged_filter"

    def blames(self, found: Decline) -> bool:
        return found.clog >= 0.5

    def words(self, found: Decline) -> str:
        left = words.percent(found.left)
        said = f"The pump delivers {left} of what it did when clean: the filter is clogging."
        if (
            found.drop is not None and found.left > 1.0 - LEAST
        ):  # the gauges see it long before the delivery does
            times = "more than ten" if found.drop > 10.0 else f"{found.drop:.1f}"
            said = f"The filter holds back {times} times what it did when clean: it is clogging."
        if found.clog < 0.9:
            said += (
                " A worn pump would look much the same: flush the filter first and see whether it comes back."
            )
        return said

    def day(self, day: Day, known: Known) -> Sequence[Word]:
        """Take up what the day's runs say, LATELY of them at least, as of their middle."""
        recent = known.signature.recent
        today = sum(brief.at_us >= day.from_us for brief in recent)
        runs = max(today, LATELY)
        found = left_of_lesson(known, runs) if 2 * today >= LATELY else None
        if found is not None:
            left, error, self.memory.clean_error = found
            times = [brief.at_us for brief in recent[-runs:]]
            row = [sum(times) / len(times) / 86_400e6, left, error]
            drop = known.signature.now("filter_drop_pa", runs)
            if drop is not None:
                row.append(drop.middle)
            self.memory.days = [*self.memory.days, row][-DAYS_KEPT:]
        return ()

    def outlooks(self, day: Day, known: Known) -> Sequence[Outlook]:
        """Days until a quarter of the delivery is gone, by the blocking laws."""
        fitted = self.plant.filter
        if fitted is None:
            return ()
        clean = clean_drop(known.signature) if fitted.position == "before_tank" else None
        days, common = self.memory.days, self.memory.clean_error
        read = refined(days, clean, common) if clean is not None else [Reading([one[:3] for one in days])]
        told = days_by_any(read, FLUSH_AT, common, day.to_us / 86_400e6)
        return [Outlook("days_to_flush_filter", None, day.at_us, *told)]


def detector(plant: Plant) -> Detector:
    if plant.filter is not None and plant.filter.position == "after_tank":
        return FilterAfterTank(plant)
    return CloggedFilter(plant)


def coverage(plant: Plant) -> Coverage:
    if plant.filter is None:
        return Coverage(False, "The plant file names no filter.")
    if not plant.measuring(Measure.LINE_PRESSURE) or not plant.measuring(*MOTOR_MEASURES):
        return Coverage(False, "Needs line pressure and a motor signal.")
    if plant.filter.position == "after_tank" and plant.measuring(Measure.SUPPLY_FLOW):
        return Coverage(
            True,
            "After the tank the flow meter shows it within days: draws shrink, the large ones most.",
        )
    if plant.filter.position == "after_tank":
        return Coverage(
            True,
            "After the tank it shows where large draws that come back at their hours, as a garden's do, "
            "shrink; taps hardly show it. It takes days, and of a slow one a week or more. "
            "A flow meter would show it sooner.",
        )
    if plant.measuring(Measure.DISCHARGE_PRESSURE):
        return Coverage(True, f"Told from delivery and the drop across the filter.{late(plant)}")
    if plant.measuring(Measure.PUMP_POWER):
        return Coverage(
            True, f"Told from delivery; the motor's power tells it from a worn pump.{late(plant)}"
        )
    return Coverage(
        True,
        f"Told from delivery; an outlet gauge or power meter would tell it from a worn pump.{late(plant)}",
    )
