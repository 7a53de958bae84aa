"""What the reference grass drinks: Penman-Monteith where its inputs are known, Hargreaves where only
temperatures are. The answer names its method.

Source: FAO Irrigation and Drainage Paper 56, equations 6, 8, 13, 47 and 52.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log, sqrt

from analytics.garden import sun

PENMAN_MONTEITH = "Penman-Monteith, FAO 56"
HARGREAVES = "Hargreaves, FAO 56 equation 52"
TYPED_IN = "as typed in"
_LATENT_J_KG = 2.45e6


@dataclass(frozen=True, slots=True)
class Day:
    """One day's weather, or a month's mean day."""

    day: int  # of the year, from 1
    high_c: float
    low_c: float
    vapour_pa: float | None = None  # actual
    wind_m_s: float | None = None  # at 2 m
    ground_j_m2: float | None = None  # radiation at the ground
    soil_heat_j_m2: float = 0.0


def wind_at_2_m(wind_m_s: float, height_m: float) -> float:
    """A wind measured higher up, as it is at 2 m over grass (equation 47).

    >>> round(wind_at_2_m(3.2, 10), 1)
    2.4
    """
    return wind_m_s if height_m == 2.0 else wind_m_s * 4.87 / log(67.8 * height_m - 5.42)


def vapour_from_humidity_pa(high_c: float, low_c: float, humidity: float) -> float:
    """Actual vapour pressure from a mean relative humidity, as a share (equation 19)."""
    return humidity * (sun.saturation_pa(high_c) + sun.saturation_pa(low_c)) / 2


def reference_m(weather: Day, latitude_deg: float, altitude_m: float) -> tuple[float, str]:
    """Reference evapotranspiration of one day in metres, and the method by which it was found."""
    if None in (weather.vapour_pa, weather.wind_m_s, weather.ground_j_m2):
        return hargreaves_m(weather.high_c, weather.low_c, latitude_deg, weather.day), HARGREAVES
    return penman_monteith_m(weather, latitude_deg, altitude_m), PENMAN_MONTEITH


def penman_monteith_m(weather: Day, latitude_deg: float, altitude_m: float) -> float:
    """Equation 6, a day. The weather must have vapour, wind and radiation."""
    assert weather.vapour_pa is not None
    assert weather.wind_m_s is not None
    assert weather.ground_j_m2 is not None
    mean_c = (weather.high_c + weather.low_c) / 2
    gamma = 0.665e-3 * air_pressure_pa(altitude_m)
    slope = 4098 * sun.saturation_pa(mean_c) / (mean_c + 237.3) ** 2
    saturated = (sun.saturation_pa(weather.high_c) + sun.saturation_pa(weather.low_c)) / 2
    top = sun.top_of_air_j_m2(latitude_deg, weather.day)
    net = sun.net_j_m2(weather.ground_j_m2, top, altitude_m, weather.high_c, weather.low_c, weather.vapour_pa)
    wind = weather.wind_m_s
    # 0.408 mm for each MJ/m2 is 1 over the latent heat; 900 is in mm K / kPa: hence the thousands.
    radiant = slope * (net - weather.soil_heat_j_m2) / _LATENT_J_KG
    windy = gamma * 900.0 / (mean_c + 273) * wind * (saturated - weather.vapour_pa) / 1000.0
    return max((radiant + windy) / (slope + gamma * (1 + 0.34 * wind)) / 1000.0, 0.0)


def air_pressure_pa(altitude_m: float) -> float:
    """Equation 7, absolute."""
    pressure_pa: float = 101_300.0 * ((293 - 0.0065 * altitude_m) / 293) ** 5.26
    return pressure_pa


def hargreaves_m(high_c: float, low_c: float, latitude_deg: float, day: int) -> float:
    """Equation 52, a day, from temperatures alone."""
    top = sun.top_of_air_j_m2(latitude_deg, day) / _LATENT_J_KG  # mm
    warm = (high_c + low_c) / 2 + 17.8
    return max(0.0023 * warm * sqrt(max(high_c - low_c, 0.0)) * top, 0.0) / 1000.0
