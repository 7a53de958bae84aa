"""One recording a fault of the contract's table: a sound plant, the fault from a known time, its repair.

Taken from the simulator as a black box, at Juniper Bench with its fast sensors slowed to five seconds, so
that seventeen of them cost seconds. What is asked of the engine here does not depend on the simulator's
physics: that what it says has the contract's shape, and stays the same however it is asked.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

import numpy as np

from analytics.engine import Engine
from analytics.findings_json import finding_line
from analytics.plant.description import Measure, Plant
from analytics.plant.parsing import parse_plant
from analytics.readings import Readings
from analytics.records import Finding
from simulator import library
from simulator.onset import FaultPlan
from simulator.recording import simulate
from simulator.scenario import Scenario

START_US = 1_780_272_000_000_000  # 2026-06-01T00:00:00Z, a Monday
DAY_S = 86_400.0
SLOWED_S = {Measure.LINE_PRESSURE: 5.0, Measure.PUMP_CURRENT: 5.0, Measure.DISCHARGE_PRESSURE: 10.0}
REFILL_H = 3.0
Found = dict[tuple[str, str, int], Finding]


@dataclass(frozen=True)
class Case:
    """A fault from `since` to `until`, watched for `days` [days]."""

    since: float
    until: float
    days: int
    severity: float
    cause: str | None = None
    signal: str | None = None
    refill_m: float = 0.0  # by a tanker's water, as it ends
    without: tuple[Measure, ...] = ()
    life: dict[str, Any] = field(default_factory=dict)


CASES: dict[str, Case] = {
    "sensor_fault": Case(1.0, 1.2, 2, 1.0, "silent", "pressure"),
    "motor_overload": Case(1.5, 1.8, 3, 1.0, "locked_rotor"),
    "blocked_discharge": Case(1.5, 1.8, 3, 1.0, "closed_valve"),
    "overpressure": Case(1.5, 1.8, 3, 1.0, "switch_stuck"),
    "dry_supply": Case(1.5, 1.8, 3, 1.0),
    "lost_prime": Case(1.5, 1.8, 3, 1.0),
    "burst_line": Case(1.5, 1.6, 2, 0.8),
    "short_cycling": Case(1.5, 2.5, 4, 0.85, "lost_air_charge"),
    "switch_drift": Case(2.0, 3.5, 5, 0.9),
    "clogged_filter": Case(2.0, 3.5, 5, 0.95),
    "pump_wear": Case(3.0, 4.3, 5.5, 0.9),
    "supply_leak": Case(1.0, 3.0, 5, 0.6, "downstream"),
    "storage_leak": Case(1.0, 3.0, 5, 1.0, life={"dry": True}),
    # A hose fills it, beside a rain gauge that knows nothing of it.
    "storage_overflow": Case(1.0, 1.5, 3, 1.0, life={"storage_share": 0.97}),
    "storage_depletion": Case(
        1.0, 3.0, 4, 0.6, "demand", refill_m=1.2, life={"dry": True, "storage_share": 0.35}
    ),
    "freeze_risk": Case(1.0, 2.0, 4, 0.5),
    "salinity_high": Case(1.0, 2.0, 3, 0.8),
}  # fmt: skip


@cache
def juniper() -> Plant:
    plant = parse_plant(library.plant_text("juniper-bench"), "juniper-bench")
    slowed = (replace(one, every_s=SLOWED_S.get(one.measures, one.every_s)) for one in plant.signals)
    return replace(plant, signals=tuple(slowed))


def at_us(days: float) -> int:
    return START_US + round(days * DAY_S) * 1_000_000


@cache
def recorded(fault: str) -> tuple[Plant, Readings]:
    """The plant and its SI readings in time order."""
    case, plant = CASES[fault], juniper()
    plan = FaultPlan(
        fault, case.cause, case.severity, case.since * DAY_S, case.until * DAY_S, signal=case.signal
    )
    scenario = Scenario("contract", "contract", faults=(plan,), **case.life)
    made = simulate(plant, scenario, case.days, 3, START_US)
    readings = Readings.of(made.signal, made.time_us, made.si_values()).in_time_order()
    (level,) = plant.measuring(Measure.STORAGE_LEVEL)
    hours = (readings.time_us - at_us(case.until)) / 3.6e9
    brought_m = case.refill_m * np.clip(hours / REFILL_H, 0.0, 1.0)
    value = readings.value + np.where(readings.signal == level, brought_m, 0.0)
    kept = set(Measure) - set(case.without)
    return fitted(plant, Readings(readings.signal, readings.time_us, value), kept)


def fitted(
    plant: Plant, readings: Readings, kept: Iterable[Measure], contact: bool = False
) -> tuple[Plant, Readings]:
    """The plant with only these measures fitted; with `contact` its current is a mere on or off."""
    signals, parts = [], []
    for position, signal in enumerate(plant.signals):
        if signal.measures not in kept:
            continue
        mine = readings.signal == position
        value = readings.value[mine]
        if contact and signal.measures is Measure.PUMP_CURRENT:
            value = (value > 1.0).astype(float)
            signal = replace(signal, measures=Measure.PUMP_RUNNING, unit=None)
        parts.append(Readings.of(np.full(len(value), len(signals)), readings.time_us[mine], value))
        signals.append(signal)
    return replace(plant, signals=tuple(signals)), Readings.concatenate(parts).in_time_order()


def told(plant: Plant, parts: Iterable[Readings], engine: Engine | None = None) -> Found:
    """The last words on each finding."""
    engine, found = engine or Engine(plant), Found()
    for outcome in (*map(engine.feed, parts), engine.finish()):
        found |= {finding.key: finding for finding in outcome.findings}
    return found


def lines(found: Found) -> list[str]:
    return [finding_line(found[key]) for key in sorted(found, key=lambda key: (key[2], key))]


@cache
def whole(fault: str) -> Found:
    """What is said of a fault's recording, read in one piece."""
    plant, readings = recorded(fault)
    return told(plant, [readings])


def own(fault: str) -> Finding:
    """The one finding of a recording's own fault."""
    (finding,) = [one for one in whole(fault).values() if one.fault == fault]
    return finding
