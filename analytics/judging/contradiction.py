"""Signals that contradict the plant: stuck while it moves, or moving as no plant can.

Water and pressure are believed over a status: a pressure that climbs through its band needs the
pump, whatever the motor signal says. Each check answers with a cause (`stuck`, `silent`, `implausible`) while
the contradiction lasts, or None. They look at beats and runs only; one odd sample never decides.

Parameters, each a statement about what cannot be:
    RUNS            3   whole runs through which a gauge stands exactly still at or above cut-in: the
                        switch went from cut-in to cut-out thrice, so pressure did
    RUNS_LOW        8   the same below cut-in, where a motor that trips on its protector restarts too
    STALLED         2   times the usual level: a stalled rotor lifts no pressure (three to seven times)
    LEAST_RUN     0.3   of the time that fills the drawdown: a "run" that was surely shorter is a wild word
    WORKS         0.3   of the usual level: less is a clamp's noise, and no motor at work, however it turns
    STRAYS         40   "runs" in STRAYS_US 6 h that began where no switch starts a pump, and moved nothing:
                        twice those of a word wild in a thousand, at one a second
    a motor signal that pressure contradicts: see `analytics.judging.climbs`
    FILLED_SHARE 0.1    of the band, by which a run that moved water lifts pressure, where FEW 3 samples tell
    DRAWN_SHARE  0.05   of a storage's volume that the pump must have taken since the level last
                        changed in its last digit, over LEVEL_S at least; since the last rain where it
                        stands within 3 % of full, which rain alone can hold there. Where that digit is known,
    DIGITS       2      of it, and STICKS 1 % of the full level, by which a float may stick. Of several
                        storages, what the others gave is taken off, and all begins anew
    FILLED       0.01   of all their water, by which the others rose again: rain, or a tanker
    FLOW_S        6 h   the same flow to its last digit, whose drawdowns would take FLOW_APART 3 times the
                        runs there were, or a third (a plate wrong by half, a pump that gives twice the
                        flow); a drip by a coarse meter fits. FLOW_LONG_S 24 h: no drip runs day and night
    AIR_S        48 h   outdoor air that is the same to the last digit (two days of fog are not)
    JUMPS           3   moves of a level or of the air in a day that nothing could make
    LEAP_SHARE   0.08   of the full level, and what LEAP_M3_S 20 L/s brings (a tanker emptied into the
                        storage) or LOSES_M3_S 7.5 L/s takes (two metres of water through a torn fitting of
                        50 mm: 0.6 A sqrt(2 g h)): a level that leapt further from one word to the
                        next, and stood there for LEAP_BEATS 3 beats, was moved or has lost its zero;
    LEAP_HELD_S  3 d    it is held against the gauge so long, unless it leaps back
    a level that throws lone wrong words: see `analytics.judging.lone_levels`
    a pressure gauge that jumps: see `analytics.judging.wild_gauge`, and one that leaps and stays: `leaps`; a
    motor meter that jumps: `wild_motor`; a gauge that feels no run: `deaf_gauge`, a flow meter: `deaf_meter`
"""

from __future__ import annotations

from math import inf
from typing import TYPE_CHECKING

import msgspec
import numpy as np

from analytics.judging.calm import Calm
from analytics.judging.climbs import ClimbMemory, Climbs
from analytics.judging.deaf_gauge import Deaf
from analytics.judging.deaf_meter import DeafMeter
from analytics.judging.flutter import barely_on, is_stray
from analytics.judging.leaps import Leap, Leaps
from analytics.judging.lone_levels import NOTHING, OVER, LoneLevels
from analytics.judging.wild_gauge import WildGauges, WildMemory
from analytics.judging.wild_motor import WildMotor
from analytics.plant.description import Measure
from analytics.seeing.middles import middle, unpaired
from analytics.seeing.motor import motor_signal
from analytics.seeing.tracks import ZERO_SHARE
from analytics.seeing.water import Water

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.judging.reference import Reference
    from analytics.plant.description import Plant, Storage
    from analytics.seeing.beats import Beat, Span
    from analytics.seeing.events import Look, Run

