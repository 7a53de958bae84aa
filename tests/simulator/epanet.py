"""The same network in EPANET 2.2 (through wntr): built from the simulator's dimensions, run apart.

The pressure tank is an EPANET tank whose level is the gauge pressure head and whose volume curve is
Boyle's law with absolute pressures; the pressure switch is a pair of simple controls on its level.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from simulator.demand.enduses import Use
    from simulator.works.world import World

_G = 9.80665
_PA_PER_M = 998.2 * _G
_FITTING_BORE_M = 0.05
_PATTERN_S = 10
#: EPANET holds flows over a step; at 10 s a fill of 90 s comes out 3 % too quick, at 2 s 0.6 %.
_HYDRAULIC_S = 2


@dataclass
class EpanetDay:
    """Storage level [m], pump flow [m3/s] and line pressure head [m] every ten seconds."""

    level_m: np.ndarray
    pump_m3_s: np.ndarray
    line_m: np.ndarray
    supply_m3_s: np.ndarray


def minor_k(resistance_s2_m5: float) -> float:
    """EPANET's minor loss coefficient, in a 50 mm pipe, of k Q^2."""
    area = np.pi * _FITTING_BORE_M**2 / 4
    return resistance_s2_m5 * 2 * _G * area**2


def run(world: World, uses: list[Use], hours: float, folder: Path) -> EpanetDay:
    """Run the world's network in EPANET with these regulated draws, from the world's first moment."""
    import wntr

    inp = folder / "plant.inp"
    inp.write_text(_inp(world, uses, hours))
    model = wntr.network.WaterNetworkModel(str(inp))
    result = wntr.sim.EpanetSimulator(model).run_sim(file_prefix=str(folder / "run"))
    assert "wntr" in sys.modules
    return EpanetDay(
        result.node["pressure"]["store"].to_numpy(),
        result.link["flowrate"]["pump"].to_numpy(),
        result.node["pressure"]["tee"].to_numpy(),
        result.link["flowrate"]["line"].to_numpy(),
    )


def _inp(world: World, uses: list[Use], hours: float) -> str:
    hardware, sizes = world.hardware, world.hardware.sizes
    curve = hardware.curve
    store = world.plant.storages[0]
    points = [0.0, 0.5 * hardware.rated_flow_m3_s, hardware.rated_flow_m3_s]
    # three points, as EPANET fits H0 - r Q^n through them; well inside the curve
    pump = "\n".join(
        f" H {q * 1e3:.9f} {curve.shut_off_head_m - curve.curve_s2_m5 * q * q:.9f}" for q in points
    )
    volumes = store.strapping or ((0.0, 0.0), (store.full_level_m, store.volume_m3))
    strapping = "\n".join(f" S {level:.6f} {volume:.9f}" for level, volume in volumes)
    boyle = "\n".join(f" B {head:.6f} {_boyle(world, head * _PA_PER_M):.9f}" for head in _heads(world))
    pattern = _pattern(uses, hours)
    start_m = world.line_pa / _PA_PER_M
    filter_before = hardware.filter_k if hardware.filter_before else 0.0
    filter_after = hardware.filter_k if hardware.filter_after else 0.0
    # Hazen-Williams resistance r = 10.667 C^-1.852 d^-4.871 L: a bore that gives the world's r
    bore = (10.667 * sizes.roughness_c**-1.852 * sizes.line_length_m / hardware.line_r) ** (1 / 4.871)
    inlet_m = sizes.inlet_lift_m
    top = max(volumes)[0]
    return f"""[TITLE]
plant
[JUNCTIONS]
 inlet {inlet_m} 0
 outlet {inlet_m} 0
 tee {inlet_m} 0
 afterfilter {inlet_m} 0
 end {inlet_m} 0
 garden {inlet_m} 1 D
[TANKS]
 store 0 {world.reservoir.level_m():.9f} 0 {top:.6f} 3 0 S
 press {inlet_m} {start_m:.9f} {_heads(world)[0]:.6f} {_heads(world)[-1]:.6f} 1 0 B
[PIPES]
 suction store inlet 1 {_FITTING_BORE_M * 1000} 150 {minor_k(hardware.suction_k):.9f} Open
 branch outlet tee 1 {_FITTING_BORE_M * 1000} 150 {minor_k(hardware.valve_k + filter_before):.9f} CV
 riser tee press 1 100 150 0 Open
 filter tee afterfilter 1 {_FITTING_BORE_M * 1000} 150 {minor_k(filter_after):.9f} Open
 line afterfilter end {sizes.line_length_m} {bore * 1000:.9f} {sizes.roughness_c} 0 Open
 last end garden 1 100 150 0 Open
[PUMPS]
 pump inlet outlet HEAD H
[STATUS]
 pump Closed
[CURVES]
;PUMP:
{pump}
;VOLUME:
{strapping}
;VOLUME:
{boyle}
[PATTERNS]
{pattern}
[CONTROLS]
 LINK pump OPEN IF NODE press BELOW {hardware.cut_in_pa / _PA_PER_M:.9f}
 LINK pump CLOSED IF NODE press ABOVE {hardware.cut_out_pa / _PA_PER_M:.9f}
[TIMES]
 Duration {hours:g}
 Hydraulic Timestep 0:00:{_HYDRAULIC_S:02d}
 Pattern Timestep 0:00:{_PATTERN_S:02d}
 Report Timestep 0:00:{_PATTERN_S:02d}
[OPTIONS]
 Units LPS
 Headloss H-W
 Accuracy 0.00001
 Trials 200
 Unbalanced Continue 10
[END]
"""


def _heads(world: World) -> np.ndarray:
    """Levels of the pressure tank's curve: from the charge to above cut-out."""
    charge = world.hardware.charge_abs_pa - world.hardware.atmosphere_pa
    return np.linspace(charge * 1.001, world.hardware.cut_out_pa * 1.15, 60) / _PA_PER_M


def _boyle(world: World, pressure_pa: float) -> float:
    hardware = world.hardware
    return hardware.tank_m3 * (1 - hardware.charge_abs_pa / (pressure_pa + hardware.atmosphere_pa))


def _pattern(uses: list[Use], hours: float) -> str:
    times = np.arange(0.0, hours * 3600.0 + _PATTERN_S, _PATTERN_S)
    drawn = np.zeros(len(times))
    for use in uses:
        drawn += use.flow_m3_s * ((times >= use.start_s - 1e-6) & (times < use.stop_s - 1e-6))
    return "\n".join(f" D {value * 1e3:.6f}" for value in drawn)
