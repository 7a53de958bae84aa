"""Where the sun stands: what reaches the top of the air, and for how long.

Source: FAO Irrigation and Drainage Paper 56, equations 21 to 25, 34 to 37, 39 and 50.
"""

from __future__ import annotations

from math import acos, cos, exp, pi, radians, sin, sqrt, tan

_SOLAR_CONSTANT_W_M2 = 1366.67  # 0.0820 MJ/m2/min
_STEFAN_BOLTZMANN = 4.903e-9 * 1e6  # J/m2/day/K4


def _sunset(latitude_deg: float, day: int) -> tuple[float, float]:
    """Declination and hour angle at sunset, in radians; polar day and night at their ends."""
    declination = 0.409 * sin(2 * pi / 365 * day - 1.39)
    x = -tan(radians(latitude_deg)) * tan(declination)
    return declination, acos(min(max(x, -1.0), 1.0))


def daylength_s(latitude_deg: float, day: int) -> float:
    """Hours from sunrise to sunset, in seconds; `day` of the year from 1."""
    return 24 / pi * _sunset(latitude_deg, day)[1] * 3600.0


def top_of_air_j_m2(latitude_deg: float, day: int) -> float:
    """Radiation on a level surface above the air, J/m2 a day (Ra)."""
    declination, sunset = _sunset(latitude_deg, day)
    distance = 1 + 0.033 * cos(2 * pi / 365 * day)
    latitude = radians(latitude_deg)
    height = sunset * sin(latitude) * sin(declination) + cos(latitude) * cos(declination) * sin(sunset)
    return 86_400.0 / pi * _SOLAR_CONSTANT_W_M2 * distance * height


def from_sunshine_j_m2(top_j_m2: float, sunshine_s: float, daylight_s: float) -> float:
    """Radiation at the ground from hours of sunshine (Angstrom with FAO's 0.25 and 0.50)."""
    return (0.25 + 0.5 * sunshine_s / daylight_s) * top_j_m2


def from_temperatures_j_m2(top_j_m2: float, high_c: float, low_c: float, k: float = 0.16) -> float:
    """Radiation at the ground from the day's range of temperature; k 0.16 inland, 0.19 on a coast."""
    return min(k * sqrt(max(high_c - low_c, 0.0)), 0.75) * top_j_m2


def net_j_m2(
    ground_j_m2: float, top_j_m2: float, altitude_m: float, high_c: float, low_c: float, vapour_pa: float
) -> float:
    """What the reference grass keeps of it, with the long waves that it gives back."""
    clear = (0.75 + 2e-5 * altitude_m) * top_j_m2
    cloud = 1.35 * min(ground_j_m2 / clear, 1.0) - 0.35 if clear > 0 else 0.05
    warmth = ((high_c + 273.16) ** 4 + (low_c + 273.16) ** 4) / 2
    lost = _STEFAN_BOLTZMANN * warmth * (0.34 - 0.14 * sqrt(vapour_pa / 1000.0)) * max(cloud, 0.05)
    return 0.77 * ground_j_m2 - lost


def saturation_pa(temperature_c: float) -> float:
    """Vapour pressure over water, FAO 56 equation 11."""
    return 610.8 * exp(17.27 * temperature_c / (temperature_c + 237.3))