RUNS, RUNS_LOW = 3, 8
FILLED_SHARE, FEW = 0.1, 3.0
STALLED, LEAST_RUN = 2.0, 0.3
WORKS = 0.3
STRAYS, STRAYS_US = 40, 21_600_000_000
SAMPLES = 20
DRAWN_SHARE, LEVEL_S, FULL_SHARE = 0.05, 86_400.0, 0.97
DIGITS, STICKS, FILLED = 2.0, 0.01, 0.01
RUN_IN_US = 3 * 3_600_000_000
AIR_S, AIR_SAMPLES = 48 * 3600.0, 100
FLOW_S, FLOW_LONG_S, FLOW_APART = 6 * 3600.0, 86_400.0, 3.0
JUMPS, JUMP_WINDOW_US = 3, 86_400_000_000
TAIL = 5
#: Where the plant file gives no rated flow: a small jet pump, 5 gpm.
USUAL_FLOW_M3_S = 3.2e-4
#: No roof sheds more into a tank than a cloudburst of 150 mm/h; no hose or drain of a holding
#: passes more than 2 L/s.
#: A level gauge may be off by a fortieth; air falls by 8 K in ten minutes before a gust front, seldom.
CLOUDBURST_M_S = 0.15 / 3600.0
MOST_FLOW_M3_S = 2e-3
LEVEL_STEP_SHARE = 0.025
LEAP_SHARE, LEAP_M3_S, LEAP_BEATS, LEAP_HELD_S = 0.08, 0.020, 3, 3 * 86_400.0
LOSES_M3_S = 0.0075
LEAST_MOVE = 1e-6  # less is the rounding of a unit
AIR_STEP_K, AIR_RATE_K_S = 5.0, 8.0 / 600.0


class Still(msgspec.Struct):
    """How long a signal has said exactly the same, and what the plant did meanwhile."""

    value: float = 0.0
    since_us: int = 0  # 0: it moves
    samples: int = 0
    runs: int = 0
    ran_s: float = 0.0
    others_m3: float = 0.0  # of a level: what the other storages held then, or least since
    given_m3: float = 0.0  # and have given since
    digit: float = 0.0  # the least that it ever moved; 0 while it has not


class Tail(msgspec.Struct):
    """A signal's last five samples, and its impossible moves of the last day."""

    time_us: list[int] = []
    value: list[float] = []
    jumps_us: list[int] = []
    leap_us: int = 0  # when it leapt, 0: never
    leapt_from: float = 0.0
    leapt_to: float = 0.0
    stood: int = 0  # beats since, on the far side
    lone: LoneLevels = msgspec.field(default_factory=LoneLevels)  # of a level: its words that stand alone


class Evidence(msgspec.Struct):
    """Plain data: what the checks keep."""

    still: dict[int, Still] = {}
    climbs: ClimbMemory = msgspec.field(default_factory=ClimbMemory)
    tails: dict[int, Tail] = {}
    rain_us: int = 0
    held_m3: dict[int, float] = {}  # by its level, each storage's water
    wild: WildMemory = msgspec.field(default_factory=WildMemory)
    leap: Leap = msgspec.field(default_factory=Leap)
    deaf: Deaf = msgspec.field(default_factory=Deaf)
    meter: DeafMeter = msgspec.field(default_factory=DeafMeter)
    strays_us: list[int] = []  # the newest starts in mid-band


