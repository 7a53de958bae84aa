"""The supply is saltier than the crop stands.

What fails: the well has turned salty, or more of it is mixed in than the rainwater can dilute; a
valve passes that should be shut. Roots then take up less water, from some salt on less every day.

Physics: electrical conductivity at 25 degC is the measure of salt in irrigation water. Mixed water
conducts as its parts do, by share: EC = f EC1 + (1 - f) EC2.

Sensors show: `supply_conductivity` above the limit for an hour.

Mistaken for it: a slug of standing water at the first draw of the day; a fouled or dry probe (which
mostly reads low); the flush of first rain off a roof.

Parameters:
    limit        the owner's, else the crop's (`analytics.garden.limits`), else 0.07 S/m (0.7 dS/m), below
                 which there is no restriction on use for any crop
    SEVERE_S_M   0.30 S/m (3.0 dS/m)  severe restriction above: priority high
    LAST_S       1 h, and READINGS 3: a slug has passed by then, and no single sample raises it
    CLEAR_SHARE  0.9                  of the limit, as long again: hysteresis
    APART_S_M    0.02 S/m             of one beat's words: further apart, the middle half of them counts

False alarms: none by chance at this persistence; it is a statement about a probe.

Source: Ayers & Westcot, Water quality for agriculture, FAO Irrigation and Drainage Paper 29 Rev.1,
table 1 (limits seen reprinted, tests/reference).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from analytics import words
from analytics.garden.conductivity import at_25
from analytics.garden.limits import water_limit
from analytics.judging.watch import AllClear, Claim, Coverage, Detector
from analytics.plant.description import Measure
from analytics.seeing.middles import middle

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.watch import Known, Word
    from analytics.plant.description import Plant
    from analytics.seeing.beats import Beat, Span

SEVERE_S_M = 0.30
LAST_S = 3600.0
READINGS = 3
CLEAR_SHARE = 0.9
APART_S_M = 0.02


class SaltMemory(msgspec.Struct):
    standing: bool = False
    severe: bool = False
    since_us: int | None = None  # of what speaks for a change: salty, or fresh again while standing
    readings: int = 0
    total_s_m: float = 0.0
    water_c: float | None = None  # last heard, for a probe that does not bring its reading to 25 degC


class SalinityHigh(Detector):
    FAULT = "salinity_high"
    Memory = SaltMemory
    memory: SaltMemory

    def __init__(self, plant: Plant) -> None:
        super().__init__(plant)
        self._limit = water_limit(plant)
        self._severe_s_m = max(SEVERE_S_M, self._limit.water_s_m)
        self._signal = next(iter(plant.measuring(Measure.SUPPLY_CONDUCTIVITY)), None)
        self._warmth = next(iter(plant.measuring(Measure.WATER_TEMPERATURE)), None)
        raw = None if self._signal is None else plant.signals[self._signal].temperature_coefficient
        self._per_degree = raw

    def beat(self, beat: Beat, known: Known) -> Sequence[Word]:
        span = beat.spans.get(self._signal) if self._signal is not None else None
        now = self._at_25(beat, span)
        if span is None or now is None:
            return ()
        memory, limit = self.memory, self._limit.water_s_m
        speaks = now < CLEAR_SHARE * limit if memory.standing else now > limit
        if not speaks:
            memory.since_us, memory.readings, memory.total_s_m = None, 0, 0.0
            return self._worse(now)
        memory.since_us = beat.from_us if memory.since_us is None else memory.since_us
        memory.readings += span.count
        memory.total_s_m += now * span.count
        lasted = beat.to_us - memory.since_us >= LAST_S * 1e6 and memory.readings >= READINGS
        if not lasted or known.is_open("sensor_fault", self._name()):
            return ()
        return self._turn(memory.since_us, memory.total_s_m / memory.readings)

    def _at_25(self, beat: Beat, span: Span | None) -> float | None:
        """The beat's conductivity at 25 degC; None where it was not heard, or nothing tells how warm
        the water was that a probe without compensation read."""
        warmth = beat.spans.get(self._warmth) if self._warmth is not None else None
        if warmth is not None and warmth.count:
            self.memory.water_c = warmth.mean
        if span is None or not span.count:
            return None
        found = middle(span, APART_S_M)
        if self._per_degree is None:
            return found
        water_c = self.memory.water_c
        return None if water_c is None else float(at_25(found, water_c, self._per_degree))

    def _turn(self, since_us: int, mean_s_m: float) -> Sequence[Word]:
        memory = self.memory
        memory.standing = not memory.standing
        memory.since_us, memory.readings, memory.total_s_m = None, 0, 0.0
        if not memory.standing:
            memory.severe = False
            return [AllClear(self.FAULT, summary=f"The supply is back at {words.conductivity(mean_s_m)}.")]
        memory.severe = mean_s_m > self._severe_s_m
        return [self._claim(since_us, mean_s_m)]

    def _worse(self, now_s_m: float) -> Sequence[Word]:
        if not self.memory.standing or self.memory.severe or now_s_m <= self._severe_s_m:
            return ()
        self.memory.severe = True
        return [self._claim(0, now_s_m)]

    def _name(self) -> str:
        assert self._signal is not None
        return self.plant.signals[self._signal].name

    def _claim(self, since_us: int, s_m: float) -> Claim:
        severe, limit = s_m > self._severe_s_m, self._limit
        above = f"the limit is {words.conductivity(limit.water_s_m)}, {limit.why}"
        if severe and self._severe_s_m == SEVERE_S_M:
            above += f"; above {words.conductivity(SEVERE_S_M)} most crops take severe harm"
        return Claim(
            self.FAULT,
            onset_us=since_us,
            priority="high" if severe else "medium",
            confidence=0.95,
            summary=f"The supply conducts {words.conductivity(s_m)}; {above}.",
            evidence={"supply_conductivity_s_m": s_m, "limit_s_m": limit.water_s_m},
        )


def coverage(plant: Plant) -> Coverage:
    """Needs a conductivity probe in the supply."""
    if plant.measuring(Measure.SUPPLY_CONDUCTIVITY):
        return Coverage(True, "Told by the supply's conductivity, against the limit for irrigation water.")
    return Coverage(False, "Needs a supply_conductivity signal.")


def detector(plant: Plant) -> SalinityHigh:
    return SalinityHigh(plant)
