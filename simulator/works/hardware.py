"""What the plant is made of: everything the physics needs and the plant file does not say.

An owner knows switch, tank, rated flow and storage; the simulator also needs a pump curve, pipe
bores, a motor's currents. They are sized here from what is known, the way an installer would, and
any one of them can be set by a scenario's [hardware] table.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi, sqrt
from typing import TYPE_CHECKING

from simulator.physics.motor import Motor
from simulator.physics.pipes import HAZEN_EXPONENT, fitting, hazen_williams
from simulator.physics.pump import PumpCurve
from simulator.physics.water import PA_PER_M, atmosphere_pa

if TYPE_CHECKING:
    from analytics.plant.description import Plant, PressureTank, Switch


@dataclass(frozen=True, slots=True)
class Sizes:
    """The choices behind the sizing; a scenario's [hardware] table sets any of them.

    Common practice, no source, unless said otherwise.
    """

    rated_flow_m3_s: float = 0.0  # 0: from the plant file, else 0.5 L/s
    shut_off_over_cut_out: float = 1.4  # shut-off pressure at the tee over the cut-out
    pump_efficiency: float = 0.30  # where the plant file gives no power; shallow-well jets are poor
    voltage_v: float = 230.0
    inlet_lift_m: float = -0.2  # pump's inlet above the storage's floor; negative: flooded
    well_lift_m: float = 3.0  # pump's inlet above the well's water
    needed_suction_m: float = 2.5  # NPSH required
    suction_length_m: float = 4.0
    filter_clean_pa: float = 9_000.0  # loss of a clean screen at the rated flow
    filter_capacity_kg: float = 0.25  # sediment that covers 63 % of the screen
    line_length_m: float = 60.0
    line_speed_m_s: float = 1.0  # design speed at the rated flow; sets the bores
    house_height_m: float = 1.5  # outlets above the tee
    garden_height_m: float = 3.0
    relief_over_cut_out: float = 1.3
    cooling_s: float = 0.0  # time constant of the tank's air; 0: by its size
    scatter_pa: float = 1_400.0  # standard deviation of either switch point (0.2 psi)
    well_s_m: float = 0.36  # a well turned salty: 3.6 dS/m, FAO-29's blending example (memory)
    rain_s_m: float = 0.006  # 60 uS/cm
    well_share: float = 0.0  # what the manual valve lets in of the well, as a share of the draw
    sediment_kg_m3: float = 0.0015
    roughness_c: float = 145.0  # Hazen-Williams C of plastic pipe, EPANET manual table 3.2
    storage_open: bool = False


@dataclass(frozen=True, slots=True)
class Hardware:
    """One plant, dimensioned. Pressures gauge unless `_abs`; resistances as heads [m]."""

    sizes: Sizes
    atmosphere_pa: float
    cut_in_pa: float
    cut_out_pa: float
    tank_m3: float
    charge_abs_pa: float
    cooling_s: float
    curve: PumpCurve
    motor: Motor
    suction_k: float
    valve_k: float  # check valve and fittings up to the tee
    filter_k: float  # clean
    filter_before: bool
    filter_after: bool
    line_r: float  # Hazen-Williams resistance of the buried line
    line_m3_pa: float
    line_m3: float
    bore_m: float
    relief_pa: float
    storage_m3: float  # of the first storage; none: 0

    @property
    def rated_flow_m3_s(self) -> float:
        return self.curve.rated_flow_m3_s


def sized_for(plant: Plant, sizes: Sizes | None = None) -> Hardware:
    """The plant's hardware: from the plant file where it says, sized by `sizes` where it does not."""
    sizes = sizes or Sizes()
    cut_in, cut_out = _switch(plant.switch)
    tank_m3, precharge = _tank(plant.pressure_tank, cut_in)
    atmosphere = atmosphere_pa(plant.altitude_m)
    flow = sizes.rated_flow_m3_s or plant.pump.rated_flow_m3_s or 0.0005
    bore = sqrt(4 * flow / (pi * sizes.line_speed_m_s))
    suction_k = _friction_k(sizes.suction_length_m, 1.25 * bore, flow, sizes) + fitting(1.5, 1.25 * bore)
    valve_k = fitting(2.5 + 3 * 0.9, bore)
    filter_k = sizes.filter_clean_pa / PA_PER_M / flow**2
    before = plant.filter is not None and plant.filter.position == "before_tank"
    curve = _curve(plant, sizes, flow, cut_in, cut_out, suction_k + valve_k + (filter_k if before else 0.0))
    line_m3 = sizes.line_length_m * pi * bore**2 / 4
    return Hardware(
        sizes=sizes,
        atmosphere_pa=atmosphere,
        cut_in_pa=cut_in,
        cut_out_pa=cut_out,
        tank_m3=tank_m3,
        charge_abs_pa=precharge + atmosphere,
        # 70 s for a 44 gal tank: a polytropic exponent near 1.15 over a usual run (no source);
        # longer for a bigger one, as its volume over its wall grows
        cooling_s=sizes.cooling_s or 70.0 * (tank_m3 / 0.1666) ** (1 / 3),
        curve=curve,
        motor=_motor(curve, sizes),
        suction_k=suction_k,
        valve_k=valve_k,
        filter_k=filter_k,
        filter_before=before,
        filter_after=plant.filter is not None and not before,
        line_r=hazen_williams(sizes.line_length_m, bore, sizes.roughness_c),
        # walls that give: V (1/K + D/(E e)), polyethylene with D/e 9 and E 1 GPa (textbooks)
        line_m3_pa=line_m3 * (1 / 2.2e9 + 9 / 1.0e9),
        line_m3=line_m3,
        bore_m=bore,
        relief_pa=sizes.relief_over_cut_out * cut_out,
        storage_m3=plant.storages[0].volume_m3 if plant.storages else 0.0,
    )