class Contradictions:
    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.motor = motor_signal(plant)
        self.climbs = Climbs(plant)
        self.gauges, self.wild_motor = WildGauges(plant), WildMotor(plant)
        self.leaps = Leaps(plant)
        self.calm = Calm(self.climbs, self.gauges, self.wild_motor)
        zero_pa = ZERO_SHARE * plant.switch.cut_in_pa if plant.switch else -inf
        pressures = plant.measuring(Measure.LINE_PRESSURE, Measure.DISCHARGE_PRESSURE)
        self._zero_pa = dict.fromkeys(pressures, zero_pa)
        self.rain = next(iter(plant.measuring(Measure.RAINFALL)), None)
        self._meter = next(iter(plant.measuring(Measure.SUPPLY_FLOW)), None)
        water, switch = Water.of(plant), plant.switch
        known = water.true and switch is not None
        self._drawdown_m3 = (
            water.between_m3(switch.cut_in_pa, switch.cut_out_pa) if known and switch else None
        )
        self.flow_m3_s = plant.pump.rated_flow_m3_s or USUAL_FLOW_M3_S
        self._measures = [signal.measures for signal in plant.signals]
        storages = {storage.name: storage for storage in plant.storages}
        self._storage = [storages.get(signal.of or "") for signal in plant.signals]
        levels = plant.measuring(Measure.STORAGE_LEVEL)
        gauged = {storage.name for at in levels if (storage := self._storage[at]) is not None}
        # levels that can be held against what the pump takes: no storage is without one
        self._filled = tuple(levels) if len(gauged) == len(plant.storages) else ()
        self._jump = frozenset(plant.measuring(Measure.STORAGE_LEVEL, Measure.AIR_TEMPERATURE))

    def run(self, evidence: Evidence, run: Run, usual: Reference) -> None:
        """Count a run that was seen whole and moved pressure: none of a stalled rotor, nor a wild word."""
        idle = run.motor_words is not None and run.motor_words < WORKS * (usual.motor_level or 0.0)
        if idle or barely_on(run, self.plant):
            return
        if run.entire and is_stray(run, usual):
            evidence.strays_us = [*evidence.strays_us, run.cycle.start_us][-STRAYS:]
        stalled = usual.motor_level and (run.motor_words or 0.0) > STALLED * usual.motor_level
        evidence.deaf.hear(run, usual)
        evidence.meter.hear(run, usual)
        if not stalled and _delivered(run, usual):
            for still in evidence.still.values():
                still.ran_s += run.cycle.run_time_s * (run.cycle.start_us >= still.since_us > 0)
        least_s = LEAST_RUN * usual.drawdown_m3 / usual.delivery_m3_s
        if run.entire and not stalled and run.cycle.run_time_s + run.interval_s > least_s:
            for still in evidence.still.values():
                still.runs += int(run.cycle.start_us >= still.since_us > 0)

    def start(self, evidence: Evidence, run: Run | Look, usual: Reference) -> int | None:
        """The position of a line gauge that a start where the switch makes none convicts."""
        return self.leaps.pressure if self.leaps.start(evidence.leap, run, usual) else None

    def beat(
        self,
        evidence: Evidence,
        beat: Beat,
        doubted: set[int],
        usual: Reference,
        airless: bool = False,
        welded: bool = False,
    ) -> dict[int, str]:
        """What speaks against signals now: cause by position in `Plant.signals`.

        doubted: signals that are disbelieved already and convict no other.
        airless: short cycling stands, so that the tank may have no air.
        welded: overpressure stands, so that the switch may not stop the motor.
        """
        found: dict[int, str] = {}
        self._note_rain(evidence, beat)
        for position in self._filled:
            said, slow = beat.spans.get(position), evidence.still.get(position)
            if slow is not None and (said is None or not said.count):
                # one that speaks seldom: it rains all the same
                full = self._may_be_full(position, slow, beat, evidence)
                slow.ran_s = 0.0 if full else slow.ran_s
        self._note_levels(evidence, beat)
        for position, span in beat.spans.items():
            if not span.count:
                continue
            still = evidence.still.get(position)
            if still is None:
                still = evidence.still[position] = Still()
            _stand(still, beat, span, *self._range(position, span, still))
            if position in self._filled and self._may_be_full(position, still, beat, evidence):
                still.ran_s = 0.0
            if still.since_us and still.samples >= SAMPLES and self._stuck(position, still, beat):
                found[position] = "stuck"
            elif position in self._jump and self._jumps(position, beat, span, evidence):
                found[position] = "implausible"
        calm = not doubted and self.calm.takes(evidence.climbs, evidence.leap, evidence.wild, beat, usual)
        if not calm:
            motor = self.wild_motor.beat(evidence.wild, beat, usual)
            for position in self.gauges.beat(evidence.wild, beat, usual, airless) + motor:
                found.setdefault(position, "implausible")
            self.leaps.beat(evidence.leap, beat, usual, self.motor not in doubted)
        if (evidence.leap.convicted or evidence.deaf.convicts) and self.leaps.pressure is not None:
            found.setdefault(self.leaps.pressure, "implausible")
        if evidence.meter.convicts and self._meter is not None:
            found.setdefault(self._meter, "stuck")
        if self.motor is not None and evidence.strays_us and self.strays(evidence, beat) >= STRAYS:
            found.setdefault(self.motor, "implausible")
        if calm:
            return found
        doubted = doubted | {at for at, beats in evidence.wild.beats.items() if beats}
        stop_pa = usual.stop_pa if usual.learned else None
        for position in self.climbs.beat(evidence.climbs, beat, doubted, welded, stop_pa):
            still, spoke = evidence.still.get(position, Still()), position in beat.spans
            silent = not spoke and not evidence.climbs.witnesses[position].spoke
            stands = still.since_us or not spoke
            found[position] = "silent" if silent else "stuck" if stands else "implausible"
        return found

    def strays(self, evidence: Evidence, beat: Beat) -> int:
        """How many starts in mid-band the motor signal has told lately, STRAYS at most."""
        return sum(beat.to_us - at_us < STRAYS_US for at_us in evidence.strays_us)

    def _note_levels(self, evidence: Evidence, beat: Beat) -> None:
        """What each of several storages holds, and what the others have given since a level stands."""
        if len(self.plant.storages) < 2 or not self._filled:
            return
        for position in self._filled:
            span, storage = beat.spans.get(position), self._storage[position]
            if span is not None and span.count and storage is not None:
                level_m = middle(span, LEVEL_STEP_SHARE * storage.full_level_m)
                evidence.held_m3[position] = storage.held_m3(level_m)
        for position in self._filled:
            if (still := evidence.still.get(position)) is not None:
                self._note_others(position, still, evidence)

    def _range(self, position: int, span: Span, still: Still) -> tuple[float, float]:
        """Lowest and highest of a beat; a pressure's drop-outs to nothing are no words of the gauge's, nor
        are wild ones of a level that are taken back."""
        low, high = span.low, span.high
        storage = self._storage[position]
        if storage is not None and still.since_us and low < high and still.value in (low, high):
            said = span.value[np.abs(span.value - still.value) < LEAP_SHARE * storage.full_level_m]
            return float(said.min()), float(said.max())
        zero_pa = self._zero_pa.get(position, -inf)
        if not low <= zero_pa < high:
            return low, high
        said = span.value[span.value > zero_pa]
        return float(said.min()), float(said.max())

    def _stuck(self, position: int, still: Still, beat: Beat) -> bool:
        """Whether a signal that says the same, SAMPLES times at least, should have moved meanwhile."""
        measures = self._measures[position]
        lasted_s = (beat.to_us - still.since_us) / 1e6
        if measures in (Measure.LINE_PRESSURE, Measure.DISCHARGE_PRESSURE):
            cut_in = self.plant.switch.cut_in_pa if self.plant.switch else 0.0
            return still.runs >= (RUNS if still.value >= 0.9 * cut_in else RUNS_LOW)
        if measures is Measure.STORAGE_LEVEL:
            return lasted_s >= LEVEL_S and self._drawn(position, still)
        if measures is Measure.AIR_TEMPERATURE:
            return lasted_s >= AIR_S and still.samples >= AIR_SAMPLES
        if measures is Measure.SUPPLY_FLOW:
            stood = lasted_s >= FLOW_S and still.value > 0.0 and still.runs >= RUNS
            return stood and (lasted_s >= FLOW_LONG_S or self._unfilled(still, lasted_s))
        return False

    def _unfilled(self, still: Still, lasted_s: float) -> bool:
        """Whether so many runs are neither near what would make up for that flow, nor that it is a drip."""
        if self._drawdown_m3 is None:
            return False
        runs = lasted_s * still.value / self._drawdown_m3
        return not runs / FLOW_APART < still.runs < runs * FLOW_APART

    def _drawn(self, position: int, still: Still) -> bool:
        """Whether the pump must have lowered a storage that is neither held full nor at its outlet: there is
        no other, or the others have not given what it took."""
        storage = self._storage[position]
        if position not in self._filled or storage is None or self.motor is None:
            return False
        alone = len(self.plant.storages) == 1
        if not alone and not still.digit:
            return False  # nobody knows that it is drawn from at all
        full = still.value >= FULL_SHARE * storage.full_level_m and (self.rain is None or not alone)
        inside = storage.outlet_level_m * 1.1 + 0.02 < still.value and not full
        share = max(DIGITS * still.digit / storage.full_level_m, STICKS) if still.digit else DRAWN_SHARE
        taken_m3 = still.ran_s * 0.5 * self.flow_m3_s - still.given_m3
        return inside and taken_m3 > min(share, DRAWN_SHARE) * storage.volume_m3

    def _note_others(self, position: int, still: Still, evidence: Evidence) -> None:
        """Keep what the other storages have given since a level stands; begin anew where they were filled."""
        others = [held_m3 for at, held_m3 in evidence.held_m3.items() if at != position]
        if not others:
            return
        now_m3, sizes_m3 = sum(others), sum(storage.volume_m3 for storage in self.plant.storages)
        filled = now_m3 > still.others_m3 + FILLED * sizes_m3
        if not still.ran_s or not still.others_m3 or filled:
            still.others_m3, still.given_m3, still.ran_s = now_m3, 0.0, 0.0
        elif now_m3 < still.others_m3:
            still.given_m3, still.others_m3 = still.given_m3 + still.others_m3 - now_m3, now_m3

    def _may_be_full(self, position: int, still: Still, beat: Beat, evidence: Evidence) -> bool:
        """Whether a level stands where rain that falls, or has just fallen, keeps it."""
        storage = self._storage[position]
        near = storage is not None and still.value >= FULL_SHARE * storage.full_level_m
        rained = self._rained(evidence, beat)
        return rained and (near or len(self.plant.storages) > 1)

    def _jumps(self, position: int, beat: Beat, span: Span, evidence: Evidence) -> bool:
        """Whether a level, or the air, makes moves that nothing could; a wild word or two is passed over."""
        air = self._measures[position] is Measure.AIR_TEMPERATURE
        storage = None if air else self._storage[position]
        if storage is None and not air:
            return False
        tail = evidence.tails.get(position)
        if tail is None:
            tail = evidence.tails[position] = Tail()
        if tail.jumps_us:
            since_us = beat.to_us - JUMP_WINDOW_US
            tail.jumps_us = [at for at in tail.jumps_us if at > since_us]
        # a step among the last two words of a beat is seen whole with the next ones only
        extremes = (span.low, span.high, *tail.value[-4:])
        step = LEVEL_STEP_SHARE * storage.full_level_m if storage is not None else AIR_STEP_K
        lone = 0
        if max(extremes) - min(extremes) > step:
            lone = self._moved(tail, storage, step, beat, span, evidence)
        newest = slice(max(span.past - TAIL, span.first_at), span.past)
        time_us, value = span.times[newest].tolist(), span.values[newest].tolist()
        tail.time_us = time_us if span.count >= TAIL else [*tail.time_us, *time_us][-TAIL:]
        tail.value = value if span.count >= TAIL else [*tail.value, *value][-TAIL:]
        leapt = tail.leap_us > 0 and _stands(tail, span, beat)
        if storage is not None:
            leapt |= tail.lone.hear(beat.from_us, span.count, lone)
        return leapt or len(tail.jumps_us) >= JUMPS

    def _moved(
        self, tail: Tail, storage: Storage | None, step: float, beat: Beat, span: Span, evidence: Evidence
    ) -> int:
        """Keep moves of more than a step that nothing could make; of a level, how many new words stand
        alone."""
        time_us, value = np.append(tail.time_us, span.time_us), np.append(tail.value, span.value)
        if len(value) <= TAIL:
            return 0
        falls = rises = AIR_RATE_K_S
        if storage is not None:
            area_m2 = storage.volume_m3 / storage.full_level_m
            falls = self._most_m3_s(evidence, beat) / area_m2
            rises = falls + LEAP_M3_S / area_m2  # a tanker's pump fills it
        middle, time_us, value = unpaired(value)[2:-2], time_us[2:-2], value[2:-2]
        moved, seconds = np.diff(middle), np.diff(time_us) / 1e6
        most = step + np.where(moved > 0.0, rises, falls) * seconds
        tail.jumps_us += [beat.to_us] * int(np.count_nonzero(np.abs(moved) > most))
        tail.jumps_us = tail.jumps_us[-JUMPS:]
        if storage is None:
            return 0
        _leap(tail, storage, time_us, middle, seconds)
        # the first of these was the last of those before; what dips and is back has fallen, or falls again
        far = LEAP_SHARE * storage.full_level_m + falls * seconds
        off = np.abs(value - middle)[1:] > far
        said = (value > NOTHING * storage.full_level_m) & (value < OVER * storage.full_level_m)
        return int(np.count_nonzero(off & said[1:]))

    def _most_m3_s(self, evidence: Evidence, beat: Beat) -> float:
        """The most that can come or go: hose or burst fitting, pump, and a cloudburst while it rains."""
        wet = self.rain is None or self._rained(evidence, beat)
        area_m2 = self.plant.catchment.area_m2 if self.plant.catchment else 0.0
        return MOST_FLOW_M3_S + self.flow_m3_s + (CLOUDBURST_M_S * area_m2 if wet else 0.0)

    def _note_rain(self, evidence: Evidence, beat: Beat) -> None:
        rain = beat.spans.get(self.rain) if self.rain is not None else None
        if rain is not None and rain.high > 0.0:
            evidence.rain_us = beat.to_us

    def _rained(self, evidence: Evidence, beat: Beat) -> bool:
        """Whether rain fell within the last three hours, by the gauge: what a roof takes to run dry."""
        return beat.to_us - evidence.rain_us < RUN_IN_US


