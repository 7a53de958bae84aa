"""The pressure tank and the piping at its tee: line pressure, air, what the wall does to its warmth."""

from __future__ import annotations

from typing import TYPE_CHECKING

from simulator.physics import tank
from simulator.physics.water import ZERO_CELSIUS_K
from simulator.works.stepper import Air

if TYPE_CHECKING:
    from simulator.works.hardware import Hardware

#: A blown valve core lets a hundredth of the charge go in so many seconds: empty in some seven minutes.
AIR_STEP = 0.01
AIR_STEP_S = 4.0
#: n R [Pa m3/K] of air that no line pressure would move.
_SEATED = 1e9
#: A pump house lags the air by some hours and stays above freezing (common practice, no source).
_HOUSE_LAG_S = 14_400.0
_HOUSE_COLDEST_C = 2.0


class Vessel:
    """The tank's state. `air_share` is the air there is over the charge as built."""

    def __init__(self, hardware: Hardware, charged_c: float, now_c: float) -> None:
        self._hardware = hardware
        self.line_pa = 0.5 * (hardware.cut_in_pa + hardware.cut_out_pa)
        self.charge_k = ZERO_CELSIUS_K + charged_c
        self.wall_k = self.gas_k = ZERO_CELSIUS_K + now_c
        self.air_share = 1.0
        self.tank_share = 1.0
        self._apart_m3: float | None = None  # water in a tank whose valve is shut

    def part(self) -> None:
        """Shut the valve between tank and pipe: the pipe's own give is all that is left."""
        if self._apart_m3 is None:
            self._apart_m3 = self.held_m3()

    def join(self) -> float:
        """Open that valve: the pipe takes the tank's pressure. Returns the water that came with it [m3]."""
        if self._apart_m3 is None:
            return 0.0
        before, held = self.water_m3(), self._apart_m3
        self._apart_m3 = None
        if held > 1e-6:
            air = self.air()
            self.line_pa = (
                air.gas_pa_m3_k * self.gas_k / (air.volume_m3 - held) - self._hardware.atmosphere_pa
            )
        return self.water_m3() - before

    def air(self) -> Air:
        """The air as the stepper wants it."""
        hardware = self._hardware
        if self._apart_m3 is not None:  # a diaphragm that cannot leave its seat, as the pipe sees it
            return Air(_SEATED, hardware.tank_m3, self.wall_k, hardware.cooling_s, hardware.line_m3_pa)
        volume = hardware.tank_m3 * self.tank_share
        gas = hardware.charge_abs_pa * self.air_share * volume / self.charge_k
        return Air(gas, volume, self.wall_k, hardware.cooling_s, hardware.line_m3_pa)

    def held_m3(self) -> float:
        """Water in the tank alone."""
        if self._apart_m3 is not None:
            return self._apart_m3
        return tank.water_m3(
            self.line_pa + self._hardware.atmosphere_pa,
            self.gas_k,
            self._hardware.tank_m3 * self.tank_share,
            self._hardware.charge_abs_pa * self.air_share,
            self.charge_k,
        )

    def water_m3(self) -> float:
        """Water in tank and piping, as the pressure tells."""
        return self.held_m3() + self._hardware.line_m3_pa * self.line_pa

    def replace(self, tank_share: float) -> float:
        """Another tank at the same pressure; returns the water that came with it [m3]."""
        before = self.water_m3()
        self.tank_share = tank_share
        return self.water_m3() - before

    def move_air(self, goal_share: float) -> bool:
        """Let a step's worth of air in or out, the water staying where it is. Whether more is to go."""
        water_m3 = self.held_m3()
        self.air_share += max(-AIR_STEP, min(goal_share - self.air_share, AIR_STEP))
        air = self.air()
        if water_m3 > 1e-6:
            absolute = air.gas_pa_m3_k * self.gas_k / (air.volume_m3 - water_m3)
            self.line_pa = absolute - self._hardware.atmosphere_pa
        return abs(goal_share - self.air_share) > 1e-9

    def weather(self, air_c: float, seconds: float) -> None:
        """Bring the wall's temperature nearer to the air's."""
        house_k = ZERO_CELSIUS_K + max(air_c, _HOUSE_COLDEST_C)
        self.wall_k += (house_k - self.wall_k) * min(seconds / _HOUSE_LAG_S, 1.0)
