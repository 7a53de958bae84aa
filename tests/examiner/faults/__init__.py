"""Faults: each changes what the plant does from one time to another, and says what is then true."""

from __future__ import annotations

from collections.abc import Callable

from numpy.random import Generator

from tests.examiner.case import Case
from tests.examiner.faults import bystanders, cycling, losing, pumping, wearing

Maker = Callable[[Case, Generator, float, float], None]
# Name: what makes it, what it needs of plant and sensors, shortest and longest stay [days], may be there from
# the first row, how often of thirty.
TABLE: dict[str, tuple[Maker, tuple[str, ...], float, float, bool, int]] = {
    "lost_prime": (pumping.lost_prime, (), 0.06, 0.6, False, 3),
    "dry_supply": (pumping.dry_supply, ("storage",), 0.06, 0.6, False, 2),
    "burst_line": (losing.burst_line, (), 0.03, 0.4, False, 3),
    "lost_air": (cycling.lost_air, (), 4, 14, True, 2),
    "overcharged": (cycling.overcharged, (), 3, 9, True, 1),
    "narrow_band": (cycling.narrow_band, (), 3, 9, True, 1),
    "chatter": (cycling.chatter, ("fast",), 2, 6, False, 1),
    "undersized": (cycling.undersized, ("undersized",), 3, 9, True, 1),
    "clog_sudden": (wearing.clog_sudden, ("filter",), 3, 8, False, 2),
    "clog_slow": (wearing.clog_slow, ("filter",), 7, 20, False, 2),
    "clog_after": (wearing.clog_slow, ("after", "supply_flow"), 8, 20, False, 1),
    "pump_wear": (wearing.pump_wear, ("margin",), 6, 16, False, 2),
    "storage_leak": (losing.storage_leak, ("storage", "storage_level"), 4, 8, True, 2),
    "depletion": (losing.depletion, ("storage", "storage_level", "single"), 6, 9, True, 2),
    "supply_leak": (losing.supply_leak, (), 3, 8, True, 3),
    "overflow": (losing.overflow, ("storage", "storage_level"), 0.5, 2, False, 1),
    "blocked": (pumping.blocked, ("blocked_motor",), 0.06, 0.4, False, 1),
    "stuck_switch": (pumping.stuck_switch, ("margin",), 0.1, 0.5, False, 1),
    "switch_drift": (cycling.switch_drift, (), 3, 8, True, 1),
    "overload": (pumping.overload, ("pump_current",), 2.5, 6, False, 1),
    "freeze": (bystanders.freeze, ("air_temperature",), 0.3, 0.6, False, 1),
    "salinity": (bystanders.salinity, ("supply_conductivity",), 1, 4, False, 1),
    "sensor": (bystanders.sensor, (), 1.5, 4, False, 3),
}
