"""The pressurised side loses water with nobody drawing.

What fails: a joint or a buried line seeps, a tap or a toilet valve does not close, or the check
valve lets water back into the storage.

Physics: while the pump rests the tank's water falls by the demand and the leak. Demand stops at
some time of any day and night; a leak does not. With P in the tank, Q = c P^N, N from 0.5 (a hole)
to 1.5 (a split that opens).

Sensors show: tank water that falls through every rest of the day. The smallest loss of each hour
is kept; the leak is a low value (LOW_SHARE) of those over a day: never zero, night and day.

Mistaken for it: the air's cooling after a fill (only rests older than ten minutes count, unless the
pump never rests so long); a tank in the sun, which rises by day and falls in the evening by some
0.9 L/h, but never all day long; drip lines and night watering, which end; a toilet's refill.

    sealed tank: dw/dt = V_air/T * dT/dt, 0.37 L/h a kelvin an hour for 110 L of air

Cause: leak and check valve look alike on one gauge. Separated only where more is fitted:
- the storage level: what goes back through the check valve comes back to the storage, which then
  rises through the rests by what the line loses; what leaks downstream is gone;
- a flow meter after the tank: it sees what leaks downstream of it, if that is above its start.
Otherwise the cause is null and the summary names the test that tells.

Parameters:
    LEAST_SHARE_H  0.8 %   of the tank's volume an hour (1.3 L/h for 44 gal): half as much again as
                           the sun moves
    ERRORS         3       standard errors of the slopes above it
    LOW_SHARE      0.10    of the hours of a day may read lower: noise, the sun's rise
    HOURS          12      hours with a rest, of the last 24, that a judgement needs
    HOLD_LOOKS     7       hourly judgements in a row: a day and six hours, hence the second night
    FLOW_START     1 L/min below it a meter's zero says nothing (common practice, no source)
    BACK_SHARE     0.8 %   of the storage that the line must have lost before the level is asked, and
    BACK_SCATTERS  10      times the level's usual step
    CLEAR_HOURS    8       of the last 24 with less than a third of the leak: a night and a morning; a
                           gauge that reports on change shows single hours without a loss

False alarms: a healthy day would need at least nine tenths of its hours to lose more than the sun
can make them lose, for a day and a quarter. Guests and drip lines do not do that.

Source: minimum night flow as in Thornton, Sturm & Kunkel, Water Loss Control, brought to one house
("longest quiet interval"); FAVAD, May 1994.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from analytics import words
from analytics.judging.watch import AllClear, Claim, Coverage, Detector
from analytics.outlooks.balance import LevelTrack, Watched, follow
from analytics.plant.description import MOTOR_MEASURES, Measure
from analytics.records import Outlook

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.watch import Known, Word
    from analytics.plant.description import Plant
    from analytics.seeing.beats import Beat
    from analytics.seeing.events import Day, Rest

LEAST_SHARE_H = 0.008
ERRORS = 3.0
LOW_SHARE = 0.10
HOURS = 12
HOLD_LOOKS = 7
FLOW_START_M3_S = 1.0 / 6e4
BACK_SHARE = 0.008
BACK_SCATTERS = 10.0
CLEAR_HOURS = 8
HOUR_US = 3_600_000_000
SETTLED_S = 590.0
SHORTEST_S = 240.0
KEEP_HOURS = 72


@dataclass
class Hour:
    """What one hour showed."""

    start_us: int
    loss_m3_s: float  # the smallest of its settled rests; of all, where none was settled
    settled: bool
    error_m3_s: float


@dataclass
class SeepMemory:
    hours: list[Hour] = field(default_factory=list)
    looks: int = 0
    standing: bool = False
    leak_m3_s: float = 0.0
    cause: str | None = None
    onset_us: int = 0
    low_m3_s: float = 0.0  # the day's low loss while it is being judged
    #: Where it went, gathered while the pump rests: lost by the line, come back to the storage.
    track: LevelTrack = field(default_factory=LevelTrack)
    line_m3: float = 0.0
    back_m3: float = 0.0
    steps: int = 0
    flows_m3_s: list[float] = field(default_factory=list)


class SupplyLeak(Detector):
    FAULT = "supply_leak"
    Memory = SeepMemory
    memory: SeepMemory

    def __init__(self, plant: Plant) -> None:
        super().__init__(plant)
        self._flow = next(iter(plant.measuring(Measure.SUPPLY_FLOW)), None)
        one = len(plant.measuring(Measure.STORAGE_LEVEL)) == 1 and len(plant.storages) == 1
        self._watched = Watched(plant, plant.storages[0]) if one else None

    def rest(self, rest: Rest, known: Known) -> Sequence[Word]:
        long_enough = (rest.to_us - rest.from_us) / 1e6 >= SHORTEST_S
        if rest.slope_m3_s is None or rest.samples < 3 or not long_enough:
            return ()
        settled = rest.since_stop_s >= SETTLED_S
        if not settled and not rest.entire:
            return ()
        start_us = rest.from_us // HOUR_US * HOUR_US
        hour = Hour(start_us, -rest.slope_m3_s, settled, rest.slope_error_m3_s or 0.0)
        hours = self.memory.hours
        if not hours or hours[-1].start_us < start_us:
            hours.append(hour)
            del hours[:-KEEP_HOURS]
        elif (settled, -hour.loss_m3_s) > (hours[-1].settled, -hours[-1].loss_m3_s):
            hours[-1] = hour
        return ()

    def beat(self, beat: Beat, known: Known) -> Sequence[Word]:
        self._meter(beat)
        self._follow_storage(beat)
        if beat.to_us % HOUR_US:
            return ()
        if not known.water.true:
            return ()
        return self._judge(beat, known)

    def _meter(self, beat: Beat) -> None:
        memory = self.memory
        flow = beat.spans.get(self._flow) if self._flow is not None else None
        if flow is not None and flow.count and beat.running_s == 0.0:
            memory.flows_m3_s = [*memory.flows_m3_s[-143:], flow.mean]

    def _judge(self, beat: Beat, known: Known) -> Sequence[Word]:
        memory = self.memory
        day = [hour for hour in memory.hours if hour.start_us >= beat.to_us - 25 * HOUR_US]
        if len(day) < HOURS:
            memory.looks = 0
            return ()
        losses = sorted(hour.loss_m3_s for hour in day)
        low = losses[int(LOW_SHARE * len(losses))]
        if known.is_open(self.FAULT):
            return self._while_standing(losses, low)
        error = sorted(hour.error_m3_s for hour in day)[len(day) // 2]
        threshold = LEAST_SHARE_H / 3600.0 * known.water.volume_m3 + ERRORS * error
        memory.looks = memory.looks + 1 if low > threshold else 0
        memory.low_m3_s = low
        if not memory.looks:
            memory.line_m3, memory.back_m3, memory.steps = 0.0, 0.0, 0
        if memory.looks < HOLD_LOOKS or known.is_open("sensor_fault"):
            memory.standing = False
            return ()
        if not memory.standing:  # else it hangs on another finding, and is claimed for as long as it lasts
            memory.standing, memory.onset_us = True, self._onset_us(low)
        memory.leak_m3_s = low
        memory.cause = self._cause()
        return [self._claim(threshold)]

    def _onset_us(self, leak_m3_s: float) -> int:
        """Since the last hour that lost less than half as much."""
        onset = self.memory.hours[0].start_us
        for hour in self.memory.hours:
            if hour.loss_m3_s < 0.5 * leak_m3_s:
                onset = hour.start_us + HOUR_US
        return onset

    def _while_standing(self, losses: list[float], low_m3_s: float) -> Sequence[Word]:
        memory = self.memory
        if losses[CLEAR_HOURS - 1] < 0.33 * memory.leak_m3_s:
            memory.standing, memory.looks, memory.cause = False, 0, None
            memory.line_m3, memory.back_m3, memory.steps = 0.0, 0.0, 0
            return [AllClear(self.FAULT, summary="The line has held its water through quiet hours again.")]
        cause = memory.cause or self._cause()
        if cause == memory.cause:
            return ()
        memory.cause, memory.leak_m3_s = cause, max(low_m3_s, 0.5 * memory.leak_m3_s)
        return [self._claim(0.0)]

    def _follow_storage(self, beat: Beat) -> None:
        """While the pump rests: what the leak took from the line, and what the storage got back."""
        memory = self.memory
        if self._watched is None:
            return
        step = follow(memory.track, beat, self._watched)
        if step is None or not (step.quiet and step.dry) or step.seconds > 3600.0 or memory.looks == 0:
            return
        leak_m3_s = memory.leak_m3_s if memory.standing else memory.low_m3_s
        memory.line_m3 += leak_m3_s * step.seconds
        memory.back_m3 += step.change_m3
        memory.steps += 1

    def _cause(self) -> str | None:
        """`downstream`, `check_valve`, or None where what is fitted cannot tell."""
        memory = self.memory
        flows = sorted(memory.flows_m3_s)
        if len(flows) >= 36:
            low = flows[int(LOW_SHARE * len(flows))]
            if low > 0.5 * memory.leak_m3_s:
                return "downstream"
            if memory.leak_m3_s > 2.0 * FLOW_START_M3_S and low < 0.1 * memory.leak_m3_s:
                return "check_valve"
        if self._watched is None or memory.steps < 24:
            return None
        storage = self._watched.storage
        scatter_m3 = memory.track.scatter_m * storage.volume_m3 / storage.full_level_m
        if memory.line_m3 < max(BACK_SHARE * storage.volume_m3, BACK_SCATTERS * scatter_m3):
            return None
        share = memory.back_m3 / memory.line_m3
        if share > 0.65:
            return "check_valve"
        return "downstream" if share < 0.35 else None

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
        evidence = {"leak_m3_s": memory.leak_m3_s, "quiet_hours": float(len(memory.hours))}
        if threshold_m3_s > 0.0:
            evidence["limit_m3_s"] = threshold_m3_s
        if memory.line_m3 > 0.0:
            evidence["line_lost_m3"], evidence["storage_back_m3"] = memory.line_m3, memory.back_m3
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
