"""Quantities as a person of this plant reads them: the owner's units, two or three figures.

For findings' summaries only. US units: psi, gal, gpm, ft or in, °F; metric: bar, L, L/min, m, °C.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analytics.plant.description import Plant

PSI_PA = 6_894.757
GALLON_M3 = 3.785_411_784e-3
FOOT_M = 0.3048


def pressure(plant: Plant, pa: float) -> str:
    return f"{pa / PSI_PA:.0f} psi" if _us(plant) else f"{pa / 1e5:.2f} bar"


def volume(plant: Plant, m3: float) -> str:
    if _us(plant):
        return _figures(m3 / GALLON_M3, "gal")
    return _figures(m3 * 1e3, "L") if m3 < 10.0 else _figures(m3, "m3")


def volume_a_day(plant: Plant, m3_s: float) -> str:
    return f"{volume(plant, m3_s * 86_400.0)} a day"


def flow(plant: Plant, m3_s: float) -> str:
    return _figures(m3_s * 60.0 / GALLON_M3, "gpm") if _us(plant) else _figures(m3_s * 6e4, "L/min")


def length(plant: Plant, m: float) -> str:
    return _figures(m / FOOT_M, "ft") if _us(plant) else f"{m:.2f} m"


def temperature(plant: Plant, celsius: float) -> str:
    return f"{celsius * 1.8 + 32.0:.0f} °F" if _us(plant) else f"{celsius:.1f} °C"


def conductivity(s_m: float) -> str:
    """The same everywhere: irrigation's tables are in dS/m."""
    return f"{s_m * 10.0:.2g} dS/m"


def several(names: list[str]) -> str:
    """One or more, as they are listed in a sentence."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def duration(seconds: float) -> str:
    """The largest unit that leaves a number above one and a half."""
    for size, name in ((86_400.0, "days"), (3_600.0, "hours"), (60.0, "minutes")):
        if seconds >= 1.5 * size:
            return f"{seconds / size:.0f} {name}"
    return "1 second" if round(seconds) == 1 else f"{seconds:.0f} seconds"


def days(number: float) -> str:
    """A time ahead [days]: hours below two days, and no number beyond a year."""
    return _ahead(number)[1] if number >= 365.0 else " ".join(_ahead(number))


def band(low: float, high: float) -> str:
    """From one time ahead to another [days]: "3 to 11 days", "20 hours to 3 days"."""
    (from_, unit), (to, also) = _ahead(low), _ahead(high)
    if unit == also:
        return days(low) if from_ == to else f"{from_} to {to} {unit}"
    return f"{from_} {unit} to {days(high)}"


def _ahead(number: float) -> tuple[str, str]:
    if number >= 365.0:
        return "", "more than a year"
    if number >= 2.0:
        return f"{number:.0f}", "days"
    hours = max(round(24.0 * number), 1)
    return str(hours), "hour" if hours == 1 else "hours"


def _us(plant: Plant) -> bool:
    return plant.display_units == "us"


def _figures(number: float, unit: str) -> str:
    """Three figures, without an exponent."""
    if abs(number) >= 100.0:
        return f"{float(f'{number:.3g}'):,.0f} {unit}"
    return f"{number:.2g} {unit}" if abs(number) < 10.0 else f"{number:.0f} {unit}"


def percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"
