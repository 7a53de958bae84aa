"""The plant's pressure tank as a flow meter: gauge pressure in, tank water out.

Where the plant file gives no pressure tank, a tank of one cubic metre with its charge just under
the cut-in (or nothing above the atmosphere where there is no switch either) stands in: flows are
then in its measure, and only their ratios are true.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from analytics.physics import hydraulics

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from analytics.plant.description import Plant

#: Usual air charge, below cut-in: 2 psi. Common practice (reference values, section 1).
CHARGE_BELOW_CUT_IN_PA = 13_790.0
#: Exponent of air that is let out within a minute or two: common practice, no source.
POLYTROPIC = 1.2


class Water(msgspec.Struct, frozen=True):
    """w(P) of one plant. `scale_m3_pa` = V (Pc + pa), so that w = V - scale / (P + pa)."""

    volume_m3: float
    precharge_pa: float
    atmosphere_pa_abs: float
    true: bool  # the plant file gave the tank

    @classmethod
    def of(cls, plant: Plant) -> Water:
        atmosphere = float(hydraulics.atmosphere_pa_abs(plant.altitude_m))
        tank = plant.pressure_tank
        if tank is not None:
            return cls(tank.volume_m3, tank.precharge_pa, atmosphere, True)
        cut_in = plant.switch.cut_in_pa if plant.switch else CHARGE_BELOW_CUT_IN_PA
        return cls(1.0, max(cut_in - CHARGE_BELOW_CUT_IN_PA, 0.0), atmosphere, False)

    def with_air(self, left: float) -> Water:
        """The same tank with so much of its compliance, V (Pc + pa), left: as good as none below that charge,
        and between the same pressures so much less."""
        charge_pa = left * (self.precharge_pa + self.atmosphere_pa_abs) - self.atmosphere_pa_abs
        return Water(self.volume_m3, charge_pa, self.atmosphere_pa_abs, self.true)

    def at(self, pressure_pa: NDArray[np.float64]) -> NDArray[np.float64]:
        """Tank water [m3] at each pressure, by Boyle's law continued below the charge.

        Continued, so that a charge that has leaked away, or a file that says too high a charge,
        still shows its slope; what is below the charge by the file is then negative water.
        """
        scale = self.volume_m3 * (self.precharge_pa + self.atmosphere_pa_abs)
        return self.volume_m3 - scale / (pressure_pa + self.atmosphere_pa_abs)

    def one(self, pressure_pa: float) -> float:
        scale = self.volume_m3 * (self.precharge_pa + self.atmosphere_pa_abs)
        return self.volume_m3 - scale / (pressure_pa + self.atmosphere_pa_abs)

    def compliance_m3_pa(self, pressure_pa: float) -> float:
        """dw/dP [m3/Pa] at a pressure."""
        scale = self.volume_m3 * (self.precharge_pa + self.atmosphere_pa_abs)
        return scale / (pressure_pa + self.atmosphere_pa_abs) ** 2

    def between_m3(self, low_pa: float, high_pa: float) -> float:
        """Water between two pressures; that below the charge does not count."""
        return self.one(max(high_pa, self.precharge_pa)) - self.one(max(low_pa, self.precharge_pa))

    def warms_by_pa(self, high_pa: float, low_pa: float) -> float:
        """The most that air comes up by that was let out quickly from one pressure to another, and so cooled:
        P1 ((P0 / P1)^(1 - 1/n) - 1), absolute."""
        high, low = high_pa + self.atmosphere_pa_abs, low_pa + self.atmosphere_pa_abs
        return float(low * ((high / low) ** (1.0 - 1.0 / POLYTROPIC) - 1.0)) if 0.0 < low < high else 0.0

    def pressure_pa(self, water_m3: float) -> float:
        """The inverse of `one`; infinite where no air is left."""
        scale = self.volume_m3 * (self.precharge_pa + self.atmosphere_pa_abs)
        air = self.volume_m3 - water_m3
        return scale / air - self.atmosphere_pa_abs if air > 0.0 else float("inf")
