"""The pressurised side loses water with nobody drawing.

What fails: a joint or a buried line seeps, a tap or a toilet valve does not close, or the check
valve lets water back into the storage.

Physics: while the pump rests the tank's water falls by the demand and the leak. Demand stops at
some time of any day and night; a leak does not. With P in the tank, Q = c P^N, N from 0.5 (a hole)
to 1.5 (a split that opens).

Sensors show: tank water that falls through every rest of the day. Of each hour the piece of rest is kept
that surely lost least (its slope and SURELY standard errors); of a day's hours, put in that order, the one
at LEAST_SHARE is the leak: never zero, night and day. What is measured badly counts for nothing, nor do
hours in which water goes by steps say how much leaks: in a full house somebody draws in nearly all, and it
is no leak. But draws only add: hours that lost surely less than half of it, by steps or not, refute it, and
so do spells in which pressure stood still (`analytics.judging.pauses`).

A tank that has lost air (`analytics.judging.air`) makes each flow look larger, and air that is going makes
pressure fall with no water drawn, by V_air dn/n: both are taken off.

Mistaken for it: the air's cooling after a fill (only rests older than ten minutes count, unless the
pump never rests so long); a tank in the sun, which rises by day and falls in the evening by some
0.9 L/h, but never all day long; drip lines and night watering, which end; a toilet's refill.

    sealed tank: dw/dt = V_air/T * dT/dt, 0.37 L/h a kelvin an hour for 110 L of air

Cause: `analytics.faults.leak_path`, by the storage's level or a flow meter, where they are fitted.
Otherwise it is null and the summary names the test that tells.

Parameters:
    LEAST_SHARE_H  0.8 %   of the tank's volume an hour (1.3 L/h for 44 gal): half as much again as
                           the sun moves
    ERRORS         3       standard errors of that hour's slope above it
    SURELY         2       standard errors; FEWEST 4 samples, else a slope's own error says little; of a rest
                           shorter than SHORTEST_S by its pressures, whose two edges each lie anywhere between
                           two samples: AN_EDGE 0.41 of an interval (6^-0.5)
    REFUTED        3       of a day's hours with less than half of it, or of its spells: two may follow on a
                           quick draw, after which the air warms and pressure creeps back (some litres'
                           worth, in minutes)
    STEADY         2.5     times the lower QUIETEST 0.1 of the hours' scatters about their lines, of all or of
                           the settled ones (a drip line's bend as the air warms), or BENT 5 % of the water
                           lost (a leak that goes with pressure bends its line by 2 % over a whole band, the
                           air's warmth and the gauge's digits by as much; three draws of one size make steps
                           of 10 %): more is drawn in steps. Of a day STEADY_HOURS 6, the night's, or nothing
                           is said
    ALIKE          2       a leak changes with pressure by less, so of a day ALIKE_HOURS 4 lose no more than
                           so many times the low one
    LEAST_SHARE    0.06    of a day's steady hours may read lower, one of 17: noise, the sun's rise
    LOW_SHARE      0.10    of a day's hours, for the day's least flow
    HOURS          12      hours with a rest, of the last 24, that a judgement needs, and all 24 gone by: a
                           drip line may have run since the first reading
    HOLD_LOOKS     7       hourly judgements in a row: a day and six hours, hence the second night
    CLEAR_HOURS    8       of the last 24 with less than a third of the leak: a night and a morning; a
                           gauge that reports on change shows single hours without a loss

False alarms: a healthy day would need at least all but one of its steady hours to lose more than the sun
can make them lose, for a day and a quarter. Guests and drip lines do not do that.

Source: minimum night flow as in Thornton, Sturm & Kunkel, Water Loss Control, brought to one house
("longest quiet interval"); FAVAD, May 1994.
"""

from __future__ import annotations

from bisect import bisect_left
from math import inf
from operator import attrgetter
from typing import TYPE_CHECKING

import msgspec

from analytics import words
from analytics.faults.leak_path import LeakPath, Path, PathMemory, rise_share
from analytics.instants import HOUR_US
from analytics.judging.air import air_left, escaping_1_s
from analytics.judging.balance import PUMP_RISE_SHARE
from analytics.judging.pauses import Pauses
from analytics.judging.reference import USUAL_CUT_IN_PA, USUAL_CUT_OUT_PA
from analytics.judging.watch import AllClear, Claim, Coverage, Detector
from analytics.plant.description import MOTOR_MEASURES, Measure
from analytics.records import Outlook

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.watch import Known, Word
    from analytics.plant.description import Plant
    from analytics.seeing.beats import Beat
    from analytics.seeing.events import Day, Rest, Run

