"""The owner's units and the owner's clock: the only place where SI becomes words for a person."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from typing import Literal
from zoneinfo import ZoneInfo

from analytics.plant.description import Measure

Units = Literal["us", "metric"]

#: (unit, SI value of one unit, decimals). NIST SP 811 appendix B for the factors.
_TABLE: dict[str, dict[Units, tuple[str, float, int]]] = {
    "pressure": {"us": ("psi", 6894.757293168361, 0), "metric": ("bar", 1e5, 1)},
    "volume": {"us": ("gal", 3.785411784e-3, 0), "metric": ("L", 1e-3, 0)},
    "flow": {"us": ("gpm", 3.785411784e-3 / 60.0, 1), "metric": ("L/min", 1e-3 / 60.0, 1)},
    "level": {"us": ("ft", 0.3048, 1), "metric": ("m", 1.0, 2)},
    "rain": {"us": ("in", 0.0254, 2), "metric": ("mm", 1e-3, 1)},
    "current": {"us": ("A", 1.0, 1), "metric": ("A", 1.0, 1)},
    "power": {"us": ("W", 1.0, 0), "metric": ("W", 1.0, 0)},
    "conductivity": {"us": ("dS/m", 0.1, 2), "metric": ("dS/m", 0.1, 2)},
    "plain": {"us": ("", 1.0, 0), "metric": ("", 1.0, 0)},
}

KIND: dict[Measure, str] = {
    Measure.LINE_PRESSURE: "pressure",
    Measure.DISCHARGE_PRESSURE: "pressure",
    Measure.SUCTION_PRESSURE: "pressure",
    Measure.PUMP_CURRENT: "current",
    Measure.PUMP_POWER: "power",
    Measure.PUMP_RUNNING: "plain",
    Measure.SUPPLY_FLOW: "flow",
    Measure.STORAGE_LEVEL: "level",
    Measure.RAINFALL: "rain",
    Measure.AIR_TEMPERATURE: "temperature",
    Measure.SUPPLY_CONDUCTIVITY: "conductivity",
    Measure.WELL_CONDUCTIVITY: "conductivity",
    Measure.RAIN_CONDUCTIVITY: "conductivity",
    Measure.WATER_TEMPERATURE: "temperature",
}

MEASURE_NAME: dict[Measure, str] = {
    Measure.LINE_PRESSURE: "Line pressure",
    Measure.DISCHARGE_PRESSURE: "Pump outlet pressure",
    Measure.SUCTION_PRESSURE: "Suction pressure",
    Measure.PUMP_CURRENT: "Motor current",
    Measure.PUMP_POWER: "Motor power",
    Measure.PUMP_RUNNING: "Motor running",
    Measure.SUPPLY_FLOW: "Flow to house and garden",
    Measure.STORAGE_LEVEL: "Storage level",
    Measure.RAINFALL: "Rainfall",
    Measure.AIR_TEMPERATURE: "Air temperature",
    Measure.SUPPLY_CONDUCTIVITY: "Conductivity, supply",
    Measure.WELL_CONDUCTIVITY: "Conductivity, well",
    Measure.RAIN_CONDUCTIVITY: "Conductivity, rain",
    Measure.WATER_TEMPERATURE: "Water temperature",
}


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number ready to be read, and its unit beside it."""

    text: str
    unit: str

    def __str__(self) -> str:
        return f"{self.text} {self.unit}".strip()


def unit_of(kind: str, units: Units) -> tuple[str, float, float, int]:
    """(unit, SI value of one unit, SI value at zero of the unit, decimals) for a kind of quantity."""
    if kind == "temperature":
        return ("°F", 5.0 / 9.0, -160.0 / 9.0, 0) if units == "us" else ("°C", 1.0, 0.0, 0)
    unit, factor, decimals = _TABLE[kind][units]
    return unit, factor, 0.0, decimals


def in_unit(si: float, kind: str, units: Units) -> float:
    """An SI value in the owner's unit."""
    _, factor, zero, _ = unit_of(kind, units)
    return (si - zero) / factor


def show(si: float | None, kind: str, units: Units, finer: int = 0) -> Quantity:
    """An SI value for a person; "unknown" where there is none, never zero."""
    if si is None or not math.isfinite(si):
        return Quantity("unknown", "")
    unit, factor, zero, decimals = unit_of(kind, units)
    value = (si - zero) / factor
    text = f"{value:,.{decimals + finer}f}"
    return Quantity(text.replace("-", "−") if float(text.replace(",", "")) else text.lstrip("-"), unit)


def volume(m3: float | None, units: Units) -> Quantity:
    """Volumes from a cupful to a pond: one decimal below 20, tens above 10,000."""
    if m3 is None or not math.isfinite(m3):
        return Quantity("unknown", "")
    value = in_unit(m3, "volume", units)
    return show(m3, "volume", units, 1 if 0.05 <= abs(value) < 20 else 0)


def duration(seconds: float | None) -> str:
    """A span as people say it: 9.1 s, 72 s, 14 min, 3.5 h, 4 days."""
    if seconds is None or math.isnan(seconds):
        return "unknown"
    if math.isinf(seconds):
        return "for ever"
    if seconds < 9.95:
        return f"{seconds:.1f} s"
    for limit, size, word in ((180, 1, "s"), (5_970, 60, "min")):
        if seconds < limit:
            return f"{seconds / size:.0f} {word}"
    if seconds < 10 * 3600:
        return f"{seconds / 3600:.1f} h"
    if seconds < 48 * 3600:
        return f"{seconds / 3600:.0f} h"
    return f"{seconds / 86_400:.0f} days"


def ago(seconds: float) -> str:
    """How old: "2 s ago"; "now" for less than a second and a half."""
    if seconds < 1.5:
        return "just now"
    return f"{seconds:.0f} s ago" if seconds < 9.95 else f"{duration(seconds)} ago"


@lru_cache(maxsize=64)
def zone(name: str) -> ZoneInfo:
    return ZoneInfo(name)


def local(time_us: int, timezone: str) -> datetime:
    """The owner's wall clock at an instant."""
    return datetime.fromtimestamp(time_us / 1e6, UTC).astimezone(zone(timezone))


def clock(time_us: int, timezone: str) -> str:
    """14:05 of that day."""
    return f"{local(time_us, timezone):%H:%M}"


def day(time_us: int, now_us: int, timezone: str) -> str:
    """Today, yesterday, Tuesday, 3 May, 3 May 2030: as near as it is."""
    then, now = local(time_us, timezone), local(now_us, timezone)
    days = (now.date() - then.date()).days
    if days == 0:
        return "today"
    if days == 1:
        return "yesterday"
    if 1 < days < 7:
        return f"{then:%A}"
    text = f"{then.day} {then:%B}"
    return text if then.year == now.year else f"{text} {then.year}"


def moment(time_us: int, now_us: int, timezone: str) -> str:
    """Day and clock: "today 14:05", "Tuesday 06:12"."""
    return f"{day(time_us, now_us, timezone)} {clock(time_us, timezone)}"
