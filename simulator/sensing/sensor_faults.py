"""How sensors lie: beyond their range, stuck, silent, implausible."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from analytics.plant.description import Measure

if TYPE_CHECKING:
    from analytics.plant.description import Signal
    from simulator.numbers import Floats
    from simulator.onset import Course

#: (low, high) that a sensor of the measure can say at all, where the plant file gives no `valid` [SI].
_RANGES: dict[Measure, tuple[float, float]] = {
    Measure.LINE_PRESSURE: (0.0, 1.0e6),
    Measure.DISCHARGE_PRESSURE: (0.0, 1.0e6),
    Measure.SUCTION_PRESSURE: (-1.0e5, 2.0e5),
    Measure.PUMP_CURRENT: (0.0, 50.0),
    Measure.PUMP_POWER: (0.0, 5_000.0),
    Measure.PUMP_RUNNING: (0.0, 1.0),
    Measure.SUPPLY_FLOW: (0.0, 0.003),
    Measure.STORAGE_LEVEL: (0.0, 5.0),
    Measure.RAINFALL: (0.0, 0.05),
    Measure.AIR_TEMPERATURE: (-40.0, 60.0),
    Measure.SUPPLY_CONDUCTIVITY: (0.0, 2.0),
    Measure.WELL_CONDUCTIVITY: (0.0, 2.0),
    Measure.RAIN_CONDUCTIVITY: (0.0, 2.0),
    Measure.WATER_TEMPERATURE: (0.0, 50.0),
}
_JUMPS_EVERY = 40  # readings, on average, between the jumps of an implausible sensor


class Lies:
    """The sensor faults planned for one signal, applied to its readings in order."""

    def __init__(self, signal: Signal, courses: list[Course], random: np.random.Generator) -> None:
        self._signal = signal
        self._courses: list[Course] = []
        self.hear_of(courses)
        self._random = random
        self._last = np.nan
        self._offset = 0.0
        low, high = signal.valid or _RANGES[signal.measures]
        self._low, self._span = low, high - low

    def hear_of(self, courses: list[Course]) -> None:
        """Take this sensor's faults out of the plant's list."""
        self._courses = [
            course
            for course in courses
            if course.plan.fault == "sensor_fault" and course.plan.signal == self._signal.name
        ]

    def told(self, times_s: Floats, values: Floats) -> tuple[Floats, Floats]:
        """What the sensor says instead. Silence leaves readings out."""
        if not self._courses:
            return times_s, values
        values, kept = values.copy(), np.ones(len(values), dtype=bool)
        for course in self._courses:
            severity = np.array([course.severity(at) for at in times_s.tolist()])
            bad = severity > 0.0
            cause = course.plan.cause or "stuck"
            if cause == "silent":
                kept &= ~bad
            elif cause == "out_of_range":
                values[bad] = self._low + 1.25 * self._span
            elif cause == "stuck":
                values = self._stuck(values, bad)
            else:
                values = values + self._jumps(len(values)) * severity
        return times_s[kept], values[kept]

    def _stuck(self, values: Floats, bad: np.ndarray) -> Floats:
        """The last good value, held."""
        good = np.where(~bad, np.arange(len(values)), -1)
        last = np.maximum.accumulate(good) if len(good) else good
        held = np.where(last >= 0, values[last], self._last)
        if len(values):
            self._last = float(held[-1])
        return np.where(bad & ~np.isnan(held), held, values)

    def _jumps(self, count: int) -> Floats:
        """An offset that jumps by a tenth of the range now and then, as no plant does."""
        jumps = self._random.random(count) < 1.0 / _JUMPS_EVERY
        sizes = self._random.uniform(-0.15, 0.15, count) * self._span
        offsets = np.empty(count)
        for i, (jump, size) in enumerate(zip(jumps.tolist(), sizes.tolist(), strict=True)):
            self._offset = size if jump else self._offset
            offsets[i] = self._offset
        return offsets
