"""The state of repair: what faults change in an otherwise healthy plant."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(slots=True)
class Condition:
    """Every way in which a plant can be other than as built. The defaults are a healthy plant."""

    air_share: float = 1.0  # of the tank's air charge; above 1 is overcharged
    tank_share: float = 1.0  # of the tank's volume: a tank too small for its pump
    covered_share: float = 0.0  # of the filter's open area, beyond what the water itself left there
    head_share: float = 1.0  # of the pump's head, worn
    air_in: float = 0.0  # air drawn in at the suction, 1: no water gets through
    branch_open: float = 1.0  # of the area of the pipe between pump and tank
    check_leak_m3_s: float = 0.0  # back through the check valve, at cut-out
    line_leak_m3_s: float = 0.0  # out of the pressurised side, at cut-out
    line_leak_exponent: float = 0.5
    burst_m3_s: float = 0.0  # out of the far end of the line, at cut-out
    storage_leak_m3_s: float = 0.0  # out of the first storage, at its full level
    cut_in_shift_pa: float = 0.0
    cut_out_shift_pa: float = 0.0
    contact_stuck: bool = False  # welded: does not open
    chatter: float = 0.0  # share of closures at which the contact bounces
    rotor_locked: bool = False
    drag: float = 0.0  # extra shaft load, as a share of the rated one
    demand_share: float = 1.0
    rain_share: float = 1.0
    inflow_m3_s: float = 0.0  # into the first storage from elsewhere
    air_shift_c: float = 0.0
    well_share: float = 0.0  # of the draw, beyond the scenario's own valve setting
