"""One step of the stiff pair (line pressure, temperature of the tank's air).

The Rosenbrock pair of orders 2 and 3 that Shampine and Reichelt describe (The MATLAB ODE suite,
SIAM J. Sci. Comput. 18:1, 1997, section 3): L-stable, so that a tank with its diaphragm at rest,
where only the pipe's elasticity is left, needs no small steps once it has settled.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from simulator.physics.tank import KAPPA, rates

if TYPE_CHECKING:
    from simulator.network import Network

_D = 1.0 / (2.0 + 2.0**0.5)
_E32 = 6.0 + 2.0**0.5


@dataclass(slots=True)
class Slope:
    """Rates at one state: dP/dt, dT/dt, the three flows, and what the Jacobian needs."""

    dp: float
    dt: float
    pump: float
    supply: float
    lost: float
    net_slope: float
    compliance: float


@dataclass(slots=True)
class Air:
    """The tank's air now: n R [Pa m3/K], tank volume [m3], wall temperature [K], time constant [s]."""

    gas_pa_m3_k: float
    volume_m3: float
    wall_k: float
    cooling_s: float
    line_m3_pa: float


def slope(network: Network, air: Air, atmosphere_pa: float, pressure_pa: float, gas_k: float) -> Slope:
    """Rates at a gauge pressure and an air temperature."""
    pump, pump_slope = network.pump_flow(pressure_pa)
    supply, supply_slope = network.supply_flow(pressure_pa)
    lost, lost_slope = network.lost_flow(pressure_pa)
    dp, dt, compliance = rates(
        pump - supply - lost,
        pressure_pa + atmosphere_pa,
        gas_k,
        air.gas_pa_m3_k,
        air.volume_m3,
        (air.wall_k - gas_k) / air.cooling_s,
        air.line_m3_pa,
    )
    return Slope(dp, dt, pump, supply, lost, pump_slope - supply_slope - lost_slope, compliance)


def step(
    network: Network,
    air: Air,
    atmosphere_pa: float,
    state: tuple[float, float],
    first: Slope,
    h: float,
) -> tuple[float, float, Slope, Slope, float, float]:
    """(P, T, rates midway, rates at the end, error in P [Pa], error in T [K]) after `h` seconds."""
    pressure, gas_k = state
    pp, pt, tp, tt = _jacobian(air, pressure + atmosphere_pa, gas_k, first)
    hd = h * _D
    a, b, c, d = 1.0 - hd * pp, -hd * pt, -hd * tp, 1.0 - hd * tt
    determinant = a * d - b * c

    k1p = (d * first.dp - b * first.dt) / determinant
    k1t = (a * first.dt - c * first.dp) / determinant
    middle = slope(network, air, atmosphere_pa, pressure + 0.5 * h * k1p, gas_k + 0.5 * h * k1t)
    rp, rt = middle.dp - k1p, middle.dt - k1t
    k2p = (d * rp - b * rt) / determinant + k1p
    k2t = (a * rt - c * rp) / determinant + k1t
    after_pa, after_k = pressure + h * k2p, gas_k + h * k2t
    last = slope(network, air, atmosphere_pa, after_pa, after_k)
    rp = last.dp - _E32 * (k2p - middle.dp) - 2.0 * (k1p - first.dp)
    rt = last.dt - _E32 * (k2t - middle.dt) - 2.0 * (k1t - first.dt)
    k3p = (d * rp - b * rt) / determinant
    k3t = (a * rt - c * rp) / determinant
    error_pa = abs(h / 6.0 * (k1p - 2.0 * k2p + k3p))
    error_k = abs(h / 6.0 * (k1t - 2.0 * k2t + k3t))
    return after_pa, after_k, middle, last, error_pa, error_k


def _jacobian(air: Air, pressure_abs: float, gas_k: float, now: Slope) -> tuple[float, float, float, float]:
    """dP'/dP, dP'/dT, dT'/dP, dT'/dT of the rates in `physics.tank`."""
    cooling = 1.0 / air.cooling_s
    if air.gas_pa_m3_k * gas_k >= pressure_abs * air.volume_m3:
        return now.net_slope / now.compliance, 0.0, 0.0, -cooling
    gas = now.compliance - air.line_m3_pa
    by_heat = air.gas_pa_m3_k / pressure_abs * (air.wall_k - gas_k) * cooling / 1.4
    pp = (now.net_slope - by_heat / pressure_abs + now.dp * 2.0 * gas / pressure_abs) / now.compliance
    pt = (-air.gas_pa_m3_k / pressure_abs * cooling / 1.4 - now.dp * gas / gas_k) / now.compliance
    tp = KAPPA * gas_k / pressure_abs * (pp - now.dp / pressure_abs)
    tt = -cooling / 1.4 + KAPPA * (now.dp + gas_k * pt) / pressure_abs
    return pp, pt, tp, tt
