"""Sensors: units, sampling, noise, drop-outs, wrong words and faults of their own."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.random import Generator

from tests.examiner import physics as ph
from tests.examiner.plants import Plant

# Unit: how many SI units it is, and what it reads at the SI zero.
PRESSURE = {"psi": 6894.757, "bar": 1e5, "kPa": 1e3, "m_H2O": 9806.65}
FLOW = {"gpm": 6.30902e-5, "L/min": 1e-3 / 60, "m^3/h": 1 / 3600, "L/s": 1e-3}
LENGTH = {"m": 1.0, "cm": 0.01, "in": 0.0254, "ft": 0.3048, "mm": 1e-3}
UNITS = {
    "line_pressure": PRESSURE, "discharge_pressure": PRESSURE, "suction_pressure": PRESSURE,
    "pump_current": {"A": 1.0}, "pump_power": {"W": 1.0, "kW": 1e3}, "pump_running": {"": 1.0},
    "supply_flow": FLOW, "storage_level": LENGTH, "rainfall": {"mm": 1e-3, "in": 0.0254},
    "air_temperature": {"degC": 1.0, "degF": 5 / 9}, "supply_conductivity": {"dS/m": 0.1, "uS/cm": 1e-4},
}  # fmt: skip
FROM_RECORD = {
    "line_pressure": ph.R_LINE, "discharge_pressure": ph.R_OUTLET, "suction_pressure": ph.R_SUCTION,
    "pump_current": ph.R_AMPS, "pump_power": ph.R_POWER, "pump_running": ph.R_ON, "supply_flow": ph.R_FLOW,
}  # fmt: skip
CODES = (655.35, 0.0, float("nan"), 85.0)


@dataclass
class Trouble:
    """What a sensor itself does wrong between two times."""

    kind: str  # silent, stuck, range, wild, leap, drift
    start_s: float
    end_s: float
    size: float = 0.0


@dataclass
class Sensor:
    """One signal and how it speaks."""

    name: str
    measures: str
    unit: str
    every_s: float
    on_change: bool
    deadband: float  # SI
    heartbeat_s: float
    noise: float  # SI, one sigma
    quantum: float  # SI
    offset: float  # SI
    scale: float
    of: str = ""
    clamped: bool = False
    code: float = 0.0
    code_odds: float = 0.0  # a sample
    late_odds: float = 0.0
    troubles: list[Trouble] = field(default_factory=list)
    last: float = float("nan")
    told_s: float = -1e18
    held: float = float("nan")
    coded_s: list[float] = field(default_factory=list)

    @property
    def factor(self) -> float:
        """SI units in one of its own."""
        return UNITS[self.measures][self.unit]

    def lines(self, plant: Plant) -> str:
        """Its table in the plant file."""
        rows = [
            "[[signal]]",
            f'name = "{self.name}"',
            f'measures = "{self.measures}"',
            f'topic = "x/{self.name}"',
        ]
        if self.unit:
            rows.append(f'unit = "{self.unit}"')
        if self.of:
            rows.append(f'of = "{self.of}"')
        if "every" in plant.named:
            rows.append(f'every = "{self.heartbeat_s if self.on_change else self.every_s:.0f} s"')
        if "valid" in plant.named and self.measures == "line_pressure":
            top = 7.0e5 if plant.cut_out_pa < 4.5e5 else 1.0e6
            low = 0.0 if self.clamped else -0.3e5
            rows.append(
                f'valid = ["{low / self.factor:.2f} {self.unit}", "{top / self.factor:.1f} {self.unit}"]'
            )
        return "\n".join(rows)

    def read(
        self, rng: Generator, true: ph.Array, start_s: float, step_s: float
    ) -> tuple[ph.Array, ph.Array, ph.Array]:
        """Rows of one chunk: times, values in its own unit, arrival; from truths `step_s` apart."""
        seconds = len(true) * step_s
        every = max(self.every_s, step_s)
        times = np.arange(int(np.ceil(seconds / every))) * every
        place = np.minimum((times / step_s).astype(int), len(true) - 1)
        value = true[place] * self.scale
        if self.measures == "rainfall":
            # What fell since the last report; tips of a bucket.
            edges = np.append(place, len(true))
            whole = np.concatenate([[0.0], np.cumsum(true)])
            if np.isnan(self.held):
                self.held = 0.0
            fallen = self.held + (whole[edges[1:]] - whole[0])
            tips = np.floor(fallen / self.quantum)
            value = np.diff(np.concatenate([[0.0], tips])) * self.quantum
            self.held = float(fallen[-1] - tips[-1] * self.quantum) if len(tips) else self.held
        elif self.measures != "pump_running":
            value = value + self.offset + rng.normal(0, 1, len(value)) * self.noise
            if self.measures in ("pump_current", "pump_power", "supply_flow"):
                value = np.where(
                    true[place] <= 0, np.abs(rng.normal(0, 1, len(value))) * self.noise * 0.3, value
                )
            value = np.round(value / self.quantum) * self.quantum
            if self.clamped:
                # A logger that holds a gauge within its range: what lies a little below reads zero.
                value = np.maximum(value, 0.0)
        times = times + start_s
        keep = np.ones(len(times), dtype=bool)
        for t in self.troubles:
            within = (times >= t.start_s) & (times < t.end_s)
            if not within.any():
                continue
            if t.kind == "silent":
                keep &= ~within
            elif t.kind == "stuck":
                if np.isnan(t.size):
                    t.size = float(value[np.argmax(within)])
                value = np.where(within, t.size, value)
            elif t.kind == "range":
                value = np.where(within, t.size, value)
            elif t.kind == "wild":
                value = np.where(
                    within & (rng.random(len(value)) < 0.5), rng.uniform(0, t.size, len(value)), value
                )
            elif t.kind == "leap":
                value = np.where(within, value + t.size, value)
        value = value / self.factor
        if self.measures == "air_temperature" and self.unit == "degF":
            value = value + 32
        digits = max(0, int(np.ceil(-np.log10(self.quantum / self.factor))) + 1)
        value = np.round(value, min(digits, 6))
        if self.code_odds > 0:
            struck = (rng.random(len(value)) < self.code_odds) & keep
            value = np.where(struck, self.code, value)
            self.coded_s += [float(x) for x in times[struck]]
        times, value = times[keep], value[keep]
        if self.on_change and len(value):
            times, value = self._changes(times, value)
        arrive = times
        if self.late_odds > 0 and len(value):
            late = rng.random(len(value)) < self.late_odds
            again = rng.random(len(value)) < self.late_odds
            times, value = np.concatenate([times, times[again]]), np.concatenate([value, value[again]])
            arrive = times + np.concatenate([late * 20.0, np.full(again.sum(), 3.0)])
        return times, value, arrive

    def _changes(self, times: ph.Array, value: ph.Array) -> tuple[ph.Array, ph.Array]:
        band = self.deadband / self.factor
        kept = []
        last, told = self.last, self.told_s
        for i, (t, v) in enumerate(zip(times.tolist(), value.tolist(), strict=True)):
            if not abs(v - last) <= band or t - told >= self.heartbeat_s:
                kept.append(i)
                last, told = v, t
        self.last, self.told_s = last, told
        return times[kept], value[kept]


def _one(rng: Generator, plant: Plant, measures: str, every: float, change: bool) -> Sensor:
    unit = str(rng.choice(list(UNITS[measures])))
    # Noise, quantum, deadband, offset: of full scale where a scale is given, else SI.
    whole, noise, quantum, deadband, offset = {
        "line_pressure": (plant.cut_out_pa, rng.uniform(0.0005, 0.006), rng.choice([0.0005, 0.002, 0.005]),
                          0.012, rng.normal(0, 0.006)),
        "discharge_pressure": (plant.cut_out_pa, rng.uniform(0.001, 0.008), 0.002, 0.012,
                               rng.normal(0, 0.008)),
        "suction_pressure": (1.0, 400.0, 200.0, 1000.0, rng.normal(0, 800)),
        "pump_current": (plant.vector[ph.AMPS], rng.uniform(0.003, 0.03), 0.004, 0.04, 0.0),
        "pump_power": (plant.vector[ph.POWER], rng.uniform(0.003, 0.02), 0.004, 0.03, 0.0),
        "pump_running": (1.0, 0.0, 1.0, 0.0, 0.0),
        "supply_flow": (plant.q_in, rng.uniform(0.003, 0.02), 0.004, 0.02, 0.0),
        "storage_level": (1.0, rng.uniform(0.001, 0.006), rng.choice([0.001, 0.005, 0.01]), 0.01,
                          rng.normal(0, 0.01)),
        "rainfall": (1.0, 0.0, 0.0002 if unit == "mm" else 0.000254, 0.0, 0.0),
        "air_temperature": (1.0, 0.15, 0.1, 0.3, rng.normal(0, 0.3)),
        "supply_conductivity": (1.0, 0.001, 0.0005, 0.002, 0.0),
    }[measures]  # fmt: skip
    scale = 1.0 + (
        float(rng.normal(0, 0.015)) if measures in ("supply_flow", "pump_current", "pump_power") else 0.0
    )
    if measures not in FROM_RECORD:
        # Slow things are asked seldom.
        every, change = float(rng.choice([30, 60, 60, 120, 300])), False
    heartbeat_s = float(rng.choice([60, 300, 600]))
    made = Sensor(
        measures, measures, unit, every, change, float(deadband * whole), heartbeat_s, float(noise * whole),
        float(quantum * whole), float(offset * whole), scale,
    )  # fmt: skip
    made.clamped = measures in ("line_pressure", "discharge_pressure") and rng.random() < 0.5
    if rng.random() < 0.12:
        made.code = float(rng.choice(CODES))
        made.code_odds = every / float(rng.choice([6, 24, 72])) / 3600
    if rng.random() < 0.12:
        made.late_odds = float(rng.choice([0.0005, 0.005]))
    return made


def fitted(rng: Generator, plant: Plant, needs: set[str]) -> list[Sensor]:
    """Draw what is fitted; `needs` names measures that must be."""
    every = float(rng.choice([1, 2, 5, 10, 30, 60, 0], p=[0.22, 0.13, 0.16, 0.16, 0.11, 0.12, 0.1]))
    change = every == 0
    base = 1.0 if change else every
    motors = [m for m in ("pump_current", "pump_power", "pump_running") if m in needs]
    motor = (
        motors[0]
        if motors
        else str(rng.choice(["pump_current", "pump_power", "pump_running"], p=[0.5, 0.3, 0.2]))
    )
    chosen = ["line_pressure", motor]
    for measures, odds in (
        ("discharge_pressure", 0.25), ("suction_pressure", 0.12), ("supply_flow", 0.25),
        ("air_temperature", 0.4), ("supply_conductivity", 0.1),
    ):  # fmt: skip
        if measures in needs or rng.random() < odds:
            chosen.append(measures)
    if plant.roof_m2 > 0 and ("rainfall" in needs or rng.random() < 0.7):
        chosen.append("rainfall")
    sensors = []
    for measures in chosen:
        own, own_change = base, change
        if measures != "line_pressure" and rng.random() < 0.15:
            own, own_change = float(rng.choice([1, 2, 5, 10, 30])), False
        if measures == "pump_running" and rng.random() < 0.4:
            own, own_change = 1.0, True
        sensors.append(_one(rng, plant, measures, own, own_change))
    if rng.random() < 0.1:
        # A second word on the motor, which need not agree to the second.
        other = str(rng.choice([m for m in ("pump_current", "pump_power", "pump_running") if m != motor]))
        sensors.append(_one(rng, plant, other, base, change))
    for s in plant.storages:
        if "storage_level" in needs or rng.random() < 0.85:
            level = _one(rng, plant, "storage_level", 60.0, False)
            level.name, level.of = f"level_{s.name}", s.name
            sensors.append(level)
    plant.said["above"] = 0.25 * float(
        plant.vector[ph.POWER] if motor == "pump_power" else plant.vector[ph.AMPS]
    )
    if motor == "pump_power":
        plant.named.add("watts")
    if motor == "pump_running":
        plant.named.discard("running_above")
    return sensors
