"""Flows at a given line pressure: what the pump brings and what outlets, leaks and relief take.

Everything between storage and tee is one resistance to the pump's curve; everything beyond the tee
is one line with outlets at its end. Both are solved by Newton's method from the last solution, so
a call costs two or three iterations.
"""

from __future__ import annotations

from simulator.physics.leaks import leak_m3_s, root_head
from simulator.physics.pipes import HAZEN_EXPONENT
from simulator.physics.water import PA_PER_M
from simulator.works.hardware import Hardware

_CLOSE_ENOUGH_M3_S = 1e-10
_ITERATIONS = 30
_REGULATED_HEAD_M = 10.0  # below it a pressure-compensating emitter no longer compensates


class Network:
    """The piping at one moment. Set the fields, then ask; pressures gauge [Pa], flows [m3/s]."""

    def __init__(self, hardware: Hardware) -> None:
        self.hardware = hardware
        self.pumping = False
        self.head_m = 0.0  # pump's shut-off head now, with speed, wear and prime
        self.static_m = 0.0  # water level above the pump's inlet
        self.branch_k = 0.0  # suction, pump, valves, filter
        self.flow_limit_m3_s = 1.0  # cavitation
        self.check_leak_m3_s = 0.0
        self.line_leak_m3_s = 0.0
        self.line_leak_exponent = 0.5
        self.after_k = 0.0  # filter after the tank
        self.line_open = True  # the valve between tank and supply line
        #: (coefficient [m^2.5/s], height above the tee [m]) of plain outlets
        self.outlets: list[tuple[float, float]] = []
        self.regulated_m3_s = 0.0
        self.regulated_height_m = hardware.sizes.garden_height_m
        self._supply = 0.0

    def pump_flow(self, pressure_pa: float) -> tuple[float, float]:
        """(flow into the tee, its slope over pressure); negative where the check valve leaks back."""
        if self.pumping:
            left_m = self.head_m + self.static_m - pressure_pa / PA_PER_M
            if left_m > 0.0:
                root, slope = root_head(left_m)
                conductance = self.branch_k**-0.5
                if root * conductance > self.flow_limit_m3_s:
                    return self.flow_limit_m3_s, 0.0
                return root * conductance, -slope * conductance / PA_PER_M
        return self._back_flow(pressure_pa)

    def _back_flow(self, pressure_pa: float) -> tuple[float, float]:
        if self.check_leak_m3_s == 0.0:
            return 0.0, 0.0
        over_pa = pressure_pa - self.static_m * PA_PER_M
        flow = leak_m3_s(self.check_leak_m3_s, over_pa, self.hardware.cut_out_pa, 0.5)
        return -flow, -0.5 * flow / over_pa if over_pa > 0 else 0.0

    def supply_flow(self, pressure_pa: float) -> tuple[float, float]:
        """(flow through the supply line, its slope over pressure): what passes a flow meter there."""
        if not self.line_open or (not self.outlets and self.regulated_m3_s == 0.0):
            self._supply = 0.0
            return 0.0, 0.0
        resistance, after_k = self.hardware.line_r, self.after_k
        at_tee_m = pressure_pa / PA_PER_M
        flow = self._supply
        low, high = 0.0, 1.0
        wanted_slope = 0.0
        for _ in range(_ITERATIONS):
            loss_slope = HAZEN_EXPONENT * resistance * flow ** (HAZEN_EXPONENT - 1) + 2 * after_k * flow
            end_m = at_tee_m - resistance * flow**HAZEN_EXPONENT - after_k * flow * flow
            wanted, wanted_slope = self._outflow(end_m)
            surplus = wanted - flow
            if surplus > 0.0:
                low = flow
            else:
                high = flow
            step = surplus / (1.0 + wanted_slope * loss_slope)
            if abs(step) < _CLOSE_ENOUGH_M3_S:
                break
            flow += step
            if not low < flow < high:
                flow = 0.5 * (low + high)
        self._supply = flow
        slope = wanted_slope / (1.0 + wanted_slope * loss_slope) / PA_PER_M
        return flow, slope

    def _outflow(self, end_m: float) -> tuple[float, float]:
        """(flow, slope over head) out of all open outlets at a head at the line's end."""
        flow = slope = 0.0
        for coefficient, height_m in self.outlets:
            root, root_slope = root_head(end_m - height_m)
            flow += coefficient * root
            slope += coefficient * root_slope
        if self.regulated_m3_s:
            over_m = end_m - self.regulated_height_m
            if over_m >= _REGULATED_HEAD_M:
                return flow + self.regulated_m3_s, slope
            root, root_slope = root_head(over_m / _REGULATED_HEAD_M)
            flow += self.regulated_m3_s * root
            slope += self.regulated_m3_s * root_slope / _REGULATED_HEAD_M
        return flow, slope

    def line_leak(self, pressure_pa: float) -> float:
        """Leak out of the buried line [m3/s]: beyond a flow meter, which sees it."""
        if not self.line_open:
            return 0.0
        return leak_m3_s(self.line_leak_m3_s, pressure_pa, self.hardware.cut_out_pa, self.line_leak_exponent)

    def lost_flow(self, pressure_pa: float) -> tuple[float, float]:
        """(flow, slope) out of the pressurised side before the supply line: leak and relief valve."""
        flow = self.line_leak(pressure_pa)
        slope = self.line_leak_exponent * flow / pressure_pa if flow > 0.0 else 0.0
        over_pa = pressure_pa - self.hardware.relief_pa
        if over_pa > 0.0:
            # full rated flow at a tenth over the set pressure, as safety valve standards size it
            lift = 10.0 * self.hardware.rated_flow_m3_s / self.hardware.relief_pa
            flow += lift * over_pa
            slope += lift
        return flow, slope
