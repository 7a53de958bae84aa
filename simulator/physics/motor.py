"""A single-phase induction motor: run-up, input power, current with its inrush."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from simulator.numbers import Number

RUN_UP_S = 0.7  # to full speed under water; common practice for fractional horsepower, no source


@dataclass(frozen=True, slots=True)
class Motor:
    """One motor, by what its plate and a clamp meter tell.

    voltage_v            supply voltage [V]
    fixed_loss_w         iron, windage and friction losses, there at any load [W]
    load_factor          input power per watt of shaft power beyond the fixed losses [-]
    magnetising_a        reactive current, nearly the same at any load [A]
    locked_rotor_a       current at standstill [A]
    """

    voltage_v: float
    fixed_loss_w: float
    load_factor: float
    magnetising_a: float
    locked_rotor_a: float

    def power_w(self, shaft_w: Number) -> Number:
        """Input power [W] at a shaft power [W] near full speed."""
        return self.fixed_loss_w + self.load_factor * shaft_w

    def current_a(self, shaft_w: Number, speed: Number = 1.0) -> Number:
        """Current [A] at a shaft power [W] and a speed as a share of full speed.

        At speed it is the vector sum of the active and the magnetising current, so it stays high
        when the load falls away. During the run-up it stays near its locked-rotor value until the
        last fifth of the speed, as the torque-speed curve of an induction motor has it (electrical
        machines textbooks; the exponent 8 is our own fit to that shape).
        """
        active = self.power_w(shaft_w) / self.voltage_v
        running = np.hypot(active, self.magnetising_a)
        return running + (self.locked_rotor_a - running) * (1.0 - np.minimum(speed, 1.0) ** 8)

    def starting_power_w(self, shaft_w: Number, speed: Number) -> Number:
        """Input power [W] during the run-up: the inrush at a power factor of about 0.6 (textbooks)."""
        running = self.power_w(shaft_w)
        standstill = 0.6 * self.voltage_v * self.locked_rotor_a
        return running + (standstill - running) * (1.0 - np.minimum(speed, 1.0) ** 8)


def speed_share(since_start_s: Number, run_up_s: float = RUN_UP_S) -> Number:
    """Speed as a share of full speed, a time [s] after the start: a straight ramp."""
    return np.clip(since_start_s / run_up_s, 0.0, 1.0)
