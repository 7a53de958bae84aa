"""Sensors: what each makes of the truth. Noise, steps of its converter, its own pace, its lies.

Defaults are those of the cheap parts that people fit (common practice, no source): a 0.5 % pressure
transducer on a 12-bit converter, a clip-on current transformer, an ultrasonic level, a tipping
bucket of a hundredth of an inch. A scenario's [[sensor]] tables set any of it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import floor, log10
from typing import TYPE_CHECKING

import numpy as np

from analytics.plant.description import Measure
from simulator.seeds import stream
from simulator.sensing.sensor_faults import Lies

if TYPE_CHECKING:
    from collections.abc import Callable

    from analytics.plant.description import Plant, Signal
    from simulator.numbers import Floats
    from simulator.onset import Course
    from simulator.sensing.trace import Moment, Trace


@dataclass(frozen=True, slots=True)
class Make:
    """How a sensor behaves. SI units of its measure."""

    noise: float = 0.0  # standard deviation
    relative_noise: float = 0.0  # the same as a share of the value
    step: float = 0.0  # of its converter; rounded to a 1-2-5 step of the signal's own unit
    every_s: float = 1.0
    jitter_s: float = 0.02  # standard deviation of the instant
    deadband: float | None = None  # set: reports on change only, and at least every `every_s`
    look_s: float = 1.0  # how often it looks, when it reports on change
    drop_share: float = 0.0  # of readings that never arrive
    repeat_share: float = 0.0  # that arrive twice
    late_share: float = 0.0  # that arrive late
    late_s: float = 20.0  # at most so late


@dataclass(frozen=True, slots=True)
class SensorChange:
    """A scenario's word on one signal's sensor: names of `Make` with other values."""

    signal: str
    changes: dict[str, float]


MAKES: dict[Measure, Make] = {
    Measure.LINE_PRESSURE: Make(noise=450.0, step=170.0),
    Measure.DISCHARGE_PRESSURE: Make(noise=600.0, step=170.0, every_s=2.0),
    Measure.SUCTION_PRESSURE: Make(noise=300.0, step=100.0, every_s=2.0),
    Measure.PUMP_CURRENT: Make(noise=0.03, relative_noise=0.01, step=0.01),
    Measure.PUMP_POWER: Make(noise=3.0, relative_noise=0.01, step=1.0),
    Measure.PUMP_RUNNING: Make(),
    Measure.SUPPLY_FLOW: Make(noise=1.5e-6, relative_noise=0.02, step=1.7e-6, every_s=2.0),
    Measure.STORAGE_LEVEL: Make(noise=0.003, step=0.002, every_s=60.0, jitter_s=0.3),
    Measure.RAINFALL: Make(step=0.000254, every_s=300.0, jitter_s=0.3),
    Measure.AIR_TEMPERATURE: Make(noise=0.08, step=0.1, every_s=300.0, jitter_s=0.3),
    Measure.SUPPLY_CONDUCTIVITY: Make(relative_noise=0.01, step=1e-4, every_s=60.0, jitter_s=0.3),
    Measure.WELL_CONDUCTIVITY: Make(relative_noise=0.01, step=1e-3, every_s=60.0, jitter_s=0.3),
    Measure.RAIN_CONDUCTIVITY: Make(relative_noise=0.01, step=1e-4, every_s=60.0, jitter_s=0.3),
    Measure.WATER_TEMPERATURE: Make(noise=0.05, step=0.1, every_s=60.0, jitter_s=0.3),
}


class Sensor:
    """One signal's sensor over time. Ask for stretches in order; where they are cut does not matter."""

    def __init__(
        self, plant: Plant, index: int, change: SensorChange | None, courses: list[Course], seed: int
    ) -> None:
        self.signal: Signal = plant.signals[index]
        make = MAKES[self.signal.measures]
        if self.signal.every_s:
            make = replace(make, every_s=self.signal.every_s)
        self.make = replace(make, **change.changes) if change else make
        name = self.signal.name
        self._noise, self._path, self._churn = (
            stream(seed, "sensor", name, purpose) for purpose in ("noise", "path", "churn")
        )
        # signals in one JSON object are measured and sent at one moment
        clock = name if self.signal.pointer is None else self.signal.topic
        self._clock = stream(seed, "clock", clock)
        self._phase_s = float(self._clock.uniform(0.0, min(self._pace_s, 5.0)))
        self._count = 0
        self._truth = truth_of(plant, self.signal)
        self._lies = Lies(self.signal, courses, stream(seed, "sensor", name, "lies"))
        self._tipped = 0.0
        self._said: float | None = None
        self._said_at_s = float("-inf")
        self.decimals, self._step = _steps(self.make.step, self.signal)

    def hear_of(self, courses: list[Course]) -> None:
        """Faults have been added to the plant's list: this sensor's own among them."""
        self._lies.hear_of(courses)

    @property
    def _pace_s(self) -> float:
        return self.make.look_s if self.make.deadband is not None else self.make.every_s

    @property
    def reach_s(self) -> float:
        """How far at most the clock is off."""
        return min(0.4 * self._pace_s, 4.0 * self.make.jitter_s)

    def report(self, trace: Trace, until_s: float) -> tuple[Floats, Floats, Floats]:
        """(times [s], stored values, arrival times [s]) of the readings taken before `until_s`, and of
        a few after it that a jittering clock might have brought forward."""
        last = int((until_s + self.reach_s - self._phase_s) / self._pace_s) + 1
        numbers = np.arange(self._count, max(last, self._count))
        self._count += len(numbers)
        odd = self.make.jitter_s * self._clock.normal(0.0, 1.0, len(numbers))
        jitter = np.clip(odd, -self.reach_s, self.reach_s)
        times = _milliseconds(np.maximum(self._phase_s + numbers * self._pace_s + jitter, 0.0))
        moment = trace.at(times)
        values = self._spoken(moment)
        times, values = self._lies.told(times, values)
        stored: Floats = self._in_steps(self.signal.from_si(values))
        if self.make.deadband is not None:
            times, stored = self._on_change(times, stored)
        return self._on_the_way(times, stored)

    def _spoken(self, moment: Moment) -> Floats:
        truth = self._truth(moment)
        count = len(truth)
        if self.signal.measures is Measure.RAINFALL:
            tips = np.floor(truth / self.make.step) * self.make.step
            since = np.diff(tips, prepend=self._tipped)
            self._tipped = float(tips[-1]) if count else self._tipped
            return since
        if self.signal.measures is Measure.PUMP_RUNNING:
            return truth
        spread = self.make.noise + self.make.relative_noise * np.abs(truth)
        values = truth + spread * self._noise.standard_normal(count)
        if self.signal.measures in (Measure.PUMP_CURRENT, Measure.PUMP_POWER):
            # air and water in turn under the impeller: the load swings (no source for its size)
            churning = 4.0 * moment.prime * (1.0 - moment.prime) + 0.25 * (moment.prime < 0.9)
            swing = 0.06 * np.minimum(churning, 1.0) * self._churn.standard_normal(count)
            values = np.maximum(values + truth * swing, 0.0)
        return values

    def _in_steps(self, stored: Floats) -> Floats:
        if self.signal.measures is Measure.PUMP_RUNNING:
            return stored
        return np.round(np.round(stored / self._step) * self._step, self.decimals)

    def _on_change(self, times: Floats, stored: Floats) -> tuple[Floats, Floats]:
        """Only what moved by more than the deadband, and a word at the longest silence."""
        assert self.make.deadband is not None
        band = abs(float(self.signal.from_si(self.make.deadband) - self.signal.from_si(0.0)))
        keep = np.zeros(len(times), dtype=bool)
        for i, (at, value) in enumerate(zip(times.tolist(), stored.tolist(), strict=True)):
            if (
                self._said is None
                or abs(value - self._said) > band
                or at - self._said_at_s >= self.make.every_s
            ):
                keep[i], self._said, self._said_at_s = True, value, at
        return times[keep], stored[keep]

    def _on_the_way(self, times: Floats, stored: Floats) -> tuple[Floats, Floats, Floats]:
        """Losses, repeats and delays between sensor and broker."""
        make, chance = self.make, self._path.random((len(times), 4))
        arrives = times + np.where(chance[:, 2] < make.late_share, chance[:, 3] * make.late_s, 0.0)
        kept = chance[:, 0] >= make.drop_share
        again = kept & (chance[:, 1] < make.repeat_share)
        return (
            np.concatenate([times[kept], times[again]]),
            np.concatenate([stored[kept], stored[again]]),
            np.concatenate([arrives[kept], arrives[again] + 0.2]),
        )


