"""A pressure tank's air: Boyle's law with the slow exchange of heat, and a diaphragm at rest.

The air obeys p V = n R T. Squeezed quickly it warms (dT/dt has the adiabatic term); its warmth
then goes into wall and water with one time constant. Between very slow (isothermal) and very
fast (exponent 1.4) lies every polytropic exponent that one measures on a real tank. Source: first
law for a closed gas volume; the single time constant after Otis and Pourmovahed, "An algorithm
for computing nonflow gas processes in gas springs and hydropneumatic accumulators", J. Dyn. Syst.
107:93 (1985; from memory).
"""

from __future__ import annotations

KAPPA = 0.4 / 1.4  # (gamma - 1) / gamma of air
GAMMA = 1.4


def water_m3(
    pressure_abs_pa: float, gas_k: float, volume_m3: float, charge_abs_pa: float, charge_k: float
) -> float:
    """Water in the tank [m3] at a line pressure; none where the diaphragm rests on its seat.

    charge_abs_pa is the air's pressure with the tank drained, at the temperature charge_k.
    """
    empty_abs_pa = charge_abs_pa * gas_k / charge_k
    return volume_m3 * max(0.0, 1.0 - empty_abs_pa / pressure_abs_pa)


def rates(
    surplus_m3_s: float,
    pressure_abs_pa: float,
    gas_k: float,
    gas_pa_m3_k: float,
    volume_m3: float,
    cooling_k_s: float,
    line_m3_pa: float,
) -> tuple[float, float, float]:
    """(dP/dt [Pa/s], dT/dt [K/s], compliance [m3/Pa]) of line and air.

    surplus_m3_s   inflow less outflow at the tee
    gas_pa_m3_k    n R of the air: p V / T [Pa m3/K]
    cooling_k_s    (T_wall - T) / tau
    line_m3_pa     elastic compliance of the piping, all there is once the diaphragm rests

    With A = nRT/p^2 (isothermal compliance), B = nR/p and first law T' = r + (p / n cv) w':
    w' = (A p' - B r) / gamma and T' = r / gamma + kappa (T/p) p'.
    """
    squeezed = gas_pa_m3_k * gas_k < pressure_abs_pa * volume_m3
    if not squeezed:
        return surplus_m3_s / line_m3_pa, cooling_k_s, line_m3_pa
    compliance = gas_pa_m3_k * gas_k / (pressure_abs_pa * pressure_abs_pa * GAMMA) + line_m3_pa
    by_heat = gas_pa_m3_k / pressure_abs_pa * cooling_k_s / GAMMA
    dp = (surplus_m3_s + by_heat) / compliance
    return dp, cooling_k_s / GAMMA + KAPPA * gas_k / pressure_abs_pa * dp, compliance
