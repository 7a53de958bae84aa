"""The most exposed pipe is at or near freezing.

What fails: standing water in a pipe, a pump casing or a switch's small tube freezes, blocks it, and
splits it; the split shows only at the thaw.

Physics: fresh water freezes at 0 degC. A small pipe in still air follows the air within the hour
(common practice, no source), so the air beside it is the warning.

Sensors show: `air_temperature` at FREEZE_C or below.

Mistaken for it: a sensor's own error (the usual chips are good to half a degree), a single bad
sample, a sensor in the wind where the pipe is not.

Parameters:
    FREEZE_C   1 degC     freezing point, plus twice a usual sensor's error of 0.5
    HARD_C    -3 degC     priority high: insulation only delays (common practice, no source)
    CLEAR_C    3 degC     for CLEAR_S: frosty nights follow one another with mild days between, and one
    CLEAR_S    26 h       cold spell is one finding until a whole day and night were mild
    BEATS      2          ten-minute means in a row: no single sample raises it
    FALL_K     10         within an hour: air does not do that on its way to a frost, a sensor does;
    DOUBT_S    3 h        then it must stay cold for so long
    APART_K    3          of one beat's words: more is a sensor that drops out

False alarms: none by chance at this persistence; it is a statement about a thermometer.

Source: common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from analytics import words
from analytics.judging.watch import AllClear, Claim, Coverage, Detector
from analytics.plant.description import Measure
from analytics.seeing.middles import middle

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analytics.judging.watch import Known, Word
    from analytics.plant.description import Plant
    from analytics.seeing.beats import Beat

FREEZE_C = 1.0
HARD_C = -3.0
CLEAR_C = 3.0
CLEAR_S = 26 * 3600.0
BEATS = 2
FALL_K = 10.0
APART_K = 3.0
DOUBT_S = 3 * 3600.0


class ColdMemory(msgspec.Struct):
    cold_beats: int = 0
    cold_since_us: int = 0
    standing: bool = False
    coldest_c: float = 99.0
    mild_since_us: int | None = None
    hour_c: list[float] = []  # means of the last hour's beats
    doubted: bool = False


class FreezeRisk(Detector):
    FAULT = "freeze_risk"
    Memory = ColdMemory
    memory: ColdMemory

    def __init__(self, plant: Plant) -> None:
        super().__init__(plant)
        self._signal = next(iter(plant.measuring(Measure.AIR_TEMPERATURE)), None)

    def beat(self, beat: Beat, known: Known) -> Sequence[Word]:
        span = beat.spans.get(self._signal) if self._signal is not None else None
        if span is None or not span.count:
            return ()
        memory, now_c = self.memory, middle(span, APART_K)
        if now_c <= FREEZE_C:
            if not memory.cold_beats:
                memory.cold_since_us = beat.from_us
                memory.doubted = max(memory.hour_c, default=now_c) - now_c > FALL_K
            memory.cold_beats += 1
            memory.mild_since_us = None
        else:
            memory.cold_beats = 0
        memory.hour_c = [*memory.hour_c[-5:], now_c]
        if memory.standing:
            return self._while_standing(beat, now_c)
        wait_s = DOUBT_S if memory.doubted else 0.0
        if beat.to_us - memory.cold_since_us < wait_s * 1e6:
            return ()
        if memory.cold_beats < BEATS or self._disbelieved(known):
            return ()
        memory.standing, memory.coldest_c = True, now_c
        return [self._claim()]

    def _while_standing(self, beat: Beat, now_c: float) -> Sequence[Word]:
        memory = self.memory
        if now_c > CLEAR_C:
            since = memory.mild_since_us = memory.mild_since_us or beat.from_us
            if beat.to_us - since >= CLEAR_S * 1e6:
                memory.standing, memory.mild_since_us = False, None
                return [
                    AllClear(
                        self.FAULT, summary="The air has been well above freezing for a day and a night."
                    )
                ]
            return ()
        memory.mild_since_us = None
        if now_c < memory.coldest_c - 0.5:
            memory.coldest_c = now_c
            return [self._claim()]
        return ()

    def _disbelieved(self, known: Known) -> bool:
        assert self._signal is not None
        return known.is_open("sensor_fault", self.plant.signals[self._signal].name)

    def _claim(self) -> Claim:
        coldest = self.memory.coldest_c
        return Claim(
            self.FAULT,
            onset_us=self.memory.cold_since_us,
            priority="high" if coldest <= HARD_C else "medium",
            confidence=0.99 if coldest <= 0.0 else 0.95,
            summary=(
                f"The air beside the exposed pipe is down to {words.temperature(self.plant, coldest)}: "
                "water standing in it can freeze and split it."
            ),
            evidence={"air_temperature_c": coldest, "limit_c": FREEZE_C},
        )


def coverage(plant: Plant) -> Coverage:
    """Needs a thermometer beside the most exposed pipe."""
    if plant.measuring(Measure.AIR_TEMPERATURE):
        return Coverage(True, "Told by the air temperature beside the most exposed pipe.")
    return Coverage(False, "Needs an air_temperature signal beside the most exposed pipe.")


def detector(plant: Plant) -> FreezeRisk:
    return FreezeRisk(plant)
