"""The physics of a pump, a pressure tank and a line, as pure functions in SI units.

Every function takes numbers or arrays that broadcast against one another and gives back the same
shape; NaN stays NaN. Pressures are gauge unless the name ends in `_abs`: Boyle's law needs absolute
pressure, and mixing the two is the likeliest mistake here (28/30/50 psi gives 0.373 of the tank
with gauge figures, 0.295 with absolute ones).

Symbols used throughout:

    V    pressure tank, air and water together  [m3]
    Pc   air charge with the water drained      [Pa gauge]
    P    line pressure at the tank              [Pa gauge]
    pa   atmosphere at the site                 [Pa absolute]
    w    water in the tank                      [m3]
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

GRAVITY_M_S2 = 9.80665  # standard gravity, CGPM 1901
WATER_DENSITY_KG_M3 = 998.2  # at 20 degC
SEA_LEVEL_PA_ABS = 101_325.0


def _floats(numbers: ArrayLike) -> NDArray[np.float64]:
    return np.asarray(numbers, dtype=np.float64)


def atmosphere_pa_abs(altitude_m: ArrayLike) -> NDArray[np.float64]:
    """Standard atmosphere at an altitude [m].

    pa = 101325 (1 - 0.0065 h / 288.15)^5.25588, troposphere only (-500 m to 11 km). Weather moves
    the true value by some 3 %.

    >>> round(float(atmosphere_pa_abs(1000.0)), -1)
    89870.0

    Source: ICAO / US Standard Atmosphere 1976 (constants from memory; agrees with printed tables,
    tests/reference).
    """
    height = _floats(altitude_m)
    return np.asarray(SEA_LEVEL_PA_ABS * (1.0 - 0.0065 * height / 288.15) ** 5.25588)


def tank_water_m3(
    pressure_pa: ArrayLike, volume_m3: ArrayLike, precharge_pa: ArrayLike, atmosphere_pa_abs: ArrayLike
) -> NDArray[np.float64]:
    """Water in a pressure tank at rest with its air: the gauge read as a flow meter.

    w = V (1 - (Pc + pa) / (P + pa)) for P >= Pc, and none below. Isothermal: true once the air has
    had minutes to come to the tank's temperature; a fast fill reads up to a tenth high. A real
    tank's diaphragm stops at its acceptance (often 0.4 V); no cap is put here, because a plant
    file does not give it and the slope, which is what we use, is right up to there.

    >>> round(float(tank_water_m3(344738.0, 0.3218, 193053.0, 101352.0)), 4)  # 85 gal, 28 psi, at 50 psi
    0.1094

    Source: Boyle's law; formula as in R. Pelikan, "How to Calculate and Control Pressure Tank
    Drawdown", trade-journal column, 2006.
    """
    volume, charge = _floats(volume_m3), _floats(precharge_pa)
    pa = _floats(atmosphere_pa_abs)
    pressure = np.maximum(pressure_pa, charge)
    return np.asarray(volume - volume * (charge + pa) / (pressure + pa))


def tank_pressure_pa(
    water_m3: ArrayLike, volume_m3: ArrayLike, precharge_pa: ArrayLike, atmosphere_pa_abs: ArrayLike
) -> NDArray[np.float64]:
    """Pressure of a tank that holds `water_m3`: the inverse of `tank_water_m3`.

    P = (Pc + pa) V / (V - w) - pa for 0 <= w < V; NaN outside, where no such state exists. An empty
    tank gives Pc, though the line may then stand at anything below it.

    >>> round(float(tank_pressure_pa(0.0, 0.3, 190e3, 101325.0)))
    190000
    """
    water, volume = _floats(water_m3), _floats(volume_m3)
    pa = _floats(atmosphere_pa_abs)
    possible = (water >= 0.0) & (water < volume)
    air = np.where(possible, volume - water, np.nan)
    return np.asarray((_floats(precharge_pa) + pa) * volume / air - pa)


def tank_compliance_m3_pa(
    pressure_pa: ArrayLike, volume_m3: ArrayLike, precharge_pa: ArrayLike, atmosphere_pa_abs: ArrayLike
) -> NDArray[np.float64]:
    """Water taken up for one pascal more: C = dw/dP = V (Pc + pa) / (P + pa)^2; none below Pc.

    A sensor step of dP is a water step of C dP: what a gauge can resolve.

    >>> round(float(tank_compliance_m3_pa(276e3, 0.1666, 193e3, 101325.0)) * 1e9, 1)  # mm3 a pascal
    344.4
    """
    pressure, charge = _floats(pressure_pa), _floats(precharge_pa)
    pa = _floats(atmosphere_pa_abs)
    slope = _floats(volume_m3) * (charge + pa) / (pressure + pa) ** 2
    return np.asarray(np.where(pressure < charge, 0.0, slope))


def drawdown_m3(
    cut_in_pa: ArrayLike,
    cut_out_pa: ArrayLike,
    volume_m3: ArrayLike,
    precharge_pa: ArrayLike,
    atmosphere_pa_abs: ArrayLike,
) -> NDArray[np.float64]:
    """Water a tank gives between cut-out and cut-in, drawn slowly: w(cut-out) - w(cut-in).

    With the charge above cut-in the tank is empty before the switch closes, and the drawdown is
    w(cut-out): the last part of the fall is then as sudden as if there were no tank.

    >>> psi, gal = 6894.757, 3.785412e-3
    >>> round(float(drawdown_m3(30 * psi, 50 * psi, 85 * gal, 28 * psi, 14.7 * psi)) / gal, 1)
    25.1

    Source: as `tank_water_m3`, Example 1.
    """
    full = tank_water_m3(cut_out_pa, volume_m3, precharge_pa, atmosphere_pa_abs)
    return full - tank_water_m3(cut_in_pa, volume_m3, precharge_pa, atmosphere_pa_abs)


def fast_drawdown_m3(
    cut_in_pa: ArrayLike,
    cut_out_pa: ArrayLike,
    volume_m3: ArrayLike,
    precharge_pa: ArrayLike,
    atmosphere_pa_abs: ArrayLike,
    exponent: float = 1.4,
) -> NDArray[np.float64]:
    """Drawdown when the draw is too quick for the air to warm again: a lower bound.

    The air, at rest at cut-out, expands as P Va^n = const: V (Pc+pa)/(Po+pa) ((Po+pa)/(Pi+pa))^(1/n)
    less its start; n = 1 is `drawdown_m3`, n = 1.4 no heat at all. For Pc <= Pi.

    >>> psi = 6894.757
    >>> round(float(fast_drawdown_m3(30 * psi, 50 * psi, 1.0, 28 * psi, 14.7 * psi)), 4)
    0.1995

    Source: ideal gas law.
    """
    pa = _floats(atmosphere_pa_abs)
    high = _floats(cut_out_pa) + pa
    low = _floats(cut_in_pa) + pa
    air = _floats(volume_m3) * (_floats(precharge_pa) + pa) / high
    return np.asarray(air * ((high / low) ** (1.0 / exponent) - 1.0))


def precharge_from_drawdown_pa(
    drawdown_m3: ArrayLike,
    cut_in_pa: ArrayLike,
    cut_out_pa: ArrayLike,
    volume_m3: ArrayLike,
    atmosphere_pa_abs: ArrayLike,
) -> NDArray[np.float64]:
    """Air charge that explains a measured drawdown, for a charge at or below cut-in.

    Pc = D / (V (1/(Pi + pa) - 1/(Po + pa))) - pa. Above cut-in two charges give one drawdown, and
    this gives the impossible one: check against cut-in. Fast cycles read low (see
    `fast_drawdown_m3`): use the median of many.

    >>> psi = 6894.757
    >>> round(float(precharge_from_drawdown_pa(0.1708, 30 * psi, 50 * psi, 1.0, 14.7 * psi)) / psi, 1)
    10.0
    """
    pa = _floats(atmosphere_pa_abs)
    span = 1.0 / (_floats(cut_in_pa) + pa) - 1.0 / (_floats(cut_out_pa) + pa)
    return np.asarray(_floats(drawdown_m3) / (_floats(volume_m3) * span) - pa)


def run_time_s(
    drawdown_m3: ArrayLike, delivery_m3_s: ArrayLike, demand_m3_s: ArrayLike = 0.0
) -> NDArray[np.float64]:
    """How long a run takes: D / (Q - q); infinite where the demand q takes all that the pump gives.

    >>> round(float(run_time_s(0.045, 0.0006, 0.0001)), 1)
    90.0
    """
    surplus = np.asarray(np.subtract(delivery_m3_s, demand_m3_s), np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(surplus > 0.0, np.divide(drawdown_m3, surplus), np.inf))


def rest_time_s(drawdown_m3: ArrayLike, demand_m3_s: ArrayLike) -> NDArray[np.float64]:
    """How long the pump rests: D / q; infinite with nothing drawn.

    >>> round(float(rest_time_s(0.045, 0.0001)), 1)
    450.0
    """
    demand = _floats(demand_m3_s)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(demand > 0.0, np.divide(drawdown_m3, demand), np.inf))


def starts_per_hour(
    drawdown_m3: ArrayLike, delivery_m3_s: ArrayLike, demand_m3_s: ArrayLike
) -> NDArray[np.float64]:
    """Starts an hour at a steady demand: 3600 / (run + rest); none where the pump never stops.

    >>> round(float(starts_per_hour(10.0, 10.0 / 60, 2.0 / 60)), 2)  # 10 gal, 10 gpm, 2 gpm
    9.6
    """
    run = run_time_s(drawdown_m3, delivery_m3_s, demand_m3_s)
    return np.asarray(3600.0 / (run + rest_time_s(drawdown_m3, demand_m3_s)))


def fastest_cycle_s(drawdown_m3: ArrayLike, delivery_m3_s: ArrayLike) -> NDArray[np.float64]:
    """The shortest start-to-start time of a sound plant: 4 D / Q, at a demand of half the delivery.

    Shorter than this, over a whole cycle at steady demand, means less drawdown or more delivery
    than reckoned; no drip line, however long it runs, can do it.

    >>> float(fastest_cycle_s(10.0, 10.0 / 60))
    240.0

    Source: textbook result for wet-well cycling (minimum of D/q + D/(Q-q) over q).
    """
    return np.asarray(4.0 * np.divide(drawdown_m3, delivery_m3_s), np.float64)


def delivery_m3_s(
    pressure_pa: ArrayLike, shut_off_pa: ArrayLike, resistance_pa_s2_m6: ArrayLike
) -> NDArray[np.float64]:
    """Delivery against a line pressure: Q = sqrt((H0 - P) / r); none at or above shut-off.

    H0 is the shut-off pressure and r the pump's own fall-off plus filter and pipe, r = a + k, each
    as pressure over flow squared [Pa s2/m6]. Near enough for a small centrifugal or jet pump over
    the width of a switch band; a clog adds to r, wear and air in the suction take from H0.

    >>> round(float(delivery_m3_s(207e3, 414e3, 6.4e11)) * 6e4, 1)  # L/min
    34.1

    Source: quadratic pump curve, common practice, no source.
    """
    spare = np.maximum(np.subtract(shut_off_pa, pressure_pa), 0.0)
    return np.asarray(np.sqrt(spare / _floats(resistance_pa_s2_m6)))


def leak_flow_m3_s(
    pressure_pa: ArrayLike,
    known_flow_m3_s: ArrayLike,
    known_pressure_pa: ArrayLike,
    exponent: ArrayLike = 1.0,
) -> NDArray[np.float64]:
    """A leak at one pressure from the same leak at another: Q / Q0 = (P / P0)^N.

    N is 0.5 for a fixed hole, 1.5 for a split that opens, about 1 for a mixture.

    >>> round(float(leak_flow_m3_s(0.8, 1.0, 1.0, 1.5)), 2)
    0.72

    Source: May 1994 (FAVAD), as in Thornton, Sturm & Kunkel, Water Loss Control, eq. 10.4.
    """
    ratio = np.maximum(np.divide(pressure_pa, known_pressure_pa), 0.0)
    return np.asarray(_floats(known_flow_m3_s) * ratio ** _floats(exponent))


def orifice_flow_m3_s(
    pressure_pa: ArrayLike, diameter_m: ArrayLike, discharge_coefficient: float = 0.62
) -> NDArray[np.float64]:
    """Flow through a sharp round hole into the open: Cd A sqrt(2 P / rho).

    >>> round(float(orifice_flow_m3_s(413685.0, 3.175e-3)) * 86400 / 3.785412e-3, -2)  # 1/8 in at 60 psi, gal
    3200.0

    Source: Torricelli; Cd 0.62 agrees with utilities' leak tables (tests/reference).
    """
    area = np.pi / 4.0 * np.square(_floats(diameter_m))
    speed = np.sqrt(2.0 * np.maximum(pressure_pa, 0.0) / WATER_DENSITY_KG_M3)
    return np.asarray(discharge_coefficient * area * speed)


def thermal_rise_pa_k(
    pressure_pa: ArrayLike, atmosphere_pa_abs: ArrayLike, air_k: float = 293.15
) -> NDArray[np.float64]:
    """Pressure gained for one kelvin by a tank with every valve shut: (P + pa) / T.

    Constant air volume (water hardly compresses). A tank in the sun rises, and falls in the evening
    as if it leaked: this much is no leak.

    >>> psi = 6894.757
    >>> round(float(thermal_rise_pa_k(50 * psi, 14.7 * psi)) / psi, 2)
    0.22

    Source: Gay-Lussac.
    """
    pa = _floats(atmosphere_pa_abs)
    return np.asarray((_floats(pressure_pa) + pa) / air_k)


def vapour_pressure_pa_abs(water_c: ArrayLike) -> NDArray[np.float64]:
    """Vapour pressure of water [Pa] from 0 to 50 degC, within 0.1 % of the handbook's table.

    p = 611.21 exp((18.678 - t/234.5) t / (257.14 + t))

    >>> round(float(vapour_pressure_pa_abs(20.0)))
    2338

    Source: Buck 1996 form (constants from memory; checked against the CRC table, tests/reference).
    """
    t = _floats(water_c)
    return np.asarray(611.21 * np.exp((18.678 - t / 234.5) * t / (257.14 + t)))


def head_m(pressure_pa: ArrayLike) -> NDArray[np.float64]:
    """Height of water that weighs a pressure: P / (rho g).

    >>> round(float(head_m(6894.757)) / 0.3048, 2)  # feet in a psi
    2.31
    """
    return np.asarray(_floats(pressure_pa) / (WATER_DENSITY_KG_M3 * GRAVITY_M_S2))


def suction_head_available_m(
    atmosphere_pa_abs: ArrayLike,
    static_m: ArrayLike = 0.0,
    losses_m: ArrayLike = 0.0,
    water_c: ArrayLike = 20.0,
) -> NDArray[np.float64]:
    """Net positive suction head available at the pump: (pa - pv)/(rho g) + static - losses.

    `static_m` is the water's height above the pump, negative where the pump must lift. With both at
    nothing this is the most that any pump could lift here; working pumps manage about two thirds.

    >>> round(float(suction_head_available_m(101325.0)), 1)
    10.1

    Source: definition of NPSHA, e.g. Spellman's handbook, 10.2.12.1.
    """
    vapour = vapour_pressure_pa_abs(water_c)
    return np.asarray(head_m(_floats(atmosphere_pa_abs) - vapour) + _floats(static_m) - _floats(losses_m))
