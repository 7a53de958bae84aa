"""The readings of the time that a trial took: pressure at the tank, and whether the motor ran."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from analytics.plant.description import MOTOR_MEASURES, Measure

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.plant.description import Plant
    from analytics.readings import Readings

#: A motor at rest draws standby electronics at most; one that runs draws at least a quarter of its
#: most in any spell in which it ran at all (common practice, no source).
RUNS_SHARE = 0.25
#: Below this a clamp on a resting motor's cable shows noise, not a motor (common practice, no source).
LEAST_RUNNING = {Measure.PUMP_CURRENT: 0.5, Measure.PUMP_POWER: 50.0}


@dataclass(frozen=True, slots=True)
class Spell:
    """Times in seconds from `begin_us`. Readings that are no numbers are left out.

    time_s, pressure_pa  (N,) line pressure, rising times
    motor_s, motor_on    (M,) the motor; empty where nothing fitted tells
    step_pa              the gauge's own step: the smallest change it has shown, NaN where it showed none
    end_s                until when it was listened, past the last reading where sensors are silent
    """

    begin_us: int
    end_s: float
    time_s: NDArray[np.float64]
    pressure_pa: NDArray[np.float64]
    motor_s: NDArray[np.float64]
    motor_on: NDArray[np.bool_]
    step_pa: float

    def __len__(self) -> int:
        return len(self.time_s)

    def ran(self, from_s: float = 0.0, to_s: float = np.inf) -> bool:
        """Whether the motor was seen running between two times."""
        inside = (self.motor_s >= from_s) & (self.motor_s <= to_s)
        return bool(self.motor_on[inside].any())


def spell(plant: Plant, readings: Readings, begin_us: int, end_us: int) -> Spell:
    """What `readings` (SI, any order) say of begin_us <= time < end_us.

    The motor's level that counts as running and the gauge's step are learned from all that is
    given, so hand in the whole trial's readings for each of its steps.
    """
    ordered = readings.in_time_order()
    pressure = _of(plant, ordered, Measure.LINE_PRESSURE)
    time_us, value = pressure
    inside = (time_us >= begin_us) & (time_us < end_us)
    motor_us, on = _motor(plant, ordered)
    heard = (motor_us >= begin_us) & (motor_us < end_us)
    return Spell(
        begin_us,
        (end_us - begin_us) * 1e-6,
        np.asarray((time_us[inside] - begin_us) * 1e-6, np.float64),
        value[inside],
        np.asarray((motor_us[heard] - begin_us) * 1e-6, np.float64),
        on[heard],
        _step(value),
    )


def until(one: Spell, end_s: float) -> Spell:
    """The spell's beginning, up to `end_s`."""
    if one.end_s <= end_s:
        return one
    line, motor = one.time_s <= end_s, one.motor_s <= end_s
    return replace(
        one,
        end_s=end_s,
        time_s=one.time_s[line],
        pressure_pa=one.pressure_pa[line],
        motor_s=one.motor_s[motor],
        motor_on=one.motor_on[motor],
    )


def _of(
    plant: Plant, readings: Readings, *measures: Measure
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """(time, value) of the first signal that measures one of these; repeats and non-numbers dropped."""
    positions = plant.measuring(*measures)
    mine = (readings.signal == positions[0]) if positions else np.zeros(len(readings), bool)
    mine &= np.isfinite(readings.value)
    time_us, value = readings.time_us[mine], readings.value[mine]
    fresh = np.concatenate([[True], np.diff(time_us) > 0]) if len(time_us) else np.zeros(0, bool)
    return time_us[fresh], value[fresh]


def _motor(plant: Plant, readings: Readings) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    positions = plant.measuring(*MOTOR_MEASURES)
    if not positions:
        return np.zeros(0, np.int64), np.zeros(0, bool)
    measure = plant.signals[positions[0]].measures
    time_us, value = _of(plant, readings, measure)
    if measure is Measure.PUMP_RUNNING:
        return time_us, value > 0.5
    above = plant.pump.running_above if plant.pump.running_above_measures is measure else None
    if above is None:
        above = max(LEAST_RUNNING[measure], RUNS_SHARE * float(value.max(initial=0.0)))
    return time_us, value > above


def _step(value: NDArray[np.float64]) -> float:
    """The gauge's resolution: its smallest change, numbers that differ by rounding only left out."""
    changes = np.abs(np.diff(value))
    changes = changes[changes > 1.0]  # a pascal: no gauge of water pressure resolves it
    return float(changes.min()) if len(changes) else float("nan")