def _switch(switch: Switch | None) -> tuple[float, float]:
    """Cut-in and cut-out [Pa]; 30 and 50 psi where the plant file has none."""
    return (switch.cut_in_pa, switch.cut_out_pa) if switch else (206_843.0, 344_738.0)


def _tank(tank: PressureTank | None, cut_in_pa: float) -> tuple[float, float]:
    """Volume [m3] and charge [Pa gauge]; 80 L charged 2 psi below cut-in where there is none."""
    return (tank.volume_m3, tank.precharge_pa) if tank else (0.080, cut_in_pa - 13_790.0)


def _friction_k(length_m: float, bore_m: float, flow_m3_s: float, sizes: Sizes) -> float:
    """A short pipe's friction as k in k Q^2, exact at the rated flow."""
    return float(hazen_williams(length_m, bore_m, sizes.roughness_c) * flow_m3_s ** (HAZEN_EXPONENT - 2))


def _curve(
    plant: Plant, sizes: Sizes, flow_m3_s: float, cut_in_pa: float, cut_out_pa: float, losses_k: float
) -> PumpCurve:
    """A parabola that delivers the rated flow at cut-in, from half-full storage, and shuts off as chosen."""
    static_m = _static_m(plant, sizes)
    shut_off_m = sizes.shut_off_over_cut_out * cut_out_pa / PA_PER_M - static_m
    left_m = shut_off_m + static_m - cut_in_pa / PA_PER_M - losses_k * flow_m3_s**2
    if left_m < 0.2 * shut_off_m:  # losses eat the head: a stronger pump would have been bought
        shut_off_m += 0.2 * shut_off_m - left_m
        left_m = 0.2 * shut_off_m
    head_m = shut_off_m - left_m
    shaft_w = PA_PER_M * flow_m3_s * head_m / sizes.pump_efficiency
    if plant.pump.rated_power_w:
        shaft_w = 0.85 * plant.pump.rated_power_w  # motors are bought with some reserve
    return PumpCurve(shut_off_m, left_m / flow_m3_s**2, flow_m3_s, shaft_w)


def _static_m(plant: Plant, sizes: Sizes) -> float:
    if not plant.storages:
        return -sizes.well_lift_m
    return plant.storages[0].full_level_m / 2 - sizes.inlet_lift_m


def _motor(curve: PumpCurve, sizes: Sizes) -> Motor:
    """65 % efficient and a power factor of 0.79 at the rated load: small single-phase practice."""
    rated_w = curve.shaft_power_w / 0.65
    active_a = rated_w / sizes.voltage_v
    return Motor(
        voltage_v=sizes.voltage_v,
        fixed_loss_w=rated_w - 1.15 * curve.shaft_power_w,
        load_factor=1.15,
        magnetising_a=0.78 * active_a,
        locked_rotor_a=5.5 * active_a * 1.27,
    )