def _milliseconds(seconds: Floats) -> Floats:
    """Times as a sensor stamps them: whole milliseconds."""
    stamped: Floats = np.round(seconds, 3)
    return stamped


def truth_of(plant: Plant, signal: Signal) -> Callable[[Moment], Floats]:
    """The noise-free value of a signal's measure at a moment."""
    if signal.measures is Measure.STORAGE_LEVEL:
        names = [storage.name for storage in plant.storages]
        which = names.index(signal.of) if signal.of in names else 0
        return lambda moment: moment.level_m(which)
    if signal.measures is Measure.WELL_CONDUCTIVITY:
        return lambda moment: np.full(len(moment.times_s), moment.hardware.sizes.well_s_m)
    if signal.measures is Measure.RAIN_CONDUCTIVITY:
        return lambda moment: np.full(len(moment.times_s), moment.hardware.sizes.rain_s_m)
    return _TRUTHS[signal.measures]


_TRUTHS: dict[Measure, Callable[[Moment], Floats]] = {
    Measure.LINE_PRESSURE: lambda m: m.line_pa,
    Measure.DISCHARGE_PRESSURE: lambda m: m.discharge_pa,
    Measure.SUCTION_PRESSURE: lambda m: m.suction_pa,
    Measure.PUMP_CURRENT: lambda m: m.current_a,
    Measure.PUMP_POWER: lambda m: m.power_w,
    Measure.PUMP_RUNNING: lambda m: m.energised,
    Measure.SUPPLY_FLOW: lambda m: m.supply_m3_s,
    Measure.RAINFALL: lambda m: m.rain_m,
    Measure.AIR_TEMPERATURE: lambda m: m.air_c,
    Measure.WATER_TEMPERATURE: lambda m: m.supply_c,
    Measure.SUPPLY_CONDUCTIVITY: lambda m: m.salt_s_m,
}


def _steps(step_si: float, signal: Signal) -> tuple[int, float]:
    """(decimals, step) in the stored unit: the nearest 1-2-5 step not above the SI one."""
    width = abs(float(signal.from_si(step_si) - signal.from_si(0.0))) if step_si else 1.0
    power = floor(log10(width))
    lead = max(one for one in (1, 2, 5) if one * 10.0**power <= width * (1 + 1e-9))
    return max(-power, 0), lead * 10.0**power
