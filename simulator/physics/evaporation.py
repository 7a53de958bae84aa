"""Evaporation from an open storage tank."""

from __future__ import annotations

from math import acos, cos, pi, sin, sqrt, tan


def extraterrestrial_mm_day(latitude_deg: float, day_of_year: int) -> float:
    """Solar radiation above the air as mm of water a day (1 MJ/m2 evaporates 0.408 mm).

    Source: FAO Irrigation and Drainage Paper 56, equations 21 to 25.
    """
    angle = 2 * pi * day_of_year / 365
    latitude = latitude_deg * pi / 180
    declination = 0.409 * sin(angle - 1.39)
    sunset = acos(min(max(-tan(latitude) * tan(declination), -1.0), 1.0))
    geometry = sunset * sin(latitude) * sin(declination) + cos(latitude) * cos(declination) * sin(sunset)
    return 0.408 * 24 * 60 / pi * 0.0820 * (1 + 0.033 * cos(angle)) * geometry


def hargreaves_m_day(latitude_deg: float, day_of_year: int, lowest_c: float, highest_c: float) -> float:
    """Evaporation [m/day] as Hargreaves's reference evapotranspiration, 0.0023 (T + 17.8) sqrt(dT) Ra.

    Source: FAO Irrigation and Drainage Paper 56, equation 52. An open tank's water loses about as
    much as well-watered grass (factor 1.05 of table 11, left out).
    """
    mean_c = (lowest_c + highest_c) / 2
    radiation = extraterrestrial_mm_day(latitude_deg, day_of_year)
    return max(0.0, 0.0023 * (mean_c + 17.8) * sqrt(max(highest_c - lowest_c, 0.0)) * radiation) / 1000
