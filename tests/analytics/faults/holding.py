"""A small holding made of straight lines, for tests of storage, weather and sensor faults.

Water in the pressure tank goes down by a steady demand and up by a steady delivery; pressure follows by
Boyle's law, written out here; the storage gives what the pump takes. Sensors can be coarse, drop out,
leap, fall silent or stand still. Apart from the product's physics and from its simulator.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from analytics.engine import Engine
from analytics.plant.description import Catchment, Measure, Plant, PressureTank, Pump, Signal, Storage, Switch
from analytics.readings import Readings
from analytics.records import Finding, Outcome

START_US = 1_900_022_400_000_000  # 2030-03-17T08:00:00Z
DAY_S = 86_400.0
PA = 101_325.0
NIGHT_S = 7 * 3600.0
CUT_IN, CUT_OUT = 200e3, 350e3
Floats = NDArray[np.float64]
Course = Callable[[Floats], Floats]


@dataclass
class Holding:
    """SI throughout; courses are functions of seconds since the start."""

    tank_m3: float = 0.15
    charge_pa: float = 185e3
    demand_m3_s: float = 1.2e-5
    delivery_m3_s: float = 5e-4
    min_run_s: float = 30.0
    storage_m3: float = 60.0
    full_m: float = 2.0
    level_m: float = 1.5
    leak_m3_s: Course = lambda t: np.zeros_like(t)
    air_c: Course | None = None
    rain_m: Course | None = None  # per report, each ten minutes; a rain gauge is fitted
    roof_m2: float | None = None  # a catchment, which the plant file gives
    every_s: float = 10.0
    motor_every_s: float = 10.0
    level_every_s: float = 60.0
    level_noise_m: float = 0.002
    level_digit_m: float = 0.001
    declared: bool = True  # the plant file gives `every`
    spoil: dict[str, Callable[[Floats, Floats], Floats]] = field(default_factory=dict)
    hush: dict[str, Callable[[Floats], NDArray[np.bool_]]] = field(default_factory=dict)

    def plant(self) -> Plant:
        every = (lambda s: s) if self.declared else (lambda s: None)
        signals = [
            Signal("pressure", Measure.LINE_PRESSURE, "h/p", "Pa", every_s=every(self.every_s)),
            Signal("motor", Measure.PUMP_RUNNING, "h/m", None, every_s=every(self.motor_every_s)),
            Signal("level", Measure.STORAGE_LEVEL, "h/l", "m", every_s=every(self.level_every_s), of="rain"),
        ]
        if self.air_c is not None:
            signals.append(Signal("air", Measure.AIR_TEMPERATURE, "h/a", "degC", every_s=every(60.0)))
        if self.rain_m is not None:
            signals.append(Signal("rain", Measure.RAINFALL, "h/r", "m", every_s=every(600.0)))
        catchment = Catchment(self.roof_m2, 0.85, 0.15) if self.roof_m2 is not None else None
        plant = Plant(
            "holding", "Holding", "UTC", "metric", 0.0,
            Pump(None, self.delivery_m3_s, self.min_run_s, 30.0, None, None),
            tuple(signals), Switch(CUT_IN, CUT_OUT), PressureTank(self.tank_m3, self.charge_pa), None,
            (Storage("rain", self.storage_m3, self.full_m, 0.1),),
        )  # fmt: skip
        return replace(plant, catchment=catchment)

    def _water(self, pressure_pa: float) -> float:
        return self.tank_m3 * (1.0 - (self.charge_pa + PA) / (pressure_pa + PA))

    def _knots(self, days: float) -> tuple[Floats, Floats, Floats]:
        """Corners of the tank's water: time, water, and pump seconds so far. Nobody draws by night."""
        low, high = self._water(CUT_IN), self._water(CUT_OUT)
        run_s = (high - low) / (self.delivery_m3_s - self.demand_m3_s)
        corners = [(0.0, high, 0.0)]
        while corners[-1][0] < days * DAY_S:
            now, water, ran = corners[-1]
            left_s = (water - low) / self.demand_m3_s
            asleep = now % DAY_S < NIGHT_S
            until = (now // DAY_S) * DAY_S + (NIGHT_S if asleep else DAY_S)
            if asleep:
                corners.append((until, water, ran))
            elif now + left_s > until:
                corners.append((until, water - (until - now) * self.demand_m3_s, ran))
            else:
                corners += [(now + left_s, low, ran), (now + left_s + run_s, high, ran + run_s)]
        t, water_m3, ran_s = np.array(corners).T
        return t, water_m3, ran_s

    def readings(self, days: float, seed: int = 1) -> Readings:
        rng = np.random.default_rng(seed)
        at, water_m3, ran_s = self._knots(days)

        def pressure(t: Floats) -> Floats:
            water = np.interp(t, at, water_m3)
            shown = self.tank_m3 * (self.charge_pa + PA) / (self.tank_m3 - water) - PA
            return shown + rng.normal(0.0, 700.0, len(t))

        def motor(t: Floats) -> Floats:
            piece = np.clip(np.searchsorted(at, t, side="right"), 1, len(at) - 1)
            return (np.diff(ran_s)[piece - 1] > 0.0).astype(float)

        def level(t: Floats) -> Floats:
            taken = self.delivery_m3_s * np.interp(t, at, ran_s)
            lost = np.cumsum(self.leak_m3_s(t)) * np.gradient(t)
            true = self.level_m - (taken + lost) * self.full_m / self.storage_m3
            noisy = true + rng.normal(0.0, self.level_noise_m, len(t))
            return np.round(noisy / self.level_digit_m) * self.level_digit_m

        courses: list[tuple[str, float, Course]] = [
            ("pressure", self.every_s, pressure),
            ("motor", self.motor_every_s, motor),
            ("level", self.level_every_s, level),
        ]
        if self.air_c is not None:
            courses.append(("air", 60.0, self.air_c))
        if self.rain_m is not None:
            courses.append(("rain", 600.0, self.rain_m))
        parts = []
        for number, (name, every, course) in enumerate(courses):
            t = np.arange(0.37 * number, days * DAY_S, every)
            value = course(t)
            value = self.spoil[name](t, value) if name in self.spoil else value
            keep = ~self.hush[name](t) if name in self.hush else np.ones(len(t), np.bool_)
            when = START_US + (t[keep] * 1e6).astype(np.int64)
            parts.append(Readings.of(np.full(len(when), number), when, value[keep]))
        return Readings.concatenate(parts).in_time_order()

    def outcome(self, days: float, seed: int = 1) -> Outcome:
        return Engine(self.plant()).feed(self.readings(days, seed))


def last_words(outcome: Outcome) -> list[Finding]:
    """Each finding once, in order of raising."""
    return sorted({one.key: one for one in outcome.findings}.values(), key=lambda one: one.raised_us)


def told(outcome: Outcome) -> list[tuple[str, str | None, str | None]]:
    return [(one.fault, one.cause, one.of) for one in last_words(outcome)]


def at_s(time_us: int) -> float:
    return (time_us - START_US) / 1e6