LEAST_SHARE_H = 0.008
ERRORS = 3.0
LOW_SHARE, LEAST_SHARE = 0.10, 0.06
HOURS = 12
HOLD_LOOKS = 7
CLEAR_HOURS = 8
SETTLED_S = 590.0
SHORTEST_S = 240.0
KEEP_HOURS = 72
USUAL_MIDDLE_PA = 0.5 * (USUAL_CUT_IN_PA + USUAL_CUT_OUT_PA)
FEWEST, SURELY = 4, 2.0
AN_EDGE = 0.41
STEADY, BENT, STEADY_HOURS = 2.5, 0.05, 6
QUIETEST = 0.1
ALIKE, ALIKE_HOURS = 2.0, 4
REFUTED = 3


class Hour(msgspec.Struct):
    """What one hour showed: the piece of rest that surely lost least, a settled one where there was one."""

    start_us: int
    loss_m3_s: float
    settled: bool
    error_m3_s: float
    scatter_m3: float = 0.0  # of tank water about its straight line
    lost_m3: float = 0.0

    @property
    def most_m3_s(self) -> float:
        """What it may have lost at most."""
        return self.loss_m3_s + SURELY * self.error_m3_s


class SeepMemory(msgspec.Struct):
    hours: list[Hour] = []
    looks: int = 0
    standing: bool = False
    leak_m3_s: float = 0.0
    cause: Path | None = None
    onset_us: int = 0
    shares: list[list[float]] = []  # of the air left, hour by hour, and errors
    stop_pa: float | None = None  # of the newest run
    low_m3_s: float = 0.0  # the day's low loss while it is being judged
    path: PathMemory = msgspec.field(default_factory=PathMemory)
    pauses: Pauses = msgspec.field(default_factory=Pauses)


