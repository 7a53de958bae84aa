"""One step of the stiff pair (line pressure, temperature of the tank's air).

The Rosenbrock pair of orders 2 and 3 that Shampine and Reichelt describe (The MATLAB ODE suite,
SIAM J. Sci. Comput. 18:1, 1997, section 3): L-stable, so that a tank with its diaphragm at rest,
where only the pipe's elasticity is left, needs no small steps once it has settled.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from simulator.physics.tank import KAPPA, rates

if TYPE_CHECKING:
    from collections.abc import Callable

    from simulator.works.network import Network

_TOLERANCE_PA = 15.0
_TOLERANCE_K = 0.01
_SHORTEST_S = 1e-4
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


@dataclass(frozen=True, slots=True)
class Setting:
    """What does not change within a step."""

    network: Network
    air: Air
    atmosphere_pa: float


@dataclass(frozen=True, slots=True)
class Step:
    """One step that was taken: its length, the state at its end, the rates that led there."""

    seconds: float
    pressure_pa: float
    gas_k: float
    first: Slope
    middle: Slope
    last: Slope
    error: float  # over the tolerance
    crossed: bool = False  # the pressure reached the switch's point at the step's end

    @property
    def next_s(self) -> float:
        """Length to try next."""
        return self.seconds * min(4.0, max(0.3, 0.85 * float((self.error + 1e-6) ** (-1 / 3))))

    @property
    def pumped_m3(self) -> float:
        """By Simpson's rule, as the following two."""
        return self.seconds / 6 * (self.first.pump + 4 * self.middle.pump + self.last.pump)

    @property
    def supplied_m3(self) -> float:
        return self.seconds / 6 * (self.first.supply + 4 * self.middle.supply + self.last.supply)

    @property
    def lost_m3(self) -> float:
        return self.seconds / 6 * (self.first.lost + 4 * self.middle.lost + self.last.lost)


def advance(
    setting: Setting,
    state: tuple[float, float],
    at_most_s: float,
    crosses: Callable[[float], bool],
    threshold_pa: float,
) -> Step:
    """The longest step within tolerance, cut short where the pressure reaches the switch's point.

    state: (gauge pressure [Pa], air temperature [K]). crosses: whether a pressure operates the switch.
    """
    first = slope(setting, *state)
    step = _try(setting, state, first, at_most_s)
    while step.error > 1.0 and step.seconds > _SHORTEST_S:
        shorter = step.seconds * max(0.2, 0.8 * step.error ** (-1 / 3))
        step = _try(setting, state, first, max(shorter, _SHORTEST_S))
    if not crosses(step.pressure_pa):
        return step
    if step.seconds > 2 * _SHORTEST_S:
        share = _crossing(state[0], step, threshold_pa)
        if share <= 0.999:
            error = step.error
            step = _try(setting, state, first, max(step.seconds * share, _SHORTEST_S))
            return replace(step, crossed=True, error=error)
    return replace(step, crossed=True)


def _crossing(before_pa: float, step: Step, threshold_pa: float) -> float:
    """Share of a step at which the cubic through its ends reaches the threshold, by bisection."""
    low, high = 0.0, 1.0
    rise = step.pressure_pa - before_pa
    rise0, rise1 = step.first.dp * step.seconds, step.last.dp * step.seconds
    for _ in range(40):
        x = 0.5 * (low + high)
        value = before_pa + x * (rise0 + x * (3 * rise - 2 * rise0 - rise1 + x * (rise0 + rise1 - 2 * rise)))
        if (value >= threshold_pa) == (rise > 0):
            high = x
        else:
            low = x
    return high


def slope(setting: Setting, pressure_pa: float, gas_k: float) -> Slope:
    """Rates at a gauge pressure and an air temperature."""
    network, air, atmosphere_pa = setting.network, setting.air, setting.atmosphere_pa
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


def _try(setting: Setting, state: tuple[float, float], first: Slope, h: float) -> Step:
    """A step of `h` seconds, whatever its error."""
    air, atmosphere_pa = setting.air, setting.atmosphere_pa
    pressure, gas_k = state
    pp, pt, tp, tt = _jacobian(air, pressure + atmosphere_pa, gas_k, first)
    hd = h * _D
    a, b, c, d = 1.0 - hd * pp, -hd * pt, -hd * tp, 1.0 - hd * tt
    determinant = a * d - b * c

    k1p = (d * first.dp - b * first.dt) / determinant
    k1t = (a * first.dt - c * first.dp) / determinant
    middle = slope(setting, pressure + 0.5 * h * k1p, gas_k + 0.5 * h * k1t)
    rp, rt = middle.dp - k1p, middle.dt - k1t
    k2p = (d * rp - b * rt) / determinant + k1p
    k2t = (a * rt - c * rp) / determinant + k1t
    after_pa, after_k = pressure + h * k2p, gas_k + h * k2t
    last = slope(setting, after_pa, after_k)
    rp = last.dp - _E32 * (k2p - middle.dp) - 2.0 * (k1p - first.dp)
    rt = last.dt - _E32 * (k2t - middle.dt) - 2.0 * (k1t - first.dt)
    k3p = (d * rp - b * rt) / determinant
    k3t = (a * rt - c * rp) / determinant
    error_pa = abs(h / 6.0 * (k1p - 2.0 * k2p + k3p))
    error_k = abs(h / 6.0 * (k1t - 2.0 * k2t + k3t))
    error = max(error_pa / _TOLERANCE_PA, error_k / _TOLERANCE_K)
    return Step(h, after_pa, after_k, first, middle, last, error)


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
