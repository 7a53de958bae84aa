"""The table of faults: who watches for each, and what the fitted sensors can show of it.

The order is the order of suspicion: of two detectors that speak at the same moment the first is
heard first, and what follows from its fault is hung on it (see `analytics.judging.arbitration`).
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from types import ModuleType

    from analytics.judging.watch import Coverage, Detector
    from analytics.plant.description import Plant

#: Every fault of the contract, in order of suspicion.
FAULTS: tuple[str, ...] = (
    "sensor_fault",
    "motor_overload",
    "blocked_discharge",
    "overpressure",
    "dry_supply",
    "lost_prime",
    "burst_line",
    "short_cycling",
    "switch_drift",
    "clogged_filter",
    "pump_wear",
    "supply_leak",
    "storage_leak",
    "storage_overflow",
    "storage_depletion",
    "freeze_risk",
    "salinity_high",
)


def module(fault: str) -> ModuleType:
    """The file that watches for a fault."""
    return import_module(f"analytics.faults.{fault}")


def detectors(plant: Plant) -> list[Detector]:
    """A detector for each fault, in order of suspicion."""
    return [found for fault in FAULTS if (found := module(fault).detector(plant)) is not None]


def coverage(plant: Plant) -> dict[str, Coverage]:
    """What the fitted sensors can show, fault by fault."""
    return {fault: module(fault).coverage(plant) for fault in FAULTS}