class SupplyLeak(Detector):
    FAULT = "supply_leak"
    Memory = SeepMemory
    memory: SeepMemory

    def __init__(self, plant: Plant) -> None:
        super().__init__(plant)
        self._path = LeakPath(plant)
        self._pressure = next(iter(plant.measuring(Measure.LINE_PRESSURE)), None)
        switch = plant.switch
        self._middle_pa = 0.5 * (switch.cut_in_pa + switch.cut_out_pa) if switch else USUAL_MIDDLE_PA
        self._pump_rise_pa = PUMP_RISE_SHARE * (switch.cut_out_pa - switch.cut_in_pa) if switch else inf

    def rest(self, rest: Rest, known: Known) -> Sequence[Word]:
        long_enough = (rest.to_us - rest.from_us) / 1e6 >= SHORTEST_S
        if (
            rest.slope_m3_s is None
            or rest.slope_error_m3_s is None
            or rest.samples < FEWEST
            or not long_enough
        ):
            return ()
        if rest.rise_pa > self._pump_rise_pa:
            return ()  # a run that the motor's words have missed
        settled = rest.since_stop_s >= SETTLED_S
        if not settled and not rest.entire:
            return ()
        start_us = rest.from_us // HOUR_US * HOUR_US
        lost_m3 = -rest.slope_m3_s * (rest.to_us - rest.from_us) / 1e6
        self._keep(
            Hour(start_us, -rest.slope_m3_s, settled, rest.slope_error_m3_s, rest.scatter_m3 or 0.0, lost_m3)
        )
        return ()

    def run(self, run: Run, known: Known) -> Sequence[Word]:
        """A rest too short for a slope lost what lies between the pressures at which it began and ended."""
        began_pa, self.memory.stop_pa = self.memory.stop_pa, run.cycle.pressure_stop_pa
        ended_pa, rest_s = run.cycle.pressure_start_pa, run.cycle.rest_before_s
        if began_pa is None or ended_pa is None or not run.entire or not rest_s or rest_s >= SHORTEST_S:
            return ()
        if run.interval_s > AN_EDGE * rest_s:  # words that met neither end: the switch has begun and ended it
            began_pa, ended_pa = known.usual.stop_pa, known.usual.start_pa
        lost_m3 = known.water.between_m3(ended_pa, began_pa)
        error = AN_EDGE * min(run.interval_s / rest_s, 1.0)
        start_us = int(run.cycle.start_us - 1e6 * rest_s) // HOUR_US * HOUR_US
        if lost_m3 > 0.0:
            self._keep(Hour(start_us, lost_m3 / rest_s, False, error * lost_m3 / rest_s, 0.0, lost_m3))
        return ()

    def _keep(self, hour: Hour) -> None:
        """Of an hour's pieces of rest the settled ones, and of these the one that surely lost least."""
        hours = self.memory.hours
        if not hours or hours[-1].start_us < hour.start_us:
            hours.append(hour)
            del hours[:-KEEP_HOURS]
        elif (hour.settled, -hour.most_m3_s) > (hours[-1].settled, -hours[-1].most_m3_s):
            hours[-1] = hour

    def beat(self, beat: Beat, known: Known) -> Sequence[Word]:
        self._path.beat(self.memory.path, beat, known.levels.steps, self.memory.looks > 0)
        if not known.water.true:
            return ()
        if self._pressure is not None:
            every_s = known.every_s(self._pressure) or 0.0
            self.memory.pauses.hear(beat, beat.spans.get(self._pressure), every_s)
        if beat.to_us % HOUR_US:
            return ()
        return self._judge(beat, known)

    def _judge(self, beat: Beat, known: Known) -> Sequence[Word]:
        memory = self.memory
        day = memory.hours[bisect_left(memory.hours, beat.to_us - 25 * HOUR_US, key=attrgetter("start_us")) :]
        if len(day) < HOURS or memory.hours[0].start_us > beat.to_us - 24 * HOUR_US:
            memory.looks = 0
            return ()
        day.sort(key=attrgetter("most_m3_s"))
        true, escapes_m3_s = self._true_share(known), self._escapes_m3_s(beat, known)
        steady = self._steady(day)
        if len(steady) < STEADY_HOURS:
            if not known.is_open(self.FAULT):
                memory.looks, memory.standing = 0, False
            return ()
        quiet = steady[int(LEAST_SHARE * len(steady))]
        low = true * (quiet.loss_m3_s - escapes_m3_s)
        if known.is_open(self.FAULT):
            return self._while_standing(true * day[CLEAR_HOURS - 1].most_m3_s, low)
        threshold = LEAST_SHARE_H / 3600.0 * known.water.volume_m3 + ERRORS * true * quiet.error_m3_s
        alike = sum(hour.loss_m3_s <= ALIKE * quiet.loss_m3_s for hour in steady)
        less = bisect_left(day, quiet.loss_m3_s / ALIKE, key=attrgetter("most_m3_s"))
        leaks = low > threshold and alike >= ALIKE_HOURS and less < REFUTED
        leaks = leaks and memory.pauses.refuting(quiet.loss_m3_s, known.water, beat.to_us) < REFUTED
        memory.looks = memory.looks + 1 if leaks else 0
        memory.low_m3_s = low
        if not memory.looks:
            memory.path.forget()
        if memory.looks < HOLD_LOOKS or known.is_open("sensor_fault"):
            memory.standing = False
            return ()
        if not memory.standing:  # else it hangs on another finding, and is claimed for as long as it lasts
            memory.standing, memory.onset_us = True, self._onset_us(low)
        memory.leak_m3_s = low
        memory.cause = self._path.told(memory.path, low)
        return [self._claim(threshold)]

    def _steady(self, day: list[Hour]) -> list[Hour]:
        """Hours whose water goes down as straight as the gauge can show: draws make steps in it."""
        hours = [hour for hour in self.memory.hours if hour.scatter_m3 > 0.0]
        settled = [hour.scatter_m3 for hour in hours if hour.settled]
        scatters = [hour.scatter_m3 for hour in hours]
        least_m3 = STEADY * min(_quiet_scatter_m3(scatters), _quiet_scatter_m3(settled, HOURS))
        return [hour for hour in day if hour.scatter_m3 <= max(least_m3, BENT * hour.lost_m3)]

    def _onset_us(self, leak_m3_s: float) -> int:
        """Since the last hour that lost less than half as much."""
        onset = self.memory.hours[0].start_us
        for hour in self.memory.hours:
            if hour.most_m3_s < 0.5 * leak_m3_s:
                onset = hour.start_us + HOUR_US
        return onset

    def _true_share(self, known: Known) -> float:
        """A tank that has lost air makes every flow look larger than it is."""
        left = air_left(known.signature)
        return left[0] if left is not None and left[0] + SURELY * left[1] < 1.0 else 1.0

    def _escapes_m3_s(self, beat: Beat, known: Known) -> float:
        """What air that goes out of the tank makes pressure fall by, as if it were water."""
        memory, left, water = self.memory, air_left(known.signature), known.water
        from_us = beat.to_us - 25 * HOUR_US
        shares = [one for one in memory.shares if one[0] >= from_us]
        memory.shares = shares if left is None else [*shares, [float(beat.to_us), *left]]
        scale_m3_pa = water.volume_m3 * (water.precharge_pa + water.atmosphere_pa_abs)
        return escaping_1_s(memory.shares) * scale_m3_pa / (self._middle_pa + water.atmosphere_pa_abs)

    def _while_standing(self, eighth_m3_s: float, low_m3_s: float) -> Sequence[Word]:
        memory = self.memory
        if eighth_m3_s < 0.33 * memory.leak_m3_s:
            memory.standing, memory.looks, memory.cause = False, 0, None
            memory.path.forget()
            return [AllClear(self.FAULT, summary="The line has held its water through quiet hours again.")]
        if low_m3_s < 0.5 * memory.leak_m3_s:
            return ()  # it may be gone: where nothing goes says nothing of where it went
        leak_m3_s = max(low_m3_s, 0.5 * memory.leak_m3_s)
        cause = self._path.told(memory.path, leak_m3_s) or memory.cause
        if cause == memory.cause:
            return ()
        memory.cause, memory.leak_m3_s = cause, leak_m3_s
        return [self._claim(0.0)]

    def _claim(self, threshold_m3_s: float) -> Claim:
        memory = self.memory
        where = {
            "downstream": "it goes out downstream of the tank.",
            "check_valve": "it goes back through the check valve.",
            None: (
                "a leak downstream and a check valve that lets back look alike here. Switch the pump off and "
                "shut the valve after the tank for an hour: if pressure still falls it is the check valve."
            ),
        }[memory.cause]
        evidence = {"leak_m3_s": memory.leak_m3_s, "quiet_s": 3600.0 * len(memory.hours)}
        if threshold_m3_s > 0.0:
            evidence["limit_m3_s"] = threshold_m3_s
        share, error = rise_share(memory.path, memory.leak_m3_s)
        if share is not None:
            evidence |= {"storage_back_share_1": share, "storage_back_error_1": error}
        return Claim(
            self.FAULT,
            onset_us=memory.onset_us,
            priority="medium",
            confidence=0.92 if memory.cause is None else 0.95,
            summary=(
                f"The pressurised side loses {words.volume_a_day(self.plant, memory.leak_m3_s)} with nobody "
                f"drawing, night and day: {where}"
            ),
            cause=memory.cause,
            evidence=evidence,
        )

    def outlooks(self, day: Day, known: Known) -> Sequence[Outlook]:
        """The day's least flow, which is what a leak would be."""
        if not known.water.true:
            return ()
        hours = [hour.loss_m3_s for hour in self.memory.hours if day.from_us <= hour.start_us < day.to_us]
        if len(hours) < HOURS // 2:
            return [Outlook("night_flow_m3_s", None, day.at_us, None, None, None)]
        hours.sort()
        least = max(hours[int(LOW_SHARE * len(hours))], 0.0)
        return [
            Outlook(
                "night_flow_m3_s",
                None,
                day.at_us,
                max(hours[0], 0.0),
                least,
                max(hours[len(hours) // 4], 0.0),
            )
        ]


def _quiet_scatter_m3(hours_m3: list[float], least: int = 1) -> float:
    """Scatter of hours in which nobody draws; infinite where there are fewer than `least` to choose from."""
    if len(hours_m3) < least:
        return inf
    return sorted(hours_m3)[int(QUIETEST * len(hours_m3))]


def coverage(plant: Plant) -> Coverage:
    """Needs pressure, the motor and the tank; a level or a flow meter tells where it goes."""
    missing = [
        name
        for name, there in (
            ("a line_pressure signal", plant.measuring(Measure.LINE_PRESSURE)),
            ("a motor signal", plant.measuring(*MOTOR_MEASURES)),
            ("the pressure tank's volume in the plant file", plant.pressure_tank),
        )
        if not there
    ]
    if missing:
        return Coverage(False, f"Needs {', '.join(missing)}.")
    if plant.measuring(Measure.SUPPLY_FLOW):
        return Coverage(True, "Told by quiet rests; the flow meter tells downstream from check valve.")
    if len(plant.measuring(Measure.STORAGE_LEVEL)) == 1:
        return Coverage(
            True, "Told by quiet rests; the storage level tells downstream from check valve in time."
        )
    return Coverage(
        True, "Told by quiet rests; downstream and check valve only by shutting the valve after the tank."
    )


def detector(plant: Plant) -> SupplyLeak:
    return SupplyLeak(plant)
