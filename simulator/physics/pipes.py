"""Friction in a full pipe and losses at fittings, as resistances for head against flow."""

from __future__ import annotations

from math import pi, sqrt

from simulator.physics.water import GRAVITY_M_S2

#: Exponent of flow in the Hazen-Williams formula.
HAZEN_EXPONENT = 1.852


def hazen_williams(length_m: float, bore_m: float, roughness_c: float = 145.0) -> float:
    """Resistance r [m / (m3/s)^1.852] of a pipe, for head loss h = r Q^1.852.

    r = 10.667 C^-1.852 d^-4.871 L. Turbulent flow in smooth pipe; C 140 to 150 for plastic.
    Source: EPANET 2.2 Users Manual table 3.1, in the SI form of the WNTR documentation.
    """
    return float(10.667 * roughness_c**-HAZEN_EXPONENT * bore_m**-4.871 * length_m)


def fitting(loss_k: float, bore_m: float) -> float:
    """Resistance [s^2/m^5] of a fitting, for head loss h = k Q^2; h = K v^2 / 2g.

    Source: EPANET 2.2 Users Manual table 3.3 for K (swing check 2.5, short elbow 0.9).
    """
    area_m2 = pi * bore_m * bore_m / 4
    return loss_k / (2.0 * GRAVITY_M_S2 * area_m2 * area_m2)


def orifice(diameter_m: float, discharge: float = 0.62) -> float:
    """Coefficient c [m^2.5/s] of a sharp hole, for flow Q = c sqrt(head): Q = Cd A sqrt(2 g h).

    Source: Torricelli's law with the sharp-edged orifice's Cd 0.62 (hydraulics textbooks).
    """
    return discharge * pi * diameter_m**2 / 4 * sqrt(2 * GRAVITY_M_S2)
