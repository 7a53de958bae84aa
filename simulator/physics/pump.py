"""A centrifugal or shallow-well jet pump: head against flow, shaft power, efficiency."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from simulator.physics.water import PA_PER_M

if TYPE_CHECKING:
    from simulator.numbers import Number


@dataclass(frozen=True, slots=True)
class PumpCurve:
    """The curve of one pump at its full speed.

    shut_off_head_m   head with the outlet closed [m]
    curve_s2_m5       a in H = H0 - a Q^2 [s^2/m^5]
    rated_flow_m3_s   flow at which the shaft power is the rated one [m3/s]
    shaft_power_w     shaft power at the rated flow [W]
    idle_share        shaft power at shut-off as a share of the rated one [-]
    """

    shut_off_head_m: float
    curve_s2_m5: float
    rated_flow_m3_s: float
    shaft_power_w: float
    idle_share: float = 0.68

    def head_m(self, flow_m3_s: Number, speed: Number = 1.0) -> Number:
        """Head [m] at a flow [m3/s] and a speed as a share of full speed.

        H = s^2 H0 - a Q^2: the affinity laws applied to the parabola that three-point pump curves
        are commonly fitted with (Q ~ s, H ~ s^2). Source: any pump handbook, affinity laws.
        """
        return speed * speed * self.shut_off_head_m - self.curve_s2_m5 * flow_m3_s * flow_m3_s

    def shaft_w(self, flow_m3_s: Number, speed: Number = 1.0, prime: Number = 1.0) -> Number:
        """Shaft power [W]: rises along a straight line from shut-off to the rated flow, times s^3.

        Radial-flow pumps take least power at shut-off, some half to three quarters of the rated
        (common practice, no source). A casing without water is left with disc friction and
        bearings, here 0.22 of the rated power (common practice, no source).
        """
        wet = self.idle_share + (1.0 - self.idle_share) * flow_m3_s / self.rated_flow_m3_s
        return self.shaft_power_w * (0.22 + (wet - 0.22) * prime) * speed * speed * speed

    def efficiency(self, flow_m3_s: Number, speed: Number = 1.0) -> Number:
        """Hydraulic power over shaft power [-]: rho g Q H / P."""
        return PA_PER_M * flow_m3_s * self.head_m(flow_m3_s, speed) / self.shaft_w(flow_m3_s, speed)
