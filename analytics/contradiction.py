"""Signals that contradict the plant: stuck while it moves, or moving as no plant can.

Water and pressure are believed over a status: a pressure that climbs through its band needs the
pump, whatever the motor signal says. Each check answers with a cause (`stuck`, `implausible`) while
the contradiction lasts, or None. They look at beats and runs only; one odd sample never decides.

Parameters, each a statement about what cannot be:
    RUNS            3   whole runs through which a gauge stands exactly still at or above cut-in: the
                        switch went from cut-in to cut-out thrice, so pressure did
    RUNS_LOW        8   the same below cut-in, where a motor that trips on its protector restarts too
    SWINGS          3   times pressure climbed through the middle of the band and the motor signal
                        did not change
    DRAWN_SHARE  0.05   of a storage's volume that the pump must have taken since the level last
                        changed in its last digit, over LEVEL_S at least
    AIR_S        48 h   outdoor air that is the same to the last digit (two days of fog are not)
    JUMPS           3   moves of a level in a day that no pump, rain or leak could make
    NOISE_BEATS     3   beats in six hours in which pressure rose and fell three bands, pump at rest
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from analytics.balance import storage_volume_m3
from analytics.motor import motor_signal
from analytics.plant.description import Measure

if TYPE_CHECKING:
    from analytics.beats import Beat, Span
    from analytics.events import Run
    from analytics.plant.description import Plant

RUNS, RUNS_LOW, SWINGS = 3, 8, 3
SAMPLES = 20
DRAWN_SHARE, LEVEL_S = 0.05, 86_400.0
AIR_S, AIR_SAMPLES = 48 * 3600.0, 100
FLOW_S = 6 * 3600.0
JUMPS, JUMP_WINDOW_US = 3, 86_400_000_000
NOISE_BEATS, NOISE_WINDOW_US = 3, 21_600_000_000
#: Where the plant file gives no rated flow: a small jet pump, 5 gpm.
USUAL_FLOW_M3_S = 3.2e-4
#: No roof sheds more into a tank than a cloudburst of 150 mm/h; no pipe of a holding more than 3 L/s.
CLOUDBURST_M_S = 0.15 / 3600.0
MOST_FLOW_M3_S = 3e-3


@dataclass
class Still:
    """How long a signal has said exactly the same, and what the plant did meanwhile."""

    value: float = 0.0
    since_us: int = 0  # 0: it moves
    samples: int = 0
    runs: int = 0
    ran_s: float = 0.0
    swings: int = 0


@dataclass
class Evidence:
    """Plain data: what the checks keep."""

    still: dict[int, Still] = field(default_factory=dict)
    low: bool = False  # pressure was below the band's middle when last looked
    unmoved: int = 0  # swings since the motor signal last changed state
    motor_on: bool | None = None
    level_m: dict[int, tuple[int, float]] = field(default_factory=dict)
    jumps_us: dict[int, list[int]] = field(default_factory=dict)
    noise_us: list[int] = field(default_factory=list)


class Contradictions:
    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.motor = motor_signal(plant)
        self.pressure = next(iter(plant.measuring(Measure.LINE_PRESSURE)), None)
        self.flow_m3_s = plant.pump.rated_flow_m3_s or USUAL_FLOW_M3_S

    def run(self, evidence: Evidence, run: Run) -> None:
        """Count a run that was seen whole."""
        evidence.unmoved = 0
        if run.entire:
            for still in evidence.still.values():
                still.runs += int(run.cycle.start_us >= still.since_us > 0)

    def beat(self, evidence: Evidence, beat: Beat) -> dict[int, str]:
        """What speaks against signals now: cause by position in `Plant.signals`."""
        self._swing(evidence, beat)
        found: dict[int, str] = {}
        for position, span in beat.spans.items():
            if not span.count:
                continue
            still = _still(evidence.still.setdefault(position, Still()), beat, span)
            cause = self._stuck(position, still, beat, evidence) or self._wild(position, beat, span, evidence)
            if cause is not None:
                found[position] = cause
        if self.motor is not None and evidence.unmoved >= SWINGS:
            still = evidence.still.get(self.motor, Still())
            found[self.motor] = "stuck" if still.since_us or self.motor not in beat.spans else "implausible"
        return found

    def _swing(self, evidence: Evidence, beat: Beat) -> None:
        """Count climbs of pressure from below the middle of the band to above, and the motor's changes."""
        on_s = beat.running_s
        state = None if 0.0 < on_s < 599.0 else on_s > 0.0
        if state is None or (evidence.motor_on is not None and state != evidence.motor_on):
            evidence.unmoved = 0
        evidence.motor_on = state
        span = beat.spans.get(self.pressure) if self.pressure is not None else None
        switch = self.plant.switch
        if span is None or not span.count or switch is None or state is None:
            return
        band = switch.cut_out_pa - switch.cut_in_pa
        floor, ceiling = switch.cut_in_pa + 0.3 * band, switch.cut_in_pa + 0.7 * band
        if span.high < ceiling:
            evidence.low |= span.low <= floor
            return
        if span.low > floor and not evidence.low:
            return
        value = span.value
        high = value >= ceiling
        marks = value[high | (value <= floor)] >= ceiling  # only what is clearly low or high, in order
        climbs = int(
            np.count_nonzero(np.diff(np.concatenate(([not evidence.low], marks)).astype(np.int8)) > 0)
        )
        evidence.unmoved += climbs
        evidence.low = not bool(marks[-1])

    def _stuck(self, position: int, still: Still, beat: Beat, evidence: Evidence) -> str | None:
        if not still.since_us or still.samples < SAMPLES:
            return None
        measures = self.plant.signals[position].measures
        lasted_s = (beat.to_us - still.since_us) / 1e6
        if measures in (Measure.LINE_PRESSURE, Measure.DISCHARGE_PRESSURE):
            cut_in = self.plant.switch.cut_in_pa if self.plant.switch else 0.0
            stuck = still.runs >= (RUNS if still.value >= 0.9 * cut_in else RUNS_LOW)
        elif measures is Measure.STORAGE_LEVEL:
            stuck = lasted_s >= LEVEL_S and self._drawn(position, still)
        elif measures is Measure.AIR_TEMPERATURE:
            stuck = lasted_s >= AIR_S and still.samples >= AIR_SAMPLES
        elif measures is Measure.SUPPLY_FLOW:
            stuck = lasted_s >= FLOW_S and still.value > 0.0 and still.runs >= RUNS
        else:
            stuck = False
        return "stuck" if stuck else None

    def _drawn(self, position: int, still: Still) -> bool:
        """Whether the pump must have lowered the one storage, which is neither full nor at its outlet."""
        if len(self.plant.storages) != 1 or self.motor is None:
            return False
        storage = self.plant.storages[0]
        inside = storage.outlet_level_m * 1.1 + 0.02 < still.value < 0.97 * storage.full_level_m
        return inside and still.ran_s * 0.5 * self.flow_m3_s > DRAWN_SHARE * storage.volume_m3

    def _wild(self, position: int, beat: Beat, span: Span, evidence: Evidence) -> str | None:
        measures = self.plant.signals[position].measures
        if measures is Measure.STORAGE_LEVEL:
            return self._jumps(position, beat, span, evidence)
        switch = self.plant.switch
        if measures is Measure.LINE_PRESSURE and switch is not None and beat.running_s == 0.0:
            band = switch.cut_out_pa - switch.cut_in_pa
            if span.high - span.low > 0.6 * band and span.count >= SAMPLES:
                steps = np.diff(span.value)
                rises = float(steps[steps > 0.05 * band].sum())
                sudden = float(np.max(np.abs(steps))) > 0.3 * band
                if rises > 3.0 * band and sudden:
                    evidence.noise_us.append(beat.to_us)
            evidence.noise_us = [at for at in evidence.noise_us if at > beat.to_us - NOISE_WINDOW_US]
        noisy = measures is Measure.LINE_PRESSURE and len(evidence.noise_us) >= NOISE_BEATS
        return "implausible" if noisy else None

    def _jumps(self, position: int, beat: Beat, span: Span, evidence: Evidence) -> str | None:
        """Level moves that nothing could make."""
        storage = next(
            (one for one in self.plant.storages if one.name == self.plant.signals[position].of), None
        )
        if storage is None:
            return None
        before = evidence.level_m.get(position)
        evidence.level_m[position] = (beat.to_us, span.last)
        jumps = [at for at in evidence.jumps_us.get(position, []) if at > beat.to_us - JUMP_WINDOW_US]
        if before is not None:
            seconds = (beat.to_us - before[0]) / 1e6 + 600.0
            catchment = self.plant.catchment
            rain = CLOUDBURST_M_S * catchment.area_m2 if catchment else 0.0
            change = storage_volume_m3(storage, span.last) - storage_volume_m3(storage, before[1])
            error = 0.05 * storage.volume_m3
            possible = (rain + MOST_FLOW_M3_S if change > 0.0 else MOST_FLOW_M3_S + self.flow_m3_s) * seconds
            if abs(change) > possible + error:
                jumps.append(beat.to_us)
        evidence.jumps_us[position] = jumps
        return "implausible" if len(jumps) >= JUMPS else None


def _still(still: Still, beat: Beat, span: Span) -> Still:
    """Take up one beat's samples of a signal."""
    if span.low != span.high or (still.since_us and span.low != still.value):
        same_inside = span.low == span.high
        still.since_us = beat.from_us if same_inside else 0
        still.value, still.samples, still.runs, still.ran_s = span.low, 0, 0, 0.0
    elif not still.since_us:
        still.since_us, still.value, still.samples, still.runs, still.ran_s = (
            beat.from_us,
            span.low,
            0,
            0,
            0.0,
        )
    still.samples += span.count
    still.ran_s += beat.running_s
    return still