def _delivered(run: Run, usual: Reference) -> bool:
    """Whether a run has filled the tank, as far as its samples tell: one that moves no water takes none."""
    start_pa, stop_pa = run.cycle.pressure_start_pa, run.cycle.pressure_stop_pa
    if start_pa is None or stop_pa is None or run.cycle.run_time_s < FEW * run.interval_s:
        return True
    return stop_pa > start_pa + FILLED_SHARE * usual.band_pa


def _leap(
    tail: Tail,
    storage: Storage,
    time_us: NDArray[np.int64],
    level_m: NDArray[np.float64],
    seconds: NDArray[np.float64],
) -> None:
    """Keep the last move of a level that no water can have made, unless it was taken back."""
    area_m2 = storage.volume_m3 / storage.full_level_m
    moved_m = np.diff(level_m)
    most_m3_s = np.where(moved_m > 0.0, LEAP_M3_S, LOSES_M3_S)
    limit_m = LEAP_SHARE * storage.full_level_m + most_m3_s * seconds / area_m2
    for at in np.flatnonzero(np.abs(moved_m) > limit_m).tolist():
        to_m = float(level_m[at + 1])
        if tail.leap_us and abs(to_m - tail.leapt_from) < LEAP_SHARE * storage.full_level_m:
            tail.leap_us = 0  # back where it was
        else:
            tail.leap_us, tail.leapt_from, tail.leapt_to = int(time_us[at + 1]), float(level_m[at]), to_m
        tail.stood = 0


def _stands(tail: Tail, span: Span, beat: Beat) -> bool:
    """Whether a level has stood where it leapt to, and not for so long that it must be true."""
    if beat.to_us - tail.leap_us > LEAP_HELD_S * 1e6:
        tail.leap_us = 0
        return False
    if tail.stood < LEAP_BEATS:
        there = abs(span.last - tail.leapt_to) < abs(span.last - tail.leapt_from)
        tail.stood, tail.leap_us = (tail.stood + 1, tail.leap_us) if there else (0, 0)
    return tail.stood >= LEAP_BEATS


def _stand(still: Still, beat: Beat, span: Span, low: float, high: float) -> None:
    """Take up one beat's samples of a signal, which lie between `low` and `high`."""
    moved = high - low if low != high or not still.samples else abs(low - still.value)
    if moved > LEAST_MOVE and (moved < still.digit or not still.digit):
        still.digit = moved
    if low != high or not still.since_us or low != still.value:
        still.since_us = beat.from_us if low == high else 0
        still.value, still.samples, still.runs, still.ran_s = low, 0, 0, 0.0
    still.samples += span.count
