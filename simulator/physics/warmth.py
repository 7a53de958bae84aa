"""Temperatures of water that stands: in a tank above ground, in an exposed pipe, in a buried line.

Each is one lump that follows its surroundings by Newton's law of cooling, T' = (T_around - T) / tau,
with tau = rho c V / (U A). Freezing itself is left out: a pipe at nothing below zero is warning enough.
"""

from __future__ import annotations

from math import cos, exp, pi, sqrt

from simulator.physics.water import WATER_KG_M3

WATER_J_KG_K = 4_182.0  # at 20 degC (steam tables)
#: Still air and radiation at a bare wall [W/(m2 K)]: 5 to 15 in heating handbooks.
WALL_W_M2_K = 8.0
#: Moist soil's thermal diffusivity [m2/s] (0.05 m2/day; soil textbooks give 0.02 to 0.08).
SOIL_M2_S = 0.05 / 86_400.0
_YEAR_S = 365.0 * 86_400.0


def tank_s(volume_m3: float, depth_m: float) -> float:
    """Time constant [s] of an upright round tank, its wall and lid in the air."""
    area_m2 = volume_m3 / depth_m
    skin_m2 = 2.0 * sqrt(pi * area_m2) * depth_m + area_m2
    return WATER_KG_M3 * WATER_J_KG_K * volume_m3 / (WALL_W_M2_K * skin_m2)


def pipe_s(bore_m: float) -> float:
    """Time constant [s] of the water in a bare pipe: V / A is a quarter of the bore."""
    return WATER_KG_M3 * WATER_J_KG_K * bore_m / (4.0 * WALL_W_M2_K)


def towards(now_c: float, around_c: float, seconds: float, constant_s: float) -> float:
    """Temperature after some seconds beside `around_c`."""
    return around_c + (now_c - around_c) * exp(-seconds / constant_s)


def ground_c(mean_c: float, swing_c: float, depth_m: float, days_since_warmest: float) -> float:
    """Temperature of the ground: the year's wave, weaker and later with depth.

    T = mean + swing exp(-z/d) cos(2 pi t / year - z/d), with d = sqrt(alpha year / pi).
    Source: Kusuda and Achenbach 1965, ASHRAE Transactions 71:61 (from memory).
    """
    damping_m = sqrt(SOIL_M2_S * _YEAR_S / pi)
    share = depth_m / damping_m
    return mean_c + swing_c * exp(-share) * cos(2.0 * pi * days_since_warmest / 365.0 - share)
