"""From the storage to the tee: static head, prime, filter, where the water comes from."""

from __future__ import annotations

from typing import TYPE_CHECKING

from simulator.physics import filter as screen
from simulator.physics import salt, suction
from simulator.physics.motor import speed_share
from simulator.physics.water import vapour_pressure_pa

if TYPE_CHECKING:
    from simulator.works.condition import Condition
    from simulator.works.hardware import Hardware
    from simulator.works.network import Network
    from simulator.works.reservoir import Reservoir

_PRIME_LOST_S = 9.0  # a casing's water is churned out within half a minute
_PRIME_GAINED_S = 25.0  # flooded suction refills it about as fast
_STILL = 0.003  # closer to where it is heading than this, the prime no longer moves


class Intake:
    """The pump's branch of the plant. `prime` is the casing's share of water, `covered` the filter's
    share that the water's own sediment has closed."""

    def __init__(self, hardware: Hardware, reservoir: Reservoir) -> None:
        self._hardware, self._reservoir = hardware, reservoir
        self.prime = 1.0
        self.covered = 0.0
        self.salt_s_m = self._source_s_m(hardware.sizes.well_share)

    def well_share(self, condition: Condition) -> float:
        """Share of the draw that the manual valve lets in from the well."""
        if not self._reservoir.storages:
            return 1.0
        return min(self._hardware.sizes.well_share + condition.well_share, 1.0)

    def static_m(self) -> float:
        """Water level above the pump's inlet [m]."""
        if not self._reservoir.storages:
            return -self._hardware.sizes.well_lift_m
        return self._reservoir.level_m() - self._hardware.sizes.inlet_lift_m

    def prime_goal(self, condition: Condition) -> float:
        """Where the casing's water is heading while the pump turns.

        Once lost it comes back by itself only where water stands above the inlet and no air comes in.
        """
        goal = 1.0 - condition.air_in
        if self._reservoir.storages and self.well_share(condition) < 1.0:
            outlet = self._reservoir.storages[0].outlet_level_m
            goal *= 1.0 - suction.drawn_air(self._reservoir.level_m(), outlet)
        if goal > self.prime and (condition.air_in > 0.0 or self.static_m() <= 0.0):
            return self.prime
        return goal

    def prime_moves(self, condition: Condition) -> bool:
        return abs(self.prime_goal(condition) - self.prime) > _STILL

    def churn(self, condition: Condition, seconds: float) -> None:
        """The pump has turned for some seconds."""
        goal = self.prime_goal(condition)
        self.prime = suction.prime_after(self.prime, goal, seconds, _PRIME_LOST_S, _PRIME_GAINED_S)

    def filter_k(self, condition: Condition) -> float:
        """The filter's resistance [s^2/m^5] now."""
        covered = 1.0 - (1.0 - self.covered) * (1.0 - condition.covered_share)
        return self._hardware.filter_k * screen.loss_ratio(covered)

    def carried(self, pumped_m3: float, condition: Condition) -> None:
        """So much water went through: it left sediment, and brought its salt along."""
        sizes = self._hardware.sizes
        self.covered = screen.covered(
            self.covered, pumped_m3 * sizes.sediment_kg_m3, sizes.filter_capacity_kg
        )
        held_m3 = 0.3 * self._hardware.tank_m3 + self._hardware.line_m3
        coming = self._source_s_m(self.well_share(condition))
        self.salt_s_m = salt.mixed_after(self.salt_s_m, coming, pumped_m3, held_m3)

    def _source_s_m(self, well_share: float) -> float:
        sizes = self._hardware.sizes
        share = well_share if self._reservoir.storages else 1.0
        return salt.blend(sizes.rain_s_m, sizes.well_s_m, share)

    def prepare(self, network: Network, condition: Condition, since_start_s: float, water_c: float) -> None:
        """Set the network's pump branch to this moment; since_start_s is negative at rest."""
        hardware = self._hardware
        network.pumping = since_start_s >= 0.0 and not condition.rotor_locked
        network.static_m = self.static_m()
        network.after_k = self.filter_k(condition) if hardware.filter_after else 0.0
        if not network.pumping:
            return
        curve, speed = hardware.curve, float(speed_share(since_start_s))
        network.head_m = (
            curve.shut_off_head_m * speed**2 * condition.head_share * suction.head_factor(self.prime)
        )
        before_k = self.filter_k(condition) if hardware.filter_before else 0.0
        blocked_k = hardware.valve_k * (1.0 / condition.branch_open**2 - 1.0)
        network.branch_k = curve.curve_s2_m5 + hardware.suction_k + hardware.valve_k + before_k + blocked_k
        network.flow_limit_m3_s = suction.cavitation_flow(
            hardware.atmosphere_pa,
            vapour_pressure_pa(max(water_c, 1.0)),
            network.static_m,
            hardware.sizes.needed_suction_m,
            hardware.suction_k,
        )
