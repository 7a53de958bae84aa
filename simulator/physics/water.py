"""Constants and properties of water and air that the rest of the physics shares."""

from __future__ import annotations

from math import exp

GRAVITY_M_S2 = 9.80665  # standard gravity, ISO 80000-3
WATER_KG_M3 = 998.2  # at 20 degC
#: Pressure of one metre of water [Pa/m].
PA_PER_M = GRAVITY_M_S2 * WATER_KG_M3
ZERO_CELSIUS_K = 273.15


def atmosphere_pa(altitude_m: float) -> float:
    """Atmospheric pressure [Pa] at an altitude [m]: the standard atmosphere's troposphere.

    p = 101325 (1 - 0.0065 h / 288.15)^5.25588. Source: ICAO / US Standard Atmosphere 1976.
    """
    return float(101_325.0 * (1.0 - 0.0065 * altitude_m / 288.15) ** 5.25588)


def vapour_pressure_pa(water_c: float) -> float:
    """Vapour pressure [Pa] of water at a temperature [degC], by Magnus's form.

    610.94 exp(17.625 t / (t + 243.04)); within 0.4 % from 0 to 50 degC.
    Source: Alduchov and Eskridge 1996, J. Appl. Meteorol. 35:601 (coefficients from memory).
    """
    return 610.94 * exp(17.625 * water_c / (water_c + 243.04))
