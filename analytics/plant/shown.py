"""SI values in the owner's units, to the digits that were written: for saying back what was read."""

from __future__ import annotations

from typing import Literal

from analytics.plant.dimensions import Dimension
from analytics.plant.units import unit

System = Literal["us", "metric"]

#: Owner's unit of each kind: (US, metric).
UNITS: dict[Dimension, tuple[str, str]] = {
    Dimension.PRESSURE: ("psi", "bar"),
    Dimension.CURRENT: ("A", "A"),
    Dimension.POWER: ("hp", "W"),
    Dimension.FLOW: ("gpm", "L/min"),
    Dimension.LENGTH: ("ft", "m"),
    Dimension.TEMPERATURE: ("°F", "°C"),
    Dimension.CONDUCTIVITY: ("dS/m", "dS/m"),
    Dimension.VOLUME: ("gal", "L"),
    Dimension.AREA: ("ft^2", "m^2"),
    Dimension.SPEED: ("mph", "m/s"),
    Dimension.RADIANT_EXPOSURE: ("MJ/m^2", "MJ/m^2"),
}


def shown(si: float, dimension: Dimension, system: System, digits: int = 4) -> str:
    """A value with its unit, to `digits` significant digits, no exponent: "30 psi", "3,000 gal"."""
    if dimension is Dimension.TIME:
        return _time(si, digits)
    spelled = UNITS[dimension][system == "metric"]
    if dimension is Dimension.LENGTH and system == "us" and abs(si) < 0.3048:
        spelled = "in"
    there = unit(spelled)
    return f"{number((si - there.offset) / there.factor, digits)} {spelled}"


def number(value: float, digits: int = 4) -> str:
    """Rounded to significant digits, whole thousands kept whole and grouped."""
    if value == 0:
        return "0"
    rounded = float(f"{value:.{digits}g}")
    if abs(rounded) >= 10 ** (digits - 1):
        return f"{rounded:,.0f}"
    text = f"{rounded:,.{digits + 6}f}".rstrip("0").rstrip(".")
    return text if len(text) <= digits + 6 else f"{rounded:.{digits}g}"


def _time(seconds: float, digits: int) -> str:
    """In the largest unit that leaves two or more of them."""
    for size, name in ((86_400.0, "days"), (3600.0, "h"), (60.0, "min")):
        if seconds >= 2 * size:
            return f"{number(seconds / size, digits)} {name}"
    return f"{number(seconds, digits)} s"
